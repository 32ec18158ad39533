//! What is the same around the fields of every record: a new one with an id of the client's own, a stored one with its
//! version, a recorded fact. The document calls them by their fields: `VenueFields` makes `NewVenue` and `Venue`.

use std::borrow::Cow;
use std::fmt;

use serde::de::{DeserializeSeed, Error, IntoDeserializer, MapAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, forward_to_deserialize_any};
use serde_json::{Value, json};
use utoipa::openapi::RefOr;
use utoipa::openapi::schema::{
    KnownFormat, Object, ObjectBuilder, OneOfBuilder, RefBuilder, Schema, SchemaFormat, Type,
};
use utoipa::{PartialSchema, ToSchema};

use super::stored::Stored;

/// The schemas of a document by their names.
type Named = Vec<(String, RefOr<Schema>)>;

/// A new record: its fields, an id if the client made one, and what else a create takes.
#[derive(Clone, Debug)]
pub struct Create<Id, F, B = ()> {
    /// The id of the client's own.
    pub id: Option<Id>,
    /// The fields.
    pub fields: F,
    /// What else it says.
    pub beside: B,
}

/// What a create takes beside the id and the fields of the record.
pub trait Beside: Default {
    /// The names in JSON.
    const NAMES: &'static [&'static str];

    /// Takes the value of one of the names.
    ///
    /// # Errors
    /// When it is of another shape.
    fn take<'de, M: MapAccess<'de>>(&mut self, name: &str, from: &mut M) -> Result<(), M::Error>;

    /// Its schema, after the schemas that it refers to.
    fn described(schemas: &mut Named) -> Object;
}

impl Beside for () {
    const NAMES: &'static [&'static str] = &[];

    fn take<'de, M: MapAccess<'de>>(&mut self, _: &str, _: &mut M) -> Result<(), M::Error> {
        Ok(())
    }

    fn described(_: &mut Named) -> Object {
        Object::default()
    }
}

impl<'de, Id: Deserialize<'de>, F: Deserialize<'de>, B: Beside> Deserialize<'de> for Create<Id, F, B> {
    fn deserialize<D: Deserializer<'de>>(reader: D) -> Result<Self, D::Error> {
        let mut own = Own { id: None, beside: B::default() };
        let fields = F::deserialize(Apart { reader, own: &mut own })?;
        Ok(Self { id: own.id, fields, beside: own.beside })
    }
}

/// What of a create is no field of the record.
struct Own<Id, B> {
    id: Option<Id>,
    beside: B,
}

/// Reads the fields of a record from an object that holds more, and takes what is more as it comes by: so each fault
/// keeps its place, and an unknown name is refused with all that are known.
struct Apart<'a, D, Id, B> {
    reader: D,
    own: &'a mut Own<Id, B>,
}

impl<'de, D: Deserializer<'de>, Id: Deserialize<'de>, B: Beside> Deserializer<'de> for Apart<'_, D, Id, B> {
    type Error = D::Error;

    fn deserialize_struct<V: Visitor<'de>>(
        self,
        _: &'static str,
        fields: &'static [&'static str],
        visitor: V,
    ) -> Result<V::Value, D::Error> {
        self.reader.deserialize_map(Whole { visitor, fields, own: self.own })
    }

    fn deserialize_any<V: Visitor<'de>>(self, visitor: V) -> Result<V::Value, D::Error> {
        self.deserialize_struct("", &[], visitor)
    }

    forward_to_deserialize_any! {
        bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf option unit unit_struct
        newtype_struct seq tuple tuple_struct map enum identifier ignored_any
    }
}

struct Whole<'a, V, Id, B> {
    visitor: V,
    fields: &'static [&'static str],
    own: &'a mut Own<Id, B>,
}

impl<'de, V: Visitor<'de>, Id: Deserialize<'de>, B: Beside> Visitor<'de> for Whole<'_, V, Id, B> {
    type Value = V::Value;

    fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.visitor.expecting(out)
    }

    fn visit_map<M: MapAccess<'de>>(self, map: M) -> Result<V::Value, M::Error> {
        self.visitor.visit_map(Rest { map, fields: self.fields, own: self.own, seen: Vec::new() })
    }
}

/// The fields of an object that are those of the record.
struct Rest<'a, M, Id, B> {
    map: M,
    fields: &'static [&'static str],
    own: &'a mut Own<Id, B>,
    seen: Vec<&'static str>,
}

