//! The mathematics checked from outside.

mod specs;
