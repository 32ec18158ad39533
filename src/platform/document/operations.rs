//! What follows for an operation of the document from its path, its method and what its route says: parameters, headers, the
//! problems that it can answer with, and the words about them.

use serde_json::{Value, json};
use utoipa::openapi::extensions::Extensions;
use utoipa::openapi::header::Header;
use utoipa::openapi::path::{HttpMethod, Operation, Parameter, ParameterBuilder, ParameterIn};
use utoipa::openapi::response::Response;
use utoipa::openapi::schema::{KnownFormat, Object, ObjectBuilder, Schema, SchemaFormat, SchemaType, Type};
use utoipa::openapi::{ContentBuilder, HeaderBuilder, OpenApi, Ref, RefOr, Required, ResponseBuilder};

use super::operations_mut;
use super::schemas;
use super::scopes::roles_of;
use crate::platform::problem::{Code, Problem};
use crate::platform::sheets::xlsx;

const UUID: &str = "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57";
const TAG: &str = "\"42-q0aXzr7hC2Jd\"";
const PROBLEM: &str = "application/problem+json";

/// What an operation is like, as far as its words and answers follow from it.
#[allow(clippy::struct_excessive_bools)] // each is a question of its own
struct Shape {
    public: bool,
    in_club: bool,
    has_id: bool,
    has_body: bool,
    patches: bool,
    matched: bool,
    /// Whether what is not there yet is made without a version.
    begins: bool,
    /// 200 and 201: a create that may be repeated.
    repeatable: bool,
    unchanged: bool,
    paged: bool,
    /// Whether an app may do it for a person.
    for_apps: bool,
    /// The scopes of a token that will do, one entry for each way.
    ways: Vec<Vec<String>>,
}

impl Shape {
    fn of(path: &str, method: &HttpMethod, operation: &Operation, paged: bool) -> Self {
        let needs = operation.security.iter().flatten().map(|need| serde_json::to_value(need).unwrap_or_default());
        let needs: Vec<Value> = needs.collect();
        let scopes = |need: &Value| Some(need["access_token"].as_array()?.iter().filter_map(word).collect());
        let status = |status: &str| operation.responses.responses.contains_key(status);
        let writes_one = *method == HttpMethod::Post && status("201");
        let takes_json = match &operation.request_body {
            Some(RefOr::T(body)) => body.content.contains_key("application/json"),
            _ => false,
        };
        Self {
            public: needs.iter().all(|need| *need == json!({})),
            in_club: path.contains("{club_id}"),
            has_id: path.contains('{'),
            has_body: operation.request_body.is_some(),
            patches: *method == HttpMethod::Patch,
            matched: parameters(operation).any(|one| one.name == "If-Match"),
            begins: parameters(operation).any(|one| one.name == "If-Match" && one.required == Required::False),
            // A roster that comes as CSV is no record.
            repeatable: writes_one && status("200") && takes_json,
            unchanged: status("304"),
            paged,
            for_apps: needs.iter().any(|need| need["oauth2"].is_array()),
            ways: needs.iter().filter_map(scopes).collect(),
        }
    }

    /// The problems that such an operation can answer with, besides those that its route names.
    fn problems(&self) -> Vec<Code> {
        let mut codes = vec![Code::Malformed, Code::Internal, Code::Unavailable];
        if !self.public {
            // Without the role or scope, or for an app where people alone are asked.
            codes.extend([Code::Unauthenticated, Code::Forbidden]);
        }
        if self.has_id {
            codes.push(Code::NotFound);
        }
        if self.has_body {
            codes.extend([Code::Slow, Code::TooLarge, Code::MediaType, Code::Invalid]);
        }
        if self.matched {
            codes.extend([Code::Stale, Code::PreconditionRequired]);
        }
        if self.repeatable {
            codes.extend([Code::Conflict, Code::Gone]);
        }
        codes
    }

