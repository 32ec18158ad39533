//! The way back after a report or restriction, and what a wet or uneven surface makes of a lane.
//!
//! A return begins on the day after which nothing stands any more ([`crate::wellbeing`]) and ends when three things lie behind the
//! athlete: a coach confirmed it, [`SESSIONS_BACK`] sessions were run, and some configuration has its six intervals again. Everything run
//! before it is no evidence any more; what was held last is remembered as the place to start from:
//!
//! ```text
//! lane back   one height lower, one spacing step closer than last held, never beyond the target,
//!             then closer, step by step, while P(hold) < floor and closer is likelier
//!             from the first wicket lane where nothing was held
//! ```
//!
//! | on the way back | what the rules do |
//! | --- | --- |
//! | no six intervals since | the lane back |
//! | run since, harder than the lane back, sessions still to come | down to the lane back, keeping what was already easier |
//! | run since, no harder, sessions still to come | the ordinary rules; a step up lacks [`Missing::SessionsBack`](super::Missing::SessionsBack) |
//! | sessions run, nobody confirmed | the same; it lacks [`Missing::CoachConfirmation`](super::Missing::CoachConfirmation) |
//!
//! On a wet or uneven surface whatever the rules say is taken one spacing step closer than what was run last, and hurdles become the highest
//! soft barriers no higher than they, or wickets. Nothing is remembered of it: on a dry day the rules start from what was run, which is the
//! easier lane.
//!
//! # Why so careful
//! Nobody knows what was lost in the rest, so the last lane that was held is a bound and no start. How much easier, and for how many
//! sessions, no trial that we know of says.
//!
//! # Example
//! ```
//! use lanewright_compute::decision::{Back, Configuration, DecisionKind, Hold, Policy, Situation, Stock, decide};
//! use lanewright_compute::units::{BarrierKind, Length};
//!
//! let mm = Length::from_mm;
//! let held = Configuration { barrier_kind: BarrierKind::Wicket, height: mm(300), spacing: mm(6_500) };
//! let stock = vec![Stock { kind: BarrierKind::Wicket, heights: vec![mm(150), mm(300)] }];
//! let back = Some(Back { sessions: 0, confirmed: false, last_held: Some(held) });
//! let hold = |_: Length, spacing: Length| {
//!     let mean = 0.90 - 0.4 * (spacing.metres() - 5.5);
//!     Hold { mean, p05: mean - 0.2, p95: mean + 0.05 }
//! };
//! let decision = decide(&Situation { back, stock, ..Situation::unseen(20_000) }, &Policy::default(), &hold);
//! // P(hold) is 0.60 one step closer, at 6.25 m, so it comes in once more, to 0.70 at 6.00 m.
//! assert_eq!(decision.proposed, Some(Configuration { height: mm(150), spacing: mm(6_000), ..held }));
//! assert!(decision.kind == DecisionKind::LowerHeight && decision.needs_confirmation);
//! ```
//!
//! # Source
//! Rest until cleared and less jumping and hurdling afterwards: "Managing Growth Spurts and Training Loads in Adolescent Athletes",
//! Princeton Sports and Family Medicine. The last step that worked: S. McGill, "If They Can't Do It, Don't Do It", The Hurdle Magazine.
//! An even, dry surface: J. Tansley, "10 P.E. Lessons Plans for Track & Field", 2001. All figures are design choices.

use super::reasons::Reason;
use super::region::rung;
use super::rules::{Draft, Here, Rules};
use super::situation::{Clearance, Situation};
use super::{Configuration, DecisionKind};

/// Sessions that lie between a return and the first step up (design choice). Today's does not count: it is not over.
pub const SESSIONS_BACK: u32 = 2;

/// The return after a report or restriction that has ended; gone from the situation once it lies behind the athlete.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Back {
    /// Days before today on which the athlete ran again, without those on which a report or restriction stood.
    pub sessions: u32,
    /// Whether a coach confirmed the return, from everything that had ended.
    pub confirmed: bool,
    /// What was held last before it; what was held last at all once the sessions, and six intervals at one configuration, were run; none
    /// when nothing was.
    pub last_held: Option<Configuration>,
}

