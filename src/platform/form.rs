//! Bodies as HTML forms send them, which OAuth asks for.

use std::future::Future;
use std::pin::Pin;

use actix_web::{FromRequest, HttpRequest, dev};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Deserializer};

use super::body::media_type;
use super::fault::Fault;
use super::intake::{self, Limits, WITHOUT_TOKEN};
use super::problem::{Code, Problem};

/// The media type.
pub const MEDIA: &str = "application/x-www-form-urlencoded";
const LIMITS: Limits = Limits { wire: WITHOUT_TOKEN, unpacked: WITHOUT_TOKEN, remedy: "A form is small." };

/// A form of shape `T`, or why it cannot be read. What `T` does not know is left aside, what stands twice is refused
/// (RFC 6749, section 3.2).
///
/// Taking it in never fails by itself, like that of a [`super::body::Body`].
#[derive(Debug)]
pub struct Form<T>(Result<T, Problem>);

impl<T> Form<T> {
    /// The form.
    ///
    /// # Errors
    /// 400 naming the field, 413, 415.
    pub fn read(self) -> Result<T, Problem> {
        self.0
    }
}

impl<T: DeserializeOwned + 'static> FromRequest for Form<T> {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(req: &HttpRequest, payload: &mut dev::Payload) -> Self::Future {
        let (req, payload) = (req.clone(), payload.take());
        Box::pin(async move {
            if media_type(&req) != MEDIA {
                return Ok(Self(Err(Problem::new(Code::MediaType, format!("Send the body as {MEDIA}.")))));
            }
            Ok(Self(intake::read(&req, payload, LIMITS).await.and_then(|taken| parse(taken.bytes()))))
        })
    }
}

fn parse<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Problem> {
    let unreadable = |detail: &str| Problem::malformed(Fault::at("", "value", detail));
    if form_urlencoded::parse(bytes).any(|(name, value)| name.contains('\0') || value.contains('\0')) {
        return Err(unreadable("must not contain a NUL"));
    }
    T::deserialize(serde_urlencoded::Deserializer::new(form_urlencoded::parse(bytes)))
        .map_err(|error| unreadable(&error.to_string()))
}

/// For a field of a form: one that is sent empty counts as absent (RFC 6749, section 3.1).
///
/// # Errors
/// When it is no text.
pub fn filled<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<String>, D::Error> {
    Ok(Some(String::deserialize(deserializer)?).filter(|text| !text.is_empty()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, Deserialize, PartialEq)]
    struct Both {
        #[serde(default, deserialize_with = "filled")]
        a: Option<String>,
        #[serde(default, deserialize_with = "filled")]
        b: Option<String>,
    }

    #[test]
    fn what_is_empty_is_absent_what_is_unknown_is_left_aside_and_nothing_stands_twice() {
        let both = |text: &str| parse::<Both>(text.as_bytes()).ok();
        let a = Some("1 2".to_owned());
        assert_eq!(both("a=1+2&b=&c=3"), Some(Both { a: a.clone(), b: None }));
        assert_eq!(both("a=1%202"), Some(Both { a, b: None }));
        assert_eq!(both(""), Some(Both { a: None, b: None }));
        assert_eq!(both("a=1&a=1"), None);
        assert_eq!(both("a=%00"), None);
    }
}
