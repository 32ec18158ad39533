//! Values that no field expects, in every field of every body and query, and whole bodies, headers and paths of that kind.

use std::sync::Arc;

use serde_json::{Value, json};
use uuid::Uuid;

use crate::document::{Field, Operation, Step};
use crate::people::Person;
use crate::report::{Flaw, Report};
use crate::send::{Ask, all, judge};
use crate::world::World;
use crate::{fixtures, full, pushes};

/// Stands where the hostile text goes, because some of it is no JSON at all.
const HERE: &str = "@@here@@";

/// JSON texts that are wrong nearly everywhere.
const HOSTILE: &[&str] = &[
    "null",
    "true",
    "0",
    "-1",
    "-0.0",
    "1e400",
    "1.7976931348623157e308",
    "-1.7976931348623157e308",
    "5e-324",
    "9223372036854775807",
    "9223372036854775808",
    "-9223372036854775809",
    "2147483648",
    "4294967296",
    "99999999999999999999999999999999",
    "0.30000000000000004",
    "NaN",
    "Infinity",
    r#""NaN""#,
    r#""Infinity""#,
    r#""""#,
    r#"" ""#,
    r#""\u0000""#,
    r#""a\u0000b""#,
    r#""\u0001\u001b[31m""#,
    r#""\u202eabc\u2066""#,
    r#""\u200b""#,
    r#""\ufeff""#,
    r#""\ud800""#,
    r#""\udc00\ud800""#,
    r#""\uffff\ufffe""#,
    r#""-262143-01-01""#,
    r#""9999-12-31""#,
    r#""0000-01-01""#,
    r#""0001-01-01""#,
    r#""+262142-12-31""#,
    r#""2026-02-30""#,
    r#""-262143-01-01T00:00:00Z""#,
    r#""+262142-12-31T23:59:59Z""#,
    r#""9999-12-31T23:59:59.999999999Z""#,
    r#""0001-01-01T00:00:00+23:59""#,
    r#""2026-11-28T23:59:60Z""#,
    r#""00000000-0000-0000-0000-000000000000""#,
    r#""urn:uuid:01900000-0000-7000-8000-000000000000""#,
    r#""=cmd|' /C calc'!A0""#,
    r#""＝1+1""#,
    r#""'; drop table clubs; --""#,
    r#""../../../etc/passwd""#,
    r#""<script>alert(1)</script>""#,
    r#""%00%0d%0aset-cookie:a""#,
    "[]",
    "[null]",
    "[[],{}]",
    "{}",
    r#"{"":""}"#,
    r#"{"id":1,"id":2}"#,
];

/// Longer ones.
fn long_ones() -> Vec<String> {
    let deep = 2_000;
    vec![
        format!("\"{}\"", "x".repeat(100_000)),
        format!("\"{}\"", "\u{1F3C3}".repeat(501)),
        format!("{}{}", "[".repeat(deep), "]".repeat(deep)),
        format!("{}1{}", "{\"a\":".repeat(deep), "}".repeat(deep)),
        format!("[{}0]", "0,".repeat(20_000)),
        format!("1{}", "0".repeat(5_000)),
    ]
}

fn texts() -> Vec<String> {
    let mut all: Vec<String> = HOSTILE.iter().map(|text| (*text).to_owned()).collect();
    all.extend(long_ones());
    all
}

/// Some of the texts, others for each turn; all of them in the full form.
fn some(texts: &[String], turn: usize, few: usize) -> Vec<&String> {
    let count = if full() { texts.len() } else { few };
    (0..count).map(|at| &texts[(turn * few + at) % texts.len()]).collect()
}

fn with_text(body: &Value, field: &Field, text: &str) -> Vec<u8> {
    let mut body = body.clone();
    field.put(&mut body, json!(HERE));
    body.to_string().replace(&format!("\"{HERE}\""), text).into_bytes()
}

