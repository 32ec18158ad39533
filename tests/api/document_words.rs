//! What the document says in words is what its schemas, headers and statuses say, and so do the guides and the readme: whoever
//! has these alone is told nothing twice in two ways.

use std::collections::{BTreeMap, BTreeSet};

use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::contract::CONTRACT;
use crate::document::{all, object, resolved, schemas};
use crate::oauth;
use crate::support::TestApp;
use crate::sync_pull::squad;
use crate::sync_push::{item, push};

const GUIDES: [(&str, &str); 3] = [
    ("sync-guide.md", include_str!("../../api-spec/sync-guide.md")),
    ("app-guide.md", include_str!("../../api-spec/app-guide.md")),
    ("README.md", include_str!("../../README.md")),
];

fn text<'a>(value: &'a Value, name: &str) -> &'a str {
    value[name].as_str().unwrap_or_default()
}

/// Every field of every schema, with where it stands.
fn fields() -> impl Iterator<Item = (String, &'static str, &'static Value)> {
    schemas().iter().flat_map(|(name, schema)| {
        object(&schema["properties"]).map(move |(field, shape)| (format!("{name}.{field}"), field.as_str(), shape))
    })
}

/// Every query parameter of every operation, with where it stands.
fn parameters() -> impl Iterator<Item = (String, &'static str, &'static Value)> {
    all().into_iter().flat_map(|(_, _, operation)| {
        let given = operation["parameters"].as_array().into_iter().flatten().filter(|one| one["in"] == "query");
        given.map(move |one| {
            (format!("{}?{}", text(operation, "operationId"), text(one, "name")), text(one, "name"), one)
        })
    })
}

