//! Offline sync: what changed since a phone last asked, and what it recorded meanwhile.

mod model;
mod pager;
mod visibility;
