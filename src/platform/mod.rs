//! Shared technique: configuration, the database door, access, problems, paging. Knows no resource.

pub mod accept;
pub mod access;
pub mod batch;
pub mod body;
pub mod cluster;
pub mod config;
pub mod db;
pub mod document;
pub mod fault;
pub mod grants;
pub mod health;
pub mod ids;
pub mod news;
pub mod ops;
pub mod page;
pub mod params;
pub mod password;
pub mod patch;
pub mod problem;
pub mod record;
pub mod routed;
pub mod stored;
pub mod telemetry;
pub mod throttle;
pub mod token;
pub mod words;