impl<'de, M: MapAccess<'de>, Id: Deserialize<'de>, B: Beside> MapAccess<'de> for Rest<'_, M, Id, B> {
    type Error = M::Error;

    fn next_key_seed<K: DeserializeSeed<'de>>(&mut self, mut seed: K) -> Result<Option<K::Value>, M::Error> {
        loop {
            let name = match self.map.next_key_seed(Name { seed, fields: self.fields, more: B::NAMES })? {
                None => return Ok(None),
                Some(Key::Field(key)) => return Ok(Some(key)),
                Some(Key::Own(name, back)) => {
                    seed = back;
                    name
                }
            };
            if self.seen.contains(&name) {
                return Err(M::Error::duplicate_field(name));
            }
            self.seen.push(name);
            if name == ID {
                self.own.id = self.map.next_value()?;
            } else {
                self.own.beside.take(name, &mut self.map)?;
            }
        }
    }

    fn next_value_seed<S: DeserializeSeed<'de>>(&mut self, seed: S) -> Result<S::Value, M::Error> {
        self.map.next_value_seed(seed)
    }
}

const ID: &str = "id";

/// A name of the object: one of the record's, or one of the create's with the seed that it did not use.
enum Key<V, K> {
    Field(V),
    Own(&'static str, K),
}

struct Name<K> {
    seed: K,
    fields: &'static [&'static str],
    more: &'static [&'static str],
}

impl<'de, K: DeserializeSeed<'de>> DeserializeSeed<'de> for Name<K> {
    type Value = Key<K::Value, K>;

    fn deserialize<D: Deserializer<'de>>(self, reader: D) -> Result<Self::Value, D::Error> {
        reader.deserialize_identifier(self)
    }
}

impl<'de, K: DeserializeSeed<'de>> Visitor<'de> for Name<K> {
    type Value = Key<K::Value, K>;

    fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("the name of a field")
    }

    fn visit_str<E: Error>(self, name: &str) -> Result<Self::Value, E> {
        let mut own = std::iter::once(&ID).chain(self.more);
        if let Some(own) = own.find(|own| **own == name) {
            return Ok(Key::Own(own, self.seed));
        }
        if self.fields.contains(&name) {
            return self.seed.deserialize(name.into_deserializer()).map(Key::Field);
        }
        let known: Vec<&str> = std::iter::once(&ID).chain(self.fields).chain(self.more).copied().collect();
        Err(E::custom(format_args!("unknown field `{name}`, expected one of `{}`", known.join("`, `"))))
    }
}

/// A stored record as it is answered.
#[derive(Clone, Debug, Serialize)]
pub struct Kept<Id, F> {
    /// The id.
    pub id: Id,
    /// Number of the last change.
    pub rev: i64,
    /// The fields.
    #[serde(flatten)]
    pub fields: F,
}

impl<'a, Id: Copy, T, F: From<&'a T>> From<&'a Stored<Id, T>> for Kept<Id, F> {
    fn from(stored: &'a Stored<Id, T>) -> Self {
        Self { id: stored.id, rev: stored.rev, fields: F::from(&stored.value) }
    }
}

/// A recorded fact as it is answered; its id is one of its fields, because who records it makes it.
#[derive(Clone, Debug, Serialize)]
pub struct Recorded<F> {
    /// Number of the change that stored it.
    pub rev: i64,
    /// The fields.
    #[serde(flatten)]
    pub fields: F,
}

impl<'a, Id, T, F: From<&'a Stored<Id, T>>> From<&'a Stored<Id, T>> for Recorded<F> {
    fn from(stored: &'a Stored<Id, T>) -> Self {
        Self { rev: stored.rev, fields: F::from(stored) }
    }
}

/// `Venue` of `VenueFields`.
fn stem<F: ToSchema>() -> String {
    F::name().trim_end_matches("Fields").to_owned()
}

/// The object that fields are.
pub fn object<F: PartialSchema>() -> Object {
    match F::schema() {
        RefOr::T(Schema::Object(one)) => one,
        _ => Object::default(),
    }
}

fn add<T: ToSchema>(schemas: &mut Named) {
    schemas.push((T::name().into_owned(), T::schema()));
    T::schemas(schemas);
}

fn put_first(whole: &mut Object, name: &str, schema: impl Into<RefOr<Schema>>) {
    whole.properties.shift_insert(0, name.to_owned(), schema.into());
}

fn id<Id: ToSchema>(says: &str) -> RefBuilder {
    RefBuilder::new().ref_location_from_schema_name(Id::name()).description(Some(says))
}

/// Adds what every answer with a record says of its version.
fn put_rev(whole: &mut Object, says: &str) {
    let rev = ObjectBuilder::new()
        .schema_type(Type::Integer)
        .format(Some(SchemaFormat::KnownFormat(KnownFormat::Int64)))
        .description(Some(says))
        .minimum(Some(1))
        .examples([json!(42)]);
    put_first(whole, "rev", rev);
    whole.required.insert(0, "rev".to_owned());
    // Answers may grow, and an example of what is sent is none of what is answered.
    whole.additional_properties = None;
    whole.example = None;
}

