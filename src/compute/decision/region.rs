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
//! Kinds are compared by [`rung`], heights within [`Policy::height_tolerance`], spacings to the millimetre. `shortest` is the shorter of
//! [`Policy::min_spacing`] and the advised spacing, so that advice for a very short lane is always inside; p* is
//! [`Policy::first_lane_hold`] (0.80), or the floor where that is higher; the floor is [`Policy::floor`] (0.65).
//!
//! The floor has one exception. Whoever is crowded holds even less in any closer lane, and one step out may not reach the
//! floor yet: with the floor alone they would run nowhere, for weeks. So the configuration advised to a crowded athlete, and
//! no other, is permitted below the floor once a coach confirms; never after a fall or a report of pain that is not behind
//! them. It is one step wider, over wickets up to a metre, or the same again where the target is no wider. Reaching for a barrier
//! that is too far makes athletes fall; a crowded stride is short, it costs the rhythm.
//!
//! After a fall, a report or a restriction nothing is wider than advised in any variable, and on a wet or uneven surface nothing
//! is rigid either. Who rests, is restricted or has left runs nowhere: the region is closed. Each limit is a [`Wall`] with a stable
//! code, so that whoever asks can be told why not.
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
//! # Why walls and not a price
//! A lane plan weighs one athlete against another. Whether somebody runs beyond what is safe for them is not to be weighed against how
//! well six others are served, so it is no cost in the plan: it is a set outside which the plan cannot look. The easier side stays open,
//! since a lane that is too easy costs a session and no fall.
//!
//! # Where it is asked
//! The lane plan takes its candidates from [`Region::bounds`] and asks [`Region::check`] of each; the judgement of lanes laid out by hand and
//! the readiness for a race test ask [`Region::check`] too; a coach's choice goes through
//! [`Decision::may_choose`](super::Decision::may_choose), which asks [`Region::check_hard`] first.
//!
//! Left out on purpose: stock counts, lane lengths and who else runs there, which are the lane plan's.
//!
//! # Source
//! Design choices that follow common practice (no source): one thing at a time, nothing beyond what was held, the last step
//! that worked after a fall. Wickets or soft barriers on a wet surface: wet grass makes hurdling dangerous (J. Tansley, "10 P.E. Lessons
//! Plans for Track & Field", 2001); what is still run then is a design choice.

use super::policy::Policy;
use super::reasons::Reason;
use super::returning::Surface;
use super::rules::{Draft, Rules};
use super::situation::Situation;
use super::wall::Wall;
use super::{Configuration, DecisionKind, Word};
use crate::units::{BarrierKind, Length};

/// Keeps a probability that is exactly on its limit from falling beside it by rounding.
const ROUNDING: f64 = 1e-9;

/// A spacing at which the permitted ones end, and why there. The limit itself is permitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// The last spacing that is permitted.
    pub spacing: Length,
    /// Why not further; of [`Bound::shortest`], why not closer.
    pub why: Wall,
}

/// One barrier that may be run over, and the spacings.
///
/// `shortest <= longest`, and `longest < beyond` where that is there. A spacing between the two ends may still lack the floor of P(hold).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bound {
    /// The kind, on no higher a rung than the advised one.
    pub barrier_kind: BarrierKind,
    /// The height as the club owns it, above the advised one by no more than the tolerance.
    pub height: Length,
    /// The shortest spacing: the club's, or the advised one where that is shorter still.
    pub shortest: Limit,
    /// The longest spacing for which the floor of P(hold) is enough: as advised, unless the target or what was run last says less.
    pub longest: Limit,
    /// The longest spacing where an interval should hold with [`Region::wider_hold`]; none when that opens nothing, and never over a barrier
    /// as high as the advised one.
    pub beyond: Option<Limit>,
}

/// What a coach's second confirmation does to the soft walls on the day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum SoftWalls {
    /// It opens them.
    Open,
    /// It opens them once a fall or a return is cleared, for which the same confirmation may serve.
    OpenOnceCleared,
    /// They stand today: too few sessions since a return, or a surface that is not dry and even. No confirmation makes a wet track dry.
    Stand,
}

