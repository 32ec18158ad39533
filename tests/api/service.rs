//! What every route shares: health, problems, methods, document.

use lanewright::platform::config::Config;
use reqwest::Method;
use serde_json::json;
use sqlx::PgPool;

use crate::support::TestApp;

#[sqlx::test]
async fn the_service_says_that_it_lives_and_is_ready(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    for path in ["/healthz", "/readyz"] {
        assert_eq!(app.get(path).await.expect(200).body["status"], "ok");
    }
}

#[sqlx::test]
async fn an_unknown_path_is_a_problem_with_the_request_id(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let answer = app.get("/v1/nothing").await.expect(404);
    assert_eq!(answer.header("content-type"), "application/problem+json");
    assert_eq!(answer.body["type"], "/problems/not-found");
    assert_eq!(answer.body["instance"], answer.header("x-request-id"));
}

#[sqlx::test]
async fn a_wrong_method_names_the_right_ones_and_head_works_like_get(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let answer = app.send(Method::PUT, "/healthz", &[], None).await.expect(405);
    assert_eq!(answer.header("allow"), "GET, HEAD");
    let head = app.send(Method::HEAD, "/healthz", &[], None).await.expect(200);
    assert!(head.bytes.is_empty());
}

#[sqlx::test]
async fn the_trace_of_the_caller_goes_on(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    // Example of W3C Trace Context, section 3.2 (2021).
    let parent = "00-4bf92f3577b34da6a3ce929d0e0e4736-00f067aa0ba902b7-01";
    let answer = app.send(Method::GET, "/healthz", &[("traceparent", parent)], None).await;
    assert_eq!(answer.header("traceparent"), parent);
    let answer = app.send(Method::GET, "/healthz", &[("traceparent", "nonsense")], None).await;
    assert_eq!(answer.header("traceparent").split('-').count(), 4);
}

#[sqlx::test]
async fn a_browser_of_a_configured_origin_may_send_and_read_what_a_sync_client_needs(pool: PgPool) {
    let origin = "https://app.club.example";
    let config = Config { workers: 1, connections: 4, origins: vec![origin.to_owned()], ..Config::default() };
    let app = TestApp::spawn_with(pool.clone(), (*pool.connect_options()).clone(), config).await;
    let wanted = "authorization,content-encoding,content-type,if-match,if-none-match,prefer,traceparent";
    let asked =
        [("origin", origin), ("access-control-request-method", "POST"), ("access-control-request-headers", wanted)];
    let path = "/v1/clubs/01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57/changes";
    let allowed = app.send(Method::OPTIONS, path, &asked, None).await.expect(200);
    assert_eq!(allowed.header("access-control-allow-origin"), origin);
    let names = allowed.header("access-control-allow-headers").to_lowercase();
    for name in wanted.split(',') {
        assert!(names.split(',').any(|one| one.trim() == name), "{name} may not be sent: {names}");
    }
    // What is not read is not let in: a client that rests on it learns so before it sends anything.
    let asked = [asked[0], asked[1], ("access-control-request-headers", "idempotency-key")];
    app.send(Method::OPTIONS, path, &asked, None).await.expect(400);
    let read = app.send(Method::GET, "/healthz", &[("origin", origin)], None).await.expect(200);
    let names = read.header("access-control-expose-headers").to_lowercase();
    for name in [
        "content-disposition",
        "date",
        "etag",
        "link",
        "location",
        "preference-applied",
        "retry-after",
        "traceparent",
        "www-authenticate",
        "x-request-id",
    ] {
        assert!(names.split(',').any(|one| one.trim() == name), "{name} cannot be read: {names}");
    }
    let stranger = app.send(Method::GET, "/healthz", &[("origin", "https://elsewhere.example")], None).await;
    assert!(stranger.header("access-control-allow-origin").is_empty());
}

#[sqlx::test]
async fn bodies_that_cannot_be_read_name_the_place(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    admin.post("/groups", json!({"name": 7})).await.expect_fault(400, "/name");
    admin.post("/groups", json!({"name": "A", "colour": "red"})).await.expect_fault(400, "/colour");
    admin.post("/groups", json!({})).await.expect_fault(400, "/name");
    let venue =
        |lanes: &str| format!(r#"{{"name":"V{lanes}","environment":"outdoor","straight_m":80,"lanes":{lanes}}}"#);
    let made = admin.bytes(Method::POST, "/venues", "application/json", venue("6.0").into()).await.expect(201);
    assert_eq!(made.body["lanes"], 6, "a whole number however it is written");
    admin.bytes(Method::POST, "/venues", "application/json", venue("6.5").into()).await.expect_fault(400, "/lanes");
    let text = admin.bytes(Method::POST, "/groups", "text/plain", b"{}".to_vec()).await.expect(415);
    assert_eq!(text.body["type"], "/problems/media-type");
    for body in ["{", "", "{\"name\": NaN}", "[1]", "{\"name\":\"A\"} {}"] {
        admin.bytes(Method::POST, "/groups", "application/json", body.into()).await.expect(400);
    }
    let large = format!("{{\"name\":\"{}\"}}", "a".repeat(10 * 1024 * 1024));
    admin.bytes(Method::POST, "/groups", "application/json", large.into()).await.expect(413);
    assert_eq!(admin.get("/groups").await.body["items"], json!([]));
}

#[sqlx::test]
async fn the_document_is_served_and_is_the_committed_one(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let served = app.get("/openapi.json").await.expect(200);
    assert_eq!(served.body["openapi"], "3.1.0");
    assert!(served.body == crate::contract::CONTRACT.document, "api-spec/openapi.json is stale: run ./dev spec");
}

#[sqlx::test]
async fn the_document_spells_out_every_code_and_parameter_of_advice(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let document = app.get("/openapi.json").await.expect(200).body;
    let schemas = &document["components"]["schemas"];
    for (name, codes, one) in
        [("ReasonCode", 38, "hits_high"), ("MissingCode", 13, "clean_session"), ("CautionCode", 21, "after_fall")]
    {
        let list = schemas[name]["enum"].as_array().unwrap();
        assert_eq!(list.len(), codes, "{name}");
        assert!(list.contains(&json!(one)));
        assert!(schemas[name]["description"].as_str().unwrap().contains(&format!("`{one}`: ")));
    }
    assert_eq!(schemas["AdviceParams"]["properties"]["spacing_m"]["type"], "number");
    assert_eq!(schemas["AdviceParams"]["properties"].as_object().unwrap().len(), 39);
}

#[sqlx::test]
async fn the_documentation_names_no_other_host(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    for path in ["/docs/", "/docs/swagger-initializer.js"] {
        let page = String::from_utf8(app.get(path).await.expect(200).bytes).unwrap();
        assert!(!page.contains("https://") && !page.contains("src=\"//"), "{path}");
    }
}
