//! The audit: who read, exported, changed and granted what, for admins. What a row says is decided in `platform/audit`.

mod http;
mod shapes;
mod store;

pub use http::routes;
