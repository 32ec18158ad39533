//! Cautions: what stands beside every recommendation. The words are in `compute::english`.
//!
//! A recommendation is never shown without them. The base ones hold for everybody on every day; the others are added for what is so on the
//! day, for the athlete or for the decision. They carry no figures and never change what is advised: what must not be run is a
//! [`Wall`](super::Wall), and what is to be heeded while it is run is a caution.
//!
//! | added | when |
//! | --- | --- |
//! | [`Caution::WetSurface`], [`Caution::UnevenSurface`] | the session's surface is so |
//! | [`Caution::GrowthPainSigns`] | the athlete is a minor, or may be |
//! | [`Caution::NoTarget`] | no specification is on file, so nothing but equipment and policy ends the ladders |
//! | [`Caution::ThinEvidence`] | no six intervals at one configuration, or most of the estimate is still the prior |
//! | [`Caution::NoWicketsOwned`] | wickets are advised to a club that owns none |
//! | [`Caution::AfterFall`] | a fall in the latest session |
//! | [`Caution::AfterReport`] | on the way back after a report or restriction |
//! | [`Caution::BeyondAdvice`] | a coach's word that was confirmed against soft walls stands |
//! | [`Caution::NotReady`] | a race-test entry on a coach's word only ([`crate::race`]) |
//! | [`Caution::LoadJump`] | the week's load jumped ([`crate::board::Weeks`]), on boards and cards |
//!
//! ```
//! use lanewright_compute::decision::{Caution, Hold, Policy, Situation, Surface, decide};
//!
//! let wet = Situation { surface: Some(Surface::Wet), ..Situation::unseen(20_000) };
//! let decision = decide(&wet, &Policy::default(), &|_, _| Hold { mean: 0.9, p05: 0.8, p95: 0.95 });
//! let own: Vec<&str> = decision.own_cautions().map(|one| one.code()).collect();
//! assert_eq!(own, ["wet_surface", "growth_pain_signs", "no_target", "thin_evidence", "no_wickets_owned"]);
//! assert!(decision.cautions.starts_with(&Caution::BASE));
//! ```

use super::Decision;
use super::policy::Policy;
use super::returning::Surface;
use super::situation::Situation;
use crate::params::{CodeDoc, code};
use crate::units::BarrierKind;

/// One caution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Caution {
    /// A recommendation supports a coach and replaces none; safety outranks it.
    SupportsCoach,
    /// Rules, law and medical advice come first, wherever they say otherwise.
    RulesComeFirst,
    /// Barriers are run in the direction they tip: struck from behind they do not give way.
    TipDirection,
    /// Soft barriers come before rigid ones.
    SoftFirst,
    /// The run-out is free, of people, bags and barriers.
    FreeRunOut,
    /// The surface is dry and even.
    DryEvenSurface,
    /// One athlete runs per lane, and barriers of neighbouring lanes do not touch.
    OneAthletePerLane,
    /// A coach watches, and checked the barriers before the first run.
    Supervise,
    /// Warm-up comes first; walkovers are drills and none.
    WarmUpFirst,
    /// The lane ends when technique breaks down with fatigue.
    StopOnBreakdown,
    /// A growing athlete's pain that lasts or grows, limping or swelling is a sign: stop and refer.
    GrowthPainSigns,
    /// The surface is wet: move or wait.
    WetSurface,
    /// No target specification is on file.
    NoTarget,
    /// The estimate rests on the prior: watch the first runs.
    ThinEvidence,
    /// The club owns no wickets: flat marks or sticks that give way.
    NoWicketsOwned,
    /// After a fall: check athlete and barriers, never force a refused barrier.
    AfterFall,
    /// Back after a report or restriction: stop at the first sign of it.
    AfterReport,
    /// The surface is uneven: move.
    UnevenSurface,
    /// A coach went beyond the advice.
    BeyondAdvice,
    /// Not ready for the race: only on a coach's word.
    NotReady,
    /// The load of the last week rose too fast.
    LoadJump,
}

impl Caution {
    /// Every caution: the base ones first.
    pub const ALL: [Self; 21] = [
        Self::SupportsCoach,
        Self::RulesComeFirst,
        Self::TipDirection,
        Self::SoftFirst,
        Self::FreeRunOut,
        Self::DryEvenSurface,
        Self::OneAthletePerLane,
        Self::Supervise,
        Self::WarmUpFirst,
        Self::StopOnBreakdown,
        Self::GrowthPainSigns,
        Self::WetSurface,
        Self::NoTarget,
        Self::ThinEvidence,
        Self::NoWicketsOwned,
        Self::AfterFall,
        Self::AfterReport,
        Self::UnevenSurface,
        Self::BeyondAdvice,
        Self::NotReady,
        Self::LoadJump,
    ];

