//! Which representation a client takes.

use actix_web::HttpRequest;
use actix_web::http::header::ACCEPT;

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

/// The wanted representation (RFC 9110): the highest quality wins, ties go to the order above.
pub fn negotiate(req: &HttpRequest) -> Option<Format> {
    let accept = req.headers().get(ACCEPT).and_then(|value| value.to_str().ok()).unwrap_or("*/*");
    let quality = |media: &str, family: &str| {
        accept
            .split(',')
            .filter_map(|range| {
                let mut parts = range.split(';').map(str::trim);
                let name = parts.next()?.to_ascii_lowercase();
                let specific = match name.as_str() {
                    "*/*" => 0,
                    name if name == family => 1,
                    name if name == media => 2,
                    _ => return None,
                };
                let q = parts.find_map(|part| part.strip_prefix("q=")).map_or(Some(1.0), |q| q.parse::<f64>().ok())?;
                Some((specific, q))
            })
            .max_by_key(|(specific, _)| *specific)
            .map_or(0.0, |(_, q)| q)
    };
    let offers = [
        (Format::Json, quality("application/json", "application/*")),
        (Format::Csv, quality("text/csv", "text/*")),
        (Format::Svg, quality("image/svg+xml", "image/*")),
    ];
    let best = offers.iter().map(|(_, q)| *q).fold(0.0, f64::max);
    offers.into_iter().find(|(_, q)| *q > 0.0 && *q >= best).map(|(format, _)| format)
}
