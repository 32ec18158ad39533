//! A phone that follows the guide.
