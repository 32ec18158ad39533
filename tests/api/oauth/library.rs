//! The whole way with a general client library that knows nothing of us but the address.

use std::pin::Pin;

use oauth2::basic::BasicClient;
use oauth2::{
    AsyncHttpClient, AuthUrl, AuthorizationCode, ClientId, CsrfToken, HttpRequest, HttpResponse, PkceCodeChallenge,
    RedirectUrl, RefreshToken, RequestTokenError, RevocationUrl, Scope, StandardRevocableToken, TokenResponse,
    TokenUrl,
};
use serde_json::json;
use sqlx::PgPool;

use super::{Browser, Club, Registered};
use crate::support::{Caller, TestApp};

/// Carries the requests of the library.
struct Carrier(reqwest::Client);

impl<'c> AsyncHttpClient<'c> for Carrier {
    type Error = reqwest::Error;
    type Future = Pin<Box<dyn Future<Output = Result<HttpResponse, reqwest::Error>> + Send + 'c>>;

    fn call(&'c self, request: HttpRequest) -> Self::Future {
        Box::pin(async move {
            let (parts, body) = request.into_parts();
            // The library gives tokens back over TLS alone, which this test has not.
            let uri = parts.uri.to_string().replace("https://", "http://");
            let mut sent = self.0.request(parts.method, uri).body(body);
            for (name, value) in &parts.headers {
                sent = sent.header(name, value);
            }
            let answer = sent.send().await?;
            let (status, headers) = (answer.status(), answer.headers().clone());
            let mut built = HttpResponse::new(answer.bytes().await?.to_vec());
            *built.status_mut() = status;
            *built.headers_mut() = headers;
            Ok(built)
        })
    }
}

#[sqlx::test]
async fn a_general_client_library_goes_the_whole_way(pool: PgPool) {
    let club = Club::new(&TestApp::spawn(pool).await).await;
    let app = Registered::by(&club.admin, &["squad.read", "sync"]).await;
    let metadata = club.app.get("/.well-known/oauth-authorization-server").await.expect(200).body;
    let at = |name: &str| metadata[name].as_str().unwrap().to_owned();
    // A phone listens on whatever port is free.
    let redirect = "http://127.0.0.1:50123/connected";
    let client = BasicClient::new(ClientId::new(app.client_id.clone()))
        .set_auth_uri(AuthUrl::new(at("authorization_endpoint")).unwrap())
        .set_token_uri(TokenUrl::new(at("token_endpoint")).unwrap())
        .set_revocation_url(RevocationUrl::new(at("revocation_endpoint").replace("http://", "https://")).unwrap())
        .set_redirect_uri(RedirectUrl::new(redirect.to_owned()).unwrap())
        .set_auth_type(oauth2::AuthType::RequestBody);
    let carrier = Carrier(reqwest::Client::new());
    let (challenge, verifier) = PkceCodeChallenge::new_random_sha256();
    let (url, state) = client
        .authorize_url(CsrfToken::new_random)
        .add_scope(Scope::new("squad.read".to_owned()))
        .add_scope(Scope::new("sync".to_owned()))
        .set_pkce_challenge(challenge)
        .url();
    let path = url.as_str().strip_prefix(&club.app.base).unwrap();
    let browser = Browser::new(&club.app);
    browser.get(path).await.expect(200);
    let consent = browser.sign_in(path, &club.coach.email).await.expect(200);
    let back = browser.decide(&consent.ticket(), "allow").await;
    assert_eq!(back.sent_to().0, redirect);
    assert_eq!(back.brings("state").as_deref(), Some(state.secret().as_str()));
    assert_eq!(back.brings("iss").as_deref(), metadata["issuer"].as_str());
    let code = AuthorizationCode::new(back.brings("code").unwrap());
    let tokens = client.exchange_code(code).set_pkce_verifier(verifier).request_async(&carrier).await.unwrap();
    let scopes: Vec<String> = tokens.scopes().unwrap().iter().map(|scope| scope.to_string()).collect();
    assert_eq!(scopes, ["squad.read", "sync"]);
    let acting = |token: &str| Caller { token: token.to_owned(), ..club.coach.clone() };
    acting(tokens.access_token().secret()).get("/athletes").await.expect(200);
    let first = RefreshToken::new(tokens.refresh_token().unwrap().secret().clone());
    let next = client.exchange_refresh_token(&first).request_async(&carrier).await.unwrap();
    acting(next.access_token().secret()).get("/changes").await.expect(200);
    let last = next.refresh_token().unwrap().clone();
    client
        .revoke_token(StandardRevocableToken::RefreshToken(last.clone()))
        .unwrap()
        .request_async(&carrier)
        .await
        .unwrap();
    acting(next.access_token().secret()).get("/athletes").await.expect(401);
    match client.exchange_refresh_token(&last).request_async(&carrier).await {
        Err(RequestTokenError::ServerResponse(no)) => {
            assert_eq!(json!(no.error().to_string()), json!("invalid_grant"));
            assert!(no.error_uri().is_some() && no.error_description().is_some());
        }
        other => panic!("{other:?}"),
    }
}