    /// What a client has to know of every such operation.
    fn words(&self) -> Vec<String> {
        let mut words = Vec::new();
        if self.repeatable {
            words.push(
                "With an `id` of your own (UUID version 7) the call may be repeated: the first is answered 201, every \
repeat 200 with the record as it stands. An id that is taken by other content is 409, that of a deleted record 410."
                    .to_owned(),
            );
        }
        if self.paged {
            words.push(
                "Comes in pages of `limit`, in an order that stays while others write. Go on with `cursor`, or with the \
address in `Link`, until there is none."
                    .to_owned(),
            );
        }
        if self.unchanged {
            words.push(
                "Sent with the `ETag` of what you have as `If-None-Match`, it is answered 304 while nothing changed."
                    .to_owned(),
            );
        }
        if self.patches {
            words.push(
                "The body is a merge patch (RFC 7396): what it leaves out stays, null clears what may be absent."
                    .to_owned(),
            );
        }
        if self.matched {
            let once = if self.begins { ", once there is one" } else { "" };
            words.push(format!(
                "Send the `ETag` of the version you read as `If-Match`{once}: 428 without it, 412 with the record as it is \
now when somebody else was faster."
            ));
        }
        words.push(self.who());
        words
    }

    /// Who may.
    fn who(&self) -> String {
        if self.public {
            return "Needs no access token.".to_owned();
        }
        let of = |scopes: &Vec<String>| match roles_of(scopes).join(", ") {
            roles if self.in_club && !roles.is_empty() => format!(", and one of these roles in the club: {roles}"),
            _ => String::new(),
        };
        if !self.for_apps {
            let of: String = self.ways.iter().map(of).collect();
            return format!("Needs the access token of a person's own sign-in{of}; no app does this for them.");
        }
        let way = |scopes: &Vec<String>| format!("with the scope `{}`{}", scopes.join("`, `"), of(scopes));
        format!("Needs an access token {}.", self.ways.iter().map(way).collect::<Vec<_>>().join("; or one "))
    }
}

fn word(value: &Value) -> Option<String> {
    value.as_str().map(str::to_owned)
}

pub fn parameters(operation: &Operation) -> impl Iterator<Item = &Parameter> {
    operation.parameters.iter().flatten().filter_map(|one| match one {
        RefOr::T(one) => Some(one),
        RefOr::Ref(_) => None,
    })
}

fn text(example: &str, longest: usize) -> Object {
    ObjectBuilder::new().schema_type(Type::String).max_length(Some(longest)).examples([example]).build()
}

fn header(schema: Object, says: &str, always: bool) -> RefOr<Header> {
    let required: Extensions = [("required", json!(always))].into_iter().collect();
    RefOr::T(HeaderBuilder::new().schema(Some(schema)).description(Some(says)).extensions(Some(required)).build())
}

/// A header of an answer, by its name.
fn told(name: &str, always: bool) -> RefOr<Header> {
    match name {
        "ETag" => header(
            text(TAG, 200),
            "The version of what is answered (RFC 9110): send it back as `If-None-Match` to read, as `If-Match` to change.",
            always,
        ),
        "Location" => header(text("/v1/clubs", 400), "The path of what was stored (RFC 9110).", always),
        "Link" => header(
            text("</v1/clubs?cursor=x>; rel=\"next\"", 4_000),
            "The next page, with `rel=\"next\"` (RFC 8288); absent on the last.",
            always,
        ),
        "WWW-Authenticate" => header(text("Bearer", 200), "How to sign in (RFC 6750).", always),
        "Preference-Applied" => header(text("wait=20", 200), "What was done of `Prefer` (RFC 7240).", always),
        "Content-Disposition" => {
            header(text("attachment; filename=\"set-out.csv\"", 200), "A name for the file (RFC 6266).", always)
        }
        _ => {
            let seconds = ObjectBuilder::new()
                .schema_type(Type::Integer)
                .minimum(Some(0))
                .maximum(Some(86_400))
                .examples([json!(30)]);
            header(seconds.build(), "Seconds until it is worth trying again (RFC 9110).", always)
        }
    }
}

/// The name of the shared answer with a problem.
fn name_of(code: Code) -> String {
    schemas::pascal(code.row().0)
}