/// Where one athlete may run on one day; see the module's page.
///
/// Made by [`decide`](super::decide) alone. It holds no probabilities: whoever asks brings P(hold) of the place, so that one estimate
/// serves every question.
#[derive(Clone, Debug, PartialEq)]
pub struct Region {
    /// Why nothing is permitted; then `advised` is none and `bounds` are empty.
    closed: Option<Wall>,
    /// The rules' proposal, or a coach's word that stands.
    advised: Option<Configuration>,
    /// Height and spacing.
    target: Option<(Length, Length)>,
    /// By kind, then height, ascending.
    bounds: Vec<Bound>,
    /// Least mean P(hold), 0.60 to 1.
    floor: f64,
    /// Mean P(hold) wanted beyond the advised spacing; at least `floor`.
    wider_hold: f64,
    /// Whether `floor` does not bind at `advised`.
    below_floor: bool,
    /// What keeps hurdles out.
    surface: Option<Surface>,
    /// What a second confirmation does.
    soft: SoftWalls,
    /// Whether `advised` is a coach's word.
    by_word: bool,
    /// Every barrier the club owns; flat marks or sticks stand in for wickets.
    owned: Vec<(BarrierKind, Length)>,
    /// Millimetres (mm).
    height_tolerance: u32,
}

/// How rigid a kind is: 0 wickets, 1 foam and low barriers, 2 hurdles.
///
/// Foam and low barriers stand on one rung: both give way, so one may follow the other with the height. A higher rung is a harder kind
/// wherever two kinds are compared, though [`BarrierKind`] itself tells four of them apart.
///
/// ```
/// use lanewright_compute::decision::rung;
/// use lanewright_compute::units::BarrierKind;
///
/// assert_eq!(BarrierKind::ALL.map(rung), [0, 1, 1, 2]);
/// ```
pub const fn rung(kind: BarrierKind) -> u8 {
    match kind {
        BarrierKind::Wicket => 0,
        BarrierKind::Foam | BarrierKind::LowBarrier => 1,
        BarrierKind::Hurdle => 2,
    }
}

impl Region {
    /// Why the athlete runs nowhere today, if so: resting, left, restricted or a report that stands, in this order.
    pub const fn closed(&self) -> Option<Wall> {
        self.closed
    }

    /// The advice that it follows; none when closed. On a wet or uneven surface that of the surface, not of a dry day.
    pub const fn advised(&self) -> Option<Configuration> {
        self.advised
    }

    /// What a coach chose, when the advice that it follows is a coach's word. The lane plan takes its spacing as a candidate even off the
    /// club's grid.
    pub fn chosen(&self) -> Option<Configuration> {
        self.advised.filter(|_| self.by_word)
    }

    /// Height and spacing of the target, if there is one.
    pub const fn target(&self) -> Option<(Length, Length)> {
        self.target
    }

    /// Every barrier that may be run over, softest and lowest first, with its spacings; empty when closed, and where the club owns nothing as
    /// low as the target.
    pub fn bounds(&self) -> &[Bound] {
        &self.bounds
    }

    /// The least mean P(hold), 0.60 to 1; the one exception is [`Region::below_floor`].
    pub const fn floor(&self) -> f64 {
        self.floor
    }

    /// The mean P(hold) needed where a spacing is wider than advised, 0.60 to 1 and never below the floor.
    pub const fn wider_hold(&self) -> f64 {
        self.wider_hold
    }

    /// Whether the advised configuration, and no other, may be run below the floor, once a coach confirms: the way out for a
    /// crowded athlete, and a word that a coach confirmed twice.
    pub const fn below_floor(&self) -> bool {
        self.below_floor
    }

    /// The same region where at least `hold` (0 to 1) is wanted everywhere; never a lower floor than before, and a higher one
    /// without exception. A coach who wants an easy day asks the lane plan for it with one number.
    ///
    /// ```
    /// use lanewright_compute::decision::{Hold, Policy, Situation, decide};
    ///
    /// let hold = Hold { mean: 0.85, p05: 0.7, p95: 0.95 };
    /// let region = decide(&Situation::unseen(20_000), &Policy::default(), &|_, _| hold).region;
    /// let advised = region.advised().unwrap();
    /// assert!(region.check(advised, 0.85).is_ok() && region.clone().wanting(0.90).check(advised, 0.85).is_err());
    /// assert_eq!(region.wanting(0.30).floor(), 0.65, "a wish never lowers it");
    /// ```
    #[must_use]
    pub fn wanting(mut self, hold: f64) -> Self {
        self.below_floor &= hold <= self.floor;
        self.floor = self.floor.max(hold);
        self.wider_hold = self.wider_hold.max(hold);
        self
    }

