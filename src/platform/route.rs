//! A route: its handler, and what the document says of it.
//!
//! What an operation needs and takes is said by the types that its handler takes: its scope by the act of the [`Permit`], its
//! query by [`Params`], its body by its shape, `If-Match` by [`IfMatch`]. So the document cannot say anything else than
//! what the handler demands.

use std::marker::PhantomData;

use actix_web::dev::{AppService, HttpServiceFactory};
use actix_web::web::{Data, Payload, ServiceConfig};
use actix_web::{FromRequest, Handler, HttpRequest, Resource, Responder, guard};
use utoipa::openapi::path::{HttpMethod, Operation, Parameter, ParameterBuilder, ParameterIn, Paths};
use utoipa::openapi::request_body::RequestBodyBuilder;
use utoipa::openapi::schema::{KnownFormat, ObjectBuilder, Schema, SchemaFormat, Type};
use utoipa::openapi::security::SecurityRequirement;
use utoipa::openapi::{ContentBuilder, PathItem, Ref, RefOr, Required};
use utoipa::{IntoParams, ToSchema};

use super::access::{Act, Caller, Permit, Recorder, Syncing};
use super::asking::{InPerson, Later, Scoped};
use super::body::Body;
use super::form::{self, Form};
use super::network::Network;
use super::params::Params;
use super::patch::Patch;
use super::stored::IfMatch;

/// The schemas of a document by their names.
pub type Named = Vec<(String, RefOr<Schema>)>;

/// What a handler takes, as far as the document speaks of it.
pub trait Said {
    /// Says it of an operation; the schemas that it refers to are added.
    fn say(operation: &mut Operation, schemas: &mut Named);
}

macro_rules! unsaid {
    ($($taken:ty),+ $(,)?) => {$(
        impl Said for $taken {
            fn say(_: &mut Operation, _: &mut Named) {}
        }
    )+};
}

unsaid!(HttpRequest, Payload, Network);

impl<T> Said for Data<T> {
    fn say(_: &mut Operation, _: &mut Named) {}
}

/// A person's own sign-in will do; where there is a scope, so will an app that has it.
fn needs(operation: &mut Operation, scope: Option<&str>) {
    let own = SecurityRequirement::new("access_token", scope);
    let app = scope.map(|scope| SecurityRequirement::new("oauth2", [scope]));
    operation.security = Some([own].into_iter().chain(app).collect());
}

/// A person's own sign-in alone will do.
fn needs_person(operation: &mut Operation, scope: &str) {
    operation.security = Some(vec![SecurityRequirement::new("access_token", [scope])]);
}

impl<A: Act> Said for Permit<A> {
    fn say(operation: &mut Operation, _: &mut Named) {
        needs(operation, Some(A::SCOPE));
    }
}

impl<A: Act> Said for Later<A> {
    fn say(operation: &mut Operation, _: &mut Named) {
        needs(operation, Some(A::SCOPE));
    }
}

impl<A: Act> Said for Scoped<A> {
    fn say(operation: &mut Operation, _: &mut Named) {
        // In no club, so not for apps.
        needs_person(operation, A::SCOPE);
    }
}

impl<A: Act> Said for InPerson<A> {
    fn say(operation: &mut Operation, _: &mut Named) {
        needs_person(operation, A::SCOPE);
    }
}

impl Said for Recorder {
    fn say(operation: &mut Operation, _: &mut Named) {
        needs(operation, Some(Syncing::SCOPE));
    }
}

impl Said for Caller {
    fn say(operation: &mut Operation, _: &mut Named) {
        needs(operation, None);
    }
}

/// Says that what either of two needs will do.
pub fn say_either<A: Said, B: Said>(operation: &mut Operation, schemas: &mut Named) {
    A::say(operation, schemas);
    let first = operation.security.take();
    B::say(operation, schemas);
    let second = operation.security.take();
    operation.security = Some(first.into_iter().chain(second).flatten().collect());
}

fn add(operation: &mut Operation, one: Parameter) {
    operation.parameters.get_or_insert_default().push(one.into());
}

impl<T: IntoParams> Said for Params<T> {
    fn say(operation: &mut Operation, _: &mut Named) {
        for one in T::into_params(|| Some(ParameterIn::Query)) {
            add(operation, one);
        }
    }
}

impl<T: Said, E> Said for Result<T, E> {
    fn say(operation: &mut Operation, schemas: &mut Named) {
        T::say(operation, schemas);
    }
}

impl Said for IfMatch {
    fn say(operation: &mut Operation, _: &mut Named) {
        let known = |one: &RefOr<Parameter>| matches!(one, RefOr::T(one) if one.name == "If-Match");
        // What a route says of it itself stands.
        if !operation.parameters.iter().flatten().any(known) {
            let one = ParameterBuilder::new().name("If-Match").parameter_in(ParameterIn::Header);
            let one = one.required(Required::True).description(Some("ETag of the version you read"));
            add(operation, one.build());
        }
    }
}

fn takes<T: ToSchema>(operation: &mut Operation, schemas: &mut Named, media: &str) {
    schemas.push((T::name().into_owned(), T::schema()));
    T::schemas(schemas);
    let content = ContentBuilder::new().schema(Some(Ref::from_schema_name(T::name()))).build();
    // What a route says of its body itself, such as an example, stands.
    operation.request_body.get_or_insert_with(|| {
        RequestBodyBuilder::new().content(media, content).required(Some(Required::True)).build().into()
    });
}

impl<T: ToSchema> Said for Body<T> {
    fn say(operation: &mut Operation, schemas: &mut Named) {
        takes::<T>(operation, schemas, "application/json");
    }
}

