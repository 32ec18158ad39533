//! Cautions: what a coach reads beside every recommendation.

use super::Decision;
use super::policy::Policy;
use super::situation::Situation;
use crate::compute::units::BarrierKind;

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
}

impl Caution {
    /// Every caution.
    pub const ALL: [Self; 16] = [
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
        }
    }

    /// One plain English sentence.
    ///
    /// # Source
    /// Growth: "Managing Growth Spurts and Training Loads in Adolescent Athletes", Princeton Sports and Family Medicine.
    /// Wet grass: J. Tansley, 2001. After a fall: common practice, no source.
    pub const fn text(self) -> &'static str {
        match self {
            Self::SupportsCoach => {
                "This supports a qualified coach and never replaces one; a fall, pain or illness outranks it."
            }
            Self::RulesComeFirst => {
                "The governing body's and the facility's rules, local law and medical advice come first."
            }
            Self::TipDirection => "Run barriers only in the direction they tip, never the reverse.",
            Self::SoftFirst => "Use soft or tipping barriers before rigid ones.",
            Self::FreeRunOut => "Keep the run-out after the last barrier free.",
            Self::DryEvenSurface => "Run only on a dry, even surface.",
            Self::OneAthletePerLane => {
                "One athlete per lane at a time, and barriers of neighbouring lanes do not touch."
            }
            Self::Supervise => "A coach watches every run and checks every barrier before the first.",
            Self::WarmUpFirst => "Warm up before the first barrier.",
            Self::StopOnBreakdown => "Stop when technique breaks down with fatigue.",
            Self::GrowthPainSigns => {
                "Pain that lasts or grows, limping or swelling at knee or heel is not just growing: stop and refer."
            }
            Self::WetSurface => "The surface is wet: move, wait or leave the barriers out today.",
            Self::NoTarget => {
                "No target specification is on file, so nothing limits the steps but the club's equipment and policy."
            }
            Self::ThinEvidence => {
                "Few of this athlete's own runs are behind the estimate: watch the first runs and adjust."
            }
            Self::NoWicketsOwned => "The equipment list has no wickets: use flat marks or light sticks that give way.",
            Self::AfterFall => {
                "After a fall check the athlete and the barriers before anyone runs, and never force a refused barrier."
            }
        }
    }
}

/// The base cautions, and those that the situation and the decision add.
pub(super) fn of(situation: &Situation, policy: &Policy, decision: &Decision) -> Vec<Caution> {
    let wickets = decision.proposed.is_some_and(|at| at.barrier_kind == BarrierKind::Wicket);
    let owns_wickets =
        situation.stock.iter().any(|entry| entry.kind == BarrierKind::Wicket && !entry.heights.is_empty());
    let extra = [
        (Caution::GrowthPainSigns, situation.minor),
        (Caution::WetSurface, situation.wet_surface),
        (Caution::NoTarget, situation.target.is_none()),
        (Caution::ThinEvidence, situation.current.is_none() || situation.prior_share > policy.thin_prior_share),
        (Caution::NoWicketsOwned, wickets && !owns_wickets),
        (Caution::AfterFall, situation.fell()),
    ];
    let added = extra.into_iter().filter(|(_, applies)| *applies);
    Caution::BASE.into_iter().chain(added.map(|(caution, _)| caution)).collect()
}
