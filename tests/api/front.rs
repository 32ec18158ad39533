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
                || ["/v1/limits", "/v1/rulesets", "/v1/competition-specs", "/v1/rhythm/"]
                    .iter()
                    .any(|one| path.starts_with(one));
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

/// What a schema of the document would have sent: its example, or a value of each field.
fn example(document: &Value, schema: &Value) -> Value {
    let resolved = schema["$ref"].as_str().map(|path| document.pointer(path.trim_start_matches('#')).unwrap());
    let schema = resolved.unwrap_or(schema);
    if !schema["example"].is_null() {
        return schema["example"].clone();
    }
    let fields = schema["properties"].as_object();
    fields.into_iter().flatten().map(|(name, field)| (name.clone(), example(document, field))).collect()
}

/// Every body with one of its texts replaced.
fn spoilt(body: &Value, with: &str) -> Vec<Value> {
    fn texts(value: &Value, at: String, found: &mut Vec<String>) {
        match value {
            Value::String(_) => found.push(at),
            Value::Array(list) => {
                list.iter().enumerate().for_each(|(n, one)| texts(one, format!("{at}/{n}"), found));
            }
            Value::Object(fields) => fields.iter().for_each(|(name, one)| texts(one, format!("{at}/{name}"), found)),
            _ => {}
        }
    }
    let mut found = Vec::new();
    texts(body, String::new(), &mut found);
    let one = |at: &String| {
        let mut body = body.clone();
        *body.pointer_mut(at).unwrap() = json!(with);
        body
    };
    found.iter().map(one).collect()
}

#[sqlx::test]
async fn a_nul_or_a_year_that_nobody_can_write_is_refused_wherever_it_stands(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let document: Value = serde_json::from_str(DOCUMENT).unwrap();
    let (mut bodies, mut dates) = (0, 0);
    for (path, item) in document["paths"].as_object().unwrap() {
        let here: Vec<String> = path
            .split('/')
            .map(|part| match part {
                "{club_id}" => admin.club.clone(),
                part if part.starts_with('{') => Uuid::now_v7().to_string(),
                part => part.to_owned(),
            })
            .collect();
        let here = here.join("/");
        for (method, operation) in item.as_object().unwrap() {
            let Ok(verb) = method.to_uppercase().parse::<Method>() else { continue };
            let at = format!("{verb} {path}");
            for one in operation["parameters"].as_array().into_iter().flatten() {
                let schema = &one["schema"];
                let is_date = schema["format"] == "date" || schema["format"] == "date-time";
                if one["in"] != "query" || !is_date {
                    continue;
                }
                let name = one["name"].as_str().unwrap();
                for year in ["-262143-01-01", "%2B262142-12-31", "0000-01-01"] {
                    let answer = admin.call(verb.clone(), &format!("{here}?{name}={year}"), &[], None).await;
                    assert_eq!((answer.status, answer.faults()), (400, vec![name]), "{at} {year}: {}", answer.body);
                    dates += 1;
                }
            }
            for (media, content) in operation["requestBody"]["content"].as_object().into_iter().flatten() {
                if !media.contains("json") || path.starts_with("/v1/auth") {
                    continue;
                }
                let body = example(&document, &content["schema"]);
                for with in ["a\u{0}b", "-262143-01-01", "-262143-01-01T00:00:00Z"] {
                    for body in spoilt(&body, with) {
                        let headers = [("content-type", media.as_str()), ("if-match", "*")];
                        let answer = admin.call(verb.clone(), &here, &headers, Some(body.clone())).await;
                        assert!(answer.status < 500, "{at} {body}: {}", answer.body);
                        bodies += 1;
                    }
                }
            }
        }
    }
    assert!(bodies > 200 && dates > 30, "{bodies} bodies, {dates} dates");
    let nul = json!({"name": "a\u{0}b"});
    admin.post("/groups", nul).await.expect_fault(400, "/name");
    // Also a date that only a forged cursor can hold.
    let forged = base64::Engine::encode(
        &base64::engine::general_purpose::URL_SAFE_NO_PAD,
        json!(["-262143-01-01", Uuid::now_v7()]).to_string(),
    );
    for list in ["/sessions", "/race-tests"] {
        admin.get(&format!("{list}?cursor={forged}")).await.expect(400);
    }
}

#[sqlx::test]
async fn names_and_notes_hold_nothing_that_is_unseen_or_turns_the_writing(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let places = [
        ("/groups", json!({"name": "Squad"}), "name"),
        ("/venues", json!({"name": "Track", "environment": "indoor", "straight_m": 60, "lanes": 4}), "name"),
        ("/equipment", json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 2, "note": "Shed"}), "note"),
    ];
    for (path, body, field) in places {
        let with = |text: &str| {
            let mut body = body.clone();
            body[field] = json!(text);
            body
        };
        for wrong in ["Mira\u{202e}iesO", "Mi\u{200b}ra", "\u{2066}Mira\u{2069}", "\u{3164}", "Mira\u{200d}", "A\u{7}"]
        {
            let answer = admin.post(path, with(wrong)).await.expect_fault(422, &format!("/{field}"));
            assert_eq!(answer.body["errors"][0]["code"], "characters", "{wrong:?}");
        }
        for right in ["नेहा क्\u{200d}षत्रिय", "نامه\u{200c}ای", "Zoë O’Brien", "👩\u{200d}👧"]
        {
            let answer = admin.post(path, with(right)).await.expect(201);
            assert_eq!(answer.body[field], right);
        }
    }
    let tag = admin.get("").await.header("etag").to_owned();
    admin.patch("", &tag, json!({"name": "Nor\u{202e}th"})).await.expect_fault(422, "/name");
}
