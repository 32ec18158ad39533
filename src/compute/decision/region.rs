//! Where one athlete may run today: the one answer that lane plans and fitting lanes ask, and for its hard walls a coach's
//! overrides.
//!
//! A [`Region`] is a set of configurations. It follows from the advice e = (kind, height, spacing s) and never reaches beyond
//! it, with one exception: over a barrier lower than advised the spacing may be wider, up to one club step wider than any
//! spacing held over that barrier, where an interval should hold with the wanted probability p*. For each barrier that the
//! club owns, with the target T and the configuration run last (the latest with six intervals, [`Situation::current`]):
//!
//! ```text
//! kind <= kind(e),  height <= min(height(e), height(T))
//! shortest <= spacing <= min(s, spacing(T)),      or <= min(held there + one step, spacing(T)) with P(hold) >= p*
//! barrier harder than run last  =>  spacing no wider than run last
//! P(hold) >= floor
//! ```
//!
//! The floor has one exception. Whoever is crowded holds even less in any closer lane, and one step out may not reach the
//! floor yet: with the floor alone they would run nowhere, for weeks. So the configuration advised to a crowded athlete, and
//! no other, is permitted below the floor once a coach confirms; never after a fall or a report of pain that is not behind
//! them. It is one step wider, over wickets up to a metre, or the same again where the target is no wider. Reaching for a barrier that is too far makes
//! athletes fall; a crowded stride is short, it costs the rhythm.
//!
//! After a fall, a report or a restriction nothing is wider than advised in any variable, and on a wet or uneven surface nothing
//! is rigid either. Who rests, is restricted or has left runs nowhere: the region is closed. Each limit is a [`Wall`] with a stable code, so that whoever asks can be told why not.
//!
//! | goes in | comes out |
//! | --- | --- |
//! | [`Situation`], [`Policy`], the decision, P(hold) of one athlete | [`Region::check`]: permitted, or the first wall |
//! | | [`Region::bounds`]: every barrier with its spacings, and why each ends there |
//!
//! ```
//! use lanewright_compute::decision::{Hold, Policy, Situation, Stock, Wall, decide};
//! use lanewright_compute::units::{BarrierKind, Length};
//!
//! let wickets = Stock { kind: BarrierKind::Wicket, heights: vec![Length::from_mm(300)] };
//! let unseen = Situation { stock: vec![wickets], ..Situation::unseen(20_000) };
//! let decision = decide(&unseen, &Policy::default(), &|_, spacing| {
//!     let mean = if spacing.metres() <= 6.0 { 0.85 } else { 0.55 };
//!     Hold { mean, p05: mean - 0.2, p95: mean + 0.1 }
//! });
//! let advised = decision.proposed.unwrap();
//! assert_eq!(decision.region.check(advised, 0.85), Ok(()));
//! let wider = decision.region.check(lanewright_compute::decision::Configuration {
//!     spacing: Length::from_mm(6_250), ..advised
//! }, 0.85);
//! assert_eq!(wider, Err(Wall::SpacingAboveAdvice { longest: Length::from_mm(6_000) }));
//! ```
//!
//! A coach may choose otherwise: hard walls ([`Wall::is_hard`]) bound that, the others open at a second confirmation, once a
//! fall or a report of pain is cleared. What was chosen is then the advice that the region follows, and a second confirmation
//! goes for the floor as well, there and nowhere else. See [`Word`].
//!
//! Left out on purpose: stock counts, lane lengths and who else runs there, which are the lane plan's.
//!
//! # Source
//! Design choices that follow common practice (no source): one thing at a time, nothing beyond what was held, the last step
//! that worked after a fall.

use super::policy::Policy;
use super::reasons::Reason;
use super::returning::Surface;
use super::rules::{Draft, Rules};
use super::situation::{Situation, Status};
use super::wall::Wall;
use super::{Configuration, DecisionKind, Word};
use crate::units::{BarrierKind, Length};

/// Keeps a probability that is exactly on its limit from falling beside it by rounding.
const ROUNDING: f64 = 1e-9;

/// A spacing at which the permitted ones end, and why there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// The last spacing that is permitted.
    pub spacing: Length,
    /// Why not further.
    pub why: Wall,
}

