//! Waiting for something to send.

use std::time::Duration;

use actix_web::HttpRequest;

use crate::platform::news::News;

/// The longest wait, seconds.
const MAX_SECONDS: u64 = 25;

/// The seconds that the caller prefers to wait; 0 without the wish.
pub fn preferred(req: &HttpRequest) -> u64 {
    let values = req.headers().get_all("prefer").filter_map(|value| value.to_str().ok());
    let mut wishes =
        values.flat_map(|value| value.split([',', ';'])).filter_map(|wish| wish.trim().strip_prefix("wait="));
    wishes.find_map(|seconds| seconds.trim().parse::<u64>().ok()).unwrap_or(0).min(MAX_SECONDS)
}

/// Waits until the counter is beyond `seq`, or the time is over.
pub async fn until_news(news: &mut News, seq: i64, longest: Duration) {
    // Time over and news are answered alike: by reading again.
    let _ = tokio::time::timeout(longest, news.wait_for(|latest| *latest > seq)).await;
}
