//! What every request meets first, and what every answer carries: refusals that need no route, and what browsers are told.

use actix_web::Error;
use actix_web::body::{EitherBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::{
    AUTHORIZATION, CACHE_CONTROL, CONTENT_ENCODING, CONTENT_SECURITY_POLICY, CONTENT_TYPE, HeaderName, HeaderValue,
    REFERRER_POLICY, X_CONTENT_TYPE_OPTIONS, X_FRAME_OPTIONS,
};
use actix_web::http::{Method, StatusCode};
use actix_web::middleware::Next;
use actix_web::{ResponseError, web::Data};

use super::document::Known;
use super::fault::Fault;
use super::problem::{Code, Problem};

/// Refuses what no route could mean: a parameter that the operation does not know, a NUL, two tokens, another charset.
///
/// # Errors
/// Those of the inner service.
pub async fn refuse<B: MessageBody>(
    req: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<EitherBody<B>>, Error> {
    match refusal(&req) {
        Some(problem) => Ok(req.into_response(problem.error_response()).map_into_right_body()),
        None => {
            let answer = next.call(req).await?;
            match worded(&answer) {
                Some(problem) => Ok(answer.into_response(problem.error_response()).map_into_right_body()),
                None => Ok(answer.map_into_left_body()),
            }
        }
    }
}

/// What the framework refused without a problem document: packing that rules out everything, a page of the documentation
/// that there is not.
fn worded<B>(answer: &ServiceResponse<B>) -> Option<Problem> {
    // A page for people, or what OAuth asks for, comes from a handler as well.
    let ours: [&[u8]; 3] = [b"application/problem+json", b"application/json", b"text/html"];
    let kind = answer.headers().get(CONTENT_TYPE);
    let handled = |kind: &HeaderValue| ours.iter().any(|ours| kind.as_bytes().starts_with(ours));
    if !answer.status().is_client_error() || kind.is_some_and(handled) {
        return None;
    }
    Some(match answer.status() {
        StatusCode::NOT_ACCEPTABLE => Problem::new(
            Code::NotAcceptable,
            "Accept-Encoding rules out every coding: allow gzip, br, zstd or identity.",
        ),
        _ => Problem::new(Code::NotFound, "There is nothing at this path; /docs lists what there is."),
    })
}

fn refusal(req: &ServiceRequest) -> Option<Problem> {
    if req.path().contains('\0') || req.path().contains("%00") {
        return Some(Problem::new(Code::NotFound, "There is nothing at this path; /docs lists what there is."));
    }
    if req.headers().get_all(AUTHORIZATION).count() > 1 {
        return Some(Problem::malformed(Fault::of("authorization", "repeated", "send one Authorization header")));
    }
    let has_body = [Method::POST, Method::PUT, Method::PATCH].contains(req.method());
    if has_body && !req.headers().get_all(CONTENT_TYPE).all(is_utf8) {
        return Some(Problem::new(Code::MediaType, "Send the body in UTF-8; leave `charset` out or name it so."));
    }
    let faults = parameters(req);
    (!faults.is_empty())
        .then(|| Problem::new(Code::Malformed, "The request cannot be read; nothing was stored.").with_faults(faults))
}

/// Whether a content type names no other charset than UTF-8.
fn is_utf8(content_type: &HeaderValue) -> bool {
    let Ok(text) = content_type.to_str() else { return false };
    text.split(';').skip(1).filter_map(|parameter| parameter.split_once('=')).all(|(name, value)| {
        let utf8 = ["utf-8", "utf8"].iter().any(|known| value.trim().trim_matches('"').eq_ignore_ascii_case(known));
        !name.trim().eq_ignore_ascii_case("charset") || utf8
    })
}

/// What is wrong with the query: the document knows the parameters of every operation.
fn parameters(req: &ServiceRequest) -> Vec<Fault> {
    if req.query_string().is_empty() {
        return Vec::new();
    }
    let known = req.app_data::<Data<Known>>().and_then(|known| known.parameters(req.method().as_str(), req.path()));
    let fault = |(name, value): (std::borrow::Cow<'_, str>, std::borrow::Cow<'_, str>)| {
        if name.contains('\0') || value.contains('\0') {
            return Some(Fault::of(name.replace('\0', ""), "characters", "must not contain a NUL"));
        }
        let known = known?;
        if known.iter().any(|one| *one == name) {
            return None;
        }
        let there = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
        Some(Fault::of(name, "unknown_parameter", format!("there is no such parameter here; there are: {there}")))
    };
    form_urlencoded::parse(req.query_string().as_bytes()).filter_map(fault).collect()
}

/// For answers that are data: nothing in them runs or loads anything.
const DATA: &str = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";
/// For pictures and documents for people, which are opened by themselves: they bring their own styles, and nothing else.
const PAPER: &str = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox";
/// For the pages of the documentation: scripts and styles of this service alone; their styles also stand in elements.
const PAGES: &str = "default-src 'none'; script-src 'self'; style-src 'self' 'unsafe-inline'; img-src 'self' data:; \
    font-src 'self'; connect-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Tells browsers what they may do with an answer, and caches that it is private, unless its handler said otherwise.
///
/// # Errors
/// Those of the inner service.
pub async fn protect<B: MessageBody>(req: ServiceRequest, next: Next<B>) -> Result<ServiceResponse<B>, Error> {
    let mut answer = next.call(req).await?;
    let path = answer.request().path();
    let docs = path == "/docs" || path.starts_with("/docs/");
    let cached = match path {
        "/healthz" | "/readyz" => "no-store",
        "/openapi.json" => "public, no-cache",
        _ if docs => "public, no-cache",
        _ => "private, no-cache",
    };
    let headers = answer.headers_mut();
    // So a handler says that its answer is packed already; it is no coding (RFC 9110, section 8.4.1).
    if headers.get(CONTENT_ENCODING).is_some_and(|coding| coding == "identity") {
        headers.remove(CONTENT_ENCODING);
    }
    let paper = headers
        .get(CONTENT_TYPE)
        .is_some_and(|kind| [&b"image/svg"[..], b"text/html"].iter().any(|one| kind.as_bytes().starts_with(one)));
    let policy = match (docs, paper) {
        (true, _) => PAGES,
        (false, true) => PAPER,
        (false, false) => DATA,
    };
    headers.insert(X_CONTENT_TYPE_OPTIONS, HeaderValue::from_static("nosniff"));
    headers.insert(X_FRAME_OPTIONS, HeaderValue::from_static("DENY"));
    let unless_said: [(HeaderName, &'static str); 3] =
        [(REFERRER_POLICY, "no-referrer"), (CONTENT_SECURITY_POLICY, policy), (CACHE_CONTROL, cached)];
    for (name, value) in unless_said {
        if !headers.contains_key(&name) {
            headers.insert(name, HeaderValue::from_static(value));
        }
    }
    Ok(answer)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_named_charset_that_is_not_utf_8_is_another_one() {
        for (text, good) in [
            ("application/json", true),
            ("application/json; charset=utf-8", true),
            ("text/csv;charset=\"UTF-8\"; header=present", true),
            ("application/json; charset=iso-8859-1", false),
            ("application/json;CHARSET=utf-16", false),
            ("application/json; charset=utf-8; charset=latin1", false),
        ] {
            assert_eq!(is_utf8(&HeaderValue::from_static(text)), good, "{text}");
        }
    }
}