/// One barrier that may be run over, and the spacings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bound {
    /// The kind.
    pub barrier_kind: BarrierKind,
    /// The height.
    pub height: Length,
    /// The shortest spacing.
    pub shortest: Limit,
    /// The longest spacing.
    pub longest: Limit,
    /// The longest spacing where an interval should hold with [`Region::wider_hold`]; none when that opens nothing.
    pub beyond: Option<Limit>,
}

/// What a coach's second confirmation does to the soft walls.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum SoftWalls {
    /// It opens them.
    Open,
    /// It opens them once a fall or a return is cleared.
    OpenOnceCleared,
    /// They stand today.
    Stand,
}

/// Where one athlete may run on one day; see the module's page.
#[derive(Clone, Debug, PartialEq)]
pub struct Region {
    closed: Option<Wall>,
    advised: Option<Configuration>,
    target: Option<(Length, Length)>,
    bounds: Vec<Bound>,
    floor: f64,
    wider_hold: f64,
    below_floor: bool,
    surface: Option<Surface>,
    soft: SoftWalls,
    by_word: bool,
    /// Every barrier the club owns; flat marks or sticks stand in for wickets.
    owned: Vec<(BarrierKind, Length)>,
    height_tolerance: u32,
}

/// Foam and low barriers stand on one rung: both give way, so one may follow the other with the height.
pub const fn rung(kind: BarrierKind) -> u8 {
    match kind {
        BarrierKind::Wicket => 0,
        BarrierKind::Foam | BarrierKind::LowBarrier => 1,
        BarrierKind::Hurdle => 2,
    }
}

impl Region {
    /// Why the athlete runs nowhere today, if so.
    pub const fn closed(&self) -> Option<Wall> {
        self.closed
    }

    /// The advice that it follows; none when closed.
    pub const fn advised(&self) -> Option<Configuration> {
        self.advised
    }

    /// What a coach chose, when the advice that it follows is a coach's word.
    pub fn chosen(&self) -> Option<Configuration> {
        self.advised.filter(|_| self.by_word)
    }

    /// Height and spacing of the target, if there is one.
    pub const fn target(&self) -> Option<(Length, Length)> {
        self.target
    }

    /// Every barrier that may be run over, softest and lowest first, with its spacings; empty when closed.
    pub fn bounds(&self) -> &[Bound] {
        &self.bounds
    }

    /// The least mean P(hold), 0.60 to 1; the one exception is [`Region::below_floor`].
    pub const fn floor(&self) -> f64 {
        self.floor
    }

    /// The mean P(hold) needed where a spacing is wider than advised.
    pub const fn wider_hold(&self) -> f64 {
        self.wider_hold
    }

    /// Whether the advised configuration, and no other, may be run below the floor, once a coach confirms: the way out for a
    /// crowded athlete.
    pub const fn below_floor(&self) -> bool {
        self.below_floor
    }

    /// The same region where at least `hold` (0 to 1) is wanted everywhere; never a lower floor than before, and a higher one
    /// without exception.
    #[must_use]
    pub fn wanting(mut self, hold: f64) -> Self {
        self.below_floor &= hold <= self.floor;
        self.floor = self.floor.max(hold);
        self.wider_hold = self.wider_hold.max(hold);
        self
    }

    /// Whether a configuration whose intervals hold with a mean probability of `hold` may be run.
    ///
    /// # Errors
    /// The first [`Wall`] in the way: health, equipment and target before the advice, P(hold) last.
    pub fn check(&self, at: Configuration, hold: f64) -> Result<(), Wall> {
        let (Some(advised), None) = (self.advised, self.closed) else {
            return Err(self.closed.unwrap_or(Wall::PainReported));
        };
        self.check_target(at)?;
        if let Some(surface) = self.surface.filter(|_| at.barrier_kind == BarrierKind::Hurdle) {
            return Err(Wall::Surface { surface });
        }
        let same = |bound: &&Bound| bound.barrier_kind == at.barrier_kind && bound.height == at.height;
        let Some(bound) = self.bounds.iter().find(same) else {
            return Err(if rung(at.barrier_kind) > rung(advised.barrier_kind) {
                Wall::KindAboveAdvice { advised: advised.barrier_kind }
            } else if at.height.mm() > advised.height.mm() + self.height_tolerance {
                Wall::HeightAboveAdvice { highest: advised.height }
            } else {
                Wall::NotOwned
            });
        };
        if at.spacing < bound.shortest.spacing {
            return Err(bound.shortest.why);
        }
        if at.spacing > bound.longest.spacing {
            let beyond = bound.beyond.ok_or(bound.longest.why)?;
            if at.spacing > beyond.spacing {
                return Err(beyond.why);
            }
            if !reaches(hold, self.wider_hold) {
                return Err(Wall::WiderNeedsHold { needed: self.wider_hold });
            }
        }
        let excepted = self.below_floor && at == advised;
        if excepted || reaches(hold, self.floor) { Ok(()) } else { Err(Wall::HoldFloor { needed: self.floor }) }
    }

