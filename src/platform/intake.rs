//! Takes bodies in: the one place where bytes of a request are read and unpacked.
//!
//! A body is limited as it is sent and as it unpacks, while it unpacks; it has to come at a minimum rate; and what all
//! bodies hold at once is bounded for each caller and for the process. What is too large for memory goes into a file
//! ([`spool`]).

mod room;
mod spool;

use std::io::Read;
use std::time::Duration;

use actix_web::HttpRequest;
use actix_web::dev::Payload;
use actix_web::http::header::{ACCEPT_ENCODING, CONTENT_ENCODING, CONTENT_LENGTH};
use actix_web::web::Data;
use futures_util::StreamExt;
use tokio::time::{Instant, timeout_at};
use uuid::Uuid;

use super::access::bearer;
use super::config::Config;
use super::fault::Fault;
use super::problem::{Code, Problem};
use super::token::Keys;
use room::{Held, MEMORY};

pub use spool::{Spooled, spool};

/// The largest body without a valid access token, as sent and unpacked, bytes.
pub const WITHOUT_TOKEN: usize = 64 * 1024;
/// The slowest body that is waited for, once the patience is over, bytes a second.
pub const SLOWEST: u32 = 2 * 1024;
/// The longest that any body may take.
const LONGEST: Duration = Duration::from_mins(2);
/// The codings that are unpacked.
const CODINGS: &str = "gzip, zstd";
/// The largest window that a zstd body may ask for (2 to this power, bytes): what RFC 9659 allows in HTTP.
const WINDOW_LOG: u32 = 23;
/// Most members (gzip) or frames (zstd) of a body: each costs a decoder, even when it unpacks to nothing.
const MEMBERS: usize = 64;
/// What is unpacked before others have their turn, bytes.
const PIECE: usize = 32 * 1024;

/// How large a body may be.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// As it is sent, bytes.
    pub wire: usize,
    /// Unpacked, bytes.
    pub unpacked: usize,
    /// What to do about a body that is larger, as a sentence.
    pub remedy: &'static str,
}

impl Limits {
    fn too_large(&self) -> Problem {
        let Self { wire, unpacked, remedy } = self;
        Problem::new(
            Code::TooLarge,
            format!("This body may have {wire} bytes as it is sent and {unpacked} bytes unpacked. {remedy}"),
        )
    }
}

/// A body that was taken in; what it holds is counted until this is dropped.
#[derive(Debug)]
pub struct Taken {
    bytes: Vec<u8>,
    _held: Held,
}

impl Taken {
    /// The unpacked bytes.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }
}

/// How a body is packed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Coding {
    Identity,
    Gzip,
    Zstd,
}

impl Coding {
    /// The one coding of a request.
    ///
    /// # Errors
    /// 415 for a coding that is not unpacked, and for more than one.
    fn of(req: &HttpRequest) -> Result<Self, Problem> {
        let mut named = req.headers().get_all(CONTENT_ENCODING);
        let coding = match (named.next(), named.next()) {
            (None, _) => Some(Self::Identity),
            (Some(one), None) => match one.to_str().unwrap_or_default().trim().to_ascii_lowercase().as_str() {
                "identity" => Some(Self::Identity),
                "gzip" | "x-gzip" => Some(Self::Gzip),
                "zstd" => Some(Self::Zstd),
                _ => None,
            },
            _ => None,
        };
        coding.ok_or_else(|| {
            let detail = "Send the body plain, or packed once with gzip or zstd: one `Content-Encoding`, one coding.";
            Problem::new(Code::MediaType, detail).with_header(ACCEPT_ENCODING, CODINGS)
        })
    }
}

fn broken() -> Problem {
    Problem::malformed(Fault::at("", "body", "the body broke off or its encoding is wrong"))
}

/// How large the body of a request says that it is, bytes.
fn told(req: &HttpRequest) -> Option<u64> {
    req.headers().get(CONTENT_LENGTH).and_then(|value| value.to_str().ok()?.parse().ok())
}

/// How long a body may come as slowly as it likes.
fn patience(req: &HttpRequest) -> Duration {
    req.app_data::<Data<Config>>().map_or(Config::PATIENCE, |config| config.patience)
}

