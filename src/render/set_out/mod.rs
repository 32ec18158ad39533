//! The set-out sheet of a lane plan: CSV for a table, SVG for the clipboard.

mod svg;

use std::collections::BTreeMap;

use thiserror::Error;

use super::measure::Measure;
use super::paper::kind_words;
use super::table::defused;
use lanewright_compute::set_out::{Mark, MarkKind};
use lanewright_compute::units::{BarrierKind, Length};

pub use svg::svg;

/// The most lanes that one sheet holds.
pub const MAX_LANES: usize = 12;

/// A lane plan, ready to print.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    /// Name of the club.
    pub club: String,
    /// Date of the session as it is to be printed.
    pub session_date: String,
    /// Name of the venue; may be empty.
    pub venue: String,
    /// Lanes in printing order, 1 to [`MAX_LANES`].
    pub lanes: Vec<SheetLane>,
    /// How many rounds the plan has, 1 or more.
    pub rounds: u8,
    /// Cautions, a sentence of ours each, lengths in metres, most important first.
    pub cautions: Vec<String>,
}

/// A lane of a [`Sheet`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SheetLane {
    /// Number of the lane.
    pub lane: u8,
    /// The round in which it stands like this, from 1.
    pub round: u8,
    /// What stands in it.
    pub barrier_kind: BarrierKind,
    /// Barrier height.
    pub height: Length,
    /// Barrier to barrier.
    pub spacing: Length,
    /// Number of barriers.
    pub barriers: u8,
    /// Tape marks in running order.
    pub marks: Vec<Mark>,
    /// Display names of the athletes who run here.
    pub athletes: Vec<String>,
    /// What to know of each of them, in our words and in the same order; empty where there is nothing.
    pub notes: Vec<String>,
}

impl SheetLane {
    /// Each name with its note.
    fn noted(&self) -> impl Iterator<Item = (&str, &str)> {
        let notes = self.notes.iter().map(String::as_str).chain(std::iter::repeat(""));
        self.athletes.iter().map(String::as_str).zip(notes)
    }

    /// Each name as it is printed, with its note in brackets.
    fn printed(&self) -> Vec<String> {
        let with =
            |(name, note): (&str, &str)| if note.is_empty() { name.to_owned() } else { format!("{name} ({note})") };
        self.noted().map(with).collect()
    }
}

impl Sheet {
    /// Barriers needed, by kind (softest first) and height (lowest first): the most of any round.
    pub fn barrier_counts(&self) -> BTreeMap<(BarrierKind, Length), u32> {
        let mut counts: BTreeMap<_, BTreeMap<u8, u32>> = BTreeMap::new();
        for lane in &self.lanes {
            let rounds = counts.entry((lane.barrier_kind, lane.height)).or_default();
            *rounds.entry(lane.round).or_default() += u32::from(lane.barriers);
        }
        counts.into_iter().map(|(what, rounds)| (what, rounds.into_values().max().unwrap_or_default())).collect()
    }
}

/// Why a sheet cannot be drawn.
#[derive(Debug, Error)]
pub enum SheetError {
    /// No lane, or more than [`MAX_LANES`].
    #[error("must have 1 to 12 lanes")]
    Lanes,
    /// The table could not be written.
    #[error("the table could not be written: {0}")]
    Table(#[from] csv::Error),
}

/// The sheet as CSV (RFC 4180, UTF-8): a header, then a row for each tape mark.
///
/// A text that a spreadsheet would take for a formula gets an apostrophe in front. Names within a cell are separated by
/// semicolons.
///
/// # Errors
/// [`SheetError::Table`] if the table cannot be written.
///
/// ```
/// use lanewright_render::set_out::{Sheet, csv};
///
/// let sheet = Sheet {
///     club: "Northfield".into(),
///     session_date: "2026-05-02".into(),
///     venue: "Main track".into(),
///     lanes: Vec::new(),
///     rounds: 1,
///     cautions: Vec::new(),
/// };
/// assert!(csv(&sheet).unwrap().starts_with(b"session_date,venue,round,lane,"));
/// ```
pub fn csv(sheet: &Sheet) -> Result<Vec<u8>, SheetError> {
    let mut table = csv::Writer::from_writer(Vec::new());
    table.write_record([
        "session_date",
        "venue",
        "round",
        "lane",
        "barrier_kind",
        "height_m",
        "spacing_m",
        "mark",
        "barrier",
        "at_m",
        "athletes",
        "notes",
    ])?;
    for lane in &sheet.lanes {
        let athletes = defused(&lane.athletes.join("; "));
        let notes = lane.noted().filter(|(_, note)| !note.is_empty()).map(|(name, note)| format!("{name}: {note}"));
        let notes = defused(&notes.collect::<Vec<_>>().join("; "));
        for mark in &lane.marks {
            table.write_record([
                &defused(&sheet.session_date),
                &defused(&sheet.venue),
                &lane.round.to_string(),
                &lane.lane.to_string(),
                lane.barrier_kind.as_str(),
                &format!("{:.3}", lane.height.metres()),
                &format!("{:.3}", lane.spacing.metres()),
                mark.kind.as_str(),
                &mark.barrier.map(|k| k.to_string()).unwrap_or_default(),
                &format!("{:.2}", mark.at_tape()),
                &athletes,
                &notes,
            ])?;
        }
    }
    let bytes = table.into_inner();
    bytes.map_err(|error| SheetError::Table(error.into_error().into()))
}

/// The distance of a mark as it is read off a tape, without its unit; rounded once, from the millimetre.
pub fn on_tape(mark: Mark, measure: Measure) -> String {
    measure.tape(match measure {
        Measure::Metric => mark.at_tape(),
        Measure::Imperial => mark.at.metres(),
    })
}

/// The distance of the last mark of a lane, millimetres (mm).
fn lane_length(lane: &SheetLane) -> u32 {
    lane.marks.last().map_or(0, |mark| mark.at.mm())
}

/// Whether a mark is a step between barriers; the third stride is drawn as the take-off it is.
const fn is_step(kind: MarkKind) -> bool {
    matches!(kind, MarkKind::Landing | MarkKind::Stride1 | MarkKind::Stride2 | MarkKind::TakeOff)
}

#[cfg(test)]
mod tests;
