//! A request that others at the same moment undid is carried out again, so that its caller need not; and work that is not to depend on
//! whether its caller still waits is done to its end.

use std::cell::RefCell;
use std::future::Future;
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

use super::audit;
use super::db::one_connection;
use super::problem::{Code, Problem};
use super::telemetry;

/// How long to wait before each further time, milliseconds (ms); then the caller is told.
const PAUSES_MS: [u64; 4] = [5, 20, 60, 150];

/// Most of a body that is kept, bytes: of one that is larger nothing is, and its request is carried out once.
const MOST: usize = 17 << 20;

/// The body of a request, with what was read of it.
struct Kept {
    from: Payload,
    read: Vec<Bytes>,
    bytes: usize,
}

impl Kept {
    fn keep(&mut self, part: &Bytes) {
        self.bytes = self.bytes.saturating_add(part.len());
        if self.bytes > MOST {
            self.read = Vec::new();
        } else {
            self.read.push(part.clone());
        }
    }
}

/// The body once more: what was read before, then the rest.
struct Body {
    kept: Rc<RefCell<Kept>>,
    at: usize,
}

impl Stream for Body {
    type Item = Result<Bytes, PayloadError>;

    fn poll_next(self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        let Self { kept, at } = self.get_mut();
        let mut kept = kept.borrow_mut();
        if let Some(part) = kept.read.get(*at) {
            *at += 1;
            return Poll::Ready(Some(Ok(part.clone())));
        }
        let next = ready!(Pin::new(&mut kept.from).poll_next(context));
        if let Some(Ok(part)) = &next {
            kept.keep(part);
            *at += 1;
        }
        Poll::Ready(next)
    }
}

fn body(kept: &Rc<RefCell<Kept>>) -> Payload {
    Payload::Stream { payload: Box::pin(Body { kept: Rc::clone(kept), at: 0 }) }
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

/// Does work of a request to its end, whether or not somebody still waits for the answer: a connection that ends would drop the request
/// half-way, or not, as it happens to end. The work holds one connection to the database at a time, and ends with the service.
///
/// # Errors
/// Those of the work; 500 when it broke.
pub async fn to_its_end<T: 'static>(work: impl Future<Output = Result<T, Problem>> + 'static) -> Result<T, Problem> {
    let work = telemetry::going_on(audit::going_on(one_connection(work)));
    let broke = |_| Err(Problem::new(Code::Internal, "The work broke off. Tell the operator the instance id."));
    actix_web::rt::spawn(work).await.unwrap_or_else(broke)
}

/// Carries out a request; again, a few times, when others at the same moment undid it. Each time holds one connection.
///
/// # Errors
/// Those of the inner service.
pub async fn carry_out<B: MessageBody>(req: ServiceRequest, next: Next<B>) -> Result<ServiceResponse<B>, Error> {
    if req.method().is_safe() {
        return one_connection(next.call(req)).await;
    }
    let (head, from) = req.into_parts();
    let kept = Rc::new(RefCell::new(Kept { from, read: Vec::new(), bytes: 0 }));
    let mut req = ServiceRequest::from_parts(head, body(&kept));
    for milliseconds in PAUSES_MS {
        let answer = one_connection(next.call(req)).await?;
        if !was_undone(&answer) || kept.borrow().bytes > MOST {
            return Ok(answer);
        }
        // The answer goes first, because it may hold on to the request.
        let (head, answer) = answer.into_parts();
        drop(answer);
        tokio::time::sleep(pause(milliseconds)).await;
        req = ServiceRequest::from_parts(head, body(&kept));
        req.match_info_mut().reset();
    }
    one_connection(next.call(req)).await
}
