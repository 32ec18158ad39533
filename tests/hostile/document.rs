//! The OpenAPI document as the suite reads it: operations, what they take, which fields hold ids.

use serde_json::{Map, Value};

/// One operation.
#[derive(Clone, Debug)]
pub struct Operation {
    pub id: String,
    pub method: String,
    pub path: String,
    /// The scopes that the document names; none when it is public.
    pub scopes: Option<Vec<String>>,
    pub path_params: Vec<String>,
    pub query: Vec<Query>,
    /// Media type and schema of the body.
    pub body: Option<(String, Value)>,
    /// Whether it takes `If-Match`.
    pub if_match: bool,
    /// Media types of its answer of success.
    pub answers: Vec<String>,
}

/// A query parameter.
#[derive(Clone, Debug)]
pub struct Query {
    pub name: String,
    pub required: bool,
    pub example: Option<String>,
    /// The kind of record whose id it holds.
    pub id_of: Option<String>,
}

impl Operation {
    pub fn reads(&self) -> bool {
        self.method == "GET"
    }

    pub fn in_club(&self) -> bool {
        self.path_params.iter().any(|name| name == "club_id")
    }

    /// The query that the operation cannot do without, with the document's own examples.
    pub fn needed_query(&self) -> Vec<(String, String)> {
        let needed = self.query.iter().filter(|one| one.required);
        needed.map(|one| (one.name.clone(), one.example.clone().unwrap_or_default())).collect()
    }
}

/// A step into a body.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    Field(String),
    /// The first item of a list.
    Item,
}

/// A place in a body.
#[derive(Clone, Debug)]
pub struct Field {
    pub steps: Vec<Step>,
    /// The kind of record whose id it holds.
    pub id_of: Option<String>,
}

impl Field {
    /// As a JSON Pointer.
    pub fn name(&self) -> String {
        self.steps
            .iter()
            .map(|step| match step {
                Step::Field(name) => format!("/{name}"),
                Step::Item => "/0".to_owned(),
            })
            .collect()
    }

    /// Whether it is the id that a client gives a new record.
    pub fn is_own_id(&self) -> bool {
        self.steps.last() == Some(&Step::Field("id".to_owned()))
    }

    /// Puts a value there, making what leads to it.
    pub fn put(&self, body: &mut Value, value: Value) {
        let mut here = body;
        for step in &self.steps {
            match step {
                Step::Field(name) => {
                    if !here.is_object() {
                        *here = Value::Object(Map::new());
                    }
                    here = &mut here[name.as_str()];
                }
                Step::Item => {
                    if here.as_array().is_none_or(Vec::is_empty) {
                        *here = Value::Array(vec![Value::Null]);
                    }
                    here = &mut here[0];
                }
            }
        }
        *here = value;
    }
}

/// The document.
pub struct Document {
    whole: Value,
    pub operations: Vec<Operation>,
}

/// `athlete` of `AthleteId` and of `athlete_id`.
fn kind_of(schema: &str) -> Option<String> {
    let word = schema.strip_suffix("Id")?;
    let mut out = String::new();
    for letter in word.chars() {
        if letter.is_uppercase() && !out.is_empty() {
            out.push('_');
        }
        out.push(letter.to_ascii_lowercase());
    }
    Some(match out.as_str() {
        "recommendation" => "decision".to_owned(),
        _ => out,
    })
}

/// The one of several schemas that is not null.
fn plain(schema: &Value) -> &Value {
    match schema["oneOf"].as_array() {
        Some(several) => several.iter().find(|one| one["type"] != "null").unwrap_or(schema),
        None => schema,
    }
}

impl Document {
    pub fn new(whole: Value) -> Self {
        let mut document = Self { whole, operations: Vec::new() };
        let paths = document.whole["paths"].as_object().unwrap().clone();
        for (path, item) in &paths {
            for (method, operation) in item.as_object().unwrap() {
                document.operations.push(document.operation(path, method, operation));
            }
        }
        document
    }

    pub fn operation_of(&self, id: &str) -> &Operation {
        self.operations.iter().find(|one| one.id == id).unwrap_or_else(|| panic!("no operation {id}"))
    }

