//! Closed lists of words: one line per word serves JSON, CSV and the database.

/// Makes an enumeration whose variants each have one word.
macro_rules! words {
    ($(#[$doc:meta])* $name:ident { $($(#[$one:meta])* $variant:ident = $word:literal),+ $(,)? }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name { $($(#[$one])* $variant),+ }

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
    };
}

pub(crate) use words;
