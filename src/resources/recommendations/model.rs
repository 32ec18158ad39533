//! What a coach decides on a recommendation.

use chrono::{DateTime, NaiveDate, Utc};

use crate::compute::units::{BarrierKind, Length};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::AthleteId;
use crate::platform::words::words;

words! {
    /// Whether the coach followed the advice.
    Outcome { /// Followed.
        Accepted = "accepted", /// Did otherwise.
        Overridden = "overridden" }
}

/// What is run over: kind, height, spacing.
pub type Chosen = (BarrierKind, Length, Length);

/// What a client may choose.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Choice {
    /// Whether the coach followed the advice.
    pub outcome: Outcome,
    /// Why not, when overridden.
    pub reason: Option<String>,
    /// What is run instead, when overridden.
    pub chosen: Option<Chosen>,
    /// Whether the return after a fall, report or restriction is confirmed.
    pub clears_return: bool,
}

impl Choice {
    /// Parses a choice.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(
        outcome: &str,
        reason: Option<&str>,
        (kind, height_m, spacing_m): (Option<&str>, Option<f64>, Option<f64>),
        clears_return: bool,
    ) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let outcome = faults.take("/outcome", "word", Outcome::parse(outcome));
        let reason = faults.opt_text("/reason", reason, 500);
        if outcome == Some(Outcome::Overridden) && reason.is_none() {
            faults.add("/reason", "missing", "is needed when the advice is overridden");
        }
        let chosen = match (kind, height_m, spacing_m) {
            (None, None, None) => None,
            (Some(kind), Some(height), Some(spacing)) => {
                let kind = BarrierKind::from_word(kind).ok_or("must be wicket, foam, low_barrier or hurdle");
                let kind = faults.take("/barrier_kind", "word", kind);
                let mm = Length::from_mm;
                let height = faults.take("/height_m", "out_of_range", Length::between(height, mm(50), mm(1_100)));
                let spacing = Length::between(spacing, mm(1_000), mm(20_000));
                let spacing = faults.take("/spacing_m", "out_of_range", spacing);
                kind.zip(height).zip(spacing).map(|((kind, height), spacing)| (kind, height, spacing))
            }
            _ => {
                faults.add("/barrier_kind", "together", "goes with height_m and spacing_m: send all three or none");
                None
            }
        };
        if outcome == Some(Outcome::Accepted) && chosen.is_some() {
            faults.add("/barrier_kind", "accepted", "only goes with an override; accepting means what was recommended");
        }
        faults.finish(outcome.map(|outcome| Self { outcome, reason, chosen, clears_return }))
    }
}

/// A decided recommendation.
#[derive(Clone, Debug, PartialEq)]
pub struct Decided {
    /// The athlete.
    pub athlete: AthleteId,
    /// The day of the advice.
    pub on: NaiveDate,
    /// The advice as it was given.
    pub advice: serde_json::Value,
    /// What the coach chose.
    pub choice: Choice,
    /// When.
    pub decided_at: DateTime<Utc>,
}
