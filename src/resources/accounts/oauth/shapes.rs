//! The JSON of apps and of what OAuth answers.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use super::apps_store::{Granted, Listed};
use super::model::App;
use crate::platform::client::ClientId;
use crate::platform::document;
use crate::platform::form::filled;
use crate::platform::ids::{AppId, ClubId};
use crate::platform::page;
use crate::platform::stored::Stored;
use crate::platform::words::{self, spelt};

spelt! {
    /// Why an app is given no token (RFC 6749, section 5.2).
    TokenError {
        "invalid_request": "A parameter is missing, stands twice or cannot be read.",
        "invalid_client": "There is no such app.",
        "invalid_grant": "The code or refresh token is none, is over, was used before or is another app's; or the access of the app was withdrawn: `error_uri` then ends in `/problems/app-revoked`.",
        "unsupported_grant_type": "Only `authorization_code` and `refresh_token` there are.",
        "invalid_scope": "It names a scope that the app was not given, or nothing is left of what it was given."
    }
    /// How an app gets a token.
    GrantType {
        "authorization_code": "For the code with which the browser came back.",
        "refresh_token": "For the refresh token of the last answer."
    }
    /// How a token of an app is sent (RFC 6749, section 7.1).
    AppTokenType { "Bearer": "In the header `Authorization`, after this word." }
}

/// What an app may be let do.
#[derive(Debug)]
pub struct AppScope;

impl PartialSchema for AppScope {
    fn schema() -> RefOr<Schema> {
        let all = document::scopes();
        let all: Vec<(&str, &str)> = all.iter().map(|(scope, means)| (*scope, means.as_str())).collect();
        words::schema("What an app may be let do.", &all)
    }
}

impl ToSchema for AppScope {}

/// An app that a club admits: a public client of OAuth 2.0, such as a phone app.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = AppFields, example = json!({"name": "Trackside Cards", "redirect_uris": ["https://cards.example/connected", "http://127.0.0.1/connected"], "scopes": ["squad.read", "session.write", "sync"]}))]
pub struct Fields {
    /// What people call it; they read it when they are asked.
    #[schema(min_length = 1, max_length = 100, example = "Trackside Cards")]
    pub name: String,
    /// Where browsers may be sent back to, each exactly as the app will say it: https; http at 127.0.0.1 or [::1], where any port
    /// will do; or a scheme of the app's own that is a domain turned round.
    #[schema(min_items = 1, max_items = 10, value_type = Vec<RedirectUri>)]
    pub redirect_uris: Vec<String>,
    /// What the club lets it have. Less counts from the next request on.
    #[schema(min_items = 1, max_items = 6, value_type = Vec<AppScope>)]
    pub scopes: Vec<String>,
}

/// Where browsers may be sent back to.
#[derive(ToSchema)]
#[schema(value_type = String, max_length = 500, example = "https://cards.example/connected")]
#[allow(dead_code)] // for the document alone
pub struct RedirectUri(String);

impl From<&App> for Fields {
    fn from(app: &App) -> Self {
        Self { name: app.name.clone(), redirect_uris: app.redirect_uris.clone(), scopes: app.scopes.clone() }
    }
}

/// An app that the club admits.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = App)]
pub struct View {
    /// The id.
    pub id: AppId,
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 1)]
    pub rev: i64,
    /// What the app calls itself when it asks; it is no secret.
    #[schema(max_length = 43, example = "AZNvLl06fEGbHi9tDIpOVwGTby5dOnxBmx4vbQyKTlc")]
    pub client_id: String,
    /// When it was registered.
    pub created_at: DateTime<Utc>,
    /// Members who let it act for them, a count.
    #[schema(minimum = 0, example = 4)]
    pub people: i64,
    /// When it last fetched a token for one of them, about every quarter of an hour while it is used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_used_at: Option<DateTime<Utc>>,
    /// Name, addresses and scopes.
    #[serde(flatten)]
    pub fields: Fields,
}

