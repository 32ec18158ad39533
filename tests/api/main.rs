//! The API checked over a real socket.
