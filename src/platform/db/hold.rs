//! One request, one connection.
//!
//! A request that waits for a second connection while it holds its first can wait for ever: as many of them as the pool
//! has connections hold them all and wait for each other. So whoever holds one gets no other.

use std::future::Future;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

use super::StoreError;

tokio::task_local! {
    static HELD: Arc<AtomicU32>;
}

/// Carries out a request, which may hold one connection at a time. Chores outside a request are not watched.
pub async fn one_connection<F: Future>(request: F) -> F::Output {
    HELD.scope(Arc::default(), request).await
}

/// That a request holds a connection, until dropped.
#[derive(Debug)]
pub struct Hold(Option<Arc<AtomicU32>>);

impl Hold {
    /// Notes that the request at work takes a connection.
    ///
    /// # Errors
    /// [`StoreError::SecondConnection`] when it holds one. In an optimised build that is only logged: there the request
    /// may be lucky.
    pub fn take() -> Result<Self, StoreError> {
        let Ok(held) = HELD.try_with(Arc::clone) else { return Ok(Self(None)) };
        let before = held.fetch_add(1, Ordering::Relaxed);
        let hold = Self(Some(held));
        if before > 0 {
            tracing::error!(request.id = crate::platform::telemetry::request_id(), "a second connection was asked for");
            if cfg!(debug_assertions) {
                return Err(StoreError::SecondConnection);
            }
        }
        Ok(hold)
    }
}

impl Drop for Hold {
    fn drop(&mut self) {
        if let Some(held) = &self.0 {
            held.fetch_sub(1, Ordering::Relaxed);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_request_that_holds_a_connection_gets_no_other() {
        one_connection(async {
            let first = Hold::take();
            assert!(first.is_ok());
            assert!(matches!(Hold::take(), Err(StoreError::SecondConnection)));
            drop(first);
            assert!(Hold::take().is_ok());
        })
        .await;
        let (one, other) = (Hold::take(), Hold::take());
        assert!(one.is_ok() && other.is_ok(), "chores are not watched");
    }
}
