//! Documents for people: how a route answers with one, and the words that several of them share.

use actix_web::http::header::{CACHE_CONTROL, VARY};
use actix_web::{HttpRequest, HttpResponse};

use crate::compute::units::BarrierKind;
use crate::platform::accept::{Format, Paper};
use crate::platform::access::{Act, Permit};
use crate::platform::db::{ClubTx, Db, StoreError};
use crate::platform::lanes::Lanes;
use crate::platform::print_units::PrintUnits;
use crate::platform::problem::{Code, Problem};
use crate::platform::stored;
use crate::render::html::html;
use crate::render::kind_words;
use crate::render::measure::Measure;
use crate::render::pdf::pdf;
use crate::render::sheet::{Block, Section, Sheet, Text};

/// The units of a document or drawing: those in which the club prints. JSON and tables are metric.
///
/// # Errors
/// Database errors.
pub async fn measure(tx: &mut ClubTx, format: Format) -> Result<Measure, StoreError> {
    Ok(match format {
        Format::Paper(_) | Format::Svg => match tx.print_units().await? {
            PrintUnits::Metric => Measure::Metric,
            PrintUnits::Imperial => Measure::Imperial,
        },
        _ => Measure::Metric,
    })
}

/// The bytes of a document in the units that the club prints, drawn here and now: for what is in a lane already.
///
/// # Errors
/// 500 when a file cannot be written.
pub fn draw(form: Paper, measure: Measure, sheet: Sheet) -> Result<Vec<u8>, Problem> {
    let sheet = sheet.told_in(measure);
    match form {
        Paper::Html => Ok(html(&sheet).into_bytes()),
        Paper::Pdf => pdf(&sheet).map_err(|error| {
            tracing::error!(%error, "a document cannot be drawn");
            Problem::new(Code::Internal, "The document could not be drawn. Tell the operator the instance id.")
        }),
    }
}

/// Who asks for a document, and where files are drawn.
pub struct Desk<'a, A>(pub &'a Permit<A>, pub &'a Db, pub &'a Lanes);

impl<A: Act> Desk<'_, A> {
    /// The bytes of a document. A file is drawn in a lane, with no connection in hand; whoever had to wait for it is asked again
    /// whether they may.
    async fn draw(&self, form: Paper, measure: Measure, sheet: Sheet) -> Result<Vec<u8>, Problem> {
        if form == Paper::Html {
            return draw(form, measure, sheet);
        }
        let Self(permit, db, lanes) = self;
        let turn = match lanes.athletes.free(permit.club.0) {
            Some(turn) => turn,
            None => {
                let turn = permit.turn(db, &lanes.athletes).await?;
                permit.admit(db).await?;
                turn
            }
        };
        turn.run(move || draw(form, measure, sheet)).await?
    }

    /// Answers with a document that has no version.
    ///
    /// # Errors
    /// Those of [`Permit::turn`]; 500 when a file cannot be written.
    pub async fn answer(&self, form: Paper, measure: Measure, sheet: Sheet) -> Result<HttpResponse, Problem> {
        let bytes = self.draw(form, measure, sheet).await?;
        let mut answer = HttpResponse::Ok();
        answer.insert_header((VARY, "accept")).insert_header((CACHE_CONTROL, "private, no-cache"));
        Ok(answer.content_type(content_type(form)).body(bytes))
    }

    /// Answers with the document of a record; 304 when the caller already has it.
    ///
    /// # Errors
    /// Those of [`Desk::answer`].
    pub async fn versioned(
        &self,
        req: &HttpRequest,
        rev: i64,
        (form, measure): (Paper, Measure),
        sheet: Sheet,
    ) -> Result<HttpResponse, Problem> {
        Ok(stored::document(req, rev, content_type(form), self.draw(form, measure, sheet).await?))
    }
}

/// The media type of a document, with what a client must know to read it.
pub const fn content_type(form: Paper) -> &'static str {
    match form {
        Paper::Html => "text/html; charset=utf-8",
        Paper::Pdf => "application/pdf",
    }
}

/// A word of the interface as people read it.
pub fn words(code: &str) -> String {
    code.replace('_', " ")
}

