//! Offline sync, proved in three layers: a pure model of server and phone, phones behind a bad network before the real
//! service, and the real database under fault.

// Tests may fail loudly, and their figures are small.
#![allow(clippy::unwrap_used, clippy::panic, clippy::cast_precision_loss, missing_docs)]

#[path = "../api/contract.rs"]
#[allow(dead_code, reason = "shared with the tests of the API")]
mod contract;
#[path = "../simulation/dice.rs"]
#[allow(dead_code)] // the other simulation draws from distributions as well
mod dice;
mod erasure;
mod faults;
mod model;
mod network;
mod phone;
mod rehearsal;
#[path = "../api/support.rs"]
#[allow(dead_code, reason = "shared with the tests of the API")]
mod support;
