//! A request that others at the same moment undid is carried out again, so that its caller need not.

use std::cell::RefCell;
use std::pin::Pin;
use std::rc::Rc;
use std::task::{Context, Poll, ready};
use std::time::Duration;

use actix_web::Error;
use actix_web::body::MessageBody;
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::error::PayloadError;
use actix_web::middleware::Next;
use actix_web::web::Bytes;
use futures_core::Stream;
use uuid::Uuid;

use super::db::one_connection;
use super::problem::Problem;

/// How long to wait before each further time, milliseconds (ms); then the caller is told.
const PAUSES_MS: [u64; 4] = [5, 20, 60, 150];

/// What was read of a body, for the next time.
#[derive(Default)]
struct Read {
    parts: Vec<Bytes>,
    whole: bool,
}

/// A body that keeps what was read of it.
struct Kept {
    from: Payload,
    read: Rc<RefCell<Read>>,
}

impl Stream for Kept {
    type Item = Result<Bytes, PayloadError>;

    fn poll_next(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        let next = ready!(Pin::new(&mut self.from).poll_next(context));
        let mut read = self.read.borrow_mut();
        match &next {
            Some(Ok(part)) => read.parts.push(part.clone()),
            Some(Err(_)) => {}
            None => read.whole = true,
        }
        drop(read);
        Poll::Ready(next)
    }
}

/// A body that was read before.
struct Again(std::vec::IntoIter<Bytes>);

impl Stream for Again {
    type Item = Result<Bytes, PayloadError>;

    fn poll_next(mut self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        Poll::Ready(self.0.next().map(Ok))
    }
}

fn stream(body: impl Stream<Item = Result<Bytes, PayloadError>> + 'static) -> Payload {
    Payload::Stream { payload: Box::pin(body) }
}

fn was_undone<B>(answer: &ServiceResponse<B>) -> bool {
    let error = answer.response().error();
    error.and_then(|error| error.as_error::<Problem>()).is_some_and(Problem::was_undone)
}

/// A pause between half of this and the whole, so that those who met do not meet again.
pub fn pause(milliseconds: u64) -> Duration {
    let (_, chance) = Uuid::new_v4().as_u64_pair();
    Duration::from_micros(milliseconds * 500 + chance % (milliseconds * 500))
}

/// Carries out a request; again, a few times, when others at the same moment undid it. Each time holds one connection.
///
/// # Errors
/// Those of the inner service.
pub async fn carry_out<B: MessageBody>(req: ServiceRequest, next: Next<B>) -> Result<ServiceResponse<B>, Error> {
    if req.method().is_safe() {
        return one_connection(next.call(req)).await;
    }
    let read = Rc::new(RefCell::new(Read::default()));
    let (head, payload) = req.into_parts();
    let body = match payload {
        Payload::None => {
            read.borrow_mut().whole = true;
            Payload::None
        }
        from => stream(Kept { from, read: Rc::clone(&read) }),
    };
    let mut req = ServiceRequest::from_parts(head, body);
    for milliseconds in PAUSES_MS {
        let answer = one_connection(next.call(req)).await?;
        if !was_undone(&answer) || !read.borrow().whole {
            return Ok(answer);
        }
        // The answer goes first, because it may hold on to the request.
        let (head, answer) = answer.into_parts();
        drop(answer);
        tokio::time::sleep(pause(milliseconds)).await;
        let body = stream(Again(read.borrow().parts.clone().into_iter()));
        req = ServiceRequest::from_parts(head, body);
        req.match_info_mut().reset();
    }
    one_connection(next.call(req)).await
}