    /// The first hard wall in the way of a configuration; a coach's word opens the others.
    ///
    /// # Errors
    /// The [`Wall`].
    pub fn check_hard(&self, at: Configuration) -> Result<(), Wall> {
        if let Some(wall) = self.closed {
            return Err(wall);
        }
        self.check_target(at)?;
        self.settled(at).map(|_| ()).ok_or(Wall::NotOwned)
    }

    /// Whether a coach's second confirmation opens the soft walls: not before a fall or return is cleared, which `clears` does,
    /// not early on the way back, and not on a surface that is wet or uneven.
    pub const fn opens(&self, clears: bool) -> bool {
        matches!((self.soft, clears), (SoftWalls::Open, _) | (SoftWalls::OpenOnceCleared, true))
    }

    /// The same configuration at the height as the club owns it, which may differ by the tolerance; none when it owns none.
    pub fn settled(&self, at: Configuration) -> Option<Configuration> {
        let off = |height: Length| height.mm().abs_diff(at.height.mm());
        let here = self.owned.iter().filter(|(kind, _)| *kind == at.barrier_kind).map(|(_, height)| *height);
        let height = here.filter(|height| off(*height) <= self.height_tolerance).min_by_key(|height| off(*height))?;
        Some(Configuration { height, ..at })
    }

    fn check_target(&self, at: Configuration) -> Result<(), Wall> {
        match self.target {
            Some((highest, _)) if at.height.mm() > highest.mm() + self.height_tolerance => {
                Err(Wall::TargetHeight { highest })
            }
            Some((_, longest)) if at.spacing > longest => Err(Wall::TargetSpacing { longest }),
            _ => Ok(()),
        }
    }
}

fn reaches(hold: f64, needed: f64) -> bool {
    hold + ROUNDING >= needed
}

/// Why an athlete runs nowhere, whatever the advice.
fn closed(situation: &Situation) -> Option<Wall> {
    match situation.status {
        Status::Resting => return Some(Wall::Resting),
        Status::Left => return Some(Wall::Left),
        Status::Active => {}
    }
    let restricted = situation.restriction_in_force().map(|flag| Wall::Restricted { until: flag.until });
    restricted.or_else(|| situation.report.map(|_| Wall::PainReported))
}

