//! Closed lists of words: one line per word serves JSON, CSV, the database and the OpenAPI document.

use std::fmt::Write as _;

use utoipa::openapi::RefOr;
use utoipa::openapi::schema::{ObjectBuilder, Schema, Type};

/// The schema of a closed list: its words, and what each means.
pub fn schema(says: &str, words: &[(&str, &str)]) -> RefOr<Schema> {
    let mut description = format!("{}\n", says.trim());
    for (word, means) in words {
        // Writing to a string cannot fail.
        let _ = write!(description, "\n- `{word}`: {}", means.trim());
    }
    ObjectBuilder::new()
        .schema_type(Type::String)
        .enum_values(Some(words.iter().map(|(word, _)| (*word).to_owned())))
        .description(Some(description))
        .examples(words.first().map(|(word, _)| (*word).to_owned()))
        .into()
}

/// The schema of a list whose words are those of several lists; a word of two keeps the meaning of the first.
pub fn merged(says: &str, lists: &[RefOr<Schema>]) -> RefOr<Schema> {
    let mut all: Vec<(String, String)> = Vec::new();
    for list in lists {
        let RefOr::T(Schema::Object(list)) = list else { continue };
        for line in list.description.iter().flat_map(|text| text.lines()) {
            let parts = line.strip_prefix("- `").and_then(|line| line.split_once("`: "));
            all.extend(parts.filter(|(word, _)| all.iter().all(|(known, _)| known != word)).map(owned));
        }
    }
    let mut merged = schema(says, &[]);
    if let RefOr::T(Schema::Object(one)) = &mut merged {
        for (word, means) in &all {
            // Writing to a string cannot fail.
            let _ = write!(one.description.get_or_insert_default(), "\n- `{word}`: {means}");
        }
        one.examples = all.first().map(|(word, _)| word.as_str().into()).into_iter().collect();
        one.enum_values = Some(all.into_iter().map(|(word, _)| word.into()).collect());
    }
    merged
}

fn owned((word, means): (&str, &str)) -> (String, String) {
    (word.to_owned(), means.to_owned())
}

/// The name of a list in the document: its own, unless another list has that already.
macro_rules! shown {
    ($name:ident) => {
        stringify!($name)
    };
    ($name:ident $shown:ident) => {
        stringify!($shown)
    };
}

/// Makes an enumeration whose variants each have one word. The document calls it by its name, or by the one after `as`.
macro_rules! words {
    ($(#[doc = $doc:literal])* $name:ident $(as $shown:ident)? { $($(#[doc = $one:literal])* $variant:ident = $word:literal),+ $(,)? }) => {
        $(#[doc = $doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $($(#[doc = $one])* $variant),+ }

        impl $name {
            /// The word.
            pub const fn as_str(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }

            /// The variant of a word.
            ///
            /// # Errors
            /// A sentence with the words there are.
            pub fn parse(word: &str) -> Result<Self, String> {
                match word {
                    $($word => Ok(Self::$variant),)+
                    _ => Err(format!("must be one of {}", [$($word),+].join(", "))),
                }
            }
        }

        $crate::platform::words::spelt_out!(
            $name $crate::platform::words::shown!($name $($shown)?),
            concat!($($doc),*), [$(($word, concat!($($one),*))),+]
        );
    };
}

/// Spells a closed list out in the document.
macro_rules! spelt_out {
    ($name:ident $shown:expr, $says:expr, $words:expr) => {
        impl utoipa::PartialSchema for $name {
            fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::schema::Schema> {
                $crate::platform::words::schema($says, &$words)
            }
        }

        impl utoipa::ToSchema for $name {
            fn name() -> std::borrow::Cow<'static, str> {
                $shown.into()
            }
        }
    };
}

/// Names a closed list of words that is made elsewhere, for the document. With `of`, the words are those of an enumeration
/// of the mathematics, all of them; else they stand here.
macro_rules! spelt {
    ($($(#[doc = $doc:literal])* $name:ident of $real:ty { $($variant:ident: $means:literal),+ $(,)? })+) => {$(
        $(#[doc = $doc])*
        #[derive(Debug)]
        pub struct $name;

        impl $name {
            /// What each means; a variant without a line does not compile.
            const fn means(one: $real) -> &'static str {
                match one { $(<$real>::$variant => $means),+ }
            }
        }

        $crate::platform::words::spelt_out!($name stringify!($name), concat!($($doc),*), {
            [$(<$real>::$variant),+].map(|one| (one.as_str(), Self::means(one)))
        });
    )+};
    ($($(#[doc = $doc:literal])* $name:ident { $($word:literal: $means:literal),+ $(,)? })+) => {$(
        $(#[doc = $doc])*
        #[derive(Debug)]
        pub struct $name;

        $crate::platform::words::spelt_out!($name stringify!($name), concat!($($doc),*), [$(($word, $means)),+]);
    )+};
}

pub(crate) use {shown, spelt, spelt_out, words};
