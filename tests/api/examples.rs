//! Writes down what was sent and answered, for the document: the same for every run, but for what is measured or drawn.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, SecondsFormat, Timelike, Utc};
use serde_json::{Value, json};
use uuid::Uuid;

use crate::operations::stage::Case;
use crate::support::Answer;

/// The day that a run is shown as.
const SHOWN: NaiveDate = NaiveDate::from_ymd_opt(2026, 11, 25).unwrap();
/// What is secret or random, by the name of its field, and what stands for it.
const OPAQUE: [(&str, &str); 10] = [
    ("access_token", "eyJhbGciOiJFZERTQSJ9.e30.c2lnbmF0dXJl"),
    ("refresh_token", "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"),
    ("client_id", "AZNvLl06fEGbHi9tDIpOVwGTby5dOnxBmx4vbQyKTlc"),
    ("code_verifier", "dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk"),
    ("token", "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"),
    ("sheets_href", "/v1/session-sheets?link=AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"),
    ("sync_token", "st1.AAECAw"),
    ("next_cursor", "IjAxOTM2ZjJlLTVkM2EtN2M0MS05YjFlLTJmNmQwYzhhNGU1NyI"),
    ("kid", "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57"),
    ("x", "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"),
];
/// Records of a list that are shown.
const FEW: usize = 5;

/// What was seen, by operation.
#[derive(Default)]
pub struct Recorder {
    seen: BTreeMap<String, Value>,
    ids: BTreeMap<Uuid, Uuid>,
}

impl Recorder {
    /// Notes an exchange.
    pub fn note(&mut self, operation: &str, case: &Case, answer: &Answer) {
        let form = case.headers.iter().any(|(_, value)| value == "application/x-www-form-urlencoded");
        let request =
            case.body.as_deref().and_then(|bytes| if form { Some(self.form(bytes)) } else { self.shown(bytes) });
        let response = self.shown(&answer.bytes);
        let seen = json!({"request": request, "status": answer.status, "response": response});
        self.seen.insert(operation.to_owned(), seen);
    }

    /// Writes all of it.
    pub fn write(&self, path: &str) {
        let text = serde_json::to_string_pretty(&self.seen).unwrap();
        std::fs::write(path, text + "\n").unwrap();
    }

    /// A body as it is shown; none when it is empty.
    fn shown(&mut self, bytes: &[u8]) -> Option<Value> {
        // Bytes are no example for a reader.
        let Ok(text) = std::str::from_utf8(bytes) else { return Some(json!("(the bytes of a file)")) };
        let mut value = serde_json::from_str(text).unwrap_or_else(|_| json!(text));
        self.show(&mut value, "");
        (!text.is_empty()).then_some(value)
    }

    /// A form as an object of its fields, as the document shows it.
    fn form(&mut self, bytes: &[u8]) -> Value {
        // Elsewhere a code is a word for programs.
        let secret = |name: &str| if name == "code" { "token" } else { name }.to_owned();
        let fields = form_urlencoded::parse(bytes).map(|(name, value)| {
            let mut value = json!(value);
            self.show(&mut value, &secret(&name));
            (name.into_owned(), value)
        });
        Value::Object(fields.collect())
    }

    fn show(&mut self, value: &mut Value, name: &str) {
        match value {
            Value::Object(fields) => fields.iter_mut().for_each(|(name, value)| self.show(value, name)),
            Value::Array(list) => {
                if list.iter().all(Value::is_object) {
                    list.truncate(FEW);
                }
                for one in list {
                    self.show(one, name);
                }
            }
            Value::String(text) => {
                let opaque = OPAQUE.iter().find(|(known, _)| *known == name);
                *text = opaque.map_or_else(|| self.text(text), |(_, shown)| (*shown).to_owned());
            }
            _ => {}
        }
    }

    /// A text whose ids are numbered and whose days are those of the day that is shown.
    fn text(&mut self, text: &str) -> String {
        let moved = |day: NaiveDate| SHOWN + (day - Utc::now().date_naive());
        if let Ok(at) = DateTime::parse_from_rfc3339(text) {
            let at = at.to_utc();
            // What a clock said is not the same twice.
            let time = if at.nanosecond() == 0 { at.time() } else { chrono::NaiveTime::from_hms_opt(8, 0, 2).unwrap() };
            return moved(at.date_naive()).and_time(time).and_utc().to_rfc3339_opts(SecondsFormat::Secs, true);
        }
        // A test listens on whatever port is free.
        let own = text.strip_prefix("http://127.0.0.1:").and_then(|rest| rest.split_once('/').or(Some((rest, ""))));
        if let Some((_, path)) = own.filter(|(port, _)| port.bytes().all(|byte| byte.is_ascii_digit())) {
            return format!("https://hurdles.example/{path}").trim_end_matches('/').to_owned();
        }
        let (mut shown, mut rest) = (String::new(), text);
        while let Some(next) = rest.chars().next() {
            let id = rest.get(..36).and_then(|part| Uuid::try_parse(part).ok());
            let day =
                rest.get(..10).and_then(|part| part.parse::<NaiveDate>().ok().filter(|day| day.to_string() == part));
            let taken = match (id, day) {
                (Some(id), _) => {
                    shown.push_str(&self.id(id).to_string());
                    36
                }
                (None, Some(day)) => {
                    shown.push_str(&moved(day).to_string());
                    10
                }
                (None, None) => {
                    shown.push(next);
                    next.len_utf8()
                }
            };
            rest = &rest[taken..];
        }
        shown
    }

    fn id(&mut self, id: Uuid) -> Uuid {
        let next = Uuid::from_u128(0x0193_6f2e_5d3a_7c41_9b1e_2f6d_0c8a_4e57 + self.ids.len() as u128);
        *self.ids.entry(id).or_insert(next)
    }
}