impl<T: ToSchema> Said for Form<T> {
    fn say(operation: &mut Operation, schemas: &mut Named) {
        takes::<T>(operation, schemas, form::MEDIA);
    }
}

impl<F: ToSchema> Said for Patch<F> {
    fn say(operation: &mut Operation, schemas: &mut Named) {
        takes::<F>(operation, schemas, "application/merge-patch+json");
    }
}

macro_rules! all_said {
    ($($part:ident)*) => {
        impl<$($part: Said),*> Said for ($($part,)*) {
            #[allow(unused_variables)] // of a handler that takes nothing
            fn say(operation: &mut Operation, schemas: &mut Named) {
                $($part::say(operation, schemas);)*
            }
        }
    };
}

all_said!();
all_said!(A);
all_said!(A B);
all_said!(A B C);
all_said!(A B C D);
all_said!(A B C D E);
all_said!(A B C D E F);
all_said!(A B C D E F G);

/// A handler at its path. `P` is what its attribute says of it, `A` what it takes.
#[derive(Debug)]
pub struct Route<P, H, A> {
    handler: H,
    of: PhantomData<fn() -> (P, A)>,
}

impl<P, H, A> Route<P, H, A> {
    /// A route of this handler.
    pub fn new(handler: H) -> Self {
        Self { handler, of: PhantomData }
    }
}

impl<P, H, A> HttpServiceFactory for Route<P, H, A>
where
    P: utoipa::Path,
    H: Handler<A>,
    A: FromRequest + 'static,
    H::Output: Responder + 'static,
{
    fn register(self, config: &mut AppService) {
        let methods = P::methods();
        let resource = methods.into_iter().fold(Resource::new(P::path()), |resource, method| match method {
            HttpMethod::Post => resource.guard(guard::Post()),
            HttpMethod::Put => resource.guard(guard::Put()),
            HttpMethod::Patch => resource.guard(guard::Patch()),
            HttpMethod::Delete => resource.guard(guard::Delete()),
            _ => resource.guard(guard::Get()),
        });
        resource.to(self.handler).register(config);
    }
}

/// The ids of a path, by their names in it.
fn ids(path: &str) -> impl Iterator<Item = RefOr<Parameter>> {
    path.split('/').filter_map(|part| part.strip_prefix('{')?.strip_suffix('}')).map(|name| {
        let id =
            ObjectBuilder::new().schema_type(Type::String).format(Some(SchemaFormat::KnownFormat(KnownFormat::Uuid)));
        ParameterBuilder::new()
            .name(name)
            .parameter_in(ParameterIn::Path)
            .required(Required::True)
            .description(Some(format!("The {}", name.trim_end_matches("_id").replace('_', " "))))
            .schema(Some(id))
            .build()
            .into()
    })
}

/// Where routes are mounted: into a service and, for whoever writes the document, into what it says of them. A service
/// answers without the latter, which weighs more than the routes.
pub struct Mount<'a> {
    service: &'a mut ServiceConfig,
    said: Option<(Paths, Named)>,
}

impl std::fmt::Debug for Mount<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Mount").finish_non_exhaustive()
    }
}

impl<'a> Mount<'a> {
    /// Mounts into a service alone.
    pub fn into_service(service: &'a mut ServiceConfig) -> Self {
        Self { service, said: None }
    }

    /// Keeps what the document says as well.
    pub fn saying(service: &'a mut ServiceConfig) -> Self {
        Self { service, said: Some((Paths::new(), Named::new())) }
    }

    /// The paths that were mounted, and the schemas that they refer to.
    pub fn said(self) -> (Paths, Named) {
        self.said.unwrap_or_default()
    }

    /// Mounts a route.
    pub fn route<'t, P, H, A>(&mut self, route: Route<P, H, A>)
    where
        P: utoipa::Path + utoipa::__dev::SchemaReferences + utoipa::__dev::Tags<'t> + 'static,
        H: Handler<A>,
        A: FromRequest + Said + 'static,
        H::Output: Responder + 'static,
    {
        if let Some((paths, schemas)) = &mut self.said {
            paths.merge(said::<P, A>());
            P::schemas(schemas);
            A::say(&mut Operation::default(), schemas);
        }
        self.service.service(route);
    }
}

/// The path of a route as the document has it.
fn said<'t, P, A>() -> Paths
where
    P: utoipa::Path + utoipa::__dev::Tags<'t>,
    A: Said,
{
    let mut operation = P::operation();
    operation.tags = Some(P::tags().into_iter().map(str::to_owned).collect());
    let own = operation.parameters.take();
    operation.parameters = Some(ids(&P::path()).chain(own.into_iter().flatten()).collect());
    A::say(&mut operation, &mut Vec::new());
    operation.security.get_or_insert_with(|| vec![SecurityRequirement::default()]);
    let items = P::methods().into_iter().map(|method| PathItem::new(method, operation.clone()));
    items.fold(Paths::builder(), |paths, item| paths.path(P::path(), item)).build()
}

/// The routes of a file: its handlers, each with the attribute `#[utoipa::path(METHOD, path = "...", impl_for = HANDLER, ...)]`.
macro_rules! routes {
    ($($handler:ident),+ $(,)?) => {
        $(
            /// What the document says of the handler of this name.
            #[allow(non_camel_case_types)]
            #[derive(Debug)]
            struct $handler {}
        )+

        /// The routes of this file.
        pub fn routes(config: &mut $crate::platform::route::Mount<'_>) {
            $(config.route($crate::platform::route::Route::<$handler, _, _>::new($handler));)+
        }
    };
}
pub(crate) use routes;