    fn operation(&self, path: &str, method: &str, operation: &Value) -> Operation {
        let parameters = || operation["parameters"].as_array().into_iter().flatten();
        let of = |place: &'static str| parameters().filter(move |one| one["in"] == place);
        let text = |value: &Value| value.as_str().unwrap().to_owned();
        let query = of("query").map(|one| Query {
            name: text(&one["name"]),
            required: one["required"] == true,
            example: one.get("example").map(|value| value.as_str().map_or_else(|| value.to_string(), str::to_owned)),
            id_of: self.id_kind(&one["schema"]),
        });
        let security = operation["security"].as_array().unwrap();
        // A scheme for people and one for apps ask for the same.
        let mut scopes: Vec<String> = security
            .iter()
            .flat_map(|one| one.as_object().unwrap().values())
            .flat_map(|scopes| scopes.as_array().unwrap().iter().map(text))
            .collect();
        scopes.dedup();
        let public = security.iter().all(|one| one.as_object().unwrap().is_empty());
        let body = operation["requestBody"]["content"].as_object().and_then(|content| content.iter().next());
        let good = operation["responses"].as_object().unwrap().iter().filter(|(status, _)| status.starts_with('2'));
        let answers = good.filter_map(|(_, answer)| answer["content"].as_object()).flat_map(Map::keys).cloned();
        Operation {
            id: text(&operation["operationId"]),
            method: method.to_uppercase(),
            path: path.to_owned(),
            scopes: (!public).then_some(scopes),
            path_params: path
                .split('{')
                .skip(1)
                .filter_map(|rest| rest.split_once('}'))
                .map(|(name, _)| name.to_owned())
                .collect(),
            query: query.collect(),
            body: body.map(|(media, one)| (media.clone(), one["schema"].clone())),
            if_match: of("header").any(|one| one["name"] == "If-Match"),
            answers: answers.collect(),
        }
    }

    /// The schemas that phones carry.
    pub fn synced(&self) -> Vec<&str> {
        let schemas = self.whole["components"]["schemas"].as_object().unwrap();
        let carried = schemas.iter().filter(|(_, schema)| schema["x-sync-policy"].is_string());
        carried.map(|(name, _)| name.as_str()).collect()
    }

    /// The schema behind a reference, and its name.
    fn resolve<'a>(&'a self, schema: &'a Value) -> (&'a Value, Option<&'a str>) {
        match schema["$ref"].as_str() {
            Some(reference) => {
                let name = reference.rsplit('/').next().unwrap();
                (self.resolve(&self.whole["components"]["schemas"][name]).0, Some(name))
            }
            None => (schema, None),
        }
    }

    fn id_kind(&self, schema: &Value) -> Option<String> {
        let (found, name) = self.resolve(plain(schema));
        (found["format"] == "uuid").then(|| name.and_then(kind_of).unwrap_or_default())
    }

    /// Every place in a body, containers as well as leaves.
    pub fn fields(&self, schema: &Value) -> Vec<Field> {
        let mut found = Vec::new();
        self.walk(schema, &mut Vec::new(), &mut found);
        found
    }

    fn walk(&self, schema: &Value, steps: &mut Vec<Step>, found: &mut Vec<Field>) {
        let (schema, _) = self.resolve(plain(schema));
        if !steps.is_empty() {
            found.push(Field { steps: steps.clone(), id_of: None });
        }
        let mut parts: Vec<&Value> = schema["allOf"].as_array().into_iter().flatten().collect();
        parts.push(schema);
        for part in parts {
            for (name, inner) in self.resolve(part).0["properties"].as_object().into_iter().flatten() {
                steps.push(Step::Field(name.clone()));
                self.go_in(inner, steps, found);
                steps.pop();
            }
        }
        if schema["items"].is_object() {
            steps.push(Step::Item);
            self.go_in(&schema["items"], steps, found);
            steps.pop();
        }
    }

    fn go_in(&self, inner: &Value, steps: &mut Vec<Step>, found: &mut Vec<Field>) {
        let before = found.len();
        self.walk(inner, steps, found);
        found[before].id_of = self.id_kind(inner);
    }
}