impl<Id: ToSchema, F: ToSchema, B: Beside> PartialSchema for Create<Id, F, B> {
    fn schema() -> RefOr<Schema> {
        let mut whole = object::<F>();
        let says = whole.description.unwrap_or_default();
        whole.description = Some(format!("{} to create.", says.trim_end_matches('.')));
        let client_made = id::<Id>("Client-made UUID (version 7); makes the create repeatable.");
        put_first(&mut whole, ID, OneOfBuilder::new().item(client_made).item(Object::with_type(Type::Null)));
        let beside = B::described(&mut Vec::new());
        whole.properties.extend(beside.properties);
        whole.required.extend(beside.required);
        if let (Some(Value::Object(example)), Some(Value::Object(more))) = (&mut whole.example, beside.example) {
            example.extend(more);
        }
        whole.into()
    }
}

impl<Id: ToSchema, F: ToSchema, B: Beside> ToSchema for Create<Id, F, B> {
    fn name() -> Cow<'static, str> {
        format!("New{}", stem::<F>()).into()
    }

    fn schemas(schemas: &mut Named) {
        add::<Id>(schemas);
        add::<F>(schemas);
        B::described(schemas);
    }
}

impl<Id: ToSchema, F: ToSchema> PartialSchema for Kept<Id, F> {
    fn schema() -> RefOr<Schema> {
        let mut whole = object::<F>();
        put_rev(&mut whole, "Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.");
        put_first(&mut whole, ID, id::<Id>("The id."));
        whole.required.insert(0, ID.to_owned());
        whole.into()
    }
}

impl<Id: ToSchema, F: ToSchema> ToSchema for Kept<Id, F> {
    fn name() -> Cow<'static, str> {
        stem::<F>().into()
    }

    fn schemas(schemas: &mut Named) {
        add::<Id>(schemas);
        add::<F>(schemas);
    }
}

impl<F: ToSchema> PartialSchema for Recorded<F> {
    fn schema() -> RefOr<Schema> {
        let mut whole = object::<F>();
        put_rev(&mut whole, "Number of the change that stored it; the `ETag` begins with it.");
        whole.into()
    }
}

impl<F: ToSchema> ToSchema for Recorded<F> {
    fn name() -> Cow<'static, str> {
        stem::<F>().into()
    }

    fn schemas(schemas: &mut Named) {
        add::<F>(schemas);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::platform::body;
    use crate::platform::ids::VenueId;

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Fields {
        name: String,
        sizes: Vec<u8>,
    }

    #[derive(Debug, Default)]
    struct Notes(Vec<u8>);

    impl Beside for Notes {
        const NAMES: &'static [&'static str] = &["notes"];

        fn take<'de, M: MapAccess<'de>>(&mut self, _: &str, from: &mut M) -> Result<(), M::Error> {
            self.0 = from.next_value()?;
            Ok(())
        }

        fn described(_: &mut Named) -> Object {
            Object::default()
        }
    }

    fn read(sent: Value) -> Result<Create<VenueId, Fields, Notes>, (String, String, String)> {
        body::from_value(sent).map_err(|problem| {
            let fault = problem.faults()[0].clone();
            (fault.pointer.unwrap_or_default(), fault.code, fault.detail)
        })
    }

    #[test]
    fn a_create_is_its_fields_and_what_it_says_beside_them() {
        let id = VenueId::new();
        let new = read(json!({"notes": [3], "name": "A", "id": id, "sizes": [1, 2]})).unwrap();
        assert_eq!(
            (new.id, new.fields.name.as_str(), new.fields.sizes, new.beside.0),
            (Some(id), "A", vec![1, 2], vec![3])
        );
        for absent in [json!({"name": "A", "sizes": []}), json!({"id": null, "name": "A", "sizes": []})] {
            assert_eq!(read(absent).unwrap().id, None);
        }
    }

    #[test]
    fn each_fault_of_a_create_names_its_place_and_what_would_be_right() {
        let faulty = |sent| {
            let (pointer, code, detail) = read(sent).unwrap_err();
            assert!(!detail.is_empty());
            (pointer, code)
        };
        let told = |pointer: &str, code: &str| (pointer.to_owned(), code.to_owned());
        assert_eq!(faulty(json!({"name": "A", "sizes": [1, "x"]})), told("/sizes/1", "type"));
        assert_eq!(faulty(json!({"name": "A", "sizes": [], "notes": [1, "x"]})), told("/notes/1", "type"));
        assert_eq!(faulty(json!({"name": "A", "sizes": [], "id": 7})), told("/id", "type"));
        assert_eq!(faulty(json!({"sizes": []})), told("/name", "missing"));
        assert_eq!(faulty(json!(["A", []])), told("", "type"));
        let (pointer, code, detail) = read(json!({"name": "A", "size": []})).unwrap_err();
        assert_eq!((pointer.as_str(), code.as_str()), ("/size", "unknown_field"));
        assert!(detail.contains("expected one of `id`, `name`, `sizes`, `notes`"), "{detail}");
        let twice =
            serde_json::from_str::<Create<VenueId, Fields>>(r#"{"id": null, "name": "A", "sizes": [], "id": null}"#);
        assert!(twice.unwrap_err().to_string().contains("duplicate field `id`"));
    }
}
