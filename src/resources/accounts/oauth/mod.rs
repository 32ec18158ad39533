//! Apps of third parties (OAuth 2.0, public clients with PKCE): what a club admits, what a person lets act for them, the pages
//! on which they say so, and the tokens that follow.
//!
//! # No session
//!
//! The pages keep nothing in the browser. A person gives their password for each app that they connect, the answer to it is the
//! page that asks for consent, and that page carries a secret which is good once, for ten minutes, for this account, app,
//! redirect address and challenge. Without a cookie nobody else's page can act with somebody's sign-in (RFC 9700, 4.7), there
//! is no session to fix or steal, and nothing to clear on a shared tablet. A page of another site that signs somebody in with
//! its own account is refused by what browsers say of the origin of a form ([`same_site`]), and gains nothing from it: the code
//! is good only with the verifier of the app that began.

mod apps_http;
mod apps_store;
mod authorize;
pub mod codes_store;
mod grants_http;
mod model;
mod pages;
mod request;
mod shapes;
mod token_http;

use actix_web::HttpRequest;
use actix_web::http::header::{HOST, ORIGIN};

use crate::platform::problem::{Code, Problem};
pub use model::MAX_APPS;

/// The routes of this part.
pub fn routes(config: &mut crate::platform::route::Mount<'_>) {
    apps_http::routes(config);
    grants_http::routes(config);
    token_http::routes(config);
}

/// The pages for browsers; they are no part of the API.
pub fn pages(config: &mut actix_web::web::ServiceConfig) {
    authorize::routes(config);
}

/// Refuses a form that a page of another site sent. Browsers say so themselves; what says nothing is no browser, and has
/// nobody's session.
///
/// # Errors
/// 403.
fn same_site(req: &HttpRequest, issuer: &str) -> Result<(), Problem> {
    let header = |name: &str| req.headers().get(name).and_then(|value| value.to_str().ok());
    let here = match (header("sec-fetch-site"), header(ORIGIN.as_str())) {
        (Some(site), _) => site == "same-origin",
        (None, Some(origin)) => {
            origin == issuer || Some(origin.split("://").last().unwrap_or_default()) == header(HOST.as_str())
        }
        (None, None) => true,
    };
    let detail = "This form was sent by a page of another site. Go back to the app and start again there.";
    if here { Ok(()) } else { Err(Problem::new(Code::Forbidden, detail)) }
}