/// The schema behind references, alternatives and lists.
fn behind(schema: &'static Value) -> &'static Value {
    let schema = resolved(schema);
    let several = ["oneOf", "anyOf"].into_iter().find_map(|keyword| schema[keyword].as_array());
    let inner = several.and_then(|several| several.iter().find(|one| one["type"] != "null"));
    match inner.or_else(|| schema.get("items")) {
        Some(inner) => behind(inner),
        None => schema,
    }
}

fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

#[test]
fn an_operation_says_in_words_and_in_its_security_alike_whom_it_lets_in() {
    let mut wrong = Vec::new();
    for (_, _, operation) in all() {
        let (id, says) = (text(operation, "operationId"), text(operation, "description"));
        let needs = operation["security"].as_array().unwrap();
        let scopes =
            |scheme: &str| needs.iter().filter_map(|need| need[scheme].as_array()).flatten().collect::<Vec<_>>();
        let for_apps = needs.iter().any(|need| need["oauth2"].is_array());
        if !needs.is_empty() && for_apps == says.contains("no app does this") {
            wrong.push(format!("{id}: whether an app may is said in two ways"));
        }
        if says.contains("pps cannot") {
            wrong.push(format!("{id}: what apps may says its `security`"));
        }
        if for_apps && scopes("oauth2") != scopes("access_token") {
            wrong.push(format!("{id}: an app and a person need other scopes"));
        }
        let unsaid = scopes("oauth2").into_iter().filter(|scope| !quoted(says).any(|word| **scope == word));
        wrong.extend(unsaid.map(|scope| format!("{id}: {scope} will do, which is not said")));
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// An app with every scope, of an admin: whatever the document does not open to apps is refused, before anything else is looked at.
#[sqlx::test]
async fn an_app_is_let_in_exactly_where_the_document_says(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let scopes = ["squad.read", "session.write", "assessment.write", "plan.write", "sync", "club.admin"];
    let by_app = oauth::acting(&admin, &scopes).await;
    let bearer = format!("Bearer {}", by_app.token);
    let (mut wrong, mut closed) = (Vec::new(), 0);
    for (method, path, operation) in all() {
        let needs = operation["security"].as_array().unwrap();
        if needs.is_empty() {
            continue;
        }
        let for_apps = needs.iter().any(|need| need["oauth2"].is_array());
        closed += usize::from(!for_apps);
        // Of records that are not there, so that nothing is changed.
        let part = |part: &str| match part {
            "{club_id}" => admin.club.clone(),
            part if part.starts_with('{') => Uuid::now_v7().to_string(),
            part => part.to_owned(),
        };
        let path: Vec<String> = path.split('/').map(part).collect();
        let method = reqwest::Method::from_bytes(method.to_uppercase().as_bytes()).unwrap();
        let body = operation["requestBody"].is_object().then(|| b"{\"unknown\": true}".to_vec());
        let headers = [("authorization", bearer.as_str()), ("content-type", "application/json"), ("if-match", "\"0\"")];
        let answer = app.send(method, &path.join("/"), &headers, body).await;
        if (answer.status == 403) == for_apps || answer.status == 401 {
            wrong.push(format!("{}: {} {}", text(operation, "operationId"), answer.status, answer.body));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(closed > 20, "{closed} operations are for people alone");
}

/// The value that a description gives as default: `(default 12)`.
fn default_said(says: &str) -> Option<Value> {
    let value = says.split("(default ").nth(1)?.split([',', ';', ':', ')']).next()?;
    let value = match value {
        "no" => "false",
        "yes" => "true",
        other => other,
    };
    Some(serde_json::from_str(value).unwrap_or_else(|_| json!(value)))
}

fn alike(one: &Value, other: &Value) -> bool {
    one == other || one.as_f64().is_some() && one.as_f64() == other.as_f64()
}

#[test]
fn a_default_is_said_once_and_never_of_a_change() {
    let mut wrong = Vec::new();
    let given = parameters().map(|(at, name, one)| (at, name, text(one, "description"), &one["schema"]));
    for (at, name, says, schema) in
        fields().map(|(at, name, one)| (at, name, text(one, "description"), one)).chain(given)
    {
        let default = schema.get("default");
        if default == Some(&Value::Null) {
            wrong.push(format!("{at}: null is no default, left out is absent"));
        }
        if says.contains("efault: ") {
            wrong.push(format!("{at}: is that what counts when it is absent? Say `(default X)`, or what absent means"));
        }
        if let (Some(default), Some(said)) = (default, default_said(says))
            && !alike(default, &said)
        {
            wrong.push(format!("{at}: the default is {default} and {said}"));
        }
        if at.split('.').next().is_some_and(|schema| schema.ends_with("Patch")) && default.is_some() {
            wrong.push(format!("{at}: what a change leaves out stays"));
        }
        let table = |end: &str| at.ends_with(&format!("_{end}?limit"));
        if name == "limit" && (table("csv") || table("xlsx")) && default.is_some() {
            wrong.push(format!("{at}: a file has more rows than a page"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn a_number_of_32_bits_has_bounds_of_32_bits() {
    let given = parameters().map(|(at, _, one)| (at, &one["schema"]));
    let long = |(_, schema): &(String, &'static Value)| {
        let schema = behind(schema);
        let beyond = |bound: &str| schema[bound].as_f64().is_some_and(|bound| bound.abs() > f64::from(u32::MAX / 2));
        schema["format"] == "int32" && (beyond("maximum") || beyond("minimum"))
    };
    let wrong: Vec<_> = fields().map(|(at, _, one)| (at, one)).chain(given).filter(long).collect();
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn words_that_are_listed_are_those_of_the_schema() {
    let mut wrong = Vec::new();
    let given = parameters().map(|(at, name, one)| (at, name, text(one, "description"), &one["schema"]));
    for (at, name, says, schema) in
        fields().map(|(at, name, one)| (at, name, text(one, "description"), one)).chain(given)
    {
        let schema = behind(schema);
        let Some(words) = schema["enum"].as_array() else {
            // Codes that a person types are no words of a list.
            let typed = says.contains("authenticator") || says.contains("`authorization_code`");
            let closed = ["kind", "outcome", "stage", "state", "status", "type"].contains(&name)
                || (name == "code" && !typed)
                || says.contains("table code");
            if schema["type"] == "string" && closed {
                wrong.push(format!("{at}: a closed list is an enum"));
            }
            continue;
        };
        let words: BTreeSet<&str> = words.iter().filter_map(Value::as_str).collect();
        let told: BTreeSet<&str> = quoted(says).filter(|word| words.contains(word)).collect();
        if says.starts_with('`') && !told.is_empty() && told != words {
            wrong.push(format!("{at}: the words are {words:?}, and those told {told:?}"));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn no_two_words_of_a_list_mean_the_same() {
    let mut wrong = Vec::new();
    for (name, schema) in schemas() {
        let mut known: BTreeMap<&str, &str> = BTreeMap::new();
        let lines = text(schema, "description").lines().filter_map(|line| line.strip_prefix("- `")?.split_once("`: "));
        for (word, means) in lines {
            wrong.extend(known.insert(means, word).map(|other| format!("{name}: `{other}` and `{word}`: {means}")));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn statuses_and_headers_that_an_operation_speaks_of_are_told() {
    const HEADERS: [&str; 7] =
        ["Content-Disposition", "ETag", "Link", "Location", "Preference-Applied", "Retry-After", "WWW-Authenticate"];
    const UNITS: [&str; 6] = ["athletes", "days", "items", "records", "rows", "runs"];
    let mut wrong = Vec::new();
    for (_, _, operation) in all() {
        let (id, says) = (text(operation, "operationId"), text(operation, "description"));
        let answers = operation["responses"].as_object().unwrap();
        let told: BTreeSet<&String> =
            answers.values().flat_map(|answer| object(&resolved(answer)["headers"])).map(|(name, _)| name).collect();
        for name in quoted(says).filter(|word| HEADERS.contains(word) && !told.iter().any(|known| known == word)) {
            wrong.push(format!("{id}: {name} is in no answer"));
        }
        let words: Vec<&str> =
            says.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty()).collect();
        for (at, word) in words.iter().enumerate() {
            let is_status = word.len() == 3 && word.starts_with(['4', '5']) && word.bytes().all(|c| c.is_ascii_digit());
            let counts = words.get(at + 1).is_some_and(|next| UNITS.contains(next));
            if is_status && !counts && !answers.contains_key(*word) {
                wrong.push(format!("{id}: {word} is not listed"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// The routes that a text names, with their methods: `GET /v1/limits`, `POST …/held-items/{id}/accept`.
fn routes(text: &str) -> Vec<(&str, String)> {
    const METHODS: [&str; 5] = ["GET", "POST", "PUT", "PATCH", "DELETE"];
    let words: Vec<&str> =
        text.split(|c: char| c.is_whitespace() || "`|()".contains(c)).filter(|word| !word.is_empty()).collect();
    let pairs = words.windows(2).map(|pair| (pair[0], pair[1]));
    let is_path = |word: &str| word.starts_with(['/', '…']) || word.starts_with(".../");
    let short =
        |path: &str| path.split('?').next().unwrap_or_default().trim_end_matches(['.', ',', ';', ':']).to_owned();
    pairs
        .filter(|(method, path)| METHODS.contains(method) && is_path(path))
        .map(|(method, path)| (method, short(path)))
        .collect()
}

/// A path whose parameters have no names.
fn nameless(path: &str) -> String {
    let parts = path.split('/').map(|part| if part.starts_with('{') { "{}" } else { part });
    parts.collect::<Vec<_>>().join("/")
}

#[test]
fn every_route_that_is_spoken_of_is_there() {
    // What is no part of the API, or of the rehearsal.
    const BESIDE: [&str; 5] = ["/docs", "/docs/apps", "/docs/sync", "/openapi.json", "/rehearsal/next"];
    let mut known: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for (method, path, _) in all() {
        known.entry(method).or_default().insert(nameless(path));
    }
    let mut texts: Vec<(String, &str)> = GUIDES.map(|(name, text)| (name.to_owned(), text)).into();
    texts.push(("the head".to_owned(), text(&CONTRACT.document["info"], "description")));
    texts.extend(all().into_iter().map(|(_, path, one)| (path.to_owned(), text(one, "description"))));
    texts.extend(schemas().iter().map(|(name, one)| (name.clone(), text(one, "description"))));
    texts.extend(fields().map(|(at, _, one)| (at, text(one, "description"))));
    let (mut wrong, mut count) = (Vec::new(), 0);
    for (at, says) in texts {
        for (method, path) in routes(says) {
            count += 1;
            let end = nameless(path.trim_start_matches(['.', '…']));
            let whole = path.starts_with('/')
                && ["/v1/", "/oauth/", "/.well-known/"].iter().any(|begin| end.starts_with(begin));
            let fits = |known: &String| if whole { *known == end } else { known.ends_with(&end) };
            let there = known.get(method.to_lowercase().as_str()).is_some_and(|paths| paths.iter().any(fits));
            if !there && !BESIDE.contains(&end.as_str()) {
                wrong.push(format!("{at}: {method} {path}"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    assert!(count > 40, "{count} routes are spoken of");
}

#[test]
fn limits_are_the_same_numbers_wherever_they_are_told() {
    let told =
        &CONTRACT.document["paths"]["/v1/limits"]["get"]["responses"]["200"]["content"]["application/json"]["example"];
    let mut wrong = Vec::new();
    let mut same = |what: &str, one: &Value, other: &Value| {
        if one.is_null() || !alike(one, other) {
            wrong.push(format!("{what}: {one} and {other}"));
        }
    };
    for (at, _, one) in parameters().filter(|(_, name, _)| *name == "limit") {
        let page = if at.starts_with("list_changes") { &told["pull"] } else { &told["list"] };
        same(&at, &page["limit_max"], &one["schema"]["maximum"]);
        if let Some(default) = one["schema"].get("default") {
            same(&at, &page["limit_default"], default);
        }
    }
    for (name, schema) in schemas().iter().filter(|(name, _)| name.ends_with("Batch")) {
        let most = if name == "PushBatch" { &told["push"]["items"] } else { &told["batch_items"] };
        let list = object(&schema["properties"]).find(|(_, shape)| shape["type"] == "array").unwrap().1;
        same(name, most, &list["maxItems"]);
    }
    for (what, told, schema, field, bound) in [
        ("roster", &told["roster"]["rows"], "RosterImport", "rows", "maxItems"),
        ("exports", &told["archives"]["exports"], "ExportList", "items", "maxItems"),
        ("import", &told["archives"]["import_records"], "ArchiveImport", "records", "maximum"),
        ("apps", &told["apps"], "AppList", "items", "maxItems"),
    ] {
        same(what, told, &schemas()[schema]["properties"][field][bound]);
    }
    // And what stands beside each field as its example is what it is.
    let parts = object(told).filter(|(_, part)| part.is_object()).flat_map(|(name, part)| {
        let schema = behind(&schemas()["Limits"]["properties"][name]);
        object(part).map(move |(field, value)| (format!("{name}.{field}"), value, &schema["properties"][field]))
    });
    for (at, value, shape) in parts {
        same(&at, value, shape.get("example").unwrap_or(&shape["examples"][0]));
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn one_measure_has_one_name_or_says_the_other() {
    let mut names: BTreeMap<&str, BTreeSet<&str>> = BTreeMap::new();
    for (_, name, shape) in fields().filter(|(_, name, _)| name.ends_with("_m") || name.ends_with("_s")) {
        names.entry(text(shape, "description")).or_default().insert(name);
    }
    names.retain(|says, names| {
        // A longer name says of what the shorter one is: `expected_sd_s` beside `sd_s`.
        let shortest = names.iter().min_by_key(|name| name.len()).copied().unwrap_or_default();
        !says.is_empty() && names.iter().any(|name| !name.ends_with(shortest))
    });
    assert!(names.is_empty(), "{names:#?}");
}

/// The methods that an item of a type may have.
fn methods(item: &'static Value) -> Vec<&'static str> {
    behind(&item["properties"]["method"])["enum"].as_array().unwrap().iter().filter_map(Value::as_str).collect()
}

#[sqlx::test]
async fn a_push_takes_the_methods_that_the_document_lists_and_no_other(pool: PgPool) {
    let squad = squad(pool).await;
    let (mut refused, mut facts) = (0, 0);
    for (word, place) in object(&schemas()["PushItem"]["discriminator"]["mapping"]) {
        let listed = methods(CONTRACT.document.pointer(&place.as_str().unwrap()[1..]).unwrap());
        facts += usize::from(listed == ["PUT"]);
        for method in ["PUT", "PATCH", "DELETE"].into_iter().filter(|method| !listed.contains(method)) {
            let more = json!({"if_match": 1, "base_rev": 1, "data": {}});
            let result = push(&squad.admin, &[item(method, word, &Uuid::now_v7().to_string(), more)]).await.remove(0);
            assert!([404, 422].map(|status| json!(status)).contains(&result["status"]), "{method} of {word}: {result}");
            refused += 1;
        }
    }
    assert!(refused >= 12 && facts == 5, "{refused} were refused, {facts} types are facts alone");
}

#[sqlx::test]
async fn the_problems_of_the_document_are_those_that_have_a_page(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let list = app.get("/problems").await.expect(200).body;
    let pages: BTreeSet<&str> = list["items"].as_array().unwrap().iter().map(|one| text(one, "type")).collect();
    let documented = schemas()["ProblemType"]["enum"].as_array().unwrap().iter().filter_map(Value::as_str);
    let documented: BTreeSet<&str> = documented.collect();
    assert_eq!(documented, pages);
}
