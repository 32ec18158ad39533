//! Takes in what is too large for memory: the body goes into a file without a name, which nobody else can open and which is gone
//! when the request ends, and when the process does, however it ends.

use std::fs::{File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom};
use std::os::unix::fs::OpenOptionsExt;
use std::time::Duration;

use actix_web::HttpRequest;
use actix_web::dev::Payload;
use futures_util::StreamExt;
use tokio::io::AsyncWriteExt;
use tokio::time::{Instant, timeout_at};
use uuid::Uuid;

use super::room::{FILES, Held};
use super::{Coding, Limits, broken, patience, sender, told};
use crate::platform::problem::{Code, Problem};

/// The slowest body that is waited for, once the patience is over, bytes a second: a quarter of a megabit, which a shared line of copper
/// still sends. A gibibyte may take nine hours, and holds nothing but its sender's part of the room.
const SLOWEST: u64 = 32 * 1024;

/// A body in a file.
#[derive(Debug)]
pub struct Spooled {
    file: File,
    _held: Held,
}

impl Read for Spooled {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        self.file.read(into)
    }
}

impl Seek for Spooled {
    fn seek(&mut self, to: SeekFrom) -> io::Result<u64> {
        self.file.seek(to)
    }
}

/// A file that has no name any more.
fn nameless() -> io::Result<File> {
    let path = std::env::temp_dir().join(format!("lanewright-{}", Uuid::new_v4()));
    let file = OpenOptions::new().read(true).write(true).create_new(true).mode(0o600).open(&path)?;
    std::fs::remove_file(&path)?;
    Ok(file)
}

fn unkept(error: io::Error) -> Problem {
    tracing::error!(%error, "a large body cannot be kept in the folder for temporary files: see TMPDIR");
    let detail =
        "The service has no room for a body of this size at this moment; nothing was stored. Send it again later.";
    Problem::new(Code::Unavailable, detail)
}

/// Takes the body of a request into a file. One with a coding around it is unpacked in memory, and so has to be small.
///
/// # Errors
/// Those of [`super::read`].
pub async fn spool(req: &HttpRequest, mut payload: Payload, limits: Limits) -> Result<Spooled, Problem> {
    let mut held = Held::by(&FILES, sender(req).unwrap_or_default());
    let mut file = tokio::fs::File::from_std(nameless().map_err(unkept)?);
    if Coding::of(req)? == Coding::Identity {
        if told(req).is_some_and(|told| told > limits.wire as u64) {
            return Err(limits.too_large());
        }
        let (began, patience) = (Instant::now(), patience(req));
        let mut size = 0;
        loop {
            let earned = Duration::from_millis(size as u64 * 1000 / SLOWEST);
            let next = timeout_at(began + patience + earned, payload.next()).await.map_err(|_| {
                let patience = patience.as_secs();
                let detail = format!(
                    "The body came too slowly: after {patience} s at least {SLOWEST} bytes a second. Send it again."
                );
                Problem::new(Code::Slow, detail)
            })?;
            let Some(chunk) = next else { break };
            let chunk = chunk.map_err(|_| broken())?;
            size += chunk.len();
            if size > limits.wire {
                return Err(limits.too_large());
            }
            held.more(chunk.len())?;
            file.write_all(&chunk).await.map_err(unkept)?;
        }
    } else {
        let taken = super::read(req, payload, Limits { wire: limits.unpacked, ..limits }).await?;
        held.more(taken.bytes().len())?;
        file.write_all(taken.bytes()).await.map_err(unkept)?;
    }
    file.flush().await.map_err(unkept)?;
    Ok(Spooled { file: file.into_std().await, _held: held })
}

#[cfg(test)]
mod tests {
    use std::io::Write;
    use std::os::unix::fs::MetadataExt;

    use super::*;

    #[test]
    fn a_file_without_a_name_is_read_back_by_whoever_holds_it_alone() {
        let mut file = nameless().unwrap();
        file.write_all(b"wickets").unwrap();
        file.seek(SeekFrom::Start(0)).unwrap();
        let mut text = String::new();
        file.read_to_string(&mut text).unwrap();
        let told = file.metadata().unwrap();
        assert_eq!((text.as_str(), told.nlink(), told.mode() & 0o777), ("wickets", 0, 0o600));
    }
}
