//! Waiting for something to send.

use std::time::Duration;

use actix_web::HttpRequest;
use tokio::time::Instant;

use crate::platform::news::{News, Waiting};

/// The longest wait, seconds.
pub const MAX_SECONDS: u64 = 25;

/// The seconds that the caller prefers to wait; 0 without the wish.
pub fn preferred(req: &HttpRequest) -> u64 {
    let values = req.headers().get_all("prefer").filter_map(|value| value.to_str().ok());
    let mut wishes =
        values.flat_map(|value| value.split([',', ';'])).filter_map(|wish| wish.trim().strip_prefix("wait="));
    wishes.find_map(|seconds| seconds.trim().parse::<u64>().ok()).unwrap_or(0).min(MAX_SECONDS)
}

/// The pause after a look that found nothing for the caller: a busy club would have everybody who waits look at every
/// commit.
const PAUSE: Duration = Duration::from_secs(1);

/// When somebody who found nothing looks again at the earliest.
pub fn later() -> Instant {
    Instant::now() + PAUSE
}

/// Waits until the counter is beyond `seq`, not before `from`, or the time is over; true when the caller's sign-in may have
/// ended before.
pub async fn until_news((news, waiting): (&mut News, &Waiting), seq: i64, (from, until): (Instant, Instant)) -> bool {
    // Time over and news are answered alike: by reading again.
    let heard = async {
        tokio::time::sleep_until(from.min(until)).await;
        tokio::time::timeout_at(until, news.wait_for(|latest| *latest > seq)).await.ok();
    };
    tokio::select! {
        () = heard => false,
        () = waiting.doubted() => true,
    }
}
