//! Shared technique: configuration, the database door, access, problems, paging. It knows no resource.

pub mod cluster;
