//! A connection that is given up when the other side keeps it waiting.
//!
//! The HTTP layer limits the head of the first request and the time between requests; bodies that are read have limits of
//! their own. Left are bytes that trickle where nobody reads them (a later head, a body that is refused), answers that
//! nobody takes, and connections on which nothing happens at all.

use std::future::Future;
use std::io::{self, IoSlice};
use std::pin::Pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::task::{Context, Poll, ready};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use tokio::time::{Instant, Sleep, sleep_until};

use super::Seat;

/// How long a connection may keep the service waiting.
#[derive(Clone, Copy, Debug)]
pub struct Rules {
    /// Without a byte in either direction.
    pub idle: Duration,
    /// For a request, before the slowest rate counts.
    pub patience: Duration,
    /// The slowest rate, bytes a second: of a request after the patience, of an answer over every [`Rules::taking`].
    pub slowest: u32,
    /// Over what time an answer has to be taken.
    pub taking: Duration,
}

/// Bytes since a moment.
type Flow = Option<(Instant, usize)>;

/// Whether an answer is at work for which its caller has to wait longer than a connection may be still.
#[derive(Clone, Debug, Default)]
pub struct Work(Arc<AtomicUsize>);

/// That such an answer is at work, until this is dropped.
#[derive(Debug)]
pub struct Working(Work);

impl Work {
    /// Begins it.
    pub fn begin(&self) -> Working {
        self.0.fetch_add(1, Ordering::Relaxed);
        Working(self.clone())
    }

    fn goes_on(&self) -> bool {
        self.0.load(Ordering::Relaxed) > 0
    }
}

impl Drop for Working {
    fn drop(&mut self) {
        self.0.0.fetch_sub(1, Ordering::Relaxed);
    }
}

/// What moved on a connection, and whether it was enough.
#[derive(Debug)]
struct Pace {
    rules: Rules,
    /// When a byte last moved.
    moved: Instant,
    /// What came since the last answer.
    request: Flow,
    /// What went since an answer had to wait.
    answer: Flow,
}

fn late() -> io::Error {
    io::ErrorKind::TimedOut.into()
}

impl Pace {
    fn new(rules: Rules, now: Instant) -> Self {
        Self { rules, moved: now, request: None, answer: None }
    }

    /// When to look again while nothing moves.
    fn deadline(&self) -> Instant {
        let idle = self.moved + self.rules.idle;
        self.answer.map_or(idle, |(since, _)| idle.min(since + self.rules.taking))
    }

    /// Bytes came: whether they came fast enough.
    fn came(&mut self, bytes: usize, now: Instant) -> io::Result<()> {
        self.moved = now;
        let (since, before) = self.request.unwrap_or((now, 0));
        self.request = Some((since, before + bytes));
        let earned = Duration::from_millis(before as u64 * 1000 / u64::from(self.rules.slowest));
        if now > since + self.rules.patience + earned { Err(late()) } else { Ok(()) }
    }

    /// An answer has to wait.
    fn full(&mut self, now: Instant) {
        self.answer.get_or_insert((now, 0));
    }

    /// Bytes went: whether they were taken fast enough.
    fn went(&mut self, bytes: usize, now: Instant) -> io::Result<()> {
        self.moved = now;
        self.request = None;
        self.answer = self.answer.map(|(since, sent)| (since, sent + bytes));
        self.taken(now)
    }

    /// Everything was taken from us; the next answer starts anew.
    fn flushed(&mut self) {
        self.answer = None;
    }

    fn taken(&mut self, now: Instant) -> io::Result<()> {
        let Some((_, sent)) = self.answer.filter(|(since, _)| now >= *since + self.rules.taking) else {
            return Ok(());
        };
        let enough = u64::from(self.rules.slowest) * self.rules.taking.as_secs();
        self.answer = Some((now, 0));
        if sent as u64 >= enough { Ok(()) } else { Err(late()) }
    }

    /// Nothing moves: whether that has been so for too long. While an answer is at work it is the service that is waited for.
    fn still(&mut self, now: Instant, works: bool) -> io::Result<()> {
        if works {
            self.moved = now;
        }
        if now >= self.moved + self.rules.idle { Err(late()) } else { self.taken(now) }
    }
}

/// A connection under [`Rules`], with its place.
#[derive(Debug)]
pub struct Patient<S> {
    io: S,
    pace: Pace,
    timer: Pin<Box<Sleep>>,
    work: Work,
    _seat: Seat,
}

impl<S> Patient<S> {
    /// A connection that has just been accepted.
    pub fn new(io: S, rules: Rules, seat: Seat) -> Self {
        let pace = Pace::new(rules, Instant::now());
        let timer = Box::pin(sleep_until(pace.deadline()));
        Self { io, pace, timer, work: Work::default(), _seat: seat }
    }

    /// Where it is said that an answer is at work.
    pub fn work(&self) -> Work {
        self.work.clone()
    }

    /// While nothing can move: whether the time is over.
    fn wait(&mut self, cx: &mut Context<'_>) -> Poll<io::Error> {
        loop {
            // A timer that ends too early is set anew then: nearly all bytes move without touching it.
            if self.timer.deadline() > self.pace.deadline() {
                self.timer.as_mut().reset(self.pace.deadline());
            }
            ready!(self.timer.as_mut().poll(cx));
            if let Err(error) = self.pace.still(Instant::now(), self.work.goes_on()) {
                return Poll::Ready(error);
            }
            self.timer.as_mut().reset(self.pace.deadline());
        }
    }

    fn written(&mut self, cx: &mut Context<'_>, written: Poll<io::Result<usize>>) -> Poll<io::Result<usize>> {
        match written {
            Poll::Ready(Ok(bytes)) => Poll::Ready(self.pace.went(bytes, Instant::now()).map(|()| bytes)),
            Poll::Ready(Err(error)) => Poll::Ready(Err(error)),
            Poll::Pending => {
                self.pace.full(Instant::now());
                self.wait(cx).map(Err)
            }
        }
    }
}

