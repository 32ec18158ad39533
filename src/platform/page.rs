//! Keyset pages: stable while others insert, and no page is slower than the first.

use std::borrow::Cow;

use actix_web::http::header::{CACHE_CONTROL, HeaderName, LINK};
use actix_web::{HttpRequest, HttpResponse};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use utoipa::openapi::schema::{ArrayBuilder, ObjectBuilder, Schema, SchemaType, Type};
use utoipa::openapi::{Ref, RefOr};
use utoipa::{IntoParams, PartialSchema, ToSchema};
use uuid::Uuid;

use super::fault::Fault;
use super::problem::Problem;

/// Records on a page when `limit` is absent.
pub const DEFAULT_LIMIT: u16 = 50;
/// The most records on a page.
pub const MAX_LIMIT: u16 = 200;

/// Which page of a list.
#[derive(Debug, Default, Deserialize, IntoParams)]
#[serde(default)]
#[into_params(parameter_in = Query)]
pub struct PageParams {
    /// Records on the page.
    #[param(minimum = 1, maximum = 200, default = 50, example = 50)]
    pub limit: Option<u16>,
    /// The `next_cursor` of the page before; absent for the first page.
    #[param(max_length = 500)]
    pub cursor: Option<String>,
}

/// A parsed page request; the key is that of the last record of the page before.
#[derive(Debug)]
pub struct PageOf<K> {
    /// Records on the page.
    pub limit: usize,
    /// Where to go on.
    pub after: Option<K>,
}

impl PageParams {
    /// Parses the cursor and checks the limit.
    ///
    /// # Errors
    /// 400 for a cursor that did not come from this list, or a limit outside 1 to 200.
    pub fn parse<K: DeserializeOwned>(&self) -> Result<PageOf<K>, Problem> {
        self.parse_in(|_| true)
    }

    /// The same where a list has several orders; `has` says whether a place is one of this.
    ///
    /// # Errors
    /// Those of [`PageParams::parse`], and 400 for a cursor of another order.
    pub fn parse_in<K: DeserializeOwned>(&self, has: impl Fn(&K) -> bool) -> Result<PageOf<K>, Problem> {
        let limit = self.limit.unwrap_or(DEFAULT_LIMIT);
        if !(1..=MAX_LIMIT).contains(&limit) {
            return Err(Problem::malformed(Fault::of("limit", "out_of_range", "must be from 1 to 200")));
        }
        let after = self.cursor.as_deref().map(|cursor| {
            let place = URL_SAFE_NO_PAD.decode(cursor).ok().and_then(|bytes| serde_json::from_slice(&bytes).ok());
            place.filter(&has).ok_or_else(|| {
                Problem::malformed(Fault::of("cursor", "cursor", "send the next_cursor of the page before, unchanged"))
            })
        });
        Ok(PageOf { limit: usize::from(limit), after: after.transpose()? })
    }
}

/// The least id that may follow the last one of the page before: one filter for the first page and for all others.
pub fn from(after: Option<Uuid>) -> Uuid {
    after.map_or(Uuid::nil(), |last| Uuid::from_u128(last.as_u128().saturating_add(1)))
}

impl<K> PageOf<K> {
    /// Rows to ask the store for: one more than the page, to know whether another follows.
    pub fn fetch(&self) -> i64 {
        i64::try_from(self.limit).unwrap_or(i64::MAX - 1) + 1
    }

    /// Cuts the extra row off and says where the next page begins.
    pub fn cut<T>(&self, mut rows: Vec<T>, key: impl Fn(&T) -> K) -> (Vec<T>, Option<String>)
    where
        K: Serialize,
    {
        let more = rows.len() > self.limit;
        rows.truncate(self.limit);
        let next = rows.last().filter(|_| more).and_then(|last| serde_json::to_vec(&key(last)).ok());
        (rows, next.map(|bytes| URL_SAFE_NO_PAD.encode(bytes)))
    }
}

/// A page of a list as it is answered. The document calls it by its records: `VenuePage`.
#[derive(Debug, Serialize)]
pub struct Page<T> {
    /// The records, in the order of the list.
    pub items: Vec<T>,
    /// Where the next page begins; absent on the last.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_cursor: Option<String>,
}

/// A list that is short enough to be answered whole, of `MOST` records at the most. The document calls it by its records: `MeasurementList`.
#[derive(Debug, Serialize)]
pub struct List<T, const MOST: usize> {
    /// The records, all of them.
    pub items: Vec<T>,
}

/// An object with records of a kind, `most` at the most.
fn holding<T: ToSchema>(says: &str, items: &str, most: usize) -> ObjectBuilder {
    let list = ArrayBuilder::new().items(Ref::from_schema_name(T::name()));
    ObjectBuilder::new()
        .schema_type(Type::Object)
        .description(Some(says))
        .property("items", list.description(Some(items)).max_items(Some(most)))
        .required("items")
}

impl<T: ToSchema> PartialSchema for Page<T> {
    fn schema() -> RefOr<Schema> {
        let next = ObjectBuilder::new()
            .schema_type(SchemaType::from_iter([Type::String, Type::Null]))
            .description(Some("Where the next page begins; absent on the last."))
            .max_length(Some(500));
        holding::<T>("A page of a list.", "The records, in the order of the list.", usize::from(MAX_LIMIT))
            .property("next_cursor", next)
            .into()
    }
}

impl<T: ToSchema> ToSchema for Page<T> {
    fn name() -> Cow<'static, str> {
        // A page of summaries is called by what they sum up.
        format!("{}Page", T::name().trim_end_matches("Summary")).into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push((T::name().into_owned(), T::schema()));
        T::schemas(schemas);
    }
}

impl<T: ToSchema, const MOST: usize> PartialSchema for List<T, MOST> {
    fn schema() -> RefOr<Schema> {
        holding::<T>("A whole list.", "The records, all of them.", MOST).into()
    }
}

impl<T: ToSchema, const MOST: usize> ToSchema for List<T, MOST> {
    fn name() -> Cow<'static, str> {
        format!("{}List", T::name()).into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push((T::name().into_owned(), T::schema()));
        T::schemas(schemas);
    }
}

/// The `Link` to the next page (RFC 8288), which is at `path`.
pub fn link(req: &HttpRequest, path: &str, cursor: &str) -> (HeaderName, String) {
    let mut query: Vec<(String, String)> = serde_urlencoded::from_str(req.query_string()).unwrap_or_default();
    query.retain(|(name, _)| name != "cursor");
    query.push(("cursor".to_owned(), cursor.to_owned()));
    let query = serde_urlencoded::to_string(query).unwrap_or_default();
    (LINK, format!("<{path}?{query}>; rel=\"next\""))
}

/// Answers a list, with the next page also as a `Link`.
pub fn answer<T: Serialize>(req: &HttpRequest, body: &Page<T>) -> HttpResponse {
    let mut answer = HttpResponse::Ok();
    answer.insert_header((CACHE_CONTROL, "private, no-cache"));
    if let Some(cursor) = &body.next_cursor {
        answer.insert_header(link(req, req.path(), cursor));
    }
    answer.json(body)
}