fn note(field: &str, text: &str) -> String {
    format!("{field}={}", crate::text::short(text, 40))
}

/// Nobody's sign-in may end by a body that happened to be right.
fn skipped(operation: &Operation) -> bool {
    matches!(
        operation.id.as_str(),
        "change_password"
            | "delete_account"
            | "delete_member"
            | "update_member"
            | "delete_device"
            | "sign_out_everywhere"
            | "leave_club"
    )
}

fn in_bodies(world: &World, who: &Person) -> Vec<Ask> {
    let (texts, place) = (texts(), world.place("own"));
    let (mut asks, mut turn) = (Vec::new(), 0);
    for operation in world.service.document.operations.iter().filter(|one| !skipped(one)) {
        let Some((media, schema)) = &operation.body else { continue };
        let body = fixtures::body(world, &operation.id, place).unwrap();
        if !body.is_object() {
            continue;
        }
        for field in world.service.document.fields(schema) {
            turn += 1;
            for text in some(&texts, turn, 4) {
                let body = fixtures::body(world, &operation.id, place).unwrap();
                let ask =
                    world.ask(operation, place, who).header("content-type", media).noted(&note(&field.name(), text));
                asks.push(ask.bytes(with_text(&body, &field, text)));
            }
        }
    }
    asks
}

fn in_queries(world: &World, who: &Person) -> Vec<Ask> {
    let mut texts: Vec<String> = texts().iter().map(|text| text.trim_matches('"').to_owned()).collect();
    texts.retain(|text| text.len() < 8_000);
    texts.extend(["\0".to_owned(), "a\0b".to_owned(), "\u{202e}".to_owned(), "2026-01-01".to_owned()]);
    let (mut asks, mut turn) = (Vec::new(), 0);
    let place = world.place("own");
    for operation in &world.service.document.operations {
        for query in &operation.query {
            turn += 1;
            for text in some(&texts, turn, 4) {
                let mut ask = Ask::new(&operation.method, &place.fill(&operation.path)).named(&operation.id).by(who);
                for (name, value) in operation.needed_query().iter().filter(|(name, _)| *name != query.name) {
                    ask = ask.query(name, value);
                }
                asks.push(ask.query(&query.name, text).noted(&note(&format!("?{}", query.name), text)));
            }
        }
        if operation.reads() {
            let ask = world.ask(operation, place, who);
            let more = |text: &str| {
                let separator = if ask.path.contains('?') { '&' } else { '?' };
                Ask { path: format!("{}{separator}{text}", ask.path), ..ask.clone() }.noted(text)
            };
            asks.extend(["%00=%00", "limit=1&limit=2", "%ff=%fe", "=&&==", "limit=%zz"].iter().map(|text| more(text)));
        }
    }
    asks
}

