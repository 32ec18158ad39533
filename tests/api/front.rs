//! What every request meets first and every answer carries, whichever the route.

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::TestApp;

const DOCUMENT: &str = include_str!("../../api-spec/openapi.json");

/// Every operation: its method, a path, and the names of its query parameters.
fn operations() -> Vec<(Method, String, Vec<String>)> {
    let document: Value = serde_json::from_str(DOCUMENT).unwrap();
    let mut all = Vec::new();
    for (path, item) in document["paths"].as_object().unwrap() {
        let filled: Vec<String> = path
            .split('/')
            .map(|part| if part.starts_with('{') { Uuid::now_v7().to_string() } else { part.to_owned() })
            .collect();
        for (method, operation) in item.as_object().unwrap() {
            let Ok(method) = method.to_uppercase().parse::<Method>() else { continue };
            let names = operation["parameters"].as_array().into_iter().flatten();
            let query = names.filter(|one| one["in"] == "query").map(|one| one["name"].as_str().unwrap().to_owned());
            all.push((method, filled.join("/"), query.collect()));
        }
    }
    assert!(all.len() > 100, "{}", all.len());
    all
}

#[sqlx::test]
async fn a_query_parameter_that_an_operation_does_not_know_is_refused_by_name(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    for (method, path, names) in operations() {
        let at = format!("{method} {path}");
        let answer = admin.call(method.clone(), &format!("{path}?colour=blue"), &[], None).await;
        assert_eq!((answer.status, answer.faults()), (400, vec!["colour"]), "{at}");
        assert_eq!(answer.body["errors"][0]["code"], "unknown_parameter", "{at}");
        for name in names {
            let answer = admin.call(method.clone(), &format!("{path}?{name}=%00"), &[], None).await;
            assert_eq!((answer.status, answer.faults()), (400, vec![name.as_str()]), "{at} {name}");
        }
    }
    // Two at once, one of them known.
    let answer = admin.get("/athletes?limit=5&grup_id=1&statu=active").await.expect(400);
    assert_eq!(answer.faults(), ["grup_id", "statu"]);
    assert!(answer.body["errors"][0]["detail"].as_str().unwrap().contains("group_id"), "{}", answer.body);
    admin.get("/athletes?limit=5&q=Mi").await.expect(200);
    app.get("/v1/clubs%00").await.expect(404);
    admin.call(Method::HEAD, &admin.path("/athletes?limit=5"), &[], None).await.expect(200);
}

#[sqlx::test]
async fn a_body_in_another_charset_and_a_second_token_are_refused(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let body = || json!({"name": "Squad"}).to_string().into_bytes();
    for wrong in ["application/json; charset=iso-8859-1", "application/json;Charset=\"utf-16\""] {
        let answer = admin.bytes(Method::POST, "/groups", wrong, body()).await.expect(415);
        assert_eq!(answer.body["type"], "/problems/media-type");
    }
    admin.bytes(Method::POST, "/groups", "application/json; charset=\"UTF-8\"", body()).await.expect(201);
    let csv = "text/csv; charset=windows-1252";
    admin.bytes(Method::POST, "/athletes/import?dry_run=true", csv, b"display_name\n".to_vec()).await.expect(415);
    let token = format!("Bearer {}", admin.token);
    let both = [("authorization", token.as_str()), ("authorization", token.as_str())];
    let answer = app.send(Method::GET, &admin.path("/groups"), &both, None).await.expect(400);
    assert_eq!(answer.faults(), ["authorization"]);
    app.send(Method::GET, &admin.path("/groups"), &both[..1], None).await.expect(200);
}

#[sqlx::test]
async fn every_answer_tells_browsers_to_guess_frame_tell_and_load_nothing(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let mut asked = operations();
    for (method, path) in [
        ("GET", "/nothing"),
        ("PATCH", "/healthz"),
        ("GET", "/docs/"),
        ("GET", "/docs/sync"),
        ("GET", "/docs"),
        ("GET", "/openapi.json"),
        ("OPTIONS", "/v1/me"),
        ("GET", "/v1/me?colour=blue"),
    ] {
        asked.push((method.parse().unwrap(), path.to_owned(), Vec::new()));
    }
    for (method, path, _) in asked {
        for token in ["", &admin.token] {
            let bearer = format!("Bearer {token}");
            let headers = [("authorization", bearer.as_str())];
            let answer = app.send(method.clone(), &path, if token.is_empty() { &[] } else { &headers }, None).await;
            let at = format!("{method} {path} {}", answer.status);
            assert_eq!(answer.header("x-content-type-options"), "nosniff", "{at}");
            assert_eq!(answer.header("x-frame-options"), "DENY", "{at}");
            assert_eq!(answer.header("referrer-policy"), "no-referrer", "{at}");
            let policy = answer.header("content-security-policy");
            assert!(policy.starts_with("default-src 'none';") && policy.contains("frame-ancestors 'none'"), "{at}");
            assert!(!policy.contains("http"), "no outside host: {at}");
            let cached = answer.header("cache-control");
            let public = path.starts_with("/docs")
                || path == "/openapi.json"
                || path.starts_with("/.well-known")
                || ["/v1/rulesets", "/v1/competition-specs", "/v1/rhythm/"].iter().any(|one| path.starts_with(one));
            let private = ["no-store", "private, no-cache", "private, no-store"].contains(&cached);
            assert!(private || public && cached.starts_with("public"), "{at}: {cached:?}");
        }
    }
}

/// The pages run nothing that stands in them and name no outside host, so that their policy lets them work.
#[sqlx::test]
async fn the_pages_of_the_documentation_load_from_this_service_alone(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let page = app.get("/docs/").await.expect(200);
    let text = String::from_utf8_lossy(&page.bytes);
    for script in text.split("<script").skip(1) {
        let (tag, rest) = script.split_once('>').unwrap();
        assert!(tag.contains("src=\"./"), "{tag}");
        assert_eq!(rest.split("</script>").next().unwrap().trim(), "", "nothing runs in the page itself");
    }
    for file in ["swagger-ui.css", "index.css", "swagger-ui-bundle.js", "swagger-ui-standalone-preset.js"] {
        app.get(&format!("/docs/{file}")).await.expect(200);
    }
    let start = app.get("/docs/swagger-initializer.js").await.expect(200);
    let start = String::from_utf8_lossy(&start.bytes);
    assert!(start.contains("/openapi.json") && !start.contains("://"), "{start}");
    assert!(start.contains("\"validatorUrl\": \"none\""), "no outside host checks the document: {start}");
}
