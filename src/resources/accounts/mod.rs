//! Accounts: sign-up, sign-in, refresh, sign-out, devices, and founding a club.

mod http;
mod model;
mod shapes;
mod store;

pub use http::routes;
