//! Which representation a client takes.

use actix_web::HttpRequest;
use actix_web::http::header::ACCEPT;

use super::problem::{Code, Problem};

/// A representation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// `application/json`.
    Json,
    /// `text/csv`.
    Csv,
    /// `image/svg+xml`.
    Svg,
    /// A document for people.
    Paper(Paper),
}

/// The forms of a document for people; whatever comes as one comes as all of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Paper {
    /// `text/html`.
    Html,
}

impl Paper {
    /// All forms.
    pub const ALL: [Self; 1] = [Self::Html];
}

impl Format {
    /// The media type.
    pub const fn media(self) -> &'static str {
        match self {
            Self::Json => "application/json",
            Self::Csv => "text/csv",
            Self::Svg => "image/svg+xml",
            Self::Paper(Paper::Html) => "text/html",
        }
    }
}

/// The representation that a client prefers (RFC 9110): the highest quality wins, ties go to JSON, then to `others` in their
/// order, then to documents for people. Whatever has several representations comes as JSON and as a document.
///
/// # Errors
/// 406 when the client takes none of them.
pub fn choose(req: &HttpRequest, others: &[Format]) -> Result<Format, Problem> {
    let accept = req.headers().get(ACCEPT).and_then(|value| value.to_str().ok()).unwrap_or("*/*");
    let offers = || [Format::Json].into_iter().chain(others.iter().copied()).chain(Paper::ALL.map(Format::Paper));
    let best = offers().map(|one| quality(accept, one.media())).fold(0.0, f64::max);
    offers().find(|one| best > 0.0 && quality(accept, one.media()) >= best).ok_or_else(|| {
        let known: Vec<&str> = offers().map(Format::media).collect();
        Problem::new(Code::NotAcceptable, format!("This comes as one of: {}. Accept one of them.", known.join(", ")))
    })
}

/// How much a client likes a media type: by the most specific range that it names.
fn quality(accept: &str, media: &str) -> f64 {
    let family = media.split('/').next().unwrap_or_default();
    accept
        .split(',')
        .filter_map(|range| {
            let mut parts = range.split(';').map(str::trim);
            let name = parts.next()?.to_ascii_lowercase();
            let specific = match name.as_str() {
                "*/*" => 0,
                name if name.strip_suffix("/*") == Some(family) => 1,
                name if name == media => 2,
                _ => return None,
            };
            let q = parts.find_map(|part| part.strip_prefix("q=")).map_or(Some(1.0), |q| q.parse::<f64>().ok())?;
            Some((specific, q))
        })
        .max_by_key(|(specific, _)| *specific)
        .map_or(0.0, |(_, q)| q)
}
