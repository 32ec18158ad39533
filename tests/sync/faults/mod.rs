//! The real database under fault.
