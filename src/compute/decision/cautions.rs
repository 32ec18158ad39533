//! Cautions: what stands beside every recommendation. The words are in `compute::english`.

use super::Decision;
use super::policy::Policy;
use super::returning::Surface;
use super::situation::Situation;
use crate::params::{CodeDoc, code};
use crate::units::BarrierKind;

/// One caution.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Caution {
    /// A recommendation supports a coach.
    SupportsCoach,
    /// Rules, law and medical advice come first.
    RulesComeFirst,
    /// Barriers are run in the direction they tip.
    TipDirection,
    /// Soft barriers come before rigid ones.
    SoftFirst,
    /// The run-out is free.
    FreeRunOut,
    /// The surface is dry and even.
    DryEvenSurface,
    /// One athlete runs per lane.
    OneAthletePerLane,
    /// A coach watches.
    Supervise,
    /// Warm-up comes first.
    WarmUpFirst,
    /// The lane ends when technique breaks down.
    StopOnBreakdown,
    /// A growing athlete's pain is a sign.
    GrowthPainSigns,
    /// The surface is wet.
    WetSurface,
    /// No target specification is on file.
    NoTarget,
    /// The estimate rests on the prior.
    ThinEvidence,
    /// The club owns no wickets.
    NoWicketsOwned,
    /// After a fall.
    AfterFall,
    /// Back after a report or restriction.
    AfterReport,
    /// The surface is uneven.
    UnevenSurface,
    /// A coach went beyond the advice.
    BeyondAdvice,
    /// Not ready for the race: only on a coach's word.
    NotReady,
    /// The load of the last week rose too fast.
    LoadJump,
}

impl Caution {
    /// Every caution.
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

    /// Every code with its meaning; cautions carry no parameters.
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

    /// What to heed on a surface.
    pub const fn of_surface(surface: Surface) -> Self {
        match surface {
            Surface::Wet => Self::WetSurface,
            Surface::Uneven => Self::UnevenSurface,
        }
    }

    /// The stable code.
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

/// The base cautions, and those that the situation and the decision add.
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
