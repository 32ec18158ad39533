//! What the OpenAPI document says of every operation alike, and the answers for paths and methods it does not know.

use actix_web::http::header::ALLOW;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web::Data};
use utoipa::openapi::path::{HttpMethod, Operation, Parameter, ParameterIn, PathItem};
use utoipa::openapi::{OpenApi, RefOr};

use super::problem::{Code, Problem};

mod examples;
pub mod fields;
mod links;
mod operations;
pub mod representations;
pub mod schemas;
mod scopes;

pub use examples::describe as show;
pub use links::describe as lead;
pub use operations::complete;
pub use scopes::{Listed, all as scopes, described as scopes_described};

/// The operations of a path with their methods.
pub fn operations_mut(item: &mut PathItem) -> Vec<(HttpMethod, &mut Operation)> {
    [
        (HttpMethod::Get, item.get.as_mut()),
        (HttpMethod::Post, item.post.as_mut()),
        (HttpMethod::Put, item.put.as_mut()),
        (HttpMethod::Patch, item.patch.as_mut()),
        (HttpMethod::Delete, item.delete.as_mut()),
    ]
    .into_iter()
    .filter_map(|(method, operation)| operation.map(|operation| (method, operation)))
    .collect()
}

/// An operation of the document.
#[derive(Clone, Debug)]
struct KnownOperation {
    /// The methods that lead to it.
    methods: &'static str,
    /// The names of its query parameters.
    parameters: Vec<String>,
}

impl KnownOperation {
    fn of(method: &HttpMethod, operation: &Operation) -> Self {
        let methods = match method {
            HttpMethod::Get => "GET, HEAD",
            HttpMethod::Post => "POST",
            HttpMethod::Put => "PUT",
            HttpMethod::Patch => "PATCH",
            _ => "DELETE",
        };
        let query = |one: &RefOr<Parameter>| match one {
            RefOr::T(one) if one.parameter_in == ParameterIn::Query => Some(one.name.clone()),
            _ => None,
        };
        let parameters = operation.parameters.iter().flatten().filter_map(query).collect();
        Self { methods, parameters }
    }
}

/// The path templates of the document with the operations of each.
#[derive(Clone, Debug)]
pub struct Known(Vec<(Vec<String>, Vec<KnownOperation>)>);

impl Known {
    /// Reads the document.
    pub fn of(api: &OpenApi) -> Self {
        let one = |(path, item): (&String, &PathItem)| {
            let mut item = item.clone();
            let operations =
                operations_mut(&mut item).iter().map(|(method, one)| KnownOperation::of(method, one)).collect();
            (path.split('/').map(str::to_owned).collect(), operations)
        };
        Self(api.paths.paths.iter().map(one).collect())
    }

    /// Whether there is such an operation, and the path ends in a word of its template rather than in an id.
    pub fn has_literally(&self, method: &str, path: &str) -> bool {
        let end = path.rsplit('/').next();
        let literal = |template: &[String]| template.last().map(String::as_str) == end;
        self.found(path).is_some_and(|(template, _)| literal(template)) && self.parameters(method, path).is_some()
    }

    fn operations(&self, path: &str) -> Option<&[KnownOperation]> {
        self.found(path).map(|(_, operations)| operations)
    }

    fn found(&self, path: &str) -> Option<(&[String], &[KnownOperation])> {
        let parts: Vec<&str> = path.split('/').collect();
        let fits = |template: &Vec<String>| {
            template.len() == parts.len()
                && template
                    .iter()
                    .zip(&parts)
                    .all(|(want, part)| want == part || want.starts_with('{') && !part.is_empty())
        };
        // A word in the path comes before a parameter, wherever the two stand in the document.
        let named = |template: &Vec<String>| template.iter().filter(|part| part.starts_with('{')).count();
        let fitting = self.0.iter().filter(|(template, _)| fits(template));
        let found = fitting.min_by_key(|(template, _)| named(template));
        found.map(|(template, operations)| (template.as_slice(), operations.as_slice()))
    }

    fn methods(&self, path: &str) -> Option<String> {
        let methods: Vec<&str> = self.operations(path)?.iter().map(|operation| operation.methods).collect();
        Some(methods.join(", "))
    }

    /// The names of the query parameters of an operation; none when there is no such operation.
    pub fn parameters(&self, method: &str, path: &str) -> Option<&[String]> {
        let leads = |operation: &&KnownOperation| operation.methods.split(", ").any(|one| one == method);
        self.operations(path)?.iter().find(leads).map(|operation| operation.parameters.as_slice())
    }
}

/// Answers what no route took: 405 with `Allow` for a known path, else 404.
pub async fn unrouted(req: HttpRequest, known: Data<Known>) -> HttpResponse {
    match known.methods(req.path()) {
        Some(allow) => Problem::new(Code::MethodNotAllowed, format!("This path allows {allow}."))
            .with_header(ALLOW, &allow)
            .error_response(),
        None => {
            Problem::new(Code::NotFound, "There is nothing at this path; /docs lists what there is.").error_response()
        }
    }
}
