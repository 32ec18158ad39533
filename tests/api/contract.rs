//! Every exchange of the suite is held against the committed document, in both directions: what was sent and taken, and
//! what was answered, has to be what the document says.

use std::collections::{BTreeSet, HashMap};
use std::sync::{Arc, LazyLock, Mutex};

use jsonschema::Validator;
use lanewright::platform::problem::Code;
use reqwest::Method;
use reqwest::header::HeaderMap;
use serde_json::{Map, Value, json};

/// Headers that an answer may carry only where the document says so.
const TOLD: [&str; 7] =
    ["etag", "location", "link", "retry-after", "www-authenticate", "content-disposition", "preference-applied"];

const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// An exchange.
pub struct Exchange<'a> {
    pub method: &'a Method,
    /// With its query.
    pub path: &'a str,
    pub sent_headers: &'a [(&'a str, &'a str)],
    pub sent: Option<&'a [u8]>,
    pub status: u16,
    pub headers: &'a HeaderMap,
    pub body: &'a [u8],
}

/// The document with what was compiled of it.
pub struct Contract {
    pub document: Value,
    validators: Mutex<HashMap<String, Arc<Validator>>>,
}

/// The committed document.
pub static CONTRACT: LazyLock<Contract> = LazyLock::new(|| {
    // Read when it runs, so that a new document needs no new build.
    let text = std::fs::read(concat!(env!("CARGO_MANIFEST_DIR"), "/api-spec/openapi.json")).unwrap();
    let document: Value = serde_json::from_slice(&text).unwrap();
    Contract { document, validators: Mutex::default() }
});

impl Contract {
    /// The path template and the operation that a request leads to.
    pub fn operation(&self, method: &Method, path: &str) -> Option<(&str, &Value)> {
        let path = path.split('?').next().unwrap_or_default();
        let parts: Vec<&str> = path.split('/').collect();
        let fits = |template: &str| {
            let wanted: Vec<&str> = template.split('/').collect();
            wanted.len() == parts.len()
                && wanted.iter().zip(&parts).all(|(want, part)| match want.split_once('}') {
                    Some((_, end)) => part.len() > end.len() && part.ends_with(end),
                    None => want == part,
                })
        };
        let found = self.document["paths"].as_object().unwrap().iter().filter(|(template, _)| fits(template));
        // A word in the path comes before a parameter, and a longer end before a shorter one.
        let (template, item) =
            found.min_by_key(|(template, _)| (template.matches('{').count(), std::cmp::Reverse(template.len())))?;
        let operation = item.get(method.as_str().to_lowercase())?;
        Some((template, operation))
    }

    /// Compares a value with a schema of the document; says where it differs.
    pub fn validate(&self, schema: &Value, value: &Value) -> Vec<String> {
        let key = schema.to_string();
        let known = self.validators.lock().unwrap().get(&key).map(Arc::clone);
        let validator = known.unwrap_or_else(|| {
            let mut whole = schema.as_object().unwrap().clone();
            whole.insert("components".to_owned(), json!({"schemas": self.document["components"]["schemas"]}));
            let options = jsonschema::draft202012::options().should_validate_formats(true);
            let built = options.build(&Value::Object(whole)).unwrap_or_else(|error| panic!("{key}: {error}"));
            let built = Arc::new(built);
            self.validators.lock().unwrap().insert(key.clone(), Arc::clone(&built));
            built
        });
        let faults = validator.iter_errors(value).take(5);
        faults.map(|error| format!("{} at {}", shortened(&error.to_string()), error.instance_path())).collect()
    }

    /// Codes of broken fields, wherever they stand in an answer, that the page of their problem does not list.
    fn unlisted(value: &Value) -> Vec<String> {
        let inside = match value {
            Value::Object(fields) => fields.values().flat_map(Self::unlisted).collect(),
            Value::Array(list) => list.iter().flat_map(Self::unlisted).collect(),
            _ => Vec::new(),
        };
        let kind = value["type"].as_str().and_then(|place| place.strip_prefix("/problems/"));
        let code = kind.and_then(|word| Code::ALL.into_iter().find(|code| code.row().0 == word));
        let Some(code) = code else { return inside };
        let faults = value["errors"].as_array().into_iter().flatten().filter_map(|one| one["code"].as_str());
        let own = faults.filter(|fault| !code.names(fault));
        inside.into_iter().chain(own.map(|fault| format!("{code:?} does not list {fault}"))).collect()
    }

    /// Where an exchange is not what the document says.
    pub fn faults(&self, exchange: &Exchange) -> Vec<String> {
        if exchange.method == Method::HEAD {
            return Vec::new();
        }
        let Some((_, operation)) = self.operation(exchange.method, exchange.path) else {
            return Vec::new();
        };
        let mut faults = self.answer_faults(operation, exchange);
        if exchange.status < 300 {
            faults.extend(self.request_faults(operation, exchange));
        }
        faults
    }

