//! Phones behind a bad network before the real service.
