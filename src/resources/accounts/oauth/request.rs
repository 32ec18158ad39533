//! What an app asks for when it sends somebody's browser here (RFC 6749, section 4.1.1; RFC 7636, section 4.3).

use super::apps_store;
use super::model::{App, Authorization, both, is_challenge};
use crate::platform::access::ALL_SCOPES;
use crate::platform::client::ClientId;
use crate::platform::db::Db;
use crate::platform::fault::Fault;
use crate::platform::problem::{Code, Problem};

/// Longest `state`, characters.
const LONGEST_STATE: usize = 2_000;

/// A request of an app that the club admits, to be answered at an address of its own.
#[derive(Debug)]
pub struct Asked {
    /// The app.
    pub app: App,
    /// The club's name.
    pub club_name: String,
    /// What is asked for.
    pub of: Authorization,
}

/// Why an app is not given what it asks for, and where it is told so.
#[derive(Debug)]
pub struct Refusal {
    /// Where the browser goes back to.
    pub redirect_uri: String,
    /// What the app wants back unread.
    pub state: Option<String>,
    /// The word of RFC 6749, section 4.1.2.1.
    pub error: &'static str,
    /// A sentence for whoever writes the app, in ASCII.
    pub says: String,
}

/// Why a request leads nowhere.
#[derive(Debug)]
pub enum Wrong {
    /// It cannot be said whose it is, or where to answer: the person is told, and their browser sent nowhere.
    Here(Problem),
    /// The app is told.
    There(Refusal),
}

impl From<Problem> for Wrong {
    fn from(problem: Problem) -> Self {
        Self::Here(problem)
    }
}

/// A parameter that stands once and is not empty.
fn one<'a>(query: &'a [(String, String)], name: &'static str) -> Result<Option<&'a str>, &'static str> {
    let mut values = query.iter().filter(|(known, _)| known == name).map(|(_, value)| value.as_str());
    let value = values.next();
    if values.next().is_some() { Err(name) } else { Ok(value.filter(|value| !value.is_empty())) }
}

fn here(parameter: &'static str, detail: &str) -> Wrong {
    let problem =
        Problem::new(Code::Malformed, "The app sent you here with a link that does not work. Nothing was shared.");
    Wrong::Here(problem.with_faults(vec![Fault::of(parameter, "parameter", detail)]))
}

/// Reads a request from the query of its address.
///
/// # Errors
/// What is wrong, and who is to be told.
pub async fn read(db: &Db, query: &str) -> Result<Asked, Wrong> {
    let query: Vec<(String, String)> = form_urlencoded::parse(query.as_bytes()).into_owned().collect();
    let single = |name| one(&query, name).map_err(|name| here(name, "must stand once"));
    let unknown = || here("client_id", "is no app of a club; ask whoever runs the app, or an admin of the club");
    let client = single("client_id")?.and_then(ClientId::parse).ok_or_else(unknown)?;
    let (app, club_name) = apps_store::admitted(db, client).await.map_err(Problem::from)?.ok_or_else(unknown)?;
    let redirect_uri = single("redirect_uri")?.filter(|uri| app.leads_to(uri));
    let foreign = || here("redirect_uri", "is none of the addresses that the club registered for the app");
    let redirect_uri = redirect_uri.ok_or_else(foreign)?.to_owned();
    // From here on it is sure where the app is.
    let state = one(&query, "state");
    let refusal = |error: &'static str, says: String| {
        let state = state.ok().flatten().filter(|state| fits(state)).map(str::to_owned);
        Wrong::There(Refusal { redirect_uri: redirect_uri.clone(), state, error, says })
    };
    let single = |name| one(&query, name).map_err(|name| refusal("invalid_request", format!("{name} stands twice")));
    if single("state")?.is_some_and(|state| !fits(state)) {
        let says = format!("state must have at most {LONGEST_STATE} visible ASCII characters");
        return Err(refusal("invalid_request", says));
    }
    match single("response_type")? {
        Some("code") => {}
        None => return Err(refusal("invalid_request", "response_type is missing".to_owned())),
        Some(_) => return Err(refusal("unsupported_response_type", "response_type must be code".to_owned())),
    }
    if single("response_mode")?.is_some_and(|mode| mode != "query") {
        return Err(refusal("invalid_request", "response_mode must be query".to_owned()));
    }
    if single("code_challenge_method")? != Some("S256") {
        return Err(refusal("invalid_request", "code_challenge_method must be S256".to_owned()));
    }
    let challenge = single("code_challenge")?.filter(|text| is_challenge(text));
    let Some(challenge) = challenge.map(str::to_owned) else {
        return Err(refusal(
            "invalid_request",
            "code_challenge must be 43 characters of Base64 for addresses".to_owned(),
        ));
    };
    let scopes = match single("scope")? {
        None => app.scopes.clone(),
        Some(list) => {
            let named: Vec<&str> = list.split(' ').collect();
            if let Some(wrong) = named.iter().find(|one| !ALL_SCOPES.split(' ').any(|known| known == **one)) {
                tracing::debug!(wrong, "an app asks for an unknown scope");
                return Err(refusal("invalid_scope", format!("the scopes there are: {ALL_SCOPES}")));
            }
            both(&app.scopes, &named)
        }
    };
    if scopes.is_empty() {
        let says = format!("the club lets this app have: {}", app.scopes.join(" "));
        return Err(refusal("invalid_scope", says));
    }
    let state = single("state")?.map(str::to_owned);
    // Nobody has signed in yet.
    let second_factor = false;
    let of = Authorization { client, redirect_uri: redirect_uri.clone(), challenge, scopes, state, second_factor };
    Ok(Asked { app, club_name, of })
}

fn fits(state: &str) -> bool {
    state.len() <= LONGEST_STATE && state.bytes().all(|byte| (0x20..0x7f).contains(&byte))
}

/// The address that tells an app what became of its request; `issuer` keeps it from taking this answer for that of
/// somebody else (RFC 9207).
pub fn answer(redirect_uri: &str, state: Option<&str>, issuer: &str, said: &[(&str, &str)]) -> String {
    let mut query = form_urlencoded::Serializer::new(String::new());
    query.extend_pairs(said);
    if let Some(state) = state {
        query.append_pair("state", state);
    }
    query.append_pair("iss", issuer);
    let joint = if redirect_uri.contains('?') { '&' } else { '?' };
    format!("{redirect_uri}{joint}{}", query.finish())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_answer_keeps_the_query_of_the_address_and_names_the_issuer() {
        let to = |uri: &str| answer(uri, Some("a&b=c #"), "https://l.example", &[("code", "x")]);
        assert_eq!(to("com.a:/cb"), "com.a:/cb?code=x&state=a%26b%3Dc+%23&iss=https%3A%2F%2Fl.example");
        assert!(to("https://a.example/cb?t=1").starts_with("https://a.example/cb?t=1&code=x&state="));
    }
}
