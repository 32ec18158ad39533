//! Puts the rooms together: middleware, routes, the OpenAPI document.

use std::future::ready;
use std::net::TcpListener;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use actix_cors::Cors;
use actix_http::{HttpService, Protocol};
use actix_server::Server;
use actix_service::{IntoServiceFactory, ServiceFactoryExt, fn_service, map_config};
use actix_web::body::MessageBody;
use actix_web::dev::{AppConfig, ServiceFactory, ServiceRequest, ServiceResponse};
use actix_web::error::DispatchError;
use actix_web::http::header::HeaderName;
use actix_web::http::{Method, header};
use actix_web::middleware::{Compress, from_fn};
use actix_web::rt::net::TcpStream;
use actix_web::web::{self, Bytes, Data};
use actix_web::{App, HttpResponse, guard};
use sqlx::postgres::PgConnectOptions;
use utoipa::OpenApi;
use utoipa::openapi::security::{AuthorizationCode, Flow, HttpAuthScheme, HttpBuilder, OAuth2, Scopes, SecurityScheme};
use utoipa_swagger_ui::SwaggerUi;

use crate::mail_pages;
use crate::platform::audit::{self, Trail};
use crate::platform::config::Config;
use crate::platform::db::Db;
use crate::platform::document::{self, Known, fields, representations, schemas};
use crate::platform::lanes::Lanes;
use crate::platform::problem_pages::FaultCodes;
use crate::platform::route::Mount;
use crate::platform::sockets::{self, Door};
use crate::platform::token::Keys;
use crate::platform::{again, fault, front, health, problem, problem_pages, telemetry};
use crate::resources::{self, advice::Memory, sync::Polls};

/// The head of the OpenAPI document.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "Lanewright",
        description = "Backend for sprint-hurdle squads: who runs in which lane, at which spacing and height, and why. \
A recommendation supports a qualified coach; it never replaces one, nor the rules of the governing body and the facility, \
local law or medical advice. Lengths are metres, times seconds. Bodies may be packed with gzip or zstd (one coding; others are \
415); a body has at most 2 MiB as sent and unpacked unless its operation says otherwise, 64 KiB without a valid access token \
(413), and comes at 2 KiB a second or faster (408).\n\nEvery answer carries `x-request-id`, which stands in the log and as \
`instance` in problems, and `traceparent` (W3C Trace Context). Problems are `application/problem+json` (RFC 9457); the address in \
`type` answers with what it means and what to do. A path with another method is answered 405 with `Allow`; an `Accept-Encoding` \
that rules out every coding 406. HEAD is answered like GET. Unknown fields and query parameters are refused; answers may gain \
fields, and a client leaves aside those that it does not know.\n\nA create that takes an `id` of the client's own is safe to repeat \
with it, and so is every item of a push; `Idempotency-Key` is not read. `GET /v1/limits` tells the limits of bodies, pages, \
batches, files, sync and sign-ins; what is refused for being too much is 429 or 503 with `Retry-After`, and there are no `RateLimit` headers, because guesses, places and bytes are limited, not calls.",
        contact(name = "Lanewright developers"),
        license(name = "Apache-2.0", identifier = "Apache-2.0")
    ),
    servers((url = "/", description = "This service")),
    tags(
        (name = "service", description = "Whether the service lives and is ready, and the keys that its tokens are signed with."),
        (name = "sync", description = "What phones read and send after they were away, and what admins decide about it."),
        (name = "accounts", description = "People: sign-up, sign-in, tokens, passwords, the devices they signed in with."),
        (name = "apps", description = "Apps of third parties: what a club admits and a person lets act for them; tokens for apps (OAuth 2.0)."),
        (name = "clubs", description = "Clubs and their settings."),
        (name = "exports", description = "All that a club holds, or all that it holds about one athlete, as an archive: for admins."),
        (name = "audit", description = "Who read, exported, changed and granted what, and who was refused: for admins."),
        (name = "members", description = "Who belongs to a club, in which role and for which groups; invitations."),
        (name = "groups", description = "Training groups; coaches and viewers see the athletes of theirs."),
        (name = "athletes", description = "Athletes and their measurements; rosters in and out."),
        (name = "age_groups", description = "A club's own age groups: which ages race together, and the day that counts."),
        (name = "competition_specs", description = "What each age group races over: published rule sets and a club's own."),
        (name = "venues", description = "Where lanes are set out."),
        (name = "equipment", description = "The barriers that a club owns."),
        (name = "barrier_configurations", description = "Recipes for a lane that are used again and again."),
        (name = "sessions", description = "Training sessions and who came."),
        (name = "lane_plans", description = "Who runs in which lane, at which spacing and height; where the tape goes."),
        (name = "runs", description = "What was run: recorded once, corrected by a later record."),
        (name = "assessments", description = "How an athlete's technique was rated: recorded once, corrected by a later record."),
        (name = "wellbeing_records", description = "Reports of pain, illness and injury, restrictions and clearances."),
        (name = "recommendations", description = "What is advised for an athlete and why, and what coaches decide on it."),
        (name = "progression", description = "How athletes and squads come along."),
        (name = "race_tests", description = "Timed runs under race conditions: entries, heats, results, personal bests."),
        (name = "rhythm", description = "Calculators of rhythm: touchdown times, schedules, stride marks, cues.")
    ),
    components(schemas(problem::ProblemBody, fault::Fault))
)]
struct Head;