    /// Every code with its meaning; cautions carry no parameters. In the order of [`Caution::ALL`].
    pub const CODES: [CodeDoc; 21] = [
        code("supports_coach", "Advice supports a coach, and safety outranks it.", &[]),
        code("rules_come_first", "Rules, law and medical advice come first.", &[]),
        code("tip_direction", "Run barriers in the direction they tip.", &[]),
        code("soft_first", "Soft or tipping barriers come before rigid ones.", &[]),
        code("free_run_out", "Keep the run-out free.", &[]),
        code("dry_even_surface", "Run on a dry, even surface.", &[]),
        code("one_athlete_per_lane", "One athlete per lane; barriers of neighbouring lanes do not touch.", &[]),
        code("supervise", "A coach watches and checks the barriers.", &[]),
        code("warm_up_first", "Warm up first.", &[]),
        code("stop_on_breakdown", "Stop when technique breaks down.", &[]),
        code("growth_pain_signs", "A growing athlete's pain is a warning sign.", &[]),
        code("wet_surface", "The surface is wet.", &[]),
        code("no_target", "No target specification limits the steps.", &[]),
        code("thin_evidence", "Few runs are behind the estimate.", &[]),
        code("no_wickets_owned", "The equipment list has no wickets.", &[]),
        code("after_fall", "Check athlete and barriers after a fall.", &[]),
        code("after_report", "Back after pain, illness, injury or a restriction.", &[]),
        code("uneven_surface", "The surface is uneven.", &[]),
        code("beyond_advice", "A coach went beyond the advice.", &[]),
        code("not_ready", "The athlete is not ready for the race and runs it on a coach's word only.", &[]),
        code("load_jump", "The load of the last week rose too fast against the four weeks before.", &[]),
    ];

    /// The cautions of every decision.
    ///
    /// # Source
    /// Direction, soft barriers, surface, one athlete at a time: Alberta physical-education safety pages "Hurdles",
    /// revised 2020; J. Tansley, "10 P.E. Lessons Plans for Track & Field", 2001; Missouri school track safety tips.
    /// Run-out, warm-up and stopping: common practice, no source.
    pub const BASE: [Self; 10] = [
        Self::SupportsCoach,
        Self::RulesComeFirst,
        Self::TipDirection,
        Self::SoftFirst,
        Self::FreeRunOut,
        Self::DryEvenSurface,
        Self::OneAthletePerLane,
        Self::Supervise,
        Self::WarmUpFirst,
        Self::StopOnBreakdown,
    ];

    /// What to heed on a surface; a dry, even one needs no more than [`Caution::DryEvenSurface`].
    pub const fn of_surface(surface: Surface) -> Self {
        match surface {
            Surface::Wet => Self::WetSurface,
            Surface::Uneven => Self::UnevenSurface,
        }
    }

    /// The stable code, one of [`Caution::CODES`].
    pub const fn code(self) -> &'static str {
        match self {
            Self::SupportsCoach => "supports_coach",
            Self::RulesComeFirst => "rules_come_first",
            Self::TipDirection => "tip_direction",
            Self::SoftFirst => "soft_first",
            Self::FreeRunOut => "free_run_out",
            Self::DryEvenSurface => "dry_even_surface",
            Self::OneAthletePerLane => "one_athlete_per_lane",
            Self::Supervise => "supervise",
            Self::WarmUpFirst => "warm_up_first",
            Self::StopOnBreakdown => "stop_on_breakdown",
            Self::GrowthPainSigns => "growth_pain_signs",
            Self::WetSurface => "wet_surface",
            Self::NoTarget => "no_target",
            Self::ThinEvidence => "thin_evidence",
            Self::NoWicketsOwned => "no_wickets_owned",
            Self::AfterFall => "after_fall",
            Self::AfterReport => "after_report",
            Self::UnevenSurface => "uneven_surface",
            Self::BeyondAdvice => "beyond_advice",
            Self::NotReady => "not_ready",
            Self::LoadJump => "load_jump",
        }
    }
}

/// The base cautions, and those that the situation and the decision add, each at most once. Those that need a race or a week's load are
/// added by whoever knows them.
pub(super) fn of(situation: &Situation, policy: &Policy, decision: &Decision) -> Vec<Caution> {
    let wickets = decision.proposed.is_some_and(|at| at.barrier_kind == BarrierKind::Wicket);
    let owns_wickets =
        situation.stock.iter().any(|entry| entry.kind == BarrierKind::Wicket && !entry.heights.is_empty());
    let beyond = decision.governed.as_ref().is_some_and(|one| one.word.overridden && one.word.coach_accepts);
    let extra = [
        (Caution::GrowthPainSigns, situation.minor),
        (Caution::NoTarget, situation.target.is_none()),
        (Caution::ThinEvidence, situation.current.is_none() || situation.prior_share > policy.thin_prior_share),
        (Caution::NoWicketsOwned, wickets && !owns_wickets),
        (Caution::AfterFall, situation.fell()),
        (Caution::AfterReport, situation.returning()),
        (Caution::BeyondAdvice, beyond),
    ];
    let added = extra.into_iter().filter(|(_, applies)| *applies);
    let surface = situation.surface.map(Caution::of_surface);
    Caution::BASE.into_iter().chain(surface).chain(added.map(|(caution, _)| caution)).collect()
}
