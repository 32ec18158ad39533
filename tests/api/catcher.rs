//! A mail server of the tests' own: a small listener that speaks SMTP (RFC 5321) and keeps what it was given.

use std::collections::HashMap;
use std::sync::{Arc, Mutex};

use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use chrono::{DateTime, Utc};
use lanewright::platform::db::Db;
use lanewright::platform::mail::{Carrier, Settings};
use lanewright::post::{self, Round};
use secrecy::SecretString;
use tokio::io::{AsyncBufReadExt, AsyncWriteExt, BufReader};
use tokio::net::{TcpListener, TcpStream};

use crate::support::TestApp;

/// A mail that was taken.
#[derive(Clone, Debug)]
pub struct Caught {
    /// To whom the envelope was addressed.
    pub to: Vec<String>,
    pub raw: String,
}

impl Caught {
    /// A header, unfolded; empty when absent.
    pub fn header(&self, name: &str) -> String {
        let head = self.raw.split("\r\n\r\n").next().unwrap().replace("\r\n ", " ");
        let start = format!("{}:", name.to_lowercase());
        let found = head.lines().find(|line| line.to_lowercase().starts_with(&start));
        found.map_or_else(String::new, |line| line[start.len()..].trim().to_owned())
    }

    /// The part of a media type, decoded.
    pub fn part(&self, media: &str) -> String {
        let part = self.raw.split("\r\n--").find(|part| part.contains(&format!("Content-Type: {media}"))).unwrap();
        let (head, body) = part.split_once("\r\n\r\n").unwrap();
        let body = match head.to_lowercase() {
            head if head.contains("quoted-printable") => quoted(body),
            head if head.contains("base64") => {
                let packed: String = body.chars().filter(|c| !c.is_whitespace()).collect();
                STANDARD.decode(packed).unwrap()
            }
            _ => body.as_bytes().to_vec(),
        };
        String::from_utf8(body).unwrap()
    }

    pub fn plain(&self) -> String {
        self.part("text/plain")
    }

    /// The code of a mail: the line after the one that ends with a colon and follows the link.
    pub fn code(&self) -> String {
        let plain = self.plain();
        let link = plain.lines().find(|line| line.contains("/mail/")).unwrap_or_else(|| panic!("no link in {plain}"));
        let code = link.rsplit('/').next().unwrap().to_owned();
        assert!(plain.lines().any(|line| line == code), "{plain}");
        code
    }
}

/// Quoted-printable (RFC 2045, section 6.7).
fn quoted(text: &str) -> Vec<u8> {
    let text = text.replace("=\r\n", "");
    let (mut bytes, mut rest) = (Vec::new(), text.as_bytes());
    while let Some((first, after)) = rest.split_first() {
        let hex = after.get(..2).and_then(|hex| u8::from_str_radix(std::str::from_utf8(hex).ok()?, 16).ok());
        match hex.filter(|_| *first == b'=') {
            Some(byte) => {
                bytes.push(byte);
                rest = &after[2..];
            }
            None => {
                bytes.push(*first);
                rest = after;
            }
        }
    }
    bytes
}

type Answers = Arc<Mutex<HashMap<&'static str, String>>>;

/// The server, and a carrier that knows it.
pub struct Catcher {
    caught: Arc<Mutex<Vec<Caught>>>,
    answers: Answers,
    pub carrier: Carrier,
    pub db: Db,
}

impl Catcher {
    pub async fn of(app: &TestApp) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = listener.local_addr().unwrap();
        let caught: Arc<Mutex<Vec<Caught>>> = Arc::default();
        let answers: Answers = Arc::default();
        let (keep, say) = (Arc::clone(&caught), Arc::clone(&answers));
        tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                tokio::spawn(talk(stream, Arc::clone(&keep), Arc::clone(&say)));
            }
        });
        let settings = Settings {
            server: Some(SecretString::from(format!("smtp://{address}"))),
            folder: std::path::PathBuf::new(),
            from: "Lanewright <mail@service.example>".to_owned(),
            public_url: app.base.clone(),
        };
        let db = Db::lazy((*app.pool.connect_options()).clone(), 1);
        Self { caught, answers, carrier: Carrier::new(settings).unwrap(), db }
    }

    /// From here on a command (`RCPT`, `DATA`) is answered so; empty means as usual.
    pub fn answer(&self, command: &'static str, with: &str) {
        self.answers.lock().unwrap().insert(command, with.to_owned());
    }

    /// Sends all that is due at this time, and says what became of it.
    pub async fn carry_at(&self, now: DateTime<Utc>) -> Round {
        let mut all = Round::default();
        loop {
            let round = post::carry(&self.db, &self.carrier, now).await.unwrap();
            if round.is_empty() {
                return all;
            }
            all.sent += round.sent;
            all.needless += round.needless;
            all.later += round.later;
            all.given_up += round.given_up;
        }
    }

    /// Sends all that is due, and hands out what came.
    pub async fn carry(&self) -> Vec<Caught> {
        self.carry_at(Utc::now()).await;
        self.taken()
    }

    /// The only mail that comes.
    #[track_caller]
    pub fn only(mut mails: Vec<Caught>) -> Caught {
        assert_eq!(mails.len(), 1, "{mails:?}");
        mails.remove(0)
    }

    /// What came since it was last asked.
    pub fn taken(&self) -> Vec<Caught> {
        std::mem::take(&mut self.caught.lock().unwrap())
    }
}

async fn talk(stream: TcpStream, caught: Arc<Mutex<Vec<Caught>>>, answers: Answers) -> Option<()> {
    let (read, mut write) = stream.into_split();
    let mut lines = BufReader::new(read);
    let answer = |command: &str| answers.lock().unwrap().get(command).cloned().filter(|text| !text.is_empty());
    let mut to: Vec<String> = Vec::new();
    write.write_all(b"220 catcher.example ESMTP\r\n").await.ok()?;
    loop {
        let mut line = String::new();
        if lines.read_line(&mut line).await.ok()? == 0 {
            return None;
        }
        let verb = line.get(..4).unwrap_or_default().to_uppercase();
        let reply = match verb.as_str() {
            "EHLO" => answer("EHLO").unwrap_or_else(|| "250-catcher.example\r\n250 8BITMIME".to_owned()),
            "MAIL" => {
                to.clear();
                "250 ok".to_owned()
            }
            "RCPT" => {
                let address = line.split('<').nth(1).and_then(|rest| rest.split('>').next()).unwrap_or_default();
                to.push(address.to_owned());
                answer("RCPT").unwrap_or_else(|| "250 ok".to_owned())
            }
            "DATA" => {
                write.write_all(b"354 go on\r\n").await.ok()?;
                let mut raw = String::new();
                loop {
                    let mut line = String::new();
                    lines.read_line(&mut line).await.ok()?;
                    if line == ".\r\n" {
                        break;
                    }
                    // RFC 5321, section 4.5.2.
                    raw.push_str(line.strip_prefix('.').unwrap_or(&line));
                }
                let refused = answer("DATA");
                if refused.is_none() {
                    caught.lock().unwrap().push(Caught { to: to.clone(), raw });
                }
                refused.unwrap_or_else(|| "250 taken".to_owned())
            }
            "QUIT" => {
                write.write_all(b"221 bye\r\n").await.ok()?;
                return Some(());
            }
            _ => "250 ok".to_owned(),
        };
        write.write_all(format!("{reply}\r\n").as_bytes()).await.ok()?;
    }
}