/// Reads the body of a request.
///
/// # Errors
/// 400 when it breaks off or does not unpack, 408 when it comes too slowly, 413 when it is too large, 415 for a coding
/// that is not unpacked, 503 when bodies hold too much memory.
pub async fn read(req: &HttpRequest, payload: Payload, limits: Limits) -> Result<Taken, Problem> {
    let coding = Coding::of(req)?;
    if told(req).is_some_and(|told| told > limits.wire as u64) {
        return Err(limits.too_large());
    }
    let mut pass = Pass::of(req, limits);
    let wire = receive(req, payload, &mut pass).await?;
    if coding == Coding::Identity {
        return Ok(Taken { bytes: wire, _held: pass.held });
    }
    let bytes = unpack(coding, &wire, &mut pass).await?;
    Ok(Taken { bytes, _held: pass.held })
}

/// What one body may still do.
struct Pass<'a> {
    req: Option<&'a HttpRequest>,
    limits: Limits,
    held: Held,
}

impl<'a> Pass<'a> {
    fn of(req: &'a HttpRequest, limits: Limits) -> Self {
        Self { req: Some(req), limits, held: Held::by(&MEMORY, Uuid::nil()) }
    }

    /// Makes room for more bytes of a body that has `size` by then.
    ///
    /// A small body asks for nothing; beyond that, who sends it is looked up once.
    fn room(&mut self, size: usize, more: usize) -> Result<(), Problem> {
        if let Some(req) = self.req.take_if(|_| size > WITHOUT_TOKEN) {
            match sender(req) {
                Some(account) => self.held.holder = account,
                None => {
                    let remedy = "Sign in first: a body without a valid access token is small.";
                    self.limits = Limits { wire: WITHOUT_TOKEN, unpacked: WITHOUT_TOKEN, remedy };
                    return Err(self.limits.too_large());
                }
            }
            // What came before was too little to count.
            return self.held.more(size);
        }
        if self.req.is_some() { Ok(()) } else { self.held.more(more) }
    }
}

/// The account that a request's access token names, without asking the database.
fn sender(req: &HttpRequest) -> Option<Uuid> {
    let keys = req.app_data::<Data<Keys>>()?;
    keys.verify(bearer(req)?).ok().map(|claims| claims.sub.0)
}

/// Receives the bytes as they are sent.
async fn receive(req: &HttpRequest, mut payload: Payload, pass: &mut Pass<'_>) -> Result<Vec<u8>, Problem> {
    let patience = patience(req);
    let began = Instant::now();
    let mut wire = Vec::new();
    loop {
        let earned = Duration::from_millis(wire.len() as u64 * 1000 / u64::from(SLOWEST));
        let until = began + (patience + earned).min(LONGEST.max(patience));
        let next = timeout_at(until, payload.next()).await.map_err(|_| {
            let detail = format!(
                "The body came too slowly: after {} s at least {SLOWEST} bytes a second, {} s in all. Send it again, \
                 packed with gzip or zstd, or in parts.",
                patience.as_secs(),
                LONGEST.as_secs()
            );
            Problem::new(Code::Slow, detail)
        })?;
        let Some(chunk) = next else { return Ok(wire) };
        let chunk = chunk.map_err(|_| broken())?;
        let size = wire.len() + chunk.len();
        if size > pass.limits.wire {
            return Err(pass.limits.too_large());
        }
        pass.room(size, chunk.len())?;
        wire.extend_from_slice(&chunk);
    }
}

/// Unpacks a body, one piece at a time.
async fn unpack(coding: Coding, wire: &[u8], pass: &mut Pass<'_>) -> Result<Vec<u8>, Problem> {
    let mut out = Vec::new();
    let mut rest = wire;
    for _ in 0..MEMBERS {
        rest = match coding {
            Coding::Identity => {
                out.extend_from_slice(rest);
                &[]
            }
            Coding::Gzip => {
                let mut member = flate2::bufread::GzDecoder::new(rest);
                drain(&mut member, &mut out, pass).await?;
                member.into_inner()
            }
            Coding::Zstd => {
                let frame = zstd::stream::read::Decoder::with_buffer(rest).map_err(|_| broken())?;
                let mut frame = frame.single_frame();
                frame.window_log_max(WINDOW_LOG).map_err(|_| broken())?;
                drain(&mut frame, &mut out, pass).await?;
                frame.finish()
            }
        };
        if rest.is_empty() {
            return Ok(out);
        }
    }
    Err(broken())
}

/// Unpacks one member; never more than a piece beyond the limit.
async fn drain(member: &mut dyn Read, out: &mut Vec<u8>, pass: &mut Pass<'_>) -> Result<(), Problem> {
    let mut piece = vec![0; PIECE];
    loop {
        let count = member.read(&mut piece).map_err(|_| broken())?;
        if count == 0 {
            return Ok(());
        }
        let size = out.len() + count;
        if size > pass.limits.unpacked {
            return Err(pass.limits.too_large());
        }
        pass.room(size, count)?;
        out.extend_from_slice(piece.get(..count).unwrap_or_default());
        // A worker thread serves many: nobody waits for more than one piece of somebody else's body.
        tokio::task::yield_now().await;
    }
}