/// An answer with a problem, with an example of it.
fn problem(code: Code, says: &str) -> Response {
    let (_, _, title) = code.row();
    let example = Problem::new(code, code.means()).example();
    let content = ContentBuilder::new().schema(Some(Ref::from_schema_name("ProblemBody"))).example(Some(example));
    let mut answer = ResponseBuilder::new()
        .description(if says.is_empty() { format!("{title}. {}", code.remedy()) } else { says.to_owned() })
        .content(PROBLEM, content.build())
        .build();
    let names: &[(&str, bool)] = match code {
        Code::Unauthenticated => &[("WWW-Authenticate", true)],
        Code::TooMany | Code::Unavailable => &[("Retry-After", true)],
        Code::Stale => &[("ETag", true)],
        _ => &[],
    };
    answer.headers.extend(names.iter().map(|(name, always)| ((*name).to_owned(), told(name, *always))));
    answer
}

fn code_of(status: &str) -> Option<Code> {
    Code::ALL.into_iter().find(|code| code.row().1.to_string() == status && code.row().1 >= 400)
}

/// Whether the schema of the answer of a status has a field.
pub fn answers_with(api_schemas: &schemas::Schemas, operation: &Operation, status: &str, field: &str) -> bool {
    let Some(RefOr::T(answer)) = operation.responses.responses.get(status) else { return false };
    let Some(RefOr::T(content)) = answer.content.get("application/json") else { return false };
    let object = content.schema.as_ref().and_then(|schema| schemas::object(api_schemas, schema));
    object.is_some_and(|object| object.properties.contains_key(field))
}

/// A version as it is sent; without a longest, because what is none of ours only never matches.
fn tag() -> Object {
    ObjectBuilder::new().schema_type(Type::String).examples([TAG]).build()
}

fn if_none_match() -> Parameter {
    ParameterBuilder::new()
        .name("If-None-Match")
        .parameter_in(ParameterIn::Header)
        .required(Required::False)
        .description(Some("`ETag` of what you have; answered 304 while it is still so."))
        .schema(Some(tag()))
        .build()
}

/// Completes what a parameter says; absence and null are the same in a query.
fn complete_parameter(one: &mut Parameter) {
    if one.name == "If-Match" {
        one.schema = Some(tag().into());
    }
    if one.name == "Accept" || one.name == "Prefer" {
        let (example, longest) = match one.name.as_str() {
            "Accept" => ("application/json", 400),
            _ => ("wait=20", 200),
        };
        one.schema = Some(text(example, longest).into());
    }
    if let Some(RefOr::T(Schema::OneOf(several))) = &one.schema {
        let first = several.items.first().cloned();
        one.schema = first.or_else(|| one.schema.take());
    }
    if let Some(RefOr::T(Schema::Object(object))) = &mut one.schema {
        if let SchemaType::Array(kinds) = &object.schema_type {
            let kind = kinds.iter().find(|kind| **kind != Type::Null).cloned();
            object.schema_type = kind.map_or(SchemaType::AnyValue, SchemaType::Type);
        }
        if object.example.is_none() && object.examples.is_empty() {
            object.examples = usual_example(object).into_iter().collect();
        }
    }
}

/// An example of what is the same everywhere: ids, days, times, yes and no.
pub fn usual_example(object: &Object) -> Option<Value> {
    let kind = match &object.schema_type {
        SchemaType::Type(kind) => kind,
        SchemaType::Array(kinds) => kinds.iter().find(|kind| **kind != Type::Null)?,
        SchemaType::AnyValue => return None,
    };
    match (kind, &object.format) {
        (Type::Boolean, _) => Some(json!(true)),
        (Type::String, Some(SchemaFormat::KnownFormat(KnownFormat::Uuid))) => Some(json!(UUID)),
        (Type::String, Some(SchemaFormat::KnownFormat(KnownFormat::Date))) => Some(json!("2026-09-01")),
        (Type::String, Some(SchemaFormat::KnownFormat(KnownFormat::DateTime))) => Some(json!("2026-11-25T08:00:02Z")),
        _ => None,
    }
}

