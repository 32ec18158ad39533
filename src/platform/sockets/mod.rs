//! Connections: how many, how many of one address, and how long each may keep the service waiting.

mod door;
mod patient;

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use actix_web::dev::Extensions;
use actix_web::error::DispatchError;
use actix_web::rt::net::TcpStream;
use rustix::process::{Resource, Rlimit, getrlimit, setrlimit};
use tokio::io::{AsyncReadExt, AsyncWriteExt};

use super::intake;

pub use door::{Door, Seat};
pub use patient::{Patient, Rules, Work};

/// How long a connection without a request stays open.
pub const KEEP_ALIVE: Duration = Duration::from_mins(1);
/// The longest that the head of the first request of a connection may take.
pub const HEAD: Duration = Duration::from_secs(10);
/// Connections that are being told that there is no room.
static REFUSALS: AtomicUsize = AtomicUsize::new(0);
const MOST_REFUSALS: usize = 128;

const NO_ROOM: &str = "{\"type\":\"/problems/unavailable\",\"title\":\"Busy, try again\",\"status\":503,\
\"detail\":\"There are too many connections, in all or from your address. Close some, or try again.\"}";

/// How long a connection may keep the service waiting, where a body may come slowly for so long.
pub fn rules(patience: Duration) -> Rules {
    // Of a request that nobody reads any more; a body that is read has given up before.
    let idle = KEEP_ALIVE + Duration::from_secs(15);
    Rules { idle, patience: 2 * patience, slowest: intake::SLOWEST, taking: Duration::from_secs(30) }
}

/// Tells the requests of a connection where they say that an answer is at work.
pub fn tell_work(io: &Patient<TcpStream>, data: &mut Extensions) {
    data.insert(io.work());
}

/// Lets a connection in, or tells it that there is no room.
///
/// # Errors
/// When there is no room.
pub async fn admit(
    io: TcpStream,
    door: Arc<Door>,
    rules: Rules,
) -> Result<(Patient<TcpStream>, Option<SocketAddr>), DispatchError> {
    // Small answers go out at once; without it they would only be slower.
    let _ = io.set_nodelay(true);
    let peer = io.peer_addr().ok();
    match door.enter(peer.map(|peer| peer.ip())) {
        Some(seat) => Ok((Patient::new(io, rules, seat), peer)),
        None => {
            if REFUSALS.fetch_add(1, Ordering::Relaxed) < MOST_REFUSALS {
                // Whether it is heard makes no difference to the refusal.
                let _ = tokio::time::timeout(Duration::from_millis(500), refuse(io)).await;
            }
            REFUSALS.fetch_sub(1, Ordering::Relaxed);
            Err(DispatchError::Io(io::ErrorKind::ConnectionRefused.into()))
        }
    }
}

async fn refuse(mut io: TcpStream) -> io::Result<()> {
    let length = NO_ROOM.len();
    let answer = format!(
        "HTTP/1.1 503 Service Unavailable\r\nretry-after: 5\r\nconnection: close\r\n\
         content-type: application/problem+json\r\ncontent-length: {length}\r\n\r\n{NO_ROOM}"
    );
    io.write_all(answer.as_bytes()).await?;
    io.shutdown().await?;
    // Closing over unread bytes would reset the connection and take the answer with it.
    let mut unread = [0; 4096];
    while io.read(&mut unread).await? > 0 {}
    Ok(())
}

/// Raises the number of files that this process may have open, and says how many of `sockets` connections fit beside
/// `others`.
pub fn fitting(sockets: usize, others: usize) -> usize {
    let wanted = (sockets + others) as u64;
    let limit = getrlimit(Resource::Nofile);
    let mut current = limit.current.unwrap_or(u64::MAX);
    if current < wanted {
        let raised = limit.maximum.map_or(wanted, |maximum| maximum.min(wanted));
        if setrlimit(Resource::Nofile, Rlimit { current: Some(raised), ..limit }).is_ok() {
            current = raised;
        }
    }
    let room = usize::try_from(current).unwrap_or(usize::MAX).saturating_sub(others).max(16);
    if room < sockets {
        tracing::warn!(sockets, room, "the limit of open files leaves room for fewer connections; raise `ulimit -n`");
    }
    room.min(sockets)
}
