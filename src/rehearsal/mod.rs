//! Somebody else's phone rehearses: the server's side of scripted scenes, and what the phone did wrong in them.
//!
//! The phone's own test driver asks `POST /rehearsal/next` for what the person does next and answers with what came of it;
//! the phone itself talks to `/v1/clubs/{club_id}/changes` of the same address. Nothing is stored and no database is needed.
//! `scenes` says what happens, `stage` plays the server and knows what the phone must have by now, `judge` compares that with
//! what arrives. Each rule is a sentence of `api-spec/sync-guide.md`.

mod carry;
mod deeds;
mod http;
mod judge;
mod mirror;
mod play;
mod report;
mod rules;
mod scenes;
mod stage;

pub use http::{Rehearsal, start};
pub use report::{Finding, Report, Verdict};
pub use rules::ALL as RULES;

/// The scenes: name, and what happens in it.
pub fn scenes() -> Vec<(&'static str, &'static str)> {
    scenes::all().into_iter().map(|scene| (scene.name, scene.about)).collect()
}