    /// Whether a configuration whose intervals hold with a mean probability of `hold` may be run.
    ///
    /// The height must be one that the club owns, to the millimetre: ask [`Region::settled`] first for one that was written down in inches or
    /// measured. A probability that is not a number is below every floor.
    ///
    /// # Errors
    /// The first [`Wall`] in the way, in this order: closed; target height, target spacing; a hurdle on a bad surface; kind, height above the
    /// advice, not owned; too close, too wide; P(hold) last.
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

    /// The first hard wall in the way of a configuration; a coach's word opens the others. Asks for no probability: what is hard is so
    /// whatever should hold.
    ///
    /// # Errors
    /// The [`Wall`]: closed, then target, then [`Wall::NotOwned`]. Never a soft one.
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

    /// The same configuration at the height as the club owns it, which may differ by the tolerance; none when it owns none. Of several heights
    /// that near the nearest. The spacing stays as it is.
    pub fn settled(&self, at: Configuration) -> Option<Configuration> {
        let off = |height: Length| height.mm().abs_diff(at.height.mm());
        let here = self.owned.iter().filter(|(kind, _)| *kind == at.barrier_kind).map(|(_, height)| *height);
        let height = here.filter(|height| off(*height) <= self.height_tolerance).min_by_key(|height| off(*height))?;
        Some(Configuration { height, ..at })
    }

    /// The walls of the target: its height with the tolerance, because inch heights are printed rounded; its spacing to the millimetre, because
    /// a race is measured out.
    ///
    /// # Errors
    /// [`Wall::TargetHeight`] before [`Wall::TargetSpacing`]; never without a target.
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

/// Whether a probability is as high as needed; false for one that is not a number.
fn reaches(hold: f64, needed: f64) -> bool {
    hold + ROUNDING >= needed
}

/// Why an athlete runs nowhere, whatever the advice: status first, then restriction, then report.
fn closed(situation: &Situation) -> Option<Wall> {
    let restricted = || situation.restriction_in_force().map(|flag| Wall::Restricted { until: flag.until });
    let reported = || situation.report.map(|_| Wall::PainReported);
    Wall::of_status(situation.status).or_else(restricted).or_else(reported)
}

impl Rules<'_> {
    /// The region that follows from what the rules say, or from the word that the draft obeys; `word` is that word and none for a region by the
    /// rules alone. A draft of rest closes it even where the situation does not say why.
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

    /// Every barrier there is to run over, softest and lowest first, each once. A club without wickets has them all the same, at
    /// [`Policy::wicket_height`]: nobody waits for equipment to begin.
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

    /// The spacings over one barrier; none where it may not be run over at all: harder or higher than advised, above the target, or
    /// too close to be run once every limit is heeded.
    ///
    /// For example, with low barriers of 0.50 m advised 6.50 m apart, a target 8.00 m apart and a step of 0.25 m, wickets of 0.30 m over which
    /// 6.50 m was held have `longest` 6.50 m, as advised, and `beyond` 6.75 m, one step wider than held, where P(hold) is 0.80. On the
    /// way back after a report `beyond` is none, and the wall at 6.50 m is [`Wall::UntilCleared`].
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

    /// Over a harder barrier than run last, no wider than run last: two things at once would not tell which of them broke the rhythm. Without
    /// six intervals anywhere there is nothing to compare with, and the limit stays.
    fn one_variable(&self, kind: BarrierKind, height: Length, limit: Limit) -> Limit {
        let Some(from) = self.current.map(|here| here.at) else { return limit };
        let harder = rung(kind) > rung(from.barrier_kind) || self.ladder.above(height, from.height);
        if harder && limit.spacing > from.spacing {
            let longest = from.spacing;
            return Limit { spacing: longest, why: Wall::OneVariable { longest } };
        }
        limit
    }

    /// The widest spacing held over barriers of that rung and height; none where nothing was. Held is at least six intervals, most of them held
    /// ([`Situation::held`]).
    fn widest_held(&self, kind: BarrierKind, height: Length) -> Option<Length> {
        let there = self.situation.held.iter().filter(|held| {
            rung(held.barrier_kind) == rung(kind) && held.height.mm().abs_diff(height.mm()) <= tolerance(self.policy)
        });
        there.map(|held| held.spacing).max()
    }

    /// One club step wider, off the grid where the spacing is.
    fn step_wider(&self, spacing: Length) -> Length {
        Length::from_mm(spacing.mm() + self.policy.spacing_step.mm())
    }
}

/// How far two heights may differ and be one, millimetres (mm).
const fn tolerance(policy: &Policy) -> u32 {
    policy.height_tolerance.mm()
}
