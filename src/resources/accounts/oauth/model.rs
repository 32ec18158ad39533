//! Apps, their redirect addresses and scopes, and the proof of the one who began.

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Duration, Utc};

use crate::platform::access::ALL_SCOPES;
use crate::platform::client::ClientId;
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::{AccountId, DeviceId};
use crate::platform::token::sha256;

/// Most redirect addresses of an app.
pub const MAX_REDIRECTS: usize = 10;
/// Longest redirect address, characters.
pub const LONGEST_REDIRECT: usize = 500;
/// Most apps of a club.
pub const MAX_APPS: i64 = 100;
/// How long a consent can be given after the password (design choice: long enough to read it).
pub const CONSENT_LIFE: Duration = Duration::minutes(10);
/// How long a code can be exchanged (RFC 6749, section 4.1.2, allows ten minutes; an app does it at once).
pub const CODE_LIFE: Duration = Duration::seconds(60);

/// An app as an admin registers it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct App {
    /// What people call it.
    pub name: String,
    /// Where browsers may be sent back to.
    pub redirect_uris: Vec<String>,
    /// What the club lets it have.
    pub scopes: Vec<String>,
}

impl App {
    /// Parses a registration.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(name: &str, redirect_uris: Vec<String>, scopes: Vec<String>) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let name = faults.text("/name", name, 100);
        count(&mut faults, "/redirect_uris", &redirect_uris, MAX_REDIRECTS);
        for (at, uri) in redirect_uris.iter().enumerate() {
            faults.take(&format!("/redirect_uris/{at}"), "address", check_redirect(uri));
        }
        let known: Vec<&str> = ALL_SCOPES.split(' ').collect();
        count(&mut faults, "/scopes", &scopes, known.len());
        for (at, scope) in scopes.iter().enumerate().filter(|(_, scope)| !known.contains(&scope.as_str())) {
            faults.add(format!("/scopes/{at}"), "word", format!("must be one of {}, not {scope:?}", known.join(", ")));
        }
        let scopes =
            known.into_iter().filter(|one| scopes.iter().any(|scope| scope == one)).map(str::to_owned).collect();
        faults.finish(name.map(|name| Self { name, redirect_uris, scopes }))
    }

    /// Whether a browser may be sent to this address: exactly as registered, but for the port of an address of the person's own
    /// device (RFC 8252, section 7.3).
    pub fn leads_to(&self, uri: &str) -> bool {
        self.redirect_uris
            .iter()
            .any(|known| known == uri || loopback(known).is_some() && loopback(known) == loopback(uri))
    }
}

fn count(faults: &mut Faults, pointer: &str, list: &[String], most: usize) {
    if list.is_empty() || list.len() > most {
        faults.add(pointer, "length", format!("must have 1 to {most} entries"));
    }
    if list.iter().enumerate().any(|(at, one)| list.iter().take(at).any(|before| before == one)) {
        faults.add(pointer, "duplicate", "must not name the same twice");
    }
}

/// Host and what follows the port of an address of the person's own device; none of any other.
fn loopback(uri: &str) -> Option<(&str, &str)> {
    let rest = uri.strip_prefix("http://")?;
    let at = rest.find('/')?;
    let (authority, tail) = rest.split_at(at);
    let host = ["127.0.0.1", "[::1]"].into_iter().find(|host| authority.starts_with(host))?;
    let port = authority.strip_prefix(host)?;
    (port.is_empty() || port.strip_prefix(':').is_some_and(is_port)).then_some((host, tail))
}

fn is_port(text: &str) -> bool {
    !text.starts_with('0') && text.bytes().all(|byte| byte.is_ascii_digit()) && text.parse::<u16>().is_ok()
}

/// Whether an address can be registered: https, http on the person's own device, or a scheme of the app's own (RFC 8252).
fn check_redirect(uri: &str) -> Result<(), &'static str> {
    const PLAIN: &str = "must be an address without spaces, quotes, backslash, `#`, of at most 500 characters";
    const KINDS: &str = "must begin with https://, http://127.0.0.1 or http://[::1] (any port will do), or a scheme of the app's \
                         own that is a domain turned round, such as com.example.app:/";
    let plain = uri.bytes().all(|byte| byte.is_ascii_graphic() && !b"\"'<>\\^`{|}#".contains(&byte));
    if !plain || uri.len() > LONGEST_REDIRECT {
        return Err(PLAIN);
    }
    let (scheme, rest) = uri.split_once(':').ok_or(KINDS)?;
    match scheme {
        "https" => {
            let (authority, _) = rest
                .strip_prefix("//")
                .and_then(|rest| rest.split_once('/'))
                .ok_or("must name a host and a path, which begins with /")?;
            let (host, port) = authority.split_once(':').map_or((authority, None), |(host, port)| (host, Some(port)));
            let label = |label: &str| {
                !label.is_empty()
                    && label.bytes().all(|byte| byte.is_ascii_lowercase() || byte.is_ascii_digit() || byte == b'-')
            };
            let fine = host.split('.').all(label) && port.is_none_or(is_port);
            if fine { Ok(()) } else { Err("must name its host in lower case, without a user") }
        }
        "http" => loopback(uri).map(drop).ok_or(KINDS),
        own => {
            let word = |byte: u8| byte.is_ascii_lowercase() || byte.is_ascii_digit() || b".-+".contains(&byte);
            let turned =
                own.contains('.') && own.starts_with(|c: char| c.is_ascii_lowercase()) && own.bytes().all(word);
            if turned && rest.starts_with('/') { Ok(()) } else { Err(KINDS) }
        }
    }
}