/// Every field of every type of the feed: several items in one push, each judged by itself.
async fn in_pushes(world: &Arc<World>, report: &Arc<Report>, who: &Person) -> usize {
    let (texts, place) = (texts(), world.place("own").clone());
    let (mut count, mut turn) = (0, 0);
    for (_, kind, _) in pushes::TYPES {
        let data = pushes::data(world, kind, &place).await;
        let id = pushes::new_id(kind, &data);
        let names: Vec<String> = data.as_object().unwrap().keys().cloned().collect();
        let mut items = Vec::new();
        for name in names {
            turn += 1;
            let field = Field { steps: vec![Step::Field("data".to_owned()), Step::Field(name)], id_of: None };
            for text in some(&texts, turn, 4).into_iter().filter(|text| text.len() < 50_000) {
                let new = if id.get_version_num() == 5 { id } else { Uuid::now_v7() };
                items.push(with_text(&pushes::create(kind, &new.to_string(), &data), &field, text));
            }
        }
        for field in ["op_id", "method", "type", "id", "if_none_match", "if_match", "base_rev", "data"] {
            turn += 1;
            let field = Field { steps: vec![Step::Field(field.to_owned())], id_of: None };
            for text in some(&texts, turn, 2).into_iter().filter(|text| text.len() < 50_000) {
                items.push(with_text(&pushes::create(kind, &Uuid::now_v7().to_string(), &data), &field, text));
            }
        }
        count += items.len();
        // An item that is no JSON spoils its whole push: those travel alone.
        let (whole, broken): (Vec<_>, Vec<_>) = items
            .into_iter()
            .partition(|item| serde_json::from_slice::<Value>(item).is_ok_and(|item| item["op_id"].is_string()));
        let mut pushes: Vec<Vec<Vec<u8>>> = whole.chunks(25).map(<[Vec<u8>]>::to_vec).collect();
        pushes.extend(broken.into_iter().map(|item| vec![item]));
        let asks = pushes.iter().map(|items| {
            let mut body = format!("{{\"device_id\":\"{}\",\"schema\":1,\"items\":[", Uuid::now_v7()).into_bytes();
            body.extend(items.join(&b','));
            body.extend(format!("],\"sent_at\":\"{}\"}}", chrono::Utc::now().to_rfc3339()).into_bytes());
            pushes::push(who, place.id("club_id"), &[]).noted(kind).bytes(body)
        });
        for (ask, answer) in all(world, report, asks.collect()).await {
            for result in answer.json()["results"].as_array().into_iter().flatten() {
                if result["status"].as_u64().is_none_or(|status| status >= 500) {
                    report.found(Flaw::Broken, format!("{}: {result}", ask.name));
                }
            }
        }
    }
    count
}

/// Whole bodies and their headers.
fn whole_bodies(world: &World, who: &Person) -> Vec<Ask> {
    let place = world.place("own");
    let mut asks = Vec::new();
    let bodies: [&[u8]; 11] = [
        b"",
        b"null",
        b"[]",
        b"\"text\"",
        b"{",
        b"{}{}",
        b"\xef\xbb\xbf{}",
        b"{\"a\":\"\xff\xfe\"}",
        b"\xff\xfe{\x00}\x00",
        b"{\"id\":null,\"id\":null}",
        b"{\"nobody_knows_this\":1}",
    ];
    let types = [
        "",
        "text/plain",
        "application/xml",
        "application/json; charset=utf-16",
        "application/json; charset=latin1",
        "multipart/form-data",
        ";;;",
        "*/*",
    ];
    let codings = ["gzip", "br", "zstd", "deflate", "compress", "gzip, gzip", "identity", "unknown", ""];
    for operation in world.service.document.operations.iter().filter(|one| one.body.is_some() && !skipped(one)) {
        let (media, _) = operation.body.as_ref().unwrap();
        let ask = world.ask(operation, place, who);
        for body in bodies {
            let text = String::from_utf8_lossy(body).into_owned();
            asks.push(ask.clone().header("content-type", media).bytes(body.to_vec()).noted(&note("body", &text)));
        }
        let deep = format!("{}{}", "[".repeat(100_000), "]".repeat(100_000)).into_bytes();
        asks.push(ask.clone().header("content-type", media).bytes(deep).noted("deep"));
        for media in types {
            asks.push(
                ask.clone().header("content-type", media).bytes(b"{\"nobody_knows_this\":1}".to_vec()).noted(media),
            );
        }
        for coding in codings {
            let ask = ask.clone().header("content-type", media).header("content-encoding", coding);
            asks.push(ask.bytes(b"{\"nobody_knows_this\":1}".to_vec()).noted(&note("coding", coding)));
        }
    }
    asks
}