/// Adds the headers of the good answers.
fn complete_answers(operation: &mut Operation, shape: &Shape, versioned: bool) {
    // A file that goes on in another one is no page, and has no cursor.
    let goes_on = parameters(operation).any(|one| one.name == "before");
    for (status, answer) in &mut operation.responses.responses {
        let RefOr::T(answer) = answer else { continue };
        let mut add = |name: &str, always: bool| {
            answer.headers.entry(name.to_owned()).or_insert_with(|| told(name, always));
        };
        match status.as_str() {
            "200" | "201" if shape.unchanged || versioned => add("ETag", true),
            "304" => add("ETag", true),
            _ => {}
        }
        if shape.repeatable && (status == "200" || status == "201") || versioned && status == "201" {
            add("Location", true);
        }
        if (shape.paged || goes_on) && status == "200" {
            add("Link", false);
        }
        for media in ["image/svg+xml", "audio/wav", "application/pdf", "application/zip", xlsx::MEDIA] {
            if let Some(RefOr::T(whole)) = answer.content.get_mut(media) {
                whole.schema = Some(file());
            }
        }
        if status == "200"
            && ["text/csv", "application/zip", xlsx::MEDIA].iter().any(|media| answer.content.contains_key(*media))
        {
            let always = answer.content.len() == 1;
            answer
                .headers
                .entry("Content-Disposition".to_owned())
                .or_insert_with(|| told("Content-Disposition", always));
        }
    }
}

/// A body that is a file: generators know files, not each of their media types.
fn file() -> RefOr<Schema> {
    let format = SchemaFormat::KnownFormat(KnownFormat::Binary);
    ObjectBuilder::new().schema_type(Type::String).format(Some(format)).into()
}

/// Says of a body that is a file that it is one.
fn take_files(operation: &mut Operation) {
    let Some(RefOr::T(body)) = &mut operation.request_body else { return };
    for media in ["text/csv", "application/zip", xlsx::MEDIA] {
        if let Some(RefOr::T(content)) = body.content.get_mut(media) {
            content.schema = Some(file());
        }
    }
}

/// Adds to every operation what follows from its path, its method and its security.
pub fn complete(api: &mut OpenApi) {
    let none = schemas::Schemas::new();
    let mut shared = Vec::new();
    let all = api.components.as_ref().map_or(&none, |components| &components.schemas);
    for (path, item) in &mut api.paths.paths {
        for (method, operation) in operations_mut(item) {
            // A page is also one as a table.
            let paged = parameters(operation).any(|one| one.name == "cursor");
            let shape = Shape::of(path, &method, operation, paged);
            let made = answers_with(all, operation, "201", "rev");
            let versioned = made || shape.matched && method != HttpMethod::Delete;
            let prefers = parameters(operation).any(|one| one.name == "Prefer");
            if shape.public {
                // No list of needs; a list of none reads as one to some.
                operation.security = Some(Vec::new());
            }
            for code in shape.problems() {
                let (_, status, _) = code.row();
                operation.responses.responses.entry(status.to_string()).or_insert_with(|| {
                    shared.push(code);
                    RefOr::Ref(Ref::from_response_name(name_of(code)))
                });
            }
            for (status, answer) in &mut operation.responses.responses {
                // What a route says of a problem stands; the rest is added.
                // So does what OAuth asks for in its stead.
                if let (Some(code), RefOr::T(said)) = (code_of(status), &mut *answer)
                    && !said.content.contains_key("application/json")
                {
                    let headers = std::mem::take(&mut said.headers);
                    *said = problem(code, &said.description);
                    said.headers.extend(headers);
                }
            }
            complete_answers(operation, &shape, versioned);
            if let (Some(RefOr::T(answer)), true) = (operation.responses.responses.get_mut("200"), prefers) {
                answer.headers.insert("Preference-Applied".to_owned(), told("Preference-Applied", false));
            }
            let given = operation.parameters.get_or_insert_default();
            if shape.unchanged {
                given.push(RefOr::T(if_none_match()));
            }
            for one in given.iter_mut() {
                if let RefOr::T(one) = one {
                    complete_parameter(one);
                }
            }
            take_files(operation);
            let said = operation.description.take().unwrap_or_default();
            let said = if said.is_empty() { operation.summary.clone().unwrap_or_default() } else { said };
            operation.description = Some([said].into_iter().chain(shape.words()).collect::<Vec<_>>().join("\n\n"));
            if let Some(summary) = &mut operation.summary {
                *summary = summary.trim_end_matches('.').to_owned();
            }
        }
    }
    let components = api.components.get_or_insert_default();
    for code in shared {
        components.responses.insert(name_of(code), RefOr::T(problem(code, "")));
    }
}