/// What is wrong with the surface of a session. A dry, even one is none of these.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Surface {
    /// It is wet; wet grass above all.
    Wet,
    /// It is uneven: holes or edges underfoot.
    Uneven,
}

impl Surface {
    /// Every state, in the order in which they were published.
    pub const ALL: [Self; 2] = [Self::Wet, Self::Uneven];

    /// The word used in JSON, CSV and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Wet => "wet",
            Self::Uneven => "uneven",
        }
    }

    /// The state that a word names, if any; none for "dry".
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|surface| surface.as_str() == word)
    }
}

impl Situation {
    /// Sessions that a return still needs before a step up, 0 to [`SESSIONS_BACK`]; 0 for who is not on the way back.
    pub(super) fn sessions_to_come(&self) -> u32 {
        self.back.map_or(0, |back| SESSIONS_BACK.saturating_sub(back.sessions))
    }

    /// Whether a return still waits for a coach's word; false for who is not on the way back.
    pub(super) fn unconfirmed(&self) -> bool {
        self.back.is_some_and(|back| !back.confirmed)
    }

    /// Whether the athlete is on the way back: no configuration has six intervals since, too few sessions were run, or no
    /// coach confirmed. Then the caution of a return stands beside every decision.
    pub(super) fn returning(&self) -> bool {
        self.back.is_some() && (self.current.is_none() || self.sessions_to_come() > 0 || self.unconfirmed())
    }

    /// Whether a coach's word is still needed before anything harder than the advice can be chosen: after a fall, in a race as well, and after a
    /// report. The word may be the one that chooses it, if it says that it clears.
    pub(super) fn uncleared(&self) -> bool {
        let fell = self.fell() && self.clearance != Clearance::Given;
        fell || self.clearance == Clearance::Pending || self.report.is_some() || self.unconfirmed()
    }

    /// Whether a fall, a report or a return still keeps everything at or below the advice: no step out for whoever is crowded, nothing wider over
    /// lower barriers, no exception from the floor. Stricter than [`Situation::uncleared`]: a fall that a coach cleared is unclean until a
    /// session without one.
    pub(super) fn unclean(&self) -> bool {
        self.fell() || self.report.is_some() || self.clearance == Clearance::Pending || self.returning()
    }

    /// Whether no word of a coach opens a limit today: too early on the way back, or the surface is not dry and even.
    pub(super) fn locked(&self) -> bool {
        let early = self.back.is_some() && (self.current.is_none() || self.sessions_to_come() > 0);
        early || self.surface.is_some()
    }
}

