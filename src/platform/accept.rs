//! Which representation a client takes.

use actix_web::http::header::{ACCEPT, CACHE_CONTROL, CONTENT_DISPOSITION, VARY};
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder};

use super::problem::{Code, Problem};
use super::sheets::xlsx;

/// The representations, in the order of preference when the client takes any.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// `application/json`.
    Json,
    /// `text/csv`.
    Csv,
    /// `image/svg+xml`.
    Svg,
}

/// How a record that is also a table comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tabular {
    /// `application/json`.
    Json,
    /// `text/csv`.
    Csv,
    /// An XLSX workbook.
    Xlsx,
}

impl Tabular {
    /// The wanted one of JSON, CSV and XLSX.
    ///
    /// # Errors
    /// 406 when none is acceptable.
    pub fn of(req: &HttpRequest) -> Result<Self, Problem> {
        let json = (Self::Json, "application/json");
        among(req, &[json, (Self::Csv, "text/csv"), (Self::Xlsx, xlsx::MEDIA)])
            .ok_or_else(|| Problem::new(Code::NotAcceptable, "This comes as application/json, text/csv or XLSX."))
    }

    /// The wanted one of CSV and XLSX, for what is a file.
    ///
    /// # Errors
    /// 406 when neither is acceptable.
    pub fn of_file(req: &HttpRequest) -> Result<Self, Problem> {
        among(req, &[(Self::Csv, "text/csv"), (Self::Xlsx, xlsx::MEDIA)])
            .ok_or_else(|| Problem::new(Code::NotAcceptable, "This comes as text/csv or XLSX."))
    }

    /// The media type.
    pub const fn media(self) -> &'static str {
        match self {
            Self::Json => "application/json",
            Self::Csv => "text/csv; charset=utf-8",
            Self::Xlsx => xlsx::MEDIA,
        }
    }

    /// What the name of a file ends in.
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Json => "json",
            Self::Csv => "csv",
            Self::Xlsx => "xlsx",
        }
    }

    /// The head of an answer with a file for people; `cache` is its `Cache-Control`.
    pub fn file(self, name: &str, cache: &'static str) -> HttpResponseBuilder {
        let name = format!("attachment; filename=\"{name}.{}\"", self.ending());
        let mut answer = HttpResponse::Ok();
        answer.content_type(self.media()).insert_header((CONTENT_DISPOSITION, name));
        answer.insert_header((CACHE_CONTROL, cache)).insert_header((VARY, "accept"));
        answer
    }
}

/// The wanted representation of JSON, CSV and SVG (RFC 9110): the highest quality wins, ties go to the order of [`Format`].
pub fn negotiate(req: &HttpRequest) -> Option<Format> {
    among(req, &[(Format::Json, "application/json"), (Format::Csv, "text/csv"), (Format::Svg, "image/svg+xml")])
}

/// The wanted one of these representations with their media types: the highest quality wins, ties go to their order.
fn among<T: Copy>(req: &HttpRequest, offered: &[(T, &str)]) -> Option<T> {
    let accept = req.headers().get(ACCEPT).and_then(|value| value.to_str().ok()).unwrap_or("*/*");
    let quality = |media: &str| {
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
    };
    let offers: Vec<(T, f64)> = offered.iter().map(|(one, media)| (*one, quality(media))).collect();
    let best = offers.iter().map(|(_, q)| *q).fold(0.0, f64::max);
    offers.into_iter().find(|(_, q)| *q > 0.0 && *q >= best).map(|(one, _)| one)
}