#[cfg(test)]
mod tests {
    use std::io::Write;

    use actix_web::test::TestRequest;

    use super::*;

    const LIMITS: Limits = Limits { wire: 1024 * 1024, unpacked: 48 * 1024, remedy: "Send less." };

    fn gzip(bytes: &[u8]) -> Vec<u8> {
        let mut out = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
        out.write_all(bytes).unwrap();
        out.finish().unwrap()
    }

    fn zstd(bytes: &[u8]) -> Vec<u8> {
        zstd::stream::encode_all(bytes, 3).unwrap()
    }

    async fn unpacked(coding: Coding, wire: &[u8]) -> Result<Vec<u8>, u16> {
        let req = TestRequest::default().to_http_request();
        unpack(coding, wire, &mut Pass::of(&req, LIMITS)).await.map_err(|problem| problem.status())
    }

    #[actix_web::test]
    async fn what_unpacks_within_the_limit_is_read_also_in_several_members() {
        let text = b"wickets".repeat(1_000);
        for (coding, pack) in [(Coding::Gzip, gzip as fn(&[u8]) -> Vec<u8>), (Coding::Zstd, zstd)] {
            assert_eq!(unpacked(coding, &pack(&text)).await, Ok(text.clone()), "{coding:?}");
            let parts = [pack(&text[..10]), pack(b""), pack(&text[10..])].concat();
            assert_eq!(unpacked(coding, &parts).await, Ok(text.clone()), "{coding:?}");
            assert_eq!(unpacked(coding, &pack(b"").repeat(MEMBERS + 1)).await, Err(400), "{coding:?}");
            assert_eq!(
                unpacked(coding, &pack(&vec![0; LIMITS.unpacked])).await.map(|out| out.len()),
                Ok(LIMITS.unpacked)
            );
            assert_eq!(unpacked(coding, &pack(&vec![0; LIMITS.unpacked + 1])).await, Err(413), "{coding:?}");
            let whole = pack(&text);
            for end in [0, 1, whole.len() / 2, whole.len() - 1] {
                assert_eq!(unpacked(coding, &whole[..end]).await, Err(400), "{coding:?} cut at {end}");
            }
            assert_eq!(unpacked(coding, &[whole, b"more".to_vec()].concat()).await, Err(400), "{coding:?}");
        }
    }

    /// Counts what is unpacked of something that never ends.
    struct Endless(usize);

    impl Read for Endless {
        fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
            self.0 += into.len();
            Ok(into.len())
        }
    }

    #[actix_web::test]
    async fn unpacking_stops_at_the_limit() {
        let req = TestRequest::default().to_http_request();
        let (mut endless, mut out) = (Endless(0), Vec::new());
        let refused = drain(&mut endless, &mut out, &mut Pass::of(&req, LIMITS)).await.unwrap_err();
        assert_eq!(refused.status(), 413);
        assert!(endless.0 <= LIMITS.unpacked + PIECE && out.len() <= LIMITS.unpacked, "{}", endless.0);
    }

    #[actix_web::test]
    async fn a_window_that_is_too_large_is_refused() {
        let mut encoder = zstd::stream::Encoder::new(Vec::new(), 1).unwrap();
        encoder.window_log(WINDOW_LOG + 2).unwrap();
        encoder.write_all(&vec![7; 1000]).unwrap();
        encoder.flush().unwrap();
        let frame = encoder.finish().unwrap();
        assert_eq!(unpacked(Coding::Zstd, &frame).await, Err(400));
    }

    #[test]
    fn one_coding_is_taken_and_chains_are_not() {
        let coding = |named: &[&str]| {
            let mut req = TestRequest::default();
            for one in named {
                req = req.append_header((CONTENT_ENCODING, *one));
            }
            Coding::of(&req.to_http_request()).map_err(|problem| problem.status())
        };
        assert_eq!(coding(&[]), Ok(Coding::Identity));
        assert_eq!(coding(&["identity"]), Ok(Coding::Identity));
        assert_eq!(coding(&[" GZIP "]), Ok(Coding::Gzip));
        assert_eq!(coding(&["zstd"]), Ok(Coding::Zstd));
        for other in
            [&["br"][..], &["deflate"], &["gzip, gzip"], &["gzip", "gzip"], &["gzip", "identity"], &["", ""], &[""]]
        {
            assert_eq!(coding(other), Err(415), "{other:?}");
        }
    }
}