/// The place that a redirect address leads to, as a policy of what forms may lead to writes it (CSP `form-action`, which
/// browsers also hold the redirect after a form to).
pub fn place(uri: &str) -> String {
    let (scheme, rest) = uri.split_once(':').unwrap_or_default();
    let authority = rest.strip_prefix("//").and_then(|rest| rest.split('/').next()).unwrap_or_default();
    match scheme {
        // A policy cannot write an address of this kind.
        "http" if authority.starts_with('[') => "http:".to_owned(),
        "http" | "https" => format!("{scheme}://{authority}"),
        own => format!("{own}:"),
    }
}

/// The same for people.
pub fn place_in_words(uri: &str) -> String {
    let place = place(uri);
    match place.split_once("://") {
        Some(("https", host)) => host.to_owned(),
        None if place != "http:" => format!("the app {} on this device", place.trim_end_matches(':')),
        _ => "an app on this device".to_owned(),
    }
}

/// What a person and an app agree on, as far as it comes with the request.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Authorization {
    /// The app.
    pub client: ClientId,
    /// Where the browser is sent back to.
    pub redirect_uri: String,
    /// SHA-256 of the verifier, in Base64 for addresses.
    pub challenge: String,
    /// What the app gets.
    pub scopes: Vec<String>,
    /// What the app wants back unread.
    pub state: Option<String>,
    /// Whether whoever signed in for it showed a second factor.
    pub second_factor: bool,
}

impl Authorization {
    /// Whether this is what the challenge was made of (RFC 7636, section 4.6).
    pub fn is_proved_by(&self, verifier: &str) -> bool {
        let made = URL_SAFE_NO_PAD.encode(sha256(verifier.as_bytes()));
        is_verifier(verifier)
            && aws_lc_rs::constant_time::verify_slices_are_equal(made.as_bytes(), self.challenge.as_bytes()).is_ok()
    }
}

/// Whether it can be a verifier (RFC 7636, section 4.1).
pub fn is_verifier(text: &str) -> bool {
    (43..=128).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"-._~".contains(&byte))
}

/// Whether it can be a challenge by SHA-256.
pub fn is_challenge(text: &str) -> bool {
    text.len() == 43 && text.bytes().all(|byte| byte.is_ascii_alphanumeric() || b"-_".contains(&byte))
}

/// An authorization that was stored under a secret.
#[derive(Clone, Debug)]
pub struct Pending {
    /// Whose it is.
    pub account: AccountId,
    /// What was agreed on.
    pub of: Authorization,
    /// Until when the secret is good.
    pub expires_at: DateTime<Utc>,
    /// Whether it was used.
    pub used: bool,
    /// The sign-in that it gave.
    pub device: Option<DeviceId>,
}

/// Those of these scopes that are among the others, in their order.
pub fn both(these: &[String], others: &[impl AsRef<str>]) -> Vec<String> {
    these.iter().filter(|one| others.iter().any(|other| other.as_ref() == *one)).cloned().collect()
}

