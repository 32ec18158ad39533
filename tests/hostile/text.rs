//! Small words about text: ids and markers in it, and how it is compared.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;

/// Start of every marker; six digits follow.
pub const MARK: &str = "zqm";
const MARK_LENGTH: usize = MARK.len() + 6;
const ID_LENGTH: usize = 36;

/// Base64 as in tokens.
pub fn base64url(bytes: &[u8]) -> String {
    URL_SAFE_NO_PAD.encode(bytes)
}

/// The claims inside a token.
pub fn claims(token: &str) -> serde_json::Value {
    let middle = token.split('.').nth(1).unwrap();
    serde_json::from_slice(&URL_SAFE_NO_PAD.decode(middle).unwrap()).unwrap()
}

fn is_id(bytes: &[u8]) -> bool {
    bytes.len() == ID_LENGTH
        && bytes.iter().enumerate().all(|(at, byte)| match at {
            8 | 13 | 18 | 23 => *byte == b'-',
            _ => byte.is_ascii_hexdigit(),
        })
}

fn is_mark(bytes: &[u8]) -> bool {
    bytes.starts_with(MARK.as_bytes()) && bytes[MARK.len()..].iter().all(u8::is_ascii_digit)
}

/// Where ids stand in a text.
fn ids_at(bytes: &[u8]) -> Vec<usize> {
    let mut found = Vec::new();
    let mut at = 8;
    while at + 28 <= bytes.len() {
        if bytes[at] == b'-' && bytes[at + 5] == b'-' && is_id(&bytes[at - 8..at + 28]) {
            found.push(at - 8);
            at += 28;
        }
        at += 1;
    }
    found
}

/// A body as people read it: the words of a PDF file, whose bytes are packed.
pub fn readable(bytes: &[u8]) -> Vec<u8> {
    if !bytes.starts_with(b"%PDF") {
        return bytes.to_vec();
    }
    let file = lopdf::Document::load_mem(bytes).unwrap();
    let pages: Vec<u32> = file.get_pages().into_keys().collect();
    file.extract_text(&pages).unwrap().into_bytes()
}

/// All ids and markers in a text, in lower case.
pub fn traces(bytes: &[u8]) -> Vec<String> {
    let text = |at: usize, length: usize| String::from_utf8_lossy(&bytes[at..at + length]).to_lowercase();
    let mut found: Vec<String> = ids_at(bytes).into_iter().map(|at| text(at, ID_LENGTH)).collect();
    found.extend(marks_at(bytes).into_iter().map(|at| text(at, MARK_LENGTH)));
    found.sort();
    found.dedup();
    found
}

/// Where markers stand.
fn marks_at(bytes: &[u8]) -> Vec<usize> {
    let mut found = Vec::new();
    let mut at = 0;
    while at + MARK_LENGTH <= bytes.len() {
        if bytes[at] == b'z' && is_mark(&bytes[at..at + MARK_LENGTH]) {
            found.push(at);
            at += MARK_LENGTH;
        } else {
            at += 1;
        }
    }
    found
}

/// A body as it is compared: ids are alike, and so are markers.
pub fn without_ids(bytes: &[u8]) -> String {
    let ids = ids_at(bytes).into_iter().map(|at| (at, ID_LENGTH, "ID"));
    let mut names: Vec<(usize, usize, &str)> =
        ids.chain(marks_at(bytes).into_iter().map(|at| (at, MARK_LENGTH, "MARK"))).collect();
    names.sort_unstable();
    let mut out = Vec::with_capacity(bytes.len());
    let mut from = 0;
    for (at, length, name) in names {
        out.extend_from_slice(&bytes[from..at]);
        out.extend_from_slice(name.as_bytes());
        from = at + length;
    }
    out.extend_from_slice(&bytes[from..]);
    String::from_utf8_lossy(&out).into_owned()
}

/// The first characters of a text, for people.
pub fn short(text: &str, length: usize) -> String {
    text.chars().take(length).collect()
}

#[test]
fn traces_are_found_wherever_they_stand() {
    let id = "0190f000-0000-7000-8000-0000000000AF";
    let text = format!("a-b{id}-{id} zqm000012,zqm99 {}", &id[..35]);
    assert_eq!(traces(text.as_bytes()), [id.to_lowercase(), "zqm000012".to_owned()]);
    assert_eq!(without_ids(format!("<{id}>").as_bytes()), "<ID>");
}
