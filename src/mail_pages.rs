//! What the link of a mail leads to in a browser: a plain page with one form, for people whose app does not take the link.
//!
//! Reading the page changes nothing, since programs that look through mail open every link; the button does. There is no
//! script, nothing from elsewhere, and nobody learns the address of the page from a link in it.

use std::fmt::Write as _;

use actix_web::http::StatusCode;
use actix_web::http::header::{ACCEPT_LANGUAGE, CACHE_CONTROL, CONTENT_SECURITY_POLICY};
use actix_web::web::{self, Data, Payload, ServiceConfig};
use actix_web::{HttpRequest, HttpResponse};
use secrecy::SecretString;

use crate::platform::config::Config;
use crate::platform::db::Db;
use crate::platform::intake::{self, Limits};
use crate::platform::mail::Language;
use crate::platform::network::Network;
use crate::platform::plain_page::{self, escaped};
use crate::platform::problem::{Code, Problem};
use crate::resources::{accounts, members};

/// More than any password.
const FORM: Limits = Limits { wire: 8_192, unpacked: 8_192, remedy: "Choose a shorter password." };

struct Words {
    tag: &'static str,
    confirm: &'static str,
    confirm_says: &'static str,
    confirm_button: &'static str,
    confirmed: &'static str,
    reset: &'static str,
    reset_label: &'static str,
    reset_button: &'static str,
    chosen: &'static str,
    invitation: &'static str,
    invitation_says: &'static str,
    gone: &'static str,
    gone_says: &'static str,
}

const ENGLISH: Words = Words {
    tag: "en",
    confirm: "Confirm your e-mail address",
    confirm_says: "Confirm only what you asked for yourself: the mail says what it is.",
    confirm_button: "Confirm",
    confirmed: "Confirmed. You can close this page.",
    reset: "Choose a new password",
    reset_label: "New password, 10 to 128 characters: several words that do not belong together",
    reset_button: "Change the password",
    chosen: "Your password was changed and every device signed out. Sign in again in your app.",
    invitation: "An invitation to a club",
    invitation_says: "Sign in, or sign up, in the app that your club uses, with the address to which the mail came. Enter this code there:",
    gone: "This link does not hold any more",
    gone_says: "It was used before or has expired. Ask for another mail in your app.",
};

const GERMAN: Words = Words {
    tag: "de",
    confirm: "Bestätige deine E-Mail-Adresse",
    confirm_says: "Bestätige nur, was du selbst verlangt hast: In der Mail steht, was es ist.",
    confirm_button: "Bestätigen",
    confirmed: "Bestätigt. Du kannst diese Seite schließen.",
    reset: "Wähle ein neues Passwort",
    reset_label: "Neues Passwort, 10 bis 128 Zeichen: mehrere Wörter, die nicht zusammengehören",
    reset_button: "Passwort ändern",
    chosen: "Dein Passwort wurde geändert, und jedes Gerät ist abgemeldet. Melde dich in deiner App neu an.",
    invitation: "Einladung in einen Verein",
    invitation_says: "Melde dich in der App, die dein Verein verwendet, mit der Adresse an, an die die Mail kam, oder lege dort ein Konto an. Gib dort diesen Code ein:",
    gone: "Dieser Link gilt nicht mehr",
    gone_says: "Er wurde schon verwendet oder ist abgelaufen. Verlange in deiner App eine neue Mail.",
};

/// The words in the first language that a browser asks for and we have.
fn words(req: &HttpRequest) -> &'static Words {
    let asked = req.headers().get(ACCEPT_LANGUAGE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    let tags = asked.split(',').filter_map(|one| one.trim().get(..2)).map(str::to_ascii_lowercase);
    let known = tags.into_iter().find_map(|tag| Language::ALL.into_iter().find(|language| language.as_str() == tag));
    match known.unwrap_or_default() {
        Language::En => &ENGLISH,
        Language::De => &GERMAN,
    }
}

