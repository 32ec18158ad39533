//! Whether the service lives and can work, and its public keys.

use actix_web::HttpResponse;
use actix_web::web::{Data, Json};
use serde::Serialize;
use utoipa::ToSchema;

use super::db::Db;
use super::problem::{Code, Problem};
use super::route::{Route, routes};
use super::token::{KEY_SET_SECONDS, Keys};
use super::words::spelt;

spelt! {
    /// How the service is; when it is not so, the answer is a problem.
    HealthStatus { "ok": "It lives, and is ready when that was asked." }
}

/// State of the service.
#[derive(Debug, Serialize, ToSchema)]
pub struct Health {
    /// How the service is.
    #[schema(value_type = HealthStatus)]
    status: &'static str,
    /// Version of the program.
    #[schema(max_length = 20, example = "0.1.0")]
    version: &'static str,
}

const OK: Health = Health { status: "ok", version: env!("CARGO_PKG_VERSION") };

/// Whether the process lives.
///
/// Touches nothing else, so a supervisor may ask often.
#[utoipa::path(
    get, path = "/healthz", impl_for = get_liveness, tag = "service",
    responses((status = 200, description = "Alive", body = Health))
)]
async fn get_liveness() -> Json<Health> {
    Json(OK)
}

/// Whether the service can work: the database answers and is migrated.
#[utoipa::path(
    get, path = "/readyz", impl_for = get_readiness, tag = "service",
    responses((status = 200, description = "Ready", body = Health))
)]
async fn get_readiness(db: Data<Db>) -> Result<Json<Health>, Problem> {
    db.check().await.map_err(|error| {
        tracing::warn!(%error, "not ready");
        Problem::new(Code::Unavailable, "The database is away or not migrated: run `lanewright migrate`.")
    })?;
    Ok(Json(OK))
}

/// The public keys that verify access tokens (JWK set, RFC 7517).
#[utoipa::path(
    get, path = "/.well-known/jwks.json", impl_for = get_key_set, tag = "service",
    responses((status = 200, description = "Key set", body = Object, example = json!({"keys": [{"kty": "OKP", "crv": "Ed25519", "alg": "EdDSA", "use": "sig", "kid": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57", "x": "11qYAYKxCrfVS_7TyWQHOg7hcvPapiMlrwIaaPcHURo"}]})))
)]
async fn get_key_set(keys: Data<Keys>) -> HttpResponse {
    let kept = format!("public, max-age={KEY_SET_SECONDS}");
    HttpResponse::Ok().insert_header(("cache-control", kept)).json(keys.jwks())
}

/// What a supervisor asks, on the listener that is for it alone.
pub fn probes(config: &mut actix_web::web::ServiceConfig) {
    config.service(Route::<get_liveness, _, _>::new(get_liveness));
    config.service(Route::<get_readiness, _, _>::new(get_readiness));
}

routes!(get_liveness, get_readiness, get_key_set);