impl<S: AsyncRead + Unpin> AsyncRead for Patient<S> {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context<'_>, into: &mut ReadBuf<'_>) -> Poll<io::Result<()>> {
        let before = into.filled().len();
        match Pin::new(&mut self.io).poll_read(cx, into) {
            Poll::Ready(Ok(())) => match into.filled().len() - before {
                0 => Poll::Ready(Ok(())),
                bytes => Poll::Ready(self.pace.came(bytes, Instant::now())),
            },
            Poll::Ready(Err(error)) => Poll::Ready(Err(error)),
            Poll::Pending => self.wait(cx).map(Err),
        }
    }
}

impl<S: AsyncWrite + Unpin> AsyncWrite for Patient<S> {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context<'_>, bytes: &[u8]) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.io).poll_write(cx, bytes);
        self.written(cx, written)
    }

    fn poll_write_vectored(
        mut self: Pin<&mut Self>,
        cx: &mut Context<'_>,
        bytes: &[IoSlice<'_>],
    ) -> Poll<io::Result<usize>> {
        let written = Pin::new(&mut self.io).poll_write_vectored(cx, bytes);
        self.written(cx, written)
    }

    fn is_write_vectored(&self) -> bool {
        self.io.is_write_vectored()
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        self.pace.flushed();
        Pin::new(&mut self.io).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<io::Result<()>> {
        Pin::new(&mut self.io).poll_shutdown(cx)
    }
}

#[cfg(test)]
mod tests {
    use tokio::io::{AsyncReadExt, AsyncWriteExt, duplex};

    use super::super::Door;
    use super::*;

    const RULES: Rules = Rules {
        idle: Duration::from_secs(70),
        patience: Duration::from_secs(20),
        slowest: 1000,
        taking: Duration::from_secs(30),
    };

    /// A pace, and the moment that many seconds after its beginning.
    fn pace() -> (Pace, impl Fn(u64) -> Instant) {
        let began = Instant::now();
        (Pace::new(RULES, began), move |seconds| began + Duration::from_secs(seconds))
    }

    #[test]
    fn silence_ends_a_connection() {
        let (mut pace, at) = pace();
        assert_eq!(pace.deadline(), at(70));
        assert!(pace.still(at(69), false).is_ok() && pace.still(at(70), false).is_err());
        pace.came(1, at(50)).unwrap();
        assert!(pace.still(at(119), false).is_ok() && pace.still(at(120), false).is_err());
    }

    #[test]
    fn whoever_waits_for_an_answer_that_is_at_work_may_be_still() {
        let (mut pace, at) = pace();
        pace.came(3, at(0)).unwrap();
        let work = Work::default();
        let (one, other) = (work.begin(), work.begin());
        drop(one);
        for second in [70, 140, 210] {
            assert!(pace.still(at(second), work.goes_on()).is_ok(), "{second}");
        }
        drop(other);
        assert!(pace.still(at(279), work.goes_on()).is_ok() && pace.still(at(280), work.goes_on()).is_err());
    }

    #[test]
    fn a_request_may_wait_for_its_answer_and_the_next_starts_anew() {
        let (mut pace, at) = pace();
        pace.came(3, at(0)).unwrap();
        pace.went(3, at(60)).unwrap();
        pace.came(3, at(100)).unwrap();
        pace.came(3, at(120)).unwrap();
    }

    #[test]
    fn bytes_that_trickle_end_a_connection_and_a_slow_line_does_not() {
        let (mut trickling, at) = pace();
        let ended = (0..100).find(|second| trickling.came(1, at(*second)).is_err());
        assert_eq!(ended, Some(21));
        let mut slow = Pace::new(RULES, at(0));
        assert!((0..1000).all(|second| slow.came(1000, at(second)).is_ok()));
    }

    #[test]
    fn an_answer_that_nobody_takes_ends_a_connection_and_a_slow_line_does_not() {
        let (mut stuck, at) = pace();
        stuck.full(at(0));
        assert_eq!(stuck.deadline(), at(30));
        assert!(stuck.still(at(29), false).is_ok() && stuck.still(at(30), false).is_err());
        for (bytes, ended) in [(10, Some(30)), (999, Some(30)), (1000, None)] {
            let mut slow = Pace::new(RULES, at(0));
            slow.full(at(0));
            assert_eq!((1..500).find(|second| slow.went(bytes, at(*second)).is_err()), ended, "{bytes} bytes a second");
        }
        let (mut done, at) = pace();
        done.full(at(0));
        done.went(10, at(1)).unwrap();
        done.flushed();
        done.went(10, at(60)).unwrap();
    }

    #[tokio::test]
    async fn bytes_pass_unchanged_and_a_connection_without_time_ends() {
        let (mut far, near) = duplex(64);
        let mut near = Patient::new(near, RULES, Door::new(1, 0).enter(None).unwrap());
        far.write_all(b"ask").await.unwrap();
        let mut asked = [0; 3];
        near.read_exact(&mut asked).await.unwrap();
        near.write_all(b"answer").await.unwrap();
        near.flush().await.unwrap();
        let mut answer = [0; 6];
        far.read_exact(&mut answer).await.unwrap();
        assert_eq!((&asked, &answer), (b"ask", b"answer"));
        let (_far, near) = duplex(64);
        let rules = Rules { idle: Duration::ZERO, ..RULES };
        let mut near = Patient::new(near, rules, Door::new(1, 0).enter(None).unwrap());
        assert_eq!(near.read_u8().await.unwrap_err().kind(), io::ErrorKind::TimedOut);
    }
}
