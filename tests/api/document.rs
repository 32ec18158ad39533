//! The rules that hold over the whole document, so that the next operation, schema or word cannot forget one; and every
//! operation, carried out for real.

use std::collections::BTreeSet;

use reqwest::Method;
use serde_json::{Map, Value, json};
use sqlx::PgPool;

use crate::contract::CONTRACT;
use crate::examples::Recorder;
use crate::operations::operations;
use crate::operations::stage::Stage;
use crate::support::TestApp;

pub fn object(value: &Value) -> impl Iterator<Item = (&String, &Value)> {
    value.as_object().into_iter().flatten()
}

pub fn schemas() -> &'static Map<String, Value> {
    CONTRACT.document["components"]["schemas"].as_object().unwrap()
}

/// Every operation with its method and path.
pub fn all() -> Vec<(&'static str, &'static str, &'static Value)> {
    let paths = object(&CONTRACT.document["paths"]);
    paths
        .flat_map(|(path, item)| object(item).map(move |(method, one)| (method.as_str(), path.as_str(), one)))
        .collect()
}

pub fn resolved(value: &'static Value) -> &'static Value {
    let place = value["$ref"].as_str().map(|place| &place[1..]);
    place.map_or(value, |place| CONTRACT.document.pointer(place).unwrap_or_else(|| panic!("nothing at {place}")))
}

/// The names of all schemas that a value leads to.
fn reached(from: &Value, found: &mut BTreeSet<String>) {
    match from {
        Value::Object(fields) => {
            if let Some(name) =
                fields.get("$ref").and_then(Value::as_str).and_then(|place| place.split("/schemas/").nth(1))
                && found.insert(name.to_owned())
            {
                reached(&schemas()[name], found);
            }
            fields.values().for_each(|value| reached(value, found));
        }
        Value::Array(list) => list.iter().for_each(|value| reached(value, found)),
        _ => {}
    }
}

#[test]
#[allow(clippy::too_many_lines)] // one rule after another
fn every_operation_says_what_it_does_who_may_and_what_it_answers() {
    let document = &CONTRACT.document;
    let tags: Vec<&str> = document["tags"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|tag| tag["description"].as_str().is_some_and(|says| says.len() > 10))
        .map(|tag| tag["name"].as_str().unwrap())
        .collect();
    let scopes = document["components"]["securitySchemes"]["access_token"]["description"].as_str().unwrap();
    let (mut wrong, mut names) = (Vec::new(), BTreeSet::new());
    for (method, path, operation) in all() {
        let id = operation["operationId"].as_str().unwrap();
        let mut flaw = |what: &str| wrong.push(format!("{id}: {what}"));
        if !names.insert(id) {
            flaw("its id is not unique");
        }
        if operation["summary"].as_str().is_none_or(str::is_empty) {
            flaw("no summary");
        }
        if operation["description"].as_str().is_none_or(|says| says.len() < 30) {
            flaw("no description");
        }
        let tagged = operation["tags"].as_array().unwrap();
        if tagged.len() != 1 || !tags.contains(&tagged[0].as_str().unwrap()) {
            flaw("no tag, or one without a description");
        }
        let needs = operation["security"].as_array().unwrap();
        let listed = needs.iter().flat_map(object).flat_map(|(_, scopes)| scopes.as_array().unwrap());
        for scope in listed {
            if !scopes.contains(&format!("`{}`: ", scope.as_str().unwrap())) {
                flaw("its scope is not described");
            }
        }
        let given = operation["parameters"].as_array().cloned().unwrap_or_default();
        for one in &given {
            if one["description"].as_str().is_none_or(str::is_empty) {
                flaw(&format!("the parameter {} has no description", one["name"]));
            }
        }
        let takes = |name: &str| given.iter().any(|one| one["name"] == name);
        let answers = operation["responses"].as_object().unwrap();
        if answers.contains_key("304") != takes("If-None-Match") {
            flaw("304 and If-None-Match go together");
        }
        if answers.contains_key("412") != takes("If-Match") || answers.contains_key("428") != takes("If-Match") {
            flaw("412, 428 and If-Match go together");
        }
        if answers.contains_key("405") {
            flaw("405 is of no operation");
        }
        let public = needs.iter().all(|need| *need == json!({}));
        // Clients of OAuth are told in words of their own.
        let oauth = path.starts_with("/oauth/");
        if answers.contains_key("401") && public && !path.starts_with("/v1/auth/") {
            flaw("401 where nobody signs in");
        }
        if answers.contains_key("415") != operation["requestBody"].is_object() {
            flaw("415 and a body go together");
        }
        for (status, answer) in answers {
            let answer = resolved(answer);
            let has = |name: &str| answer["headers"][name].is_object();
            if answer["description"].as_str().is_none_or(str::is_empty) {
                flaw(&format!("{status} has no description"));
            }
            if oauth && status == "400" {
                let content = &answer["content"]["application/json"];
                if content["schema"]["$ref"] != "#/components/schemas/TokenRefusal" || !content["example"].is_object() {
                    flaw("400 is no word of OAuth with an example");
                }
            } else if status.starts_with(['4', '5']) {
                let content = &answer["content"]["application/problem+json"];
                if content["schema"]["$ref"] != "#/components/schemas/ProblemBody" || !content["example"].is_object() {
                    flaw(&format!("{status} is no problem with an example"));
                }
            }
            let needed = match status.as_str() {
                "401" => Some("WWW-Authenticate"),
                "429" | "503" => Some("Retry-After"),
                "304" | "412" => Some("ETag"),
                "200" if answers.contains_key("304") => Some("ETag"),
                _ => None,
            };
            if needed.is_some_and(|name| !has(name)) {
                flaw(&format!("{status} does not tell its header {needed:?}"));
            }
            if object(&answer["content"]).count() > 1 && !(oauth && status == "400") {
                flaw(&format!("{status} has several representations: each needs a path of its own"));
            }
        }
        if method == "patch" {
            let schema = &operation["requestBody"]["content"]["application/merge-patch+json"]["schema"];
            let name = schema["$ref"].as_str().unwrap_or_default();
            if !name.ends_with("Patch") || !resolved(schema)["required"].is_null() {
                flaw("a patch has a schema of its own, with nothing required");
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn what_is_sent_is_closed_and_what_is_answered_may_grow() {
    let (mut sent, mut answered) = (BTreeSet::new(), BTreeSet::new());
    for (_, _, operation) in all() {
        reached(&operation["requestBody"], &mut sent);
        for (_, answer) in object(&operation["responses"]) {
            reached(resolved(answer), &mut answered);
        }
    }
    let closed = |name: &String| schemas()[name]["additionalProperties"] == false;
    let fields = |name: &String| schemas()[name]["properties"].is_object();
    let shut: Vec<&String> = answered.iter().filter(|name| closed(name)).collect();
    assert!(shut.is_empty(), "answers that cannot grow: {shut:?}");
    // A lane plan comes back as it was read, with whatever a newer service added to it.
    // And OAuth has servers leave aside what they do not know (RFC 6749, section 3.2).
    let oauth = ["TokenRequest", "RevocationRequest"];
    let plan = |name: &&String| {
        !name.starts_with("LanePlan") && !name.as_str().eq("PushedLanePlan") && !oauth.contains(&name.as_str())
    };
    let only_sent = sent.difference(&answered).filter(|name| fields(name) && !closed(name)).filter(plan);
    let open: Vec<&String> = only_sent.collect();
    assert!(open.is_empty(), "requests whose unknown fields are refused, which the document does not say: {open:?}");
    let joined: Vec<&String> =
        schemas().iter().filter(|(_, one)| one["allOf"].is_array()).map(|(name, _)| name).collect();
    assert!(joined.is_empty(), "nothing satisfies two closed objects at once: {joined:?}");
}

/// The schema of a field without null, and its type.
pub fn plain(field: &Value) -> (&Value, &str) {
    let several = field["oneOf"].as_array();
    let field = several.and_then(|several| several.iter().find(|one| one["type"] != "null")).unwrap_or(field);
    let kind = match &field["type"] {
        Value::Array(kinds) => kinds.iter().find(|kind| **kind != "null").and_then(Value::as_str),
        other => other.as_str(),
    };
    (field, kind.unwrap_or_default())
}

#[test]
fn every_field_is_described_bounded_and_shown() {
    let mut wrong = Vec::new();
    for (name, schema) in schemas() {
        if schema["description"].as_str().is_none_or(str::is_empty) {
            wrong.push(format!("{name} has no description"));
        }
        for (field, shape) in object(&schema["properties"]) {
            let mut flaw = |what: &str| wrong.push(format!("{name}.{field} {what}"));
            if shape["description"].as_str().is_none_or(str::is_empty) {
                flaw("has no description");
            }
            let (one, kind) = plain(shape);
            let shown = ["example", "examples", "enum"].iter().any(|keyword| !one[*keyword].is_null());
            if ["string", "integer", "number", "boolean"].contains(&kind) && !shown {
                flaw("has no example");
            }
            let said = [&shape["description"], &schema["description"]].map(|one| one.as_str().unwrap_or_default());
            if kind == "number" && !has_unit(field, &said.join(" ")) {
                flaw("has no unit");
            }
            if let Some(what) = unbounded(shape) {
                flaw(what);
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

/// What a field has no bound of, items of a list included.
fn unbounded(shape: &Value) -> Option<&'static str> {
    let (one, kind) = plain(shape);
    let has = |keyword: &str| !one[keyword].is_null();
    match kind {
        "string" if !has("maxLength") && !has("enum") && !has("format") => Some("has no longest text"),
        "integer" | "number" if !has("minimum") || !has("maximum") => Some("has no bounds"),
        "array" if !has("maxItems") => Some("has no largest count"),
        "array" => unbounded(&one["items"]),
        _ => None,
    }
}

/// Whether a number says what it is a number of: in its name, or in words.
fn has_unit(name: &str, says: &str) -> bool {
    const NAMES: [&str; 9] = ["_m", "_s", "_ms", "_hz", "_mps", "_fps", "_bytes", "_seconds", "_days"];
    const WORDS: [&str; 12] = [
        "metre",
        "second",
        "robability",
        "P(hold)",
        "hare",
        "egret",
        "uantile",
        "unt",
        "umber",
        "rom 0 to",
        "times",
        " over ",
    ];
    NAMES.iter().any(|end| name.ends_with(end)) || WORDS.iter().any(|word| says.contains(word))
}

#[test]
fn every_operation_shows_what_was_really_sent_and_answered() {
    let mut wrong = Vec::new();
    for (_, _, operation) in all() {
        let good = object(&operation["responses"]).filter(|(status, _)| status.starts_with('2'));
        for part in good.map(|(_, answer)| answer).chain([&operation["requestBody"]]) {
            // Sounds, files for paper and workbooks are no text that a document could show.
            let is_text = |media: &str| {
                ["audio/", "application/pdf", "application/vnd.", "application/zip"]
                    .iter()
                    .all(|one| !media.starts_with(one))
            };
            let media = object(&part["content"]).filter(|(media, _)| is_text(media));
            for (media, content) in media {
                let faults = match &content["example"] {
                    Value::Null => vec!["nothing is shown: run `./dev examples`".to_owned()],
                    shown if media.ends_with("json") || media.ends_with("form-urlencoded") => {
                        CONTRACT.validate(&content["schema"], shown)
                    }
                    shown => CONTRACT.validate(&json!({"type": "string", "minLength": 1}), shown),
                };
                wrong.extend(faults.into_iter().map(|fault| format!("{} {media}: {fault}", operation["operationId"])));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn links_lead_from_what_is_made_or_listed_to_operations_that_take_what_they_give() {
    let known: std::collections::BTreeMap<&str, &Value> =
        all().into_iter().map(|(_, _, one)| (one["operationId"].as_str().unwrap(), one)).collect();
    let mut count = 0;
    for (_, path, operation) in all() {
        for (_, answer) in object(&operation["responses"]) {
            for (name, link) in object(&answer["links"]) {
                count += 1;
                let target = known[link["operationId"].as_str().unwrap()];
                let takes: Vec<&Value> = target["parameters"].as_array().unwrap().iter().collect();
                for (parameter, value) in object(&link["parameters"]) {
                    assert!(takes.iter().any(|one| one["name"] == *parameter), "{name} takes no {parameter}");
                    let from = value.as_str().unwrap().strip_prefix("$request.path.");
                    assert!(from.is_none_or(|from| path.contains(&format!("{{{from}}}"))), "{path}: {value}");
                }
                let given =
                    |one: &&&Value| one["in"] != "path" || !link["parameters"][one["name"].as_str().unwrap()].is_null();
                assert_eq!(takes.iter().filter(given).count(), takes.len(), "{name} needs more of its path");
            }
        }
    }
    assert!(count > 60, "{count} links");
    let made = &known["create_venue"]["responses"]["201"]["links"];
    for target in ["get_venue", "update_venue", "delete_venue"] {
        assert!(made[target].is_object(), "{target} follows a creation");
    }
    assert!(known["list_venues"]["responses"]["200"]["links"]["get_venue"].is_object());
}

#[test]
fn closed_words_are_enums_with_a_meaning_for_each() {
    let mut wrong = Vec::new();
    for (name, schema) in schemas() {
        for word in schema["enum"].as_array().into_iter().flatten().filter_map(Value::as_str) {
            if !schema["description"].as_str().unwrap_or_default().contains(&format!("- `{word}`: ")) {
                wrong.push(format!("{name}: what `{word}` means is not said"));
            }
        }
        for (field, shape) in object(&schema["properties"]) {
            let pattern = plain(shape).0["pattern"].as_str().unwrap_or_default();
            if pattern.contains('|') {
                wrong.push(format!("{name}.{field} is a list of words written as a pattern"));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}

#[test]
fn unions_are_told_apart_by_their_type() {
    for name in ["PushItem", "FeedChange"] {
        let union = &schemas()[name];
        assert_eq!(union["discriminator"]["propertyName"], "type");
        let mapping = union["discriminator"]["mapping"].as_object().unwrap();
        assert_eq!(mapping.len(), union["oneOf"].as_array().unwrap().len());
        for (word, place) in mapping {
            let part = CONTRACT.document.pointer(&place.as_str().unwrap()[1..]).unwrap();
            assert_eq!(part["properties"]["type"]["enum"], json!([word]), "{name}");
            assert_ne!(part["properties"]["data"]["type"], "object", "{name}: {word} says what it carries");
        }
    }
    for (_, part) in object(&schemas()["PushItem"]["discriminator"]["mapping"]) {
        let part = CONTRACT.document.pointer(&part.as_str().unwrap()[1..]).unwrap();
        assert_eq!(part["required"], json!(["op_id", "method", "type", "id"]));
    }
}

#[sqlx::test]
async fn every_operation_is_carried_out_as_the_document_says(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let stage = Stage::new(&app).await;
    let (mut wrong, mut recorder) = (Vec::new(), Recorder::default());
    // What is sent and answered is held against the document by the client itself.
    for operation in operations(&app).await {
        let mut case = stage.request(&operation).await;
        let first = case.send(&app).await;
        let (_, said) = CONTRACT.operation(&operation.method, &case.path).expect("the operation is in the document");
        if said["operationId"] != *operation.id || first.status >= 300 {
            wrong.push(format!("{}: {} {}", operation.id, first.status, first.body));
            continue;
        }
        recorder.note(&operation.id, &case, &first);
        if operation.method == Method::GET && !said["responses"]["304"].is_null() {
            case.headers.push(("if-none-match", first.header("etag").to_owned()));
            let again = case.send(&app).await;
            if again.status != 304 || !again.bytes.is_empty() {
                wrong.push(format!("{} unchanged: {}", operation.id, again.status));
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    if let Ok(path) = std::env::var("LANEWRIGHT_EXAMPLES") {
        recorder.write(&path);
    }
}

#[sqlx::test]
async fn another_representation_has_a_path_of_its_own_and_accept_still_asks_for_it(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let stage = Stage::new(&app).await;
    let mut seen = 0;
    for operation in operations(&app).await {
        const ENDINGS: [(&str, &str); 5] = [
            ("csv", "text/csv"),
            ("xlsx", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
            ("svg", "image/svg+xml"),
            ("html", "text/html"),
            ("pdf", "application/pdf"),
        ];
        let ending = ENDINGS.into_iter().find(|(end, _)| operation.path.ends_with(&format!(".{end}")));
        let Some((ending, wanted)) = ending.filter(|_| operation.method == Method::GET) else { continue };
        let plain = operation.id.strip_suffix(&format!("_{ending}")).unwrap();
        seen += 1;
        let own = stage.request(&operation).await;
        let answer = own.send(&app).await.expect(200);
        let media = answer.header("content-type").split(';').next().unwrap().to_owned();
        assert_eq!(media, wanted, "{plain}");
        let mut asked = own.clone();
        let dotted = format!(".{ending}");
        asked.path = own.path.replace(&dotted, "");
        asked.headers.push(("accept", media.clone()));
        let same = asked.send(&app).await.expect(200);
        assert_eq!(
            (same.header("content-type"), &same.bytes),
            (answer.header("content-type"), &answer.bytes),
            "{plain}"
        );
        // A path with an ending has no other method, and no ending that nobody knows.
        let token = own.headers[0].1.as_str();
        let head = [("authorization", token)];
        // Beside athletes it would be the id of one.
        let none = if plain == "export_athletes" { 404 } else { 405 };
        app.send(Method::DELETE, &own.path, &head, None).await.expect(none);
        app.send(Method::GET, &own.path.replace(&dotted, ".txt"), &head, None).await.expect(404);
    }
    assert!(seen >= 24, "{seen} representations");
}

#[sqlx::test]
async fn the_address_of_a_problem_answers_with_what_it_means_and_what_to_do(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let problem = app.get("/v1/nothing").await.expect(404);
    let list = app.get("/problems").await.expect(200);
    assert!(list.body["items"].as_array().unwrap().iter().any(|one| one["type"] == problem.body["type"]));
    for one in list.body["items"].as_array().unwrap() {
        let path = one["type"].as_str().unwrap();
        let page = app.get(path).await.expect(200).body;
        assert_eq!((&page["type"], &page["status"]), (&one["type"], &one["status"]));
        assert!(page["means"].as_str().unwrap().len() > 20 && page["remedy"].as_str().unwrap().len() > 10, "{page}");
        let html = app.send(Method::GET, path, &[("accept", "text/html,*/*;q=0.8")], None).await.expect(200);
        assert_eq!(html.header("content-type"), "text/html; charset=utf-8");
        let text = String::from_utf8(html.bytes).unwrap();
        assert!(text.contains(one["title"].as_str().unwrap()) && !text.contains("<script"), "{text}");
    }
    // Each page lists the codes that can come with it; that no other comes is held by every exchange of the suite.
    let mut listed = BTreeSet::new();
    for (word, own, other) in
        [("malformed", "cursor", "guessable"), ("invalid", "guessable", "cursor"), ("held", "unknown_id", "json")]
    {
        let page = app.get(&format!("/problems/{word}")).await.expect(200).body;
        let codes: BTreeSet<String> = page["fault_codes"]
            .as_array()
            .unwrap()
            .iter()
            .map(|one| one["code"].as_str().unwrap().to_owned())
            .collect();
        assert!(codes.contains(own) && !codes.contains(other), "{word}: {codes:?}");
        listed.extend(codes);
    }
    assert!(app.get("/problems/not-found").await.expect(200).body["fault_codes"].is_null());
    let documented: BTreeSet<String> =
        schemas()["FaultCode"]["enum"].as_array().unwrap().iter().map(|one| one.as_str().unwrap().to_owned()).collect();
    assert_eq!(listed, documented);
    app.get("/problems/nothing").await.expect(404);
}
