//! What a coach decides on a recommendation.

use chrono::{DateTime, NaiveDate, Utc};

use crate::compute::decision::{Configuration, WORD_DAYS};
use crate::compute::units::{BarrierKind, Length};
use crate::platform::fault::{Fault, Faults};
use crate::platform::ids::AthleteId;
use crate::platform::words::words;

words! {
    /// Whether the coach followed the advice.
    Outcome as DecisionOutcome { /// Followed.
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
    /// Whether the coach confirms a second time, against the soft walls.
    pub coach_accepts: bool,
    /// The last day on which it stands; that of the advice when absent.
    pub until: Option<NaiveDate>,
}

/// What a client sends of a choice, field by field.
#[derive(Clone, Copy, Debug)]
pub struct RawChoice<'a> {
    /// A word of [`Outcome`].
    pub outcome: &'a str,
    /// See [`Choice`].
    pub reason: Option<&'a str>,
    /// A kind of barrier.
    pub barrier_kind: Option<&'a str>,
    /// Metres (m).
    pub height_m: Option<f64>,
    /// Metres (m).
    pub spacing_m: Option<f64>,
    /// See [`Choice`].
    pub clears_return: bool,
    /// See [`Choice`].
    pub coach_accepts: bool,
    /// See [`Choice`].
    pub until: Option<NaiveDate>,
}

impl Choice {
    /// Parses a choice.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(raw: &RawChoice<'_>) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let outcome = faults.take("/outcome", "word", Outcome::parse(raw.outcome));
        let reason = faults.opt_text("/reason", raw.reason, 500);
        if outcome == Some(Outcome::Overridden) && reason.is_none() {
            faults.add("/reason", "missing", "is needed when the advice is overridden");
        }
        let chosen = match (raw.barrier_kind, raw.height_m, raw.spacing_m) {
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
        if raw.coach_accepts && (chosen.is_none() || outcome == Some(Outcome::Accepted)) {
            faults.add("/coach_accepts", "needs_choice", "only goes with what is run instead of the advice");
        }
        let (clears_return, coach_accepts, until) = (raw.clears_return, raw.coach_accepts, raw.until);
        faults.finish(outcome.map(|outcome| Self { outcome, reason, chosen, clears_return, coach_accepts, until }))
    }

    /// What is chosen instead of the advice.
    pub fn configuration(&self) -> Option<Configuration> {
        self.chosen.map(|(barrier_kind, height, spacing)| Configuration { barrier_kind, height, spacing })
    }

    /// Checks the last day of a choice on the advice of a day.
    ///
    /// # Errors
    /// A fault when it is before the day, or further ahead than a word may stand.
    pub fn check_until(&self, on: NaiveDate) -> Result<(), Fault> {
        match self.until.map(|until| (until - on).num_days()) {
            Some(days) if !(0..=i64::from(WORD_DAYS)).contains(&days) => {
                let detail = format!("must be from {on}, the day of the advice, to {WORD_DAYS} days later");
                Err(Fault::at("/until", "out_of_range", detail))
            }
            _ => Ok(()),
        }
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
