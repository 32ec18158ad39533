//! Sockets to a database, and the framing of its messages: one byte that names the kind, four of length, the rest.

use std::io::{self, Read, Write};
use std::net::{Shutdown, TcpStream};
use std::os::unix::net::UnixStream;
use std::path::PathBuf;

use sqlx::postgres::PgConnectOptions;

/// Where the database listens.
#[derive(Clone, Debug)]
pub enum Upstream {
    Tcp(String, u16),
    Unix(PathBuf),
}

impl Upstream {
    pub fn of(options: &PgConnectOptions) -> Self {
        let port = options.get_port();
        let host = options.get_host();
        let folder = options.get_socket().cloned().or_else(|| host.starts_with('/').then(|| PathBuf::from(host)));
        match folder {
            Some(folder) => Self::Unix(folder.join(format!(".s.PGSQL.{port}"))),
            None => Self::Tcp(host.to_owned(), port),
        }
    }

    pub fn connect(&self) -> io::Result<Wire> {
        match self {
            Self::Tcp(host, port) => TcpStream::connect((host.as_str(), *port)).map(Wire::Tcp),
            Self::Unix(path) => UnixStream::connect(path).map(Wire::Unix),
        }
    }
}

/// One connection.
#[derive(Debug)]
pub enum Wire {
    Tcp(TcpStream),
    Unix(UnixStream),
}

impl Wire {
    /// The same connection for another thread.
    pub fn twin(&self) -> io::Result<Self> {
        match self {
            Self::Tcp(stream) => stream.try_clone().map(Self::Tcp),
            Self::Unix(stream) => stream.try_clone().map(Self::Unix),
        }
    }

    /// Ends the connection for every thread.
    pub fn end(&self) {
        // One that has ended already is what we want.
        let _ = match self {
            Self::Tcp(stream) => stream.shutdown(Shutdown::Both),
            Self::Unix(stream) => stream.shutdown(Shutdown::Both),
        };
    }

    pub fn send(&mut self, bytes: &[u8]) -> io::Result<()> {
        match self {
            Self::Tcp(stream) => stream.write_all(bytes),
            Self::Unix(stream) => stream.write_all(bytes),
        }
    }

    fn fill(&mut self, bytes: &mut [u8]) -> io::Result<()> {
        match self {
            Self::Tcp(stream) => stream.read_exact(bytes),
            Self::Unix(stream) => stream.read_exact(bytes),
        }
    }

    /// The first message of a client, which has no kind.
    pub fn startup(&mut self) -> io::Result<Vec<u8>> {
        self.rest(Vec::new())
    }

    /// The next message, whole; its first byte is its kind.
    pub fn message(&mut self) -> io::Result<Vec<u8>> {
        let mut kind = vec![0];
        self.fill(&mut kind)?;
        self.rest(kind)
    }

    fn rest(&mut self, mut message: Vec<u8>) -> io::Result<Vec<u8>> {
        let mut length = [0; 4];
        self.fill(&mut length)?;
        message.extend(length);
        let from = message.len();
        let more = usize::try_from(u32::from_be_bytes(length)).unwrap_or(usize::MAX).saturating_sub(4);
        message.resize(from + more, 0);
        self.fill(&mut message[from..])?;
        Ok(message)
    }
}

/// The text up to the next zero byte, and what follows it.
pub fn text(bytes: &[u8]) -> (&str, &[u8]) {
    let end = bytes.iter().position(|byte| *byte == 0).unwrap_or(bytes.len());
    let rest = bytes.get(end + 1..).unwrap_or_default();
    (std::str::from_utf8(&bytes[..end]).unwrap_or("?"), rest)
}
