//! Which representation a client takes.

use actix_web::http::header::{ACCEPT, CACHE_CONTROL, CONTENT_DISPOSITION, VARY};
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder};

use super::problem::{Code, Problem};
use super::sheets::xlsx;

/// A representation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// `application/json`.
    Json,
    /// `text/csv`.
    Csv,
    /// An XLSX workbook.
    Xlsx,
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
    /// `application/pdf`.
    Pdf,
}

impl Paper {
    /// All forms.
    pub const ALL: [Self; 2] = [Self::Html, Self::Pdf];
}

impl Format {
    /// The media type.
    pub const fn media(self) -> &'static str {
        match self {
            Self::Json => "application/json",
            Self::Csv => "text/csv",
            Self::Xlsx => xlsx::MEDIA,
            Self::Svg => "image/svg+xml",
            Self::Paper(Paper::Html) => "text/html",
            Self::Paper(Paper::Pdf) => "application/pdf",
        }
    }

    /// What the name of a file ends in.
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Json => "json",
            Self::Csv => "csv",
            Self::Xlsx => "xlsx",
            Self::Svg => "svg",
            Self::Paper(Paper::Html) => "html",
            Self::Paper(Paper::Pdf) => "pdf",
        }
    }

    /// The head of an answer with a table to keep; `cache` is its `Cache-Control`.
    pub fn file(self, name: &str, cache: &'static str) -> HttpResponseBuilder {
        let name = format!("attachment; filename=\"{name}.{}\"", self.ending());
        let mut answer = HttpResponse::Ok();
        answer.content_type(if self == Self::Csv { "text/csv; charset=utf-8" } else { self.media() });
        answer.insert_header((CONTENT_DISPOSITION, name));
        answer.insert_header((CACHE_CONTROL, cache)).insert_header((VARY, "accept"));
        answer
    }
}

/// The representation that a client prefers (RFC 9110): the highest quality wins, ties go to JSON, then to `others` in their
/// order, then to documents for people. Whatever comes as a document comes as JSON too.
///
/// # Errors
/// 406 when the client takes none of them.
pub fn choose(req: &HttpRequest, others: &[Format]) -> Result<Format, Problem> {
    let papers = Paper::ALL.map(Format::Paper);
    among(req, &[&[Format::Json], others, &papers].concat())
}

/// The same of what is offered alone, in its order.
///
/// # Errors
/// 406 when the client takes none of them.
pub fn among(req: &HttpRequest, offered: &[Format]) -> Result<Format, Problem> {
    let accept = req.headers().get(ACCEPT).and_then(|value| value.to_str().ok()).unwrap_or("*/*");
    let offers: Vec<(Format, f64)> = offered.iter().map(|one| (*one, quality(accept, one.media()))).collect();
    let best = offers.iter().map(|(_, quality)| *quality).fold(0.0, f64::max);
    let found = offers.into_iter().find(|(_, quality)| best > 0.0 && *quality >= best);
    found.map(|(one, _)| one).ok_or_else(|| {
        let known: Vec<&str> = offered.iter().map(|one| one.media()).collect();
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
