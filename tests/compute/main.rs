//! The mathematics checked from outside.