/// Headers that say what they should not.
fn headers(world: &World, who: &Person) -> Vec<Ask> {
    let place = world.place("own");
    let mut asks = Vec::new();
    let odd: [(&str, &str); 14] = [
        ("if-match", "\"\u{e9}\""),
        ("if-match", ",,,"),
        ("if-none-match", "*"),
        ("if-none-match", "W/W/\"1\""),
        ("accept", "image/x-unknown"),
        ("accept", "\u{e9};q=\u{e9}"),
        ("accept-encoding", "br;q=2, gzip;q=x, *;q=0"),
        ("prefer", "wait=99999999999999999999"),
        ("prefer", "wait=-1"),
        ("range", "bytes=0-,5-1"),
        ("x-http-method-override", "DELETE"),
        ("origin", "https://evil.example"),
        ("host", "evil.example"),
        ("traceparent", "00-zz"),
    ];
    for operation in world.service.document.operations.iter().filter(|one| one.reads()) {
        let ask = world.ask(operation, place, who);
        asks.extend(odd.iter().map(|(name, value)| ask.clone().header(name, value).noted(&note(name, value))));
    }
    for operation in world.service.document.operations.iter().filter(|one| one.scopes.is_some()) {
        let stranger = world.person("stranger");
        let token = format!("Bearer {}", stranger.token);
        let mut ask = world.valid(operation, place, who).noted("two authorizations");
        if !operation.reads() {
            ask = ask.instead("if-match", "\"0\"").instead("content-type", "text/plain");
        }
        asks.push(ask.header("authorization", &token));
    }
    asks
}

/// Whatever was stored can be read.
async fn read_all(world: &Arc<World>, report: &Arc<Report>) {
    let place = world.place("own");
    let mut asks = Vec::new();
    for name in ["admin", "coach", "viewer"] {
        for operation in world.service.document.operations.iter().filter(|one| one.reads()) {
            let ask = world.ask(operation, place, world.person(name)).noted("afterwards");
            let lists = operation.query.iter().any(|query| query.name == "limit");
            asks.push(if lists { ask.query("limit", "200") } else { ask });
        }
    }
    all(world, report, asks).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_value_breaks_anything() {
    let (world, report) = (Arc::new(World::simple().await), Arc::new(Report::new("hostile values")));
    let admin = world.person("admin").clone();
    let bodies = in_bodies(&world, &admin);
    report.figure("in bodies", bodies.len());
    all(&world, &report, bodies).await;
    let queries = in_queries(&world, &admin);
    report.figure("in queries", queries.len());
    all(&world, &report, queries).await;
    let count = in_pushes(&world, &report, &admin).await;
    report.figure("in pushes", count);
    read_all(&world, &report).await;
    Arc::into_inner(report).unwrap().close();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_body_header_or_path_breaks_anything() {
    let (world, report) = (Arc::new(World::simple().await), Arc::new(Report::new("bodies, headers, paths")));
    let admin = world.person("admin").clone();
    let bodies = whole_bodies(&world, &admin);
    report.figure("whole bodies", bodies.len());
    all(&world, &report, bodies).await;
    let headers = headers(&world, &admin);
    report.figure("headers", headers.len());
    for (ask, answer) in all(&world, &report, headers).await {
        if ask.name.ends_with("two authorizations") && answer.good() {
            report.found(Flaw::WrongAllow, format!("{}: {}", ask.name, answer.text()));
        }
    }
    refused_queries(&world, &report, &admin).await;
    crate::sockets::odd_paths(&world, &report).await;
    Arc::into_inner(report).unwrap().close();
}

/// A parameter that an operation does not know is refused: a mistyped filter would show everything.
async fn refused_queries(world: &Arc<World>, report: &Arc<Report>, who: &Person) {
    let operations = world.service.document.operations.iter().filter(|one| one.reads() && one.in_club());
    let asks = operations.map(|one| world.ask(one, world.place("own"), who).query("nobody_knows_this", "1"));
    for ask in asks.collect::<Vec<_>>() {
        let answer = ask.send(world).await;
        judge(world, report, &ask, &answer);
        if answer.status != 400 {
            report.found(Flaw::WrongAllow, format!("{} with an unknown parameter: {}", ask.name, answer.text()));
        }
    }
}
