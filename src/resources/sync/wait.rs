//! Waiting for something to send.

use actix_web::HttpRequest;
use tokio::time::Instant;

use crate::platform::news::{News, Waiting};

/// The longest wait, seconds.
const MAX_SECONDS: u64 = 25;

/// The seconds that the caller prefers to wait; 0 without the wish.
pub fn preferred(req: &HttpRequest) -> u64 {
    let values = req.headers().get_all("prefer").filter_map(|value| value.to_str().ok());
    let mut wishes =
        values.flat_map(|value| value.split([',', ';'])).filter_map(|wish| wish.trim().strip_prefix("wait="));
    wishes.find_map(|seconds| seconds.trim().parse::<u64>().ok()).unwrap_or(0).min(MAX_SECONDS)
}

/// Waits until the counter is beyond `seq` or the time is over; true when the caller's sign-in may have ended before.
pub async fn until_news(news: &mut News, waiting: &Waiting, seq: i64, until: Instant) -> bool {
    // Time over and news are answered alike: by reading again.
    let heard = tokio::time::timeout_at(until, news.wait_for(|latest| *latest > seq));
    tokio::select! {
        _ = heard => false,
        () = waiting.doubted() => true,
    }
}
