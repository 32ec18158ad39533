//! The API over a real socket, on a real database of its own for each test.

mod accounts;
mod groups;
mod members;
mod schema;
mod service;
mod support;