    fn answer_faults(&self, operation: &Value, exchange: &Exchange) -> Vec<String> {
        // Whoever rules out every coding is told so before there is any operation.
        // And `Accept` is taken where representations have paths of their own.
        if exchange.status == 406 && exchange.sent_headers.iter().any(|(name, _)| name.starts_with("accept")) {
            return Vec::new();
        }
        let Some(answer) = operation["responses"].get(exchange.status.to_string()) else {
            return vec![format!("the status {} is not documented", exchange.status)];
        };
        let shared = answer["$ref"].as_str().and_then(|place| self.document.pointer(&place[1..]));
        let answer = shared.unwrap_or(answer);
        let header = |name: &str| exchange.headers.get(name).and_then(|value| value.to_str().ok());
        // What `Accept` asks for on the plain path has a path of its own.
        let media = media_type(header("content-type").unwrap_or_default());
        if self.has_its_own(exchange, media) {
            return Vec::new();
        }
        let mut faults = Vec::new();
        let documented: BTreeSet<String> =
            answer["headers"].as_object().into_iter().flat_map(Map::keys).map(|name| name.to_lowercase()).collect();
        for (name, told) in answer["headers"].as_object().into_iter().flatten() {
            match header(name) {
                None if told["required"] == true => faults.push(format!("the header {name} is missing")),
                None => {}
                Some(text) => {
                    let value = match told["schema"]["type"].as_str() {
                        Some("integer") => text.parse().map_or(json!(text), |number: i64| json!(number)),
                        _ => json!(text),
                    };
                    let wrong = self.validate(&told["schema"], &value);
                    faults.extend(wrong.into_iter().map(|fault| format!("header {name}: {fault}")));
                }
            }
        }
        faults.extend(
            TOLD.iter()
                .filter(|name| exchange.headers.contains_key(**name) && !documented.contains(**name))
                .map(|name| format!("the header {name} is not documented")),
        );
        let content = answer["content"].as_object();
        match (header("content-type"), content) {
            (None, None) => {}
            (None, Some(_)) if exchange.body.is_empty() => faults.push("a body is documented, none came".to_owned()),
            (sent, content) => {
                let media = media_type(sent.unwrap_or_default());
                let Some(documented) = content.and_then(|content| content.get(media)) else {
                    faults.push(format!("the media type {media:?} is not documented"));
                    return faults;
                };
                if media.ends_with("json") {
                    let body: Value = serde_json::from_slice(exchange.body).unwrap_or(Value::Null);
                    faults.extend(self.validate(&documented["schema"], &body));
                    faults.extend(Self::unlisted(&body));
                }
            }
        }
        faults
    }

    /// Whether a representation is documented at a path of its own beside this one.
    fn has_its_own(&self, exchange: &Exchange, media: &str) -> bool {
        let path = exchange.path.split('?').next().unwrap_or_default();
        let ending = match media {
            "text/csv" => "csv",
            XLSX => "xlsx",
            "image/svg+xml" => "svg",
            "text/html" => "html",
            "application/pdf" => "pdf",
            _ => return false,
        };
        let own = self.operation(exchange.method, &format!("{path}.{ending}"));
        own.is_some_and(|(_, operation)| !operation["responses"]["200"]["content"][media].is_null())
    }

    fn request_faults(&self, operation: &Value, exchange: &Exchange) -> Vec<String> {
        let header =
            |wanted: &str| exchange.sent_headers.iter().find(|(name, _)| *name == wanted).map(|(_, value)| *value);
        if header("content-encoding").is_some() {
            return Vec::new();
        }
        let Some(sent) = exchange.sent.filter(|sent| !sent.is_empty()) else {
            let needed = operation["requestBody"]["required"] == true;
            return if needed { vec!["a body is required, none was sent".to_owned()] } else { Vec::new() };
        };
        let Some(content) = operation["requestBody"]["content"].as_object() else {
            return Vec::new();
        };
        let media = media_type(header("content-type").unwrap_or_default());
        let Some(documented) = content.get(media) else {
            return vec![format!("bodies of {media:?} are taken but not documented")];
        };
        if !media.ends_with("json") {
            return Vec::new();
        }
        let Ok(mut body) = serde_json::from_slice::<Value>(sent) else {
            return vec!["a body that is no JSON was taken".to_owned()];
        };
        let answer: Value = serde_json::from_slice(exchange.body).unwrap_or(Value::Null);
        if leave_out_refused(&mut body, &answer) {
            return Vec::new();
        }
        let wrong = self.validate(&documented["schema"], &body);
        wrong.into_iter().map(|fault| format!("request: {fault}")).collect()
    }
}

/// Takes those items of a batch out that were refused: nobody promised that they fit. Says whether none is left.
fn leave_out_refused(body: &mut Value, answer: &Value) -> bool {
    let Some(results) = answer["results"].as_array() else { return false };
    let mut none_left = false;
    let lists = body.as_object_mut().into_iter().flat_map(|body| body.iter_mut().map(|(_, value)| value));
    for list in lists.filter_map(Value::as_array_mut).filter(|list| list.len() == results.len()) {
        let mut at = 0;
        list.retain(|_| {
            at += 1;
            let result = &results[at - 1];
            result["problem"].is_null() && result["status"].as_u64().is_none_or(|status| status < 300)
        });
        none_left |= list.is_empty();
    }
    none_left
}

fn media_type(header: &str) -> &str {
    header.split(';').next().unwrap_or_default().trim()
}

fn shortened(text: &str) -> String {
    text.chars().take(300).collect()
}

/// Fails when an exchange is not what the document says.
pub fn check(exchange: &Exchange) {
    let faults = CONTRACT.faults(exchange);
    if faults.is_empty() {
        return;
    }
    let operation = CONTRACT.operation(exchange.method, exchange.path).map(|(_, one)| one["operationId"].to_string());
    let said = format!("{} {} {}: {faults:?}", operation.unwrap_or_default(), exchange.status, exchange.path);
    if let Ok(file) = std::env::var("CONTRACT_LOG") {
        use std::io::Write;
        let mut log = std::fs::OpenOptions::new().create(true).append(true).open(file).unwrap();
        writeln!(log, "{said}").unwrap();
        return;
    }
    panic!("{} {said}\nsent {}\ngot {}", exchange.method, text(exchange.sent.unwrap_or_default()), text(exchange.body));
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).chars().take(2_000).collect()
}