impl View {
    /// The view of an app of a club.
    pub fn new(club: ClubId, listed: &Listed) -> Self {
        let Stored { id, rev, value } = &listed.app;
        Self {
            id: *id,
            rev: *rev,
            client_id: ClientId { club, app: *id }.to_string(),
            created_at: listed.created_at,
            people: listed.people,
            last_used_at: listed.last_used_at,
            fields: value.into(),
        }
    }
}

/// The apps of a club.
pub type List = page::List<View, 100>;

/// An app that you let act for you.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ConnectedApp)]
pub struct ConnectedView {
    /// The app.
    pub app_id: AppId,
    /// The club that it acts in.
    pub club_id: ClubId,
    /// What it is called.
    #[schema(max_length = 100, example = "Trackside Cards")]
    pub name: String,
    /// What the club is called.
    #[schema(max_length = 100, example = "Harbour Hurdlers")]
    pub club_name: String,
    /// What you let it do, as far as the club does.
    #[schema(max_items = 6, value_type = Vec<AppScope>)]
    pub scopes: Vec<String>,
    /// When you last said so.
    pub granted_at: DateTime<Utc>,
    /// When it last fetched a token, about every quarter of an hour while it is used.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_used_at: Option<DateTime<Utc>>,
}

impl From<Granted> for ConnectedView {
    fn from(granted: Granted) -> Self {
        Self {
            app_id: granted.client.app,
            club_id: granted.client.club,
            name: granted.name,
            club_name: granted.club_name,
            scopes: granted.scopes,
            granted_at: granted.granted_at,
            last_used_at: granted.last_used_at,
        }
    }
}

/// The apps that act for you: at most those of all your clubs.
pub type ConnectedList = page::List<ConnectedView, 5_000>;

/// What an app sends for a token; which of the fields depends on `grant_type`. What it does not know the service leaves aside.
#[derive(Deserialize, ToSchema)]
#[schema(example = json!({"grant_type": "refresh_token", "client_id": "AZNvLl06fEGbHi9tDIpOVwGTby5dOnxBmx4vbQyKTlc", "refresh_token": "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"}))]
pub struct TokenRequest {
    /// How the app gets the token.
    #[serde(default, deserialize_with = "filled")]
    #[schema(value_type = GrantType, required = true)]
    pub grant_type: Option<String>,
    /// The app.
    #[serde(default, deserialize_with = "filled")]
    #[schema(value_type = String, required = true, max_length = 43, example = "AZNvLl06fEGbHi9tDIpOVwGTby5dOnxBmx4vbQyKTlc")]
    pub client_id: Option<String>,
    /// With `authorization_code`: the code with which the browser came back, once, within a minute.
    #[serde(default, deserialize_with = "filled")]
    #[schema(max_length = 200, example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn")]
    pub code: Option<String>,
    /// With `authorization_code`: the address that the browser came back to, as it was asked for.
    #[serde(default, deserialize_with = "filled")]
    #[schema(max_length = 500, example = "https://cards.example/connected")]
    pub redirect_uri: Option<String>,
    /// With `authorization_code`: what the challenge was made of (RFC 7636).
    #[serde(default, deserialize_with = "filled")]
    #[schema(min_length = 43, max_length = 128, example = "dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk")]
    pub code_verifier: Option<String>,
    /// With `refresh_token`: the one of the last answer.
    #[serde(default, deserialize_with = "filled")]
    #[schema(max_length = 200, example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn")]
    pub refresh_token: Option<String>,
    /// With `refresh_token`: fewer scopes for the next access token, separated by spaces.
    #[serde(default, deserialize_with = "filled")]
    #[schema(max_length = 200, example = "squad.read sync")]
    pub scope: Option<String>,
}

/// What an app sends to give a token back.
#[derive(Deserialize, ToSchema)]
#[schema(example = json!({"client_id": "AZNvLl06fEGbHi9tDIpOVwGTby5dOnxBmx4vbQyKTlc", "token": "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"}))]
pub struct RevocationRequest {
    /// The app.
    #[serde(default, deserialize_with = "filled")]
    #[schema(value_type = String, required = true, max_length = 43, example = "AZNvLl06fEGbHi9tDIpOVwGTby5dOnxBmx4vbQyKTlc")]
    pub client_id: Option<String>,
    /// The refresh token, or an access token.
    #[serde(default, deserialize_with = "filled")]
    #[schema(value_type = String, required = true, max_length = 4000, example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn")]
    pub token: Option<String>,
}

