//! The pages on which people sign in for an app and say what it may: plain HTML without script, and nothing from elsewhere.

use std::fmt::Write as _;

use actix_web::http::StatusCode;
use actix_web::http::header::{
    CACHE_CONTROL, CONTENT_SECURITY_POLICY, CONTENT_TYPE, HeaderValue, LOCATION, REFERRER_POLICY, VARY,
};
use actix_web::{HttpRequest, HttpResponse, ResponseError};

use super::model::{Authorization, in_words, place, place_in_words};
use super::request::Asked;
use crate::platform::plain_page::{self, escaped};
use crate::platform::problem::{Code, Problem};
use crate::platform::problem_pages::wants_html;

/// A page. `leads` is where its form may lead besides this service.
fn page(status: StatusCode, title: &str, body: &str, leads: Option<&str>) -> HttpResponse {
    let leads = leads.map(|uri| format!(" {}", place(uri))).unwrap_or_default();
    HttpResponse::build(status)
        .insert_header((CONTENT_SECURITY_POLICY, plain_page::policy(&leads)))
        // Only so much that a browser says where the form comes from; the app's address never reads this one.
        .insert_header((REFERRER_POLICY, "same-origin"))
        .insert_header((CACHE_CONTROL, "no-store"))
        .insert_header((VARY, "accept"))
        .content_type("text/html; charset=utf-8")
        .body(plain_page::html("en", title, body))
}

/// The same for what went wrong, with the headers of the problem; as the problem itself for who reads no HTML.
fn wrong(req: &HttpRequest, problem: &Problem, title: &str, body: &str, leads: Option<&str>) -> HttpResponse {
    let told = problem.error_response();
    if !wants_html(req) {
        return told;
    }
    let mut answer = page(told.status(), title, body, leads);
    for (name, value) in told.headers().iter().filter(|(name, _)| **name != CONTENT_TYPE) {
        answer.headers_mut().insert(name.clone(), value.clone());
    }
    answer
}

/// What a page says of a problem, where it is read out at once.
fn alert(problem: &Problem) -> String {
    let mut says = escaped(&problem.to_string());
    for fault in problem.faults() {
        let of = fault.parameter.as_deref().unwrap_or_default();
        // Writing to a string cannot fail.
        let _ = write!(says, " <code>{}</code> {}.", escaped(of), escaped(&fault.detail));
    }
    format!("<p class=\"bad\" role=\"alert\" id=\"wrong\">{says}</p>")
}

/// The link by which somebody goes back to the app without letting it do anything.
fn back(of: &Authorization, issuer: &str) -> String {
    let said = [("error", "access_denied"), ("error_description", "the person went back")];
    let to = super::request::answer(&of.redirect_uri, of.state.as_deref(), issuer, &said);
    format!("<p><a href=\"{}\">Go back without connecting</a></p>", escaped(&to))
}

/// Asks for e-mail address and password; after a try that failed, says why and keeps the address that was typed.
pub fn sign_in(req: &HttpRequest, asked: &Asked, issuer: &str, failed: Option<(&Problem, &str)>) -> HttpResponse {
    let (app, club) = (escaped(&asked.app.name), escaped(&asked.club_name));
    let (said, email) = failed.map_or_else(Default::default, |(problem, email)| (alert(problem), escaped(email)));
    let described = if failed.is_some() { " aria-describedby=\"wrong\" aria-invalid=\"true\"" } else { "" };
    let body = format!(
        "<h1>Sign in to connect {app}</h1>{said}\
<p><strong>{app}</strong> wants to work with <strong>{club}</strong> for you. Sign in to Lanewright to see what it asks for; it is \
given nothing before you say so, and never sees your password.</p>\
<form method=\"post\">\
<label for=\"email\">E-mail address</label>\
<input id=\"email\" name=\"email\" type=\"email\" autocomplete=\"username\" required maxlength=\"254\" value=\"{email}\"{described}>\
<label for=\"password\">Password</label>\
<input id=\"password\" name=\"password\" type=\"password\" autocomplete=\"current-password\" required maxlength=\"128\"{described}>\
<label for=\"code\">Code, if your account has a second factor</label>\
<input id=\"code\" name=\"code\" autocomplete=\"one-time-code\" maxlength=\"64\">\
<button type=\"submit\">Sign in</button></form>{}\
<p class=\"soft\">Check that the address of this page begins with {}.</p>",
        back(&asked.of, issuer),
        escaped(issuer)
    );
    let title = format!("Sign in to connect {}", asked.app.name);
    match failed {
        None => page(StatusCode::OK, &title, &body, None),
        Some((problem, _)) => wrong(req, problem, &format!("Not signed in: {title}"), &body, None),
    }
}

/// Who is asked for their consent, and what for.
#[derive(Debug)]
pub struct Consent<'a> {
    /// The request.
    pub asked: &'a Asked,
    /// How the person is called, and their address.
    pub person: (&'a str, &'a str),
    /// What the app gets if they say yes.
    pub scopes: &'a [String],
    /// The secret that their answer carries.
    pub ticket: &'a str,
}

/// Asks whether an app may.
pub fn consent(of: &Consent) -> HttpResponse {
    let (app, club) = (escaped(&of.asked.app.name), escaped(&of.asked.club_name));
    let (name, email) = (escaped(of.person.0), escaped(of.person.1));
    let list: Vec<String> = of.scopes.iter().map(|scope| format!("<li>{}</li>", in_words(scope))).collect();
    let list = list.concat();
    let uri = &of.asked.of.redirect_uri;
    let body = format!(
        "<h1>Let {app} work with {club} for you?</h1>\
<p>You are <strong>{name}</strong> ({email}). An admin of the club has admitted the app. It asks to:</p><ul>{list}</ul>\
<p>It never gets more than you may yourself, and only of this club. You can withdraw it whenever you like, and so can the club. \
Athletes are mostly minors: say yes only to an app that your club has agreed on.</p>\
<form method=\"post\" action=\"/oauth/consent\">\
<input type=\"hidden\" name=\"ticket\" value=\"{}\">\
<button type=\"submit\" name=\"decision\" value=\"allow\">Allow</button>\
<button type=\"submit\" name=\"decision\" value=\"deny\" class=\"other\">Do not allow</button></form>\
<p class=\"soft\">Either way you go back to {}.</p>",
        escaped(of.ticket),
        escaped(&place_in_words(uri))
    );
    page(
        StatusCode::OK,
        &format!("Let {} work with {} for you?", of.asked.app.name, of.asked.club_name),
        &body,
        Some(uri),
    )
}

/// Says that a link or a form leads nowhere.
pub fn dead_end(req: &HttpRequest, problem: &Problem) -> HttpResponse {
    let body = format!("<h1>This does not work</h1>{}<p>You can close this page.</p>", alert(problem));
    wrong(req, problem, "This does not work", &body, None)
}

/// Says that a consent was used or is too old.
pub fn over() -> Problem {
    let detail =
        "This page was answered before, or stood open for more than ten minutes. Go back to the app and start again.";
    Problem::new(Code::Malformed, detail)
}

/// Sends the browser on, with a GET whatever it sent (RFC 9700, section 4.12).
pub fn send_on(to: &str) -> HttpResponse {
    let mut answer = HttpResponse::SeeOther();
    answer.insert_header((CACHE_CONTROL, "no-store")).insert_header((REFERRER_POLICY, "no-referrer"));
    // The address is made of ASCII that was checked and of what the form encoding leaves.
    if let Ok(to) = HeaderValue::from_str(to) {
        answer.insert_header((LOCATION, to));
    }
    answer.finish()
}
