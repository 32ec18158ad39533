//! A letter as a message: plain text and HTML, from words of ours and gaps that hold what strangers wrote.

use std::fmt::Write as _;

use lettre::Address;
use lettre::message::header::{Header, HeaderName, HeaderValue};
use lettre::message::{Mailbox, MultiPart};

use super::{Language, Said, Settings, Texts};

/// A mail that is ready to be put into words.
#[derive(Debug)]
pub struct Mail {
    /// To whom, in the normal form.
    pub to: String,
    /// In which language.
    pub language: Language,
    /// Which words.
    pub said: Said,
    /// What stands in the gaps.
    pub gaps: Vec<(&'static str, String)>,
    /// The secret of its link and code.
    pub secret: Option<String>,
}

/// No person sent this, so no machine answers it (RFC 3834).
#[derive(Clone)]
struct AutoSubmitted;

impl Header for AutoSubmitted {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("Auto-Submitted")
    }

    fn parse(_: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
        Ok(Self)
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(Self::name(), "auto-generated".to_owned())
    }
}

/// What a stranger wrote as part of a line: no break, nothing invisible, and nothing of which a mail program makes a link.
fn tame(text: &str) -> String {
    let mut tamed = String::with_capacity(text.len());
    let mut characters = text.chars().map(|c| if c.is_control() { ' ' } else { c }).peekable();
    while let Some(c) = characters.next() {
        tamed.push(c);
        let joins = matches!(c, '.' | ':' | '/' | '@' | '\u{3002}' | '\u{ff0e}' | '\u{ff61}');
        if joins && characters.peek().is_some_and(|next| !next.is_whitespace() && !next.is_ascii_digit()) {
            tamed.push(' ');
        }
    }
    tamed
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// The address as it goes over the wire: the host in ASCII, whatever its letters (RFC 5891).
fn wire(email: &str) -> Result<Address, String> {
    let (local, host) = email.rsplit_once('@').ok_or("the address has no @")?;
    let host = idna::domain_to_ascii(host).map_err(|_| "the host of the address is none")?;
    Address::new(local, host).map_err(|error| format!("the address cannot be used for mail: {error}"))
}

impl Mail {
    fn filled(&self, paragraph: &str) -> String {
        let mut filled = String::with_capacity(paragraph.len());
        let mut rest = paragraph;
        // Once from left to right, so that nothing in a gap is filled again.
        while let Some((before, after)) = rest.split_once('{') {
            let (gap, behind) = after.split_once('}').unwrap_or((after, ""));
            filled.push_str(before);
            let value = self.gaps.iter().find(|(name, _)| *name == gap).map_or("", |(_, value)| value.as_str());
            filled.push_str(&tame(value));
            rest = behind;
        }
        filled.push_str(rest);
        filled
    }

    /// The two forms of the body.
    fn bodies(&self, public_url: &str) -> (String, String) {
        let texts = Texts::of(self.language);
        let (hello, close) = texts.frame();
        let secret = self.secret.as_deref().unwrap_or_default();
        let link = format!("{public_url}/mail/{secret}");
        let mut plain = format!("{hello}\r\n\r\n");
        let mut html = format!(
            "<!doctype html><html lang=\"{}\"><head><meta charset=\"utf-8\"><title>{}</title></head><body><p>{}</p>",
            self.language.as_str(),
            escaped(texts.text(self.said).subject),
            escaped(hello)
        );
        // Writing to a string cannot fail.
        for paragraph in texts.text(self.said).paragraphs {
            match *paragraph {
                "{link}" => {
                    let _ = write!(plain, "{link}\r\n\r\n");
                    let _ = write!(html, "<p><a href=\"{0}\">{0}</a></p>", escaped(&link));
                }
                "{code}" => {
                    let _ = write!(plain, "{secret}\r\n\r\n");
                    let _ = write!(html, "<p><code>{secret}</code></p>");
                }
                words => {
                    let words = self.filled(words);
                    let _ = write!(plain, "{words}\r\n\r\n");
                    let _ = write!(html, "<p>{}</p>", escaped(&words));
                }
            }
        }
        // The address is theirs, and must be read as it is.
        let close = close.replace("{address}", &self.to);
        let _ = write!(plain, "-- \r\n{close}\r\n");
        let _ = write!(html, "<p><small>{}</small></p></body></html>", escaped(&close));
        (plain, html)
    }

    /// The message as it is sent.
    ///
    /// # Errors
    /// Why it never can be: the address is none for mail.
    pub fn message(&self, settings: &Settings) -> Result<lettre::Message, String> {
        let from: Mailbox = settings.from.parse().map_err(|error| format!("LANEWRIGHT_MAIL_FROM: {error}"))?;
        let (plain, html) = self.bodies(&settings.public_url);
        let id = format!("<{}@{}>", uuid::Uuid::now_v7(), from.email.domain());
        lettre::Message::builder()
            .from(from)
            // No name beside the address: it is somebody's word.
            .to(Mailbox::new(None, wire(&self.to)?))
            .subject(Texts::of(self.language).text(self.said).subject)
            .message_id(Some(id))
            .header(AutoSubmitted)
            .multipart(MultiPart::alternative_plain_html(plain, html))
            .map_err(|error| error.to_string())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn settings() -> Settings {
        Settings {
            server: None,
            folder: std::path::PathBuf::new(),
            from: "Lanewright <mail@club.example>".to_owned(),
            public_url: "https://api.club.example".to_owned(),
        }
    }

    fn mail(to: &str, name: &str) -> Mail {
        Mail {
            to: to.to_owned(),
            language: Language::En,
            said: Said::Confirm,
            gaps: vec![("name", name.to_owned())],
            secret: Some("SECRET".to_owned()),
        }
    }

    #[test]
    fn what_a_stranger_wrote_stays_words() {
        let hostile =
            "Eve\r\nBcc: all@club.example\r\n\r\n<a href=\"https://evil.example\">{link}</a> www.evil.example";
        let (plain, html) = mail("ada@club.example", hostile).bodies("https://api.club.example");
        assert!(!plain.contains("\nBcc") && !html.contains("<a href=\"https://evil"), "{plain}{html}");
        assert_eq!((plain.matches("https://").count(), html.matches("<a ").count()), (1, 1), "{plain}{html}");
        assert!(!plain.contains("evil.example") && !html.contains("evil.example"), "{plain}{html}");
        assert!(plain.contains("{link}"), "a gap in a gap is not filled");
        let message = String::from_utf8(mail("ada@club.example", hostile).message(&settings()).unwrap().formatted());
        let message = message.unwrap();
        let (head, _) = message.split_once("\r\n\r\n").unwrap();
        assert!(!head.to_lowercase().contains("bcc") && !head.contains("Eve"), "{head}");
        assert!(head.contains("Auto-Submitted: auto-generated"), "{head}");
    }

    #[test]
    fn an_address_of_any_script_is_one_on_the_wire_or_refused() {
        for (email, sent) in [
            ("coach@b\u{fc}cher.example", "coach@xn--bcher-kva.example"),
            ("\u{e9}cole@club.example", "\u{e9}cole@club.example"),
            ("o'brien+tag@club.example", "o'brien+tag@club.example"),
        ] {
            assert_eq!(wire(email).unwrap().to_string(), sent);
        }
        for wrong in ["nobody", "a,b@club.example", "a\r\nrcpt to:<b@club.example>@club.example", "a>b@club.example"] {
            assert!(wire(wrong).is_err(), "{wrong}");
        }
    }
}