/// Tokens of an app (RFC 6749, section 5.1).
#[derive(Debug, Serialize, ToSchema)]
pub struct AppTokens {
    /// JWT for `Authorization: Bearer`.
    #[schema(max_length = 2000, example = "eyJhbGciOiJFZERTQSJ9.e30.c2lnbmF0dXJl")]
    pub access_token: String,
    /// How the access token is sent.
    #[schema(value_type = AppTokenType)]
    pub token_type: &'static str,
    /// Life of the access token, seconds.
    #[schema(minimum = 1, maximum = 86400, example = 900)]
    pub expires_in: i64,
    /// For one use, within 60 days.
    #[schema(max_length = 200, example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn")]
    pub refresh_token: String,
    /// What the access token opens, separated by spaces: less than was asked for where the club or the person's role allows less.
    #[schema(max_length = 200, example = "squad.read sync")]
    pub scope: String,
    /// The club that it opens.
    pub club_id: ClubId,
}

/// Why an app is given no token (RFC 6749, section 5.2).
#[derive(Debug, Serialize, ToSchema)]
pub struct TokenRefusal {
    /// The word for it.
    #[schema(value_type = TokenError)]
    pub error: &'static str,
    /// What happened and what to do about it, for whoever writes the app.
    #[schema(max_length = 500, example = "the code is none, is over or was used before: begin again")]
    pub error_description: String,
    /// A page about it.
    #[schema(max_length = 300, example = "https://hurdles.example/problems/unauthenticated")]
    pub error_uri: String,
}

/// What a general client of OAuth needs to know (RFC 8414).
#[derive(Debug, Serialize, ToSchema)]
pub struct ServerMetadata {
    /// The address of the service, which is also `iss` in what browsers bring back (RFC 9207).
    #[schema(max_length = 300, example = "https://hurdles.example")]
    pub issuer: String,
    /// Where browsers are sent.
    #[schema(max_length = 300, example = "https://hurdles.example/oauth/authorize")]
    pub authorization_endpoint: String,
    /// Where tokens are fetched.
    #[schema(max_length = 300, example = "https://hurdles.example/oauth/token")]
    pub token_endpoint: String,
    /// Where tokens are given back.
    #[schema(max_length = 300, example = "https://hurdles.example/oauth/revoke")]
    pub revocation_endpoint: String,
    /// The keys that tokens are signed with.
    #[schema(max_length = 300, example = "https://hurdles.example/.well-known/jwks.json")]
    pub jwks_uri: String,
    /// The guide for whoever writes an app.
    #[schema(max_length = 300, example = "https://hurdles.example/docs/apps")]
    pub service_documentation: String,
    /// The scopes.
    #[schema(max_items = 20, value_type = Vec<AppScope>)]
    pub scopes_supported: Vec<&'static str>,
    /// What a browser may bring back.
    #[schema(max_items = 5)]
    pub response_types_supported: [&'static str; 1],
    /// How it brings it back.
    #[schema(max_items = 5)]
    pub response_modes_supported: [&'static str; 1],
    /// How an app gets a token.
    #[schema(max_items = 5, value_type = Vec<GrantType>)]
    pub grant_types_supported: [&'static str; 2],
    /// How an app proves who it is at the token endpoint: as a public client it does not.
    #[schema(max_items = 5)]
    pub token_endpoint_auth_methods_supported: [&'static str; 1],
    /// The same where tokens are given back.
    #[schema(max_items = 5)]
    pub revocation_endpoint_auth_methods_supported: [&'static str; 1],
    /// How the proof of the one who began is made (RFC 7636).
    #[schema(max_items = 5)]
    pub code_challenge_methods_supported: [&'static str; 1],
    /// Languages of the pages.
    #[schema(max_items = 5)]
    pub ui_locales_supported: [&'static str; 1],
    /// Whether what browsers bring back names the issuer (RFC 9207).
    pub authorization_response_iss_parameter_supported: bool,
}
