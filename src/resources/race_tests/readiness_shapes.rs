//! The JSON of how ready an athlete is for a race test.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;

use super::entries_store::Entrant;
use crate::compute::decision::{Caution, Surface};
use crate::compute::race::Readiness;
use crate::platform::db::StoreError;
use crate::platform::ids::AthleteId;
use crate::resources::advice::{
    CautionView, MissingView, Since, UnusableView, WallView, tell_surface, told_surface, vocabulary,
};

/// What was run last.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = RaceLastRun)]
pub struct LastView {
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(value_type = vocabulary::BarrierKind)]
    barrier_kind: String,
    /// Height, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    height_m: f64,
    /// Spacing, metres.
    #[schema(minimum = 0, maximum = 20, example = 6.5)]
    spacing_m: f64,
}

/// How ready an athlete is for the course of a race test, as last looked at: when entered, and again at each draw.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = RaceReadiness)]
pub struct ReadinessView {
    /// The day it is for: that of the session when it was looked at.
    #[serde(deserialize_with = "crate::platform::dates::read")]
    pub on: NaiveDate,
    /// When it was looked at; absent for entries from before this was kept.
    #[serde(default, deserialize_with = "crate::platform::dates::read", skip_serializing_if = "Option::is_none")]
    pub looked_at: Option<DateTime<Utc>>,
    /// Something came later: a report of pain, illness or injury, a restriction or what ends it, another status, a fall, or another
    /// surface. The athlete rests, or has to be looked at again: draw anew. Absent otherwise.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    #[schema(required = false)]
    pub overtaken: bool,
    /// Whether the athlete's permitted region holds the course.
    pub ready: bool,
    /// What is in the way; absent when ready, and when what was in the way is over (`overtaken`).
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wall: Option<WallView>,
    /// Stage of the progression.
    #[schema(value_type = vocabulary::Stage)]
    pub stage: String,
    /// What a step up still needs: ratings, intervals, a coach's word.
    #[schema(max_items = 30)]
    pub missing: Vec<MissingView>,
    /// Mean probability that an interval of the course is held.
    #[schema(minimum = 0, maximum = 1, example = 0.78)]
    pub hold_mean: f64,
    /// Its 5 % quantile.
    #[schema(minimum = 0, maximum = 1, example = 0.61)]
    pub hold_p05: f64,
    /// Its 95 % quantile.
    #[schema(minimum = 0, maximum = 1, example = 0.9)]
    pub hold_p95: f64,
    /// Probability that every interval of the course is held; rather low, because intervals of one run fail together.
    #[schema(minimum = 0, maximum = 1, example = 0.31)]
    pub hold_all: f64,
    /// What was run last; absent before six intervals at one configuration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last: Option<LastView>,
    /// Cautions of this athlete; they stand in the start list as well.
    #[schema(max_items = 20)]
    pub cautions: Vec<CautionView>,
}

impl ReadinessView {
    /// The readiness on a day, by what was known at a moment.
    pub fn new(readiness: &Readiness, on: NaiveDate, looked_at: DateTime<Utc>) -> Self {
        let rounded = |p: f64| (p * 1e3).round() / 1e3;
        Self {
            on,
            looked_at: Some(looked_at),
            overtaken: false,
            ready: readiness.wall.is_none(),
            wall: readiness.wall.as_ref().map(Into::into),
            stage: readiness.stage.as_str().to_owned(),
            missing: readiness.missing.iter().map(Into::into).collect(),
            hold_mean: rounded(readiness.hold.mean),
            hold_p05: rounded(readiness.hold.p05),
            hold_p95: rounded(readiness.hold.p95),
            hold_all: rounded(readiness.hold_all),
            last: readiness.last.map(|at| LastView {
                barrier_kind: at.barrier_kind.as_str().to_owned(),
                height_m: at.height.metres(),
                spacing_m: at.spacing.metres(),
            }),
            cautions: readiness.cautions.iter().map(Into::into).collect(),
        }
    }

    /// Whether what is in the way opens when a coach accepts it.
    pub fn a_coach_may_accept(&self) -> bool {
        self.cautions.iter().any(|one| one.code() == Caution::NotReady.code())
    }

    /// Says what came since it was looked at: who rests by now, or no longer does, who fell, and another surface.
    pub fn overtake(&mut self, since: &Since, surface: Option<Surface>) {
        let changed = Some(surface).filter(|surface| *surface != told_surface(&self.cautions));
        if changed.is_none() && !since.overtakes(self.wall.as_ref(), None) {
            return;
        }
        self.overtaken = true;
        if let Some(surface) = changed {
            tell_surface(surface, &mut self.cautions);
        }
        let closed = since.closed(self.wall.as_ref());
        if closed.is_some() {
            self.ready = false;
            // No coach's word opens this wall.
            self.cautions.retain(|one| one.code() != Caution::NotReady.code());
        }
        let is_over = |wall: &WallView| wall.is_closed() || changed.is_some() && wall.is_of_surface();
        self.wall = closed.or(self.wall.take().filter(|wall| !is_over(wall)));
    }
}

/// What was found when an athlete was looked at, as it is stored beside the entry.
#[derive(Clone, Debug, Deserialize, Serialize)]
#[serde(untagged)]
pub enum Looked {
    /// Nothing: what is on file cannot be used.
    Unusable {
        /// What, and the remedy.
        unusable: UnusableView,
    },
    /// How ready the athlete is.
    Ready(Box<ReadinessView>),
}

impl Looked {
    /// What was found for a day, by what was known at a moment.
    pub fn new(found: &Result<Readiness, UnusableView>, on: NaiveDate, looked_at: DateTime<Utc>) -> Self {
        match found {
            Ok(readiness) => Self::Ready(Box::new(ReadinessView::new(readiness, on, looked_at))),
            Err(unusable) => Self::Unusable { unusable: unusable.clone() },
        }
    }

    /// How ready the athlete is, or what cannot be used.
    pub fn parts(self) -> (Option<ReadinessView>, Option<UnusableView>) {
        match self {
            Self::Ready(view) => (Some(*view), None),
            Self::Unusable { unusable } => (None, Some(unusable)),
        }
    }

    /// From what is stored.
    ///
    /// # Errors
    /// When it does not read.
    pub fn stored(value: &Value) -> Result<Self, StoreError> {
        Self::deserialize(value).map_err(|_| StoreError::Corrupt("race entry"))
    }

    /// As it is stored.
    ///
    /// # Errors
    /// None that it can have.
    pub fn kept(&self) -> Result<Value, StoreError> {
        serde_json::to_value(self).map_err(|_| StoreError::Corrupt("race entry"))
    }
}

/// An athlete who is entered.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RaceEntrant)]
pub struct EntrantView {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// Whether a coach entered the athlete although not ready.
    pub coach_accepts: bool,
    /// How ready the athlete is; absent for entries from before it was looked at, and where `unusable` stands.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub readiness: Option<ReadinessView>,
    /// What on file about the athlete could not be used when last looked at: until it is mended and the heats are drawn again, the athlete
    /// is in none.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unusable: Option<UnusableView>,
}

impl EntrantView {
    /// Those of the entrants whom the caller sees.
    pub fn of(entrants: &[Entrant]) -> Vec<Self> {
        let view = |one: &Entrant| Self {
            athlete_id: one.athlete,
            coach_accepts: one.coach_accepts,
            readiness: one.readiness.clone(),
            unusable: one.unusable.clone(),
        };
        entrants.iter().filter(|one| one.visible()).map(view).collect()
    }
}
