//! A frugal HTTP/1.1 client: the load runs on the cores of the service, so it must cost little beside it.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::time::{Duration, Instant};

/// One connection that is kept open.
pub struct Wire {
    stream: BufReader<TcpStream>,
    line: String,
    /// The body of the last answer.
    pub body: Vec<u8>,
}

impl Wire {
    /// Connects to `host:port`.
    pub fn open(address: &str) -> Self {
        let stream = TcpStream::connect(address).expect("the service listens");
        stream.set_nodelay(true).expect("a socket");
        Self { stream: BufReader::with_capacity(64 * 1024, stream), line: String::new(), body: Vec::new() }
    }

    /// Sends a whole request and reads the whole answer: its status and how long that took.
    pub fn call(&mut self, request: &[u8]) -> (u16, Duration) {
        let begun = Instant::now();
        self.stream.get_mut().write_all(request).expect("the service reads");
        let mut status = 0;
        let mut length = 0;
        loop {
            self.line.clear();
            self.stream.read_line(&mut self.line).expect("the service answers");
            let line = self.line.trim_end();
            assert!(!self.line.is_empty(), "the service closed the connection");
            if line.is_empty() {
                break;
            }
            if status == 0 {
                status = line.split(' ').nth(1).and_then(|code| code.parse().ok()).expect("a status line");
            }
            if let Some((name, value)) = line.split_once(':')
                && name.eq_ignore_ascii_case("content-length")
            {
                length = value.trim().parse().expect("a length");
            }
        }
        self.body.resize(length, 0);
        self.stream.read_exact(&mut self.body).expect("the whole body");
        (status, begun.elapsed())
    }

    /// The body of the last answer as JSON.
    pub fn json(&self) -> serde_json::Value {
        serde_json::from_slice(&self.body).expect("JSON")
    }
}

/// A GET of a path with an access token.
pub fn get(path: &str, access: &str) -> Vec<u8> {
    format!("GET {path} HTTP/1.1\r\nhost: localhost\r\nauthorization: Bearer {access}\r\n\r\n").into_bytes()
}

/// A POST of JSON with an access token.
pub fn post(path: &str, access: &str, body: &[u8]) -> Vec<u8> {
    send(path, access, "application/json", body)
}

/// A POST of a body of this media type with an access token.
pub fn send(path: &str, access: &str, media_type: &str, body: &[u8]) -> Vec<u8> {
    let head = format!(
        "POST {path} HTTP/1.1\r\nhost: localhost\r\nauthorization: Bearer {access}\r\ncontent-type: {media_type}\r\n\
         content-length: {}\r\n\r\n",
        body.len()
    );
    [head.as_bytes(), body].concat()
}

/// A POST of packed JSON without a token.
pub fn packed(path: &str, coding: &str, body: &[u8]) -> Vec<u8> {
    let head = format!(
        "POST {path} HTTP/1.1\r\nhost: localhost\r\ncontent-encoding: {coding}\r\ncontent-type: application/json\r\n\
         content-length: {}\r\n\r\n",
        body.len()
    );
    [head.as_bytes(), body].concat()
}
