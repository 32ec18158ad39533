//! One broken field, and the list of all of them.

use precis_profiles::UsernameCaseMapped;
use precis_profiles::precis_core::profile::PrecisFastInvocation;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::fault_code::FaultCode;
use super::text;

/// One broken field of a request.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Fault {
    /// JSON Pointer (RFC 6901) to the field of the body; absent for a query parameter or header.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 400, example = "/runs/0/height_m")]
    pub pointer: Option<String>,
    /// The query parameter or header, when the fault is not in the body.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 100, example = "limit")]
    pub parameter: Option<String>,
    /// Stable code for programs.
    #[schema(value_type = FaultCode)]
    pub code: String,
    /// What is wrong and what would be right, for people.
    #[schema(max_length = 1000, example = "must be from 0.05 to 1.1 metres")]
    pub detail: String,
}

impl Fault {
    /// A fault of one body field.
    pub fn at(pointer: impl Into<String>, code: &str, detail: impl Into<String>) -> Self {
        Self { pointer: Some(pointer.into()), parameter: None, code: code.into(), detail: detail.into() }
    }

    /// Whether it is this one.
    pub fn is(&self, code: FaultCode) -> bool {
        self.code == code.as_str()
    }

    /// A fault of one query parameter or header.
    pub fn of(parameter: impl Into<String>, code: &str, detail: impl Into<String>) -> Self {
        Self { pointer: None, parameter: Some(parameter.into()), code: code.into(), detail: detail.into() }
    }
}

/// Collects every fault of a body before refusing it, so that one answer names them all.
#[derive(Debug, Default)]
pub struct Faults(Vec<Fault>);

impl Faults {
    /// No fault yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Notes a fault.
    pub fn add(&mut self, pointer: impl Into<String>, code: &str, detail: impl Into<String>) {
        self.0.push(Fault::at(pointer, code, detail));
    }

    /// Notes all of another list, each pointer behind `prefix`.
    pub fn add_all(&mut self, prefix: &str, faults: Vec<Fault>) {
        self.0.extend(faults.into_iter().map(|mut fault| {
            fault.pointer = fault.pointer.map(|pointer| format!("{prefix}{pointer}"));
            fault
        }));
    }

    /// The value of a result, or none and a fault with the error's own words.
    pub fn take<T, E: std::fmt::Display>(&mut self, pointer: &str, code: &str, value: Result<T, E>) -> Option<T> {
        value.map_err(|error| self.add(pointer, code, error.to_string())).ok()
    }

    /// The text trimmed, or a fault when it is empty, longer than `max` characters or not plain; see [`text::is_plain`].
    pub fn text(&mut self, pointer: &str, text: &str, max: usize) -> Option<String> {
        let text = text.trim();
        let count = text.chars().count();
        if count == 0 || count > max {
            self.add(pointer, "length", format!("must have 1 to {max} characters"));
            return None;
        }
        if !text::is_plain(text) {
            let detail =
                "must be readable: no control characters, none that are invisible or turn the direction of writing";
            self.add(pointer, "characters", detail);
            return None;
        }
        Some(text.to_owned())
    }

    /// Like [`Faults::text`] for a field that may be absent.
    pub fn opt_text(&mut self, pointer: &str, text: Option<&str>, max: usize) -> Option<String> {
        text.and_then(|text| self.text(pointer, text, max))
    }

    /// The e-mail address in its normal form, or a fault.
    pub fn email(&mut self, pointer: &str, text: &str) -> Option<String> {
        let email = normal_email(text);
        if email.is_none() {
            self.add(pointer, "email", "must be an e-mail address such as coach@club.example");
        }
        email
    }

    /// Whether nothing is broken so far.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// `value` when nothing was broken, else every fault.
    ///
    /// # Errors
    /// The faults, when there are any, or when `value` is missing (a bug if no fault says why).
    pub fn finish<T>(self, value: Option<T>) -> Result<T, Vec<Fault>> {
        match value {
            Some(value) if self.0.is_empty() => Ok(value),
            _ => Err(self.0),
        }
    }
}

/// The e-mail address in the form it is looked up by, if it can be one: the local part as a user name (RFC 8265), the host
/// as a host name (UTS 46), so that letters of another case, width or composition and `xn--` names lead to one account.
pub fn normal_email(text: &str) -> Option<String> {
    let (local, host) = text.trim().split_once('@')?;
    let local = UsernameCaseMapped::enforce(local).ok()?;
    idna::domain_to_ascii_cow(host.as_bytes(), idna::AsciiDenyList::URL).ok()?;
    let (host, valid) = idna::domain_to_unicode(host);
    valid.ok()?;
    let plain = |part: &str| !part.is_empty() && !part.chars().any(|c| c.is_whitespace() || c.is_control() || c == '@');
    let email = format!("{local}@{host}");
    (plain(&local) && plain(&host) && host.split('.').all(|label| !label.is_empty()) && email.len() <= 254)
        .then_some(email)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_looked_up_in_one_form() {
        assert_eq!(normal_email(" Coach@Club.Example ").as_deref(), Some("coach@club.example"));
        assert_eq!(
            normal_email("E\u{301}cole@Bu\u{308}cher.example"),
            normal_email("\u{e9}cole@xn--bcher-kva.example")
        );
        assert_eq!(normal_email("\u{ff23}oach@\u{ff43}lub.example").as_deref(), Some("coach@club.example"));
        assert_eq!(normal_email("o'Brien+tag@club").as_deref(), Some("o'brien+tag@club"));
        let hidden = ["co\u{200b}ach@club", "coach@a..b", "coach@club.", "coach@a b", "coach@a/b"];
        for wrong in ["", "coach", "@club", "coach@", "co ach@club", "a@b@c"].into_iter().chain(hidden) {
            assert_eq!(normal_email(wrong), None, "{wrong}");
        }
    }
}
