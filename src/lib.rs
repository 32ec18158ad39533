//! Lanewright: the backend that athletics clubs run for their sprint-hurdle squads.
//!
//! `compute` is the mathematics, `render` turns its results into files, `platform` is shared technique,
//! `paper` answers with documents for people, `resources` has one folder per resource, `mail_pages` is what links in mails lead to,
//! `app` puts them together, `serve` starts and stops it, `chores` drops what is kept long enough, `post` carries mail, `seed` fills it
//! with invented clubs, `rehearsal` plays the server for somebody
//! else's phone.

pub mod app;
pub mod chores;
pub mod mail_pages;
pub mod paper;
pub mod platform;
pub mod post;
pub mod rehearsal;
pub mod resources;
pub mod seed;
pub mod serve;

/// The mathematics, a package of its own: pure, and optimised in every profile.
pub use lanewright_compute as compute;
/// Results as files, a package of its own.
pub use lanewright_render as render;
