//! At most two pushes at work for each club and instance; a few more wait, and its members take turns.

use actix_web::http::header::RETRY_AFTER;

use crate::platform::lanes::{Lanes, PUSHES, Turn, Who};
use crate::platform::problem::{Code, Problem};

/// Waits for a turn.
///
/// # Errors
/// 429 with `Retry-After` when too many wait, or for too long.
pub async fn turn(lanes: &Lanes, who: Who) -> Result<Turn, Problem> {
    lanes.pushes.turn(who).await.map_err(|_| {
        let detail =
            format!("{PUSHES} pushes of this club are at work and others wait. Send the same items again in a moment.");
        Problem::new(Code::TooMany, detail).with_header(RETRY_AFTER, "2")
    })
}