fn mount(config: &mut Mount<'_>) {
    health::routes(config);
    resources::mount(config);
}

/// The OpenAPI document, collected from the mounted routes.
pub fn document() -> utoipa::openapi::OpenApi {
    let mut api = Head::openapi();
    App::new().configure(|config| {
        let mut all = Mount::saying(config);
        mount(&mut all);
        let (paths, schemas) = all.said();
        api.paths.merge(paths);
        api.components.get_or_insert_default().schemas.extend(schemas);
    });
    finish(api)
}

/// The OpenAPI document as text, as it is committed.
pub fn document_text() -> String {
    serde_json::to_string_pretty(&document()).unwrap_or_default()
}

fn finish(mut api: utoipa::openapi::OpenApi) -> utoipa::openapi::OpenApi {
    let bearer = HttpBuilder::new()
        .scheme(HttpAuthScheme::Bearer)
        .bearer_format("JWT")
        .description(Some(format!(
            "Access token from sign-in or refresh. An operation lists the scope that it needs. That of a person's own sign-in says \
`account` instead, which is everything their role in the club allows at that moment; that of an app names the scopes that it was \
given:\n\n{}",
            document::scopes_described()
        )))
        .build();
    let app = AuthorizationCode::with_refresh_url(
        "/oauth/authorize",
        "/oauth/token",
        document::scopes().into_iter().map(|(scope, means)| (scope.to_owned(), means)).collect::<Scopes>(),
        "/oauth/token",
    );
    let app = OAuth2::with_description(
        [Flow::AuthorizationCode(app)],
        "For apps of third parties: authorization code with PKCE (`S256`), public clients alone; an admin of the club registers the \
app. At each request a token opens what it names, the club lets the app have and the person's role allows. `/docs/apps` is the guide.",
    );
    let schemes = &mut api.components.get_or_insert_default().security_schemes;
    schemes.insert("access_token".to_owned(), SecurityScheme::Http(bearer).into());
    schemes.insert("oauth2".to_owned(), SecurityScheme::OAuth2(app).into());
    if let Some(components) = &mut api.components {
        schemas::join(&mut components.schemas);
    }
    representations::describe(&mut api);
    schemas::patches(&mut api);
    resources::advice::describe(&mut api);
    resources::sync::describe(&mut api);
    document::complete(&mut api);
    document::lead(&mut api);
    document::show(&mut api);
    schemas::part(&mut api);
    fields::complete(&mut api);
    api
}

/// What every worker of the service shares.
#[derive(Clone)]
pub struct Shared {
    config: Config,
    keys: Data<Keys>,
    known: Data<Known>,
    faults: Data<FaultCodes>,
    memory: Data<Memory>,
    polls: Data<Polls>,
    lanes: Data<Lanes>,
    trail: Data<Trail>,
    /// The document, as it is answered.
    text: Bytes,
}