impl Rules<'_> {
    // Rule 1.

    /// The first lane back, until six intervals were run in it or an easier one, or [`SESSIONS_BACK`] sessions lie behind the athlete.
    ///
    /// Whoever runs harder than that lane in one variable and easier in another comes down in the first and stays in the second: what was already
    /// easier is not made harder by a rule of caution. None for who is not on the way back, and for who runs no harder than the lane back.
    pub(super) fn come_back(&self) -> Option<Draft> {
        let back = self.situation.back?;
        let (mut lane, limits) = self.lane_back(back);
        if let Some(here) = self.current.map(|here| here.at) {
            let easy = !self.harder_barrier(here, lane) && here.spacing <= lane.spacing;
            if easy || self.situation.sessions_to_come() == 0 {
                return None;
            }
            // What was run since in one variable easier stays so.
            if !self.harder_barrier(here, lane) {
                (lane.barrier_kind, lane.height) = (here.barrier_kind, here.height);
            } else if self.harder_barrier(lane, here) {
                lane = self.wickets_at(lane.spacing);
            }
            lane.spacing = lane.spacing.min(here.spacing);
        }
        let mut reasons: Vec<Reason> = self.current.map(Here::runs_seen).into_iter().collect();
        reasons.push(Reason::Returning { last_held: back.last_held });
        reasons.extend(limits.into_iter().filter(|_| self.current.is_none()));
        reasons.extend(self.gate_reasons());
        let from = self.current.map(|here| here.at).or(back.last_held);
        let kind = match from {
            Some(from) if lane.barrier_kind != from.barrier_kind && lane.height == from.height => {
                DecisionKind::ChangeBarrierKind
            }
            Some(from) if lane.height >= from.height => DecisionKind::StepIn,
            _ => DecisionKind::LowerHeight,
        };
        Some(Draft::new(kind, lane, reasons))
    }

    /// One height lower and at least one step closer than last held, as much closer as the floor of P(hold) asks for; with why
    /// it is not lower or not closer.
    ///
    /// Stops coming in where closer would hold no better, for whoever is crowded; then the lane may lie below the floor, and the region says so.
    /// After a fall on the way back it is what is lowered once more.
    pub(super) fn lane_back(&self, back: Back) -> (Configuration, Vec<Reason>) {
        let from = back.last_held.unwrap_or_else(|| self.first_wickets().0);
        let mut limits = Vec::new();
        let lowered = self.lowered(from);
        limits.extend(lowered.is_none().then_some(Reason::NoLowerHeight));
        let mut lane = lowered.unwrap_or(from);
        // The target may be lower or closer than it was when the athlete held that.
        while self.ladder.height_past_target(lane.height) {
            let Some(lower) = self.ladder.lower(lane) else { break };
            lane = lower;
        }
        let closer = self.ladder.closer(from.spacing);
        limits.extend(closer.is_none().then(|| self.spacing_at_minimum()));
        lane.spacing = closer.unwrap_or(from.spacing).min(self.ladder.longest());
        while self.mean(lane) < self.policy.floor() {
            // Whoever is crowded holds even less closer in.
            let closer = self.ladder.closer(lane.spacing).map(|spacing| Configuration { spacing, ..lane });
            let Some(likelier) = closer.filter(|at| self.mean(*at) > self.mean(lane)) else { break };
            lane = likelier;
        }
        (lane, limits)
    }

    /// Whether a barrier is harder than another: of a harder kind, or higher by more than the tolerance.
    fn harder_barrier(&self, at: Configuration, than: Configuration) -> bool {
        rung(at.barrier_kind) > rung(than.barrier_kind) || self.ladder.above(at.height, than.height)
    }

    /// That the athlete is on the way back, if so, with what was held last.
    pub(super) fn return_reason(&self) -> Option<Reason> {
        let back = self.situation.back.filter(|_| self.situation.returning())?;
        Some(Reason::Returning { last_held: back.last_held })
    }

    // Any rule.

    /// What a draft becomes on a wet or uneven surface: wickets or soft barriers, one step closer than run last. A dry day, and rest, leave it as
    /// it is.
    ///
    /// The kind of decision follows what changed: staying, or stepping in, becomes a change of barriers where they change, and staying becomes a
    /// step in where only the spacing does. What was to be wider than that stays no wider: a step out on a wet track is none.
    pub(super) fn on_surface(&self, draft: Draft) -> Draft {
        let (Some(surface), Some(to)) = (self.situation.surface, draft.proposed) else { return draft };
        let from = self.current.map_or(to, |here| here.at);
        let closer = self.ladder.closer(from.spacing);
        let mut lane = self.ladder.soft(to, self.wickets_at(to.spacing));
        lane.spacing = lane.spacing.min(closer.unwrap_or(from.spacing));
        let kind = match draft.kind {
            DecisionKind::Consolidate | DecisionKind::StepIn if self.current.is_none() => draft.kind,
            DecisionKind::Consolidate | DecisionKind::StepIn if lane.barrier_kind != from.barrier_kind => {
                DecisionKind::ChangeBarrierKind
            }
            DecisionKind::Consolidate if lane.spacing < from.spacing => DecisionKind::StepIn,
            kind => kind,
        };
        let mut reasons = draft.reasons;
        // Beside what was run, before what follows from it.
        reasons.insert(reasons.len().min(1), Reason::Surface { surface });
        reasons.extend(closer.is_none().then(|| self.spacing_at_minimum()));
        Draft { kind, proposed: Some(lane), reasons, ..draft }
    }
}
