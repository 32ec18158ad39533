//! What leads to a token of an app: the pages that a person answers in a browser.

use reqwest::redirect::Policy;

use crate::people::{PASSWORD, Person};
use crate::world::World;

/// Where the app of the fixtures wants browsers back.
pub const BACK: &str = "https://app.example/back";
/// The verifier of RFC 7636, appendix B (IETF, 2015), and its challenge.
const VERIFIER: &str = "dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk";
const CHALLENGE: &str = "E9Melhoa2OwvFrEMTJguCHaoeK1t8URWbuGJSstw-cM";

fn form(fields: &[(&str, &str)]) -> String {
    form_urlencoded::Serializer::new(String::new()).extend_pairs(fields).finish()
}

/// What an app sends for its first token, after this person has signed in and allowed it.
pub async fn first_token(world: &World, who: &Person, client_id: &str) -> String {
    let browser = reqwest::Client::builder().redirect(Policy::none()).build().unwrap();
    let post = async |path: &str, body: String| {
        let request = browser.post(format!("{}{path}", world.service.base)).body(body);
        let request = request.header("content-type", "application/x-www-form-urlencoded").header("accept", "text/html");
        request.send().await.unwrap()
    };
    let asks = form(&[
        ("response_type", "code"),
        ("client_id", client_id),
        ("redirect_uri", BACK),
        ("code_challenge", CHALLENGE),
        ("code_challenge_method", "S256"),
    ]);
    let page = post(&format!("/oauth/authorize?{asks}"), form(&[("email", &who.email), ("password", PASSWORD)])).await;
    let html = page.text().await.unwrap();
    let ticket = html.split("name=\"ticket\" value=\"").nth(1).unwrap_or_else(|| panic!("{html}"));
    let ticket = ticket.split('"').next().unwrap();
    let back = post("/oauth/consent", form(&[("ticket", ticket), ("decision", "allow")])).await;
    let to = back.headers()["location"].to_str().unwrap().to_owned();
    let query = to.split_once('?').unwrap().1;
    let code = form_urlencoded::parse(query.as_bytes()).find(|(name, _)| name == "code").unwrap().1.into_owned();
    form(&[
        ("grant_type", "authorization_code"),
        ("client_id", client_id),
        ("code", &code),
        ("redirect_uri", BACK),
        ("code_verifier", VERIFIER),
    ])
}