impl Shared {
    /// Puts settings, keys and the document together.
    pub fn new(config: Config, keys: Keys) -> Self {
        let api = document();
        let lanes = Lanes::new(&config);
        Self {
            config,
            keys: Data::new(keys),
            known: Data::new(Known::of(&api)),
            faults: Data::new(FaultCodes::of(&api)),
            memory: Data::default(),
            polls: Data::default(),
            lanes: Data::new(lanes),
            trail: Data::default(),
            text: serde_json::to_vec(&api).unwrap_or_default().into(),
        }
    }

    /// The keys of access tokens.
    pub fn keys(&self) -> &Data<Keys> {
        &self.keys
    }

    /// Who read what, until it is stored.
    pub fn trail(&self) -> &Data<Trail> {
        &self.trail
    }

    /// The lanes of what computes.
    pub fn lanes(&self) -> &Lanes {
        &self.lanes
    }
}

/// The application of one worker, with middleware and routes.
pub fn build(
    shared: &Shared,
    db: Db,
) -> App<
    impl ServiceFactory<
        ServiceRequest,
        Config = (),
        Response = ServiceResponse<impl MessageBody + use<>>,
        Error = actix_web::Error,
        InitError = (),
    > + use<>,
> {
    let text = shared.text.clone();
    App::new()
        .configure(|config| mount(&mut Mount::into_service(config)))
        .app_data(Data::new(db))
        .app_data(Data::clone(&shared.keys))
        .app_data(Data::clone(&shared.known))
        .app_data(Data::clone(&shared.faults))
        .app_data(Data::clone(&shared.memory))
        .app_data(Data::clone(&shared.polls))
        .app_data(Data::clone(&shared.lanes))
        .app_data(Data::clone(&shared.trail))
        .app_data(Data::new(shared.config.clone()))
        .route("/docs/sync", web::get().to(sync_guide))
        .route("/docs/apps", web::get().to(app_guide))
        .configure(resources::accounts::pages)
        .configure(problem_pages::routes)
        .configure(mail_pages::routes)
        .service(web::resource("/openapi.json").guard(guard::Get()).to(move || {
            // One text for all: the document as it is built weighs ten times as much, and each worker had its own.
            ready(HttpResponse::Ok().content_type("application/json").body(text.clone()))
        }))
        .service(
            SwaggerUi::new("/docs/{_:.*}")
                // Else the pages ask an outside host to check the document.
                .config(utoipa_swagger_ui::Config::new(["/openapi.json"]).validator_url("none")),
        )
        .service(web::redirect("/docs", "/docs/"))
        .default_service(web::to(document::unrouted))
        .wrap(from_fn(again::carry_out))
        .wrap(Compress::default())
        .wrap(from_fn(representations::lead))
        .wrap(from_fn(front::refuse))
        .wrap(cors(&shared.config.origins))
        .wrap(from_fn(head_as_get))
        .wrap(from_fn(front::protect))
        .wrap(from_fn(audit::keep))
        .wrap(from_fn(telemetry::trace))
}

/// Builds the HTTP service on a bound listener.
///
/// # Errors
/// When the listener cannot be used.
pub fn run(listener: TcpListener, shared: Shared, database: PgConnectOptions) -> std::io::Result<Server> {
    let mut shared = shared;
    if shared.config.public_url.is_none() {
        shared.config.public_url = Some(format!("http://{}", listener.local_addr()?));
    }
    let config = shared.config.clone();
    let files = config.workers * config.connections as usize + OTHER_FILES;
    let room = (sockets::fitting(config.sockets, files), config.sockets_each);
    // A pool of its own for each worker: connections belong to the runtime that opened them. One that takes the place of
    // another has its lane too.
    let workers = Arc::new(AtomicUsize::new(0));
    let app = move || {
        let mut db = Db::lazy(database.clone(), config.connections).noting_erasures(config.erasures.clone());
        if let Some(lane) = shared.lanes.connections.iter().cycle().nth(workers.fetch_add(1, Ordering::Relaxed)) {
            db = db.in_turns(Arc::clone(lane));
        }
        // Ends with the worker; what still waits then is stored by whoever stops the service.
        actix_web::rt::spawn(Trail::store_often(Data::clone(&shared.trail), db.clone(), config.audit_pause));
        build(&shared, db)
    };
    listen(listener, config.workers, Door::new(room.0, room.1), config.patience, app)
}