impl Rules<'_> {
    /// The region that follows from what the rules say.
    pub(super) fn region(&self, draft: &Draft, word: Option<Word>) -> Region {
        let (situation, policy) = (self.situation, self.policy);
        let closed = closed(situation).or((draft.kind == DecisionKind::RestAndRefer).then_some(Wall::PainReported));
        let advised = draft.proposed.filter(|_| closed.is_none());
        let floor = policy.floor();
        let owned = self.barriers();
        let accepted = word.filter(|word| word.coach_accepts);
        let barriers = owned.iter().copied();
        let bounds = barriers.filter_map(|barrier| self.bound(barrier, advised?, accepted)).collect();
        Region {
            closed,
            advised,
            target: situation.target.map(|target| (target.height, target.spacing)),
            bounds,
            floor,
            wider_hold: policy.first_lane_hold.max(floor),
            below_floor: accepted.is_some() || self.below_floor(draft),
            surface: situation.surface,
            soft: match (situation.locked(), situation.uncleared()) {
                (true, _) => SoftWalls::Stand,
                (false, true) => SoftWalls::OpenOnceCleared,
                (false, false) => SoftWalls::Open,
            },
            by_word: word.is_some(),
            owned,
            height_tolerance: policy.height_tolerance.mm(),
        }
    }

    /// Whether the advice is for a crowded athlete, a coach confirms or accepted it and no fall or pain forbids it.
    fn below_floor(&self, draft: &Draft) -> bool {
        let confirmed = draft.confirm || draft.reasons.contains(&Reason::CoachAccepted);
        confirmed && draft.reasons.contains(&Reason::Crowded) && !self.situation.unclean()
    }

    /// Every barrier there is to run over, softest and lowest first.
    fn barriers(&self) -> Vec<(BarrierKind, Length)> {
        let mut barriers: Vec<(BarrierKind, Length)> = self.ladder.owned().collect();
        if self.ladder.lowest_wicket().is_none() {
            // Flat marks or sticks that give way stand in for wickets.
            barriers.push((BarrierKind::Wicket, self.policy.wicket_height));
        }
        barriers.sort_unstable();
        barriers.dedup();
        barriers
    }

    /// The spacings over one barrier; none where it may not be run over at all.
    fn bound(
        &self,
        (barrier_kind, height): (BarrierKind, Length),
        advised: Configuration,
        accepted: Option<Word>,
    ) -> Option<Bound> {
        let harder = rung(barrier_kind) > rung(advised.barrier_kind) || self.ladder.above(height, advised.height);
        if harder || self.ladder.height_past_target(height) {
            return None;
        }
        let shortest = self.policy.min_spacing.min(advised.spacing);
        let within_target = |limit: Limit| match self.situation.target.map(|target| target.spacing) {
            Some(longest) if limit.spacing > longest => {
                Limit { spacing: longest, why: Wall::TargetSpacing { longest } }
            }
            _ => limit,
        };
        // Over the very barrier of a word that was confirmed twice, the coach has weighed that two things change.
        let weighed = accepted.is_some() && (barrier_kind, height) == (advised.barrier_kind, advised.height);
        let capped = |limit: Limit| {
            let limit = within_target(limit);
            if weighed { limit } else { self.one_variable(barrier_kind, height, limit) }
        };
        let at_advice = Limit { spacing: advised.spacing, why: Wall::SpacingAboveAdvice { longest: advised.spacing } };
        let mut bound = Bound {
            barrier_kind,
            height,
            shortest: Limit { spacing: shortest, why: Wall::SpacingAtMinimum { shortest } },
            longest: capped(at_advice),
            beyond: None,
        };
        if self.ladder.above(advised.height, height) {
            let longest = advised.spacing;
            if self.situation.unclean() {
                bound.longest = capped(Limit { spacing: longest, why: Wall::UntilCleared { longest } });
            } else if let Some(surface) = self.situation.surface {
                bound.longest = capped(Limit { spacing: longest, why: Wall::Surface { surface } });
            } else {
                let held = self.widest_held(barrier_kind, height);
                let longest = held.map_or(advised.spacing, |held| self.step_wider(held)).max(advised.spacing);
                let beyond = capped(Limit { spacing: longest, why: Wall::WiderThanHeld { longest } });
                if beyond.spacing > bound.longest.spacing {
                    bound.beyond = Some(beyond);
                } else {
                    bound.longest.why = beyond.why;
                }
            }
        }
        (bound.longest.spacing >= bound.shortest.spacing).then_some(bound)
    }

    /// Over a harder barrier than run last, no wider than run last.
    fn one_variable(&self, kind: BarrierKind, height: Length, limit: Limit) -> Limit {
        let Some(from) = self.current.map(|here| here.at) else { return limit };
        let harder = rung(kind) > rung(from.barrier_kind) || self.ladder.above(height, from.height);
        if harder && limit.spacing > from.spacing {
            let longest = from.spacing;
            return Limit { spacing: longest, why: Wall::OneVariable { longest } };
        }
        limit
    }

    fn widest_held(&self, kind: BarrierKind, height: Length) -> Option<Length> {
        let there = self.situation.held.iter().filter(|held| {
            rung(held.barrier_kind) == rung(kind) && held.height.mm().abs_diff(height.mm()) <= tolerance(self.policy)
        });
        there.map(|held| held.spacing).max()
    }

    fn step_wider(&self, spacing: Length) -> Length {
        Length::from_mm(spacing.mm() + self.policy.spacing_step.mm())
    }
}

const fn tolerance(policy: &Policy) -> u32 {
    policy.height_tolerance.mm()
}
