//! The real service on a real database that fails: connections cut at every statement, processes killed, copies restored.

mod cases;
mod cuts;
mod data;
mod knife;
mod state;
mod wire;