/// Builds the service that answers supervisors, with a thread, places and a database connection that nobody else takes.
///
/// # Errors
/// When the listener cannot be used.
pub fn run_probes(listener: TcpListener, database: PgConnectOptions) -> std::io::Result<Server> {
    let app = move || App::new().app_data(Data::new(Db::lazy(database.clone(), 1))).configure(health::probes);
    listen(listener, 1, Door::new(64, 0), Config::PATIENCE, app)
}

/// Files that are not connections: the program's own, listeners, those that are being refused.
const OTHER_FILES: usize = 256;

/// Serves an application on a listener, each connection under the rules of [`sockets`].
fn listen<F, S, B>(
    listener: TcpListener,
    workers: usize,
    door: Arc<Door>,
    patience: Duration,
    app: F,
) -> std::io::Result<Server>
where
    F: Fn() -> App<S> + Send + Clone + 'static,
    S: ServiceFactory<
            ServiceRequest,
            Config = (),
            Response = ServiceResponse<B>,
            Error = actix_web::Error,
            InitError = (),
        > + 'static,
    B: MessageBody + 'static,
{
    let rules = sockets::rules(patience);
    let builder = Server::build()
        .workers(workers)
        .worker_max_blocking_threads(8)
        // The door counts; a worker that stopped accepting could not even refuse.
        .max_concurrent_connections(200_000)
        .shutdown_timeout(20)
        .disable_signals();
    let stopping = builder.graceful_shutdown_signal();
    let serving = builder.listen("lanewright", listener, move || {
        let (door, stopping) = (Arc::clone(&door), stopping.clone());
        let app = app().into_factory().map_err(|error: actix_web::Error| error.error_response());
        let http = HttpService::build()
            .graceful_shutdown_signal(move || {
                let stopping = stopping.clone();
                async move { stopping.notified().await }
            })
            .keep_alive(sockets::KEEP_ALIVE)
            .client_request_timeout(sockets::HEAD)
            .client_disconnect_timeout(Duration::from_secs(2))
            .on_connect_ext(sockets::tell_work)
            .finish(map_config(app, |()| AppConfig::default()));
        fn_service(move |io: TcpStream| {
            let door = Arc::clone(&door);
            async move {
                let (io, peer) = sockets::admit(io, door, rules).await?;
                Ok::<_, DispatchError>((io, Protocol::Http1, peer))
            }
        })
        .and_then(http)
    })?;
    Ok(serving.run())
}

fn cors(origins: &[String]) -> Cors {
    origins
        .iter()
        .fold(Cors::default(), |cors, origin| cors.allowed_origin(origin))
        .allowed_methods(["GET", "HEAD", "POST", "PUT", "PATCH", "DELETE"])
        .allowed_headers([
            header::AUTHORIZATION,
            header::CONTENT_ENCODING,
            header::CONTENT_TYPE,
            header::IF_MATCH,
            header::IF_NONE_MATCH,
            HeaderName::from_static("prefer"),
            HeaderName::from_static("traceparent"),
        ])
        .expose_headers([
            header::CONTENT_DISPOSITION,
            // A phone tells its clock's error by it.
            header::DATE,
            header::ETAG,
            header::LINK,
            header::LOCATION,
            HeaderName::from_static("preference-applied"),
            header::RETRY_AFTER,
            header::WWW_AUTHENTICATE,
            HeaderName::from_static("traceparent"),
            HeaderName::from_static("x-request-id"),
        ])
        .max_age(3600)
}

fn guide(text: &'static str) -> HttpResponse {
    HttpResponse::Ok().content_type("text/markdown; charset=utf-8").body(text)
}

/// How to write a sync client, as text.
async fn sync_guide() -> HttpResponse {
    guide(include_str!("../api-spec/sync-guide.md"))
}

/// How to write an app that acts for others, as text.
async fn app_guide() -> HttpResponse {
    guide(include_str!("../api-spec/app-guide.md"))
}

/// Answers HEAD like GET; the HTTP layer leaves the body out.
async fn head_as_get<B: actix_web::body::MessageBody>(
    mut req: ServiceRequest,
    next: actix_web::middleware::Next<B>,
) -> Result<actix_web::dev::ServiceResponse<B>, actix_web::Error> {
    if req.method() == Method::HEAD {
        req.head_mut().method = Method::GET;
    }
    next.call(req).await
}