/// What a scope lets an app do, to the person it acts for.
pub fn in_words(scope: &str) -> &'static str {
    match scope {
        "squad.read" => "See what you see: groups, athletes, training, results, well-being reports, advice and plans.",
        "session.write" => "Keep athletes, and record sessions, attendance, runs, results and well-being reports.",
        "assessment.write" => "Record assessments of technique.",
        "plan.write" => "Make lane plans and race tests, and decide on recommendations.",
        "sync" => "Keep a copy of what you see on its device, and hand in what was recorded without signal.",
        "club.admin" => {
            "Run the club: groups, venues, equipment, rules and rosters; see its members, invitations and audit."
        }
        _ => "",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_can_be_registered_as_redirect_address() {
        for good in [
            "https://app.example/cb",
            "https://app.example:8443/cb?tenant=1",
            "https://app.example/",
            "http://127.0.0.1/cb",
            "http://127.0.0.1:4711/cb",
            "http://[::1]/cb",
            "com.example.app:/cb",
            "com.example.app://cb",
        ] {
            assert_eq!(check_redirect(good), Ok(()), "{good}");
        }
        let long = format!("https://app.example/{}", "x".repeat(500));
        for wrong in [
            "",
            "https://app.example",
            "https://app.example/cb#part",
            "https://user@app.example/cb",
            "https://app.example\\@evil.example/cb",
            "https://App.example/cb",
            "https:///cb",
            "https://app.example:0/cb",
            "https://app.example:99999/cb",
            "https://*.example/cb",
            "http://app.example/cb",
            "http://localhost/cb",
            "http://127.0.0.1.evil.example/cb",
            "http://127.0.0.1:80@evil.example/cb",
            "http://127.0.0.1",
            "javascript:alert(1)",
            "data:text/html,x",
            "app:/cb",
            "com.example.app:cb",
            "COM.example.app:/cb",
            "https://app.example/c b",
            "/cb",
            long.as_str(),
        ] {
            assert!(check_redirect(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_redirect_address_is_met_exactly_but_for_the_port_of_the_own_device() {
        let uris = ["https://app.example/cb", "http://127.0.0.1/cb", "http://[::1]:80/cb"].map(str::to_owned).to_vec();
        let app = App::parse("App", uris, vec!["sync".to_owned()]).unwrap();
        for good in ["https://app.example/cb", "http://127.0.0.1:4711/cb", "http://127.0.0.1/cb", "http://[::1]:9/cb"] {
            assert!(app.leads_to(good), "{good}");
        }
        for wrong in [
            "https://app.example/cb/",
            "https://app.example/cb?x=1",
            "https://app.example:443/cb",
            "https://app.example/CB",
            "https://app.example/cb/../evil",
            "https://app.example.evil.example/cb",
            "http://127.0.0.1:4711/cb?x=1",
            "http://127.0.0.1:/cb",
            "http://127.0.0.1:80.evil.example/cb",
            "http://[::1]/other",
            "http://localhost:4711/cb",
        ] {
            assert!(!app.leads_to(wrong), "{wrong}");
        }
    }

    #[test]
    fn a_form_may_lead_where_the_app_is() {
        let places = ["https://a.example:8/x?y", "http://127.0.0.1:4/x", "http://[::1]:4/x", "com.a:/x"].map(place);
        assert_eq!(places, ["https://a.example:8", "http://127.0.0.1:4", "http:", "com.a:"]);
        let words = ["https://a.example/x", "http://127.0.0.1:4/x", "com.a:/x"].map(place_in_words);
        assert_eq!(words, ["a.example", "an app on this device", "the app com.a on this device"]);
    }

    #[test]
    fn a_challenge_is_met_by_its_verifier_alone() {
        // RFC 7636, appendix B (IETF, 2015).
        let verifier = "dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk";
        let client = ClientId::parse(&"A".repeat(43)).unwrap();
        let challenge = "E9Melhoa2OwvFrEMTJguCHaoeK1t8URWbuGJSstw-cM".to_owned();
        let redirect_uri = String::new();
        let of =
            Authorization { client, redirect_uri, challenge, scopes: Vec::new(), state: None, second_factor: false };
        assert!(of.is_proved_by(verifier));
        assert!(!of.is_proved_by(&verifier.to_lowercase()) && !of.is_proved_by("") && !of.is_proved_by(&of.challenge));
    }

    #[test]
    fn every_scope_has_words_and_a_registration_names_known_ones_once() {
        // As the guide for whoever writes an app tells them.
        let guide = include_str!("../../../../api-spec/app-guide.md");
        for scope in ALL_SCOPES.split(' ') {
            let row = format!("| `{scope}` | {} |", in_words(scope));
            assert!(!in_words(scope).is_empty() && guide.contains(&row), "{row}");
        }
        let at = |uris: &[&str], scopes: &[&str]| {
            let list = |list: &[&str]| list.iter().map(|one| (*one).to_owned()).collect::<Vec<_>>();
            let faults = App::parse("App", list(uris), list(scopes)).err().unwrap_or_default();
            faults.into_iter().filter_map(|fault| fault.pointer).collect::<Vec<_>>()
        };
        assert_eq!(at(&["com.a:/x"], &["sync", "squad.read"]), Vec::<String>::new());
        assert_eq!(at(&[], &[]), ["/redirect_uris", "/scopes"]);
        assert_eq!(at(&["com.a:/x", "com.a:/x"], &["sync", "sync"]), ["/redirect_uris", "/scopes"]);
        assert_eq!(at(&["x"], &["account"]), ["/redirect_uris/0", "/scopes/0"]);
    }
}