fn page(words: &Words, status: u16, title: &str, body: &str) -> HttpResponse {
    let body = format!("<h1>{}</h1>{body}", escaped(title));
    HttpResponse::build(StatusCode::from_u16(status).unwrap_or(StatusCode::OK))
        .insert_header((CACHE_CONTROL, "no-store"))
        .insert_header((CONTENT_SECURITY_POLICY, plain_page::policy("")))
        .content_type("text/html; charset=utf-8")
        .body(plain_page::html(words.tag, title, &body))
}

fn gone(words: &Words) -> HttpResponse {
    page(words, 404, words.gone, &format!("<p>{}</p>", words.gone_says))
}

/// The form of a new password, with what was wrong about the last one.
fn reset_form(words: &Words, status: u16, wrong: &[String]) -> HttpResponse {
    let mut body = String::new();
    if !wrong.is_empty() {
        // Writing to a string cannot fail.
        let _ = write!(body, "<p class=\"bad\" id=\"wrong\" role=\"alert\">{}</p>", escaped(&wrong.join(" ")));
    }
    let described = if wrong.is_empty() { "" } else { " aria-invalid=\"true\" aria-describedby=\"wrong\"" };
    let _ = write!(
        body,
        "<form method=\"post\"><label for=\"new\">{}</label><input id=\"new\" name=\"new\" type=\"password\" \
autocomplete=\"new-password\" required minlength=\"10\" maxlength=\"512\"{described}><button>{}</button></form>",
        words.reset_label, words.reset_button
    );
    page(words, status, words.reset, &body)
}

fn secret(req: &HttpRequest) -> &str {
    req.match_info().get("secret").unwrap_or_default()
}

/// The page of a link.
async fn show(req: HttpRequest, from: Network, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let (words, secret) = (words(&req), secret(&req));
    if members::is_invitation(&db, secret).await? {
        let body = format!("<p>{}</p><p><code>{}</code></p>", words.invitation_says, escaped(secret));
        return Ok(page(words, 200, words.invitation, &body));
    }
    match accounts::is_reset(&db, &from, secret).await {
        Ok(true) => Ok(reset_form(words, 200, &[])),
        Ok(false) => {
            let form = format!(
                "<p>{}</p><form method=\"post\"><p><button>{}</button></p></form>",
                words.confirm_says, words.confirm_button
            );
            Ok(page(words, 200, words.confirm, &form))
        }
        Err(problem) if problem.code() == Code::NotFound => Ok(gone(words)),
        Err(problem) => Err(problem),
    }
}

/// What the button does.
async fn act(
    req: HttpRequest,
    from: Network,
    db: Data<Db>,
    config: Data<Config>,
    payload: Payload,
) -> Result<HttpResponse, Problem> {
    let (words, secret) = (words(&req), secret(&req));
    let taken = intake::read(&req, payload.into_inner(), FORM).await?;
    let new =
        form_urlencoded::parse(taken.bytes()).find(|(name, _)| name == "new").map(|(_, value)| value.into_owned());
    let done = match accounts::is_reset(&db, &from, secret).await {
        Ok(true) => {
            let new = SecretString::from(new.unwrap_or_default());
            accounts::choose_password(&db, &config, &from, (secret, new)).await.map(|()| (words.reset, words.chosen))
        }
        Ok(false) => accounts::confirm(&db, &from, secret).await.map(|()| (words.confirm, words.confirmed)),
        Err(problem) => Err(problem),
    };
    match done {
        Ok((title, says)) => Ok(page(words, 200, title, &format!("<p role=\"status\">{says}</p>"))),
        Err(problem) if problem.code() == Code::NotFound => Ok(gone(words)),
        Err(problem) if problem.code() == Code::Invalid => {
            let wrong: Vec<String> = problem.faults().iter().map(|fault| fault.detail.clone()).collect();
            Ok(reset_form(words, 422, &wrong))
        }
        Err(problem) => Err(problem),
    }
}

/// The pages of links; they belong to mail, not to the API.
pub fn routes(config: &mut ServiceConfig) {
    config.service(web::resource("/mail/{secret}").route(web::get().to(show)).route(web::post().to(act)));
}
