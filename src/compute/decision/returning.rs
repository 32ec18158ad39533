//! The way back after a report or restriction, and what a wet or uneven surface makes of a lane.

use super::reasons::Reason;
use super::region::rung;
use super::rules::{Draft, Here, Rules};
use super::situation::{Clearance, Situation};
use super::{Configuration, DecisionKind};

/// Sessions that lie between a return and the first step up (design choice).
pub const SESSIONS_BACK: u32 = 2;

/// The return after a report or restriction that has ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Back {
    /// Days before today on which the athlete ran again.
    pub sessions: u32,
    /// Whether a coach confirmed the return.
    pub confirmed: bool,
    /// What was held last before it; none when nothing was.
    pub last_held: Option<Configuration>,
}

/// What is wrong with the surface of a session.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Surface {
    /// It is wet.
    Wet,
    /// It is uneven.
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

    /// The state that a word names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|surface| surface.as_str() == word)
    }
}

impl Situation {
    /// Sessions that a return still needs before a step up.
    pub(super) fn sessions_to_come(&self) -> u32 {
        self.back.map_or(0, |back| SESSIONS_BACK.saturating_sub(back.sessions))
    }

    /// Whether a return still waits for a coach's word.
    pub(super) fn unconfirmed(&self) -> bool {
        self.back.is_some_and(|back| !back.confirmed)
    }

    /// Whether the athlete is on the way back: no configuration has six intervals since, too few sessions were run, or no
    /// coach confirmed.
    pub(super) fn returning(&self) -> bool {
        self.back.is_some() && (self.current.is_none() || self.sessions_to_come() > 0 || self.unconfirmed())
    }

    /// Whether a coach's word is still needed before anything harder than the advice can be chosen.
    pub(super) fn uncleared(&self) -> bool {
        let fell = self.fell() && self.clearance != Clearance::Given;
        fell || self.clearance == Clearance::Pending || self.report.is_some() || self.unconfirmed()
    }

    /// Whether a fall, a report or a return still keeps everything at or below the advice.
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

    /// The first lane back, until six intervals were run in it or an easier one.
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

    /// Whether a barrier is harder than another: of a harder kind, or higher.
    fn harder_barrier(&self, at: Configuration, than: Configuration) -> bool {
        rung(at.barrier_kind) > rung(than.barrier_kind) || self.ladder.above(at.height, than.height)
    }

    /// That the athlete is on the way back, if so.
    pub(super) fn return_reason(&self) -> Option<Reason> {
        let back = self.situation.back.filter(|_| self.situation.returning())?;
        Some(Reason::Returning { last_held: back.last_held })
    }

    // Any rule.

    /// What a draft becomes on a wet or uneven surface: wickets or soft barriers, one step closer than run last.
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