/// The same at the beginning of a sentence or cell.
pub fn sentence(code: &str) -> String {
    let words = words(code);
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// A number of things.
pub fn count(number: impl Into<u64>, one: &str) -> String {
    let number = number.into();
    format!("{number} {one}{}", if number == 1 { "" } else { "s" })
}

/// A share in percent.
pub fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

/// What stands in a lane, such as "low barriers 0.50 m high, 6.25 m apart".
pub fn run_over(kind: &str, height_m: f64, spacing_m: f64, measure: Measure) -> String {
    let kind = BarrierKind::from_word(kind).map_or("barrier", kind_words);
    format!("{kind}s {} high, {} apart", measure.length(height_m), measure.length(spacing_m))
}

/// Cautions, all of them.
pub fn cautions<'a>(sentences: impl IntoIterator<Item = &'a str>) -> Section {
    let items = sentences.into_iter().map(Text::own).collect();
    Section::new("Cautions", vec![Block::Cautions(items)])
}

/// The cautions that everybody of several shares, in order: a document says them once for all. None when there is one person alone.
pub fn shared<'a>(mut of: impl Iterator<Item = Vec<&'a str>>) -> Vec<&'a str> {
    let Some(first) = of.next() else { return Vec::new() };
    let others: Vec<Vec<&str>> = of.collect();
    let has = |text: &&str| !others.is_empty() && others.iter().all(|one| one.contains(text));
    first.into_iter().filter(has).collect()
}

/// Those cautions, above those whom they are about.
pub fn for_everybody(shared: &[&str]) -> Block {
    Block::Cautions(shared.iter().map(|text| Text::own(format!("For everybody below: {text}"))).collect())
}

/// Sentences as paragraphs, those that begin alike as one: "A step up needs 2 more days; the walkover rated secure, open since
/// 2026-10-31."
pub fn joined<'a>(sentences: impl Iterator<Item = &'a str>, begin: &str) -> Vec<Text> {
    let (alike, others): (Vec<&str>, Vec<&str>) = sentences.partition(|one| one.starts_with(begin));
    if alike.len() < 2 {
        return alike.into_iter().chain(others).map(Text::own).collect();
    }
    // What follows as a sentence of its own goes on in this one.
    let inside = |rest: &str| rest.trim_end_matches('.').replace(". So ", ", open ");
    let rests: Vec<String> = alike.iter().filter_map(|one| one.strip_prefix(begin)).map(inside).collect();
    let first = format!("{begin}{}.", rests.join("; "));
    std::iter::once(first.as_str()).chain(others).map(Text::own).collect()
}

/// A term with what is said of it, where there is something to say.
pub fn fact(term: &str, value: Option<impl Into<Text>>) -> Option<(Text, Text)> {
    value.map(|value| (Text::own(term), value.into()))
}

/// Names that follow each other, each whatever its script.
pub fn names<'a>(names: impl IntoIterator<Item = &'a str>) -> Text {
    let mut text = Text::default();
    for name in names {
        text = if text.0.is_empty() { text.and_theirs(name) } else { text.and(", ").and_theirs(name) };
    }
    text
}

#[cfg(test)]
mod tests {
    use super::{joined, shared};

    #[test]
    fn only_what_everybody_of_several_must_heed_is_said_once() {
        let of = |all: &[&'static [&'static str]]| shared(all.iter().map(|one| one.to_vec()));
        assert_eq!(of(&[&["a", "b", "c"], &["c", "a"], &["a", "c", "d"]]), ["a", "c"]);
        assert_eq!(of(&[&["a"], &[]]), [""; 0]);
        assert_eq!(of(&[&["a"]]), [""; 0], "one person's own cautions stay theirs");
        assert_eq!(of(&[]), [""; 0]);
    }

    #[test]
    fn sentences_that_begin_alike_are_told_as_one_and_no_other_is_lost() {
        let told = |all: &[&str]| {
            joined(all.iter().copied(), "A step up needs ").iter().map(super::Text::plain).collect::<Vec<_>>()
        };
        let three = [
            "A step up needs 2 more days. So for 1 session, since 2026-10-31.",
            "They rest.",
            "A step up needs a coach.",
        ];
        let one = "A step up needs 2 more days, open for 1 session, since 2026-10-31; a coach.";
        assert_eq!(told(&three), [one, "They rest."]);
        assert_eq!(told(&three[..2]), three[..2], "one alone stays as it is");
        assert!(told(&[]).is_empty());
    }
}
