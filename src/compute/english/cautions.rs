//! Cautions in words.
//!
//! Ten stand beside every recommendation ([`Caution::BASE`]); the others when they apply:
//!
//! | code | said |
//! | --- | --- |
//! | `growth_pain_signs` | the athlete is a minor |
//! | `wet_surface`, `uneven_surface` | the session's surface is so |
//! | `no_target` | no target specification is on file for the athlete |
//! | `thin_evidence` | no configuration has six intervals, or over half of the estimate is the prior |
//! | `no_wickets_owned` | wickets are advised and the club has none |
//! | `after_fall` | a fall in the latest session |
//! | `after_report` | on the way back after a report or restriction |
//! | `beyond_advice` | a coach chose otherwise and confirmed it against a soft wall |
//! | `not_ready` | an entry for a race whose course a soft wall still forbids, on a coach's word |
//! | `load_jump` | on the board and on cards: far more was run this week than in the four before |
//!
//! Each is one sentence, because it is read beside a lane. The words never change with the athlete: cautions
//! carry no figures.

use crate::decision::Caution;

impl Caution {
    /// One plain English sentence.
    ///
    /// ```
    /// use lanewright_compute::decision::Caution;
    ///
    /// assert_eq!(Caution::FreeRunOut.text(), "Keep the run-out after the last barrier free.");
    /// ```
    ///
    /// # Source
    /// Growth: "Managing Growth Spurts and Training Loads in Adolescent Athletes", Princeton Sports and Family
    /// Medicine. Load: B. Hawkes, "Growth Related Injuries in Athletics". Wet grass: J. Tansley, 2001. After a
    /// fall or a report: common practice, no source.
    pub const fn text(self) -> &'static str {
        match self {
            Self::SupportsCoach => {
                "This supports a qualified coach and never replaces one; a fall, pain or illness always comes first."
            }
            Self::RulesComeFirst => {
                "The governing body's and the facility's rules, local law and medical advice come before this advice."
            }
            Self::TipDirection => "Run barriers only in the direction they tip, never the reverse.",
            Self::SoftFirst => "Use soft or tipping barriers before rigid ones.",
            Self::FreeRunOut => "Keep the run-out after the last barrier free.",
            Self::DryEvenSurface => "Run only on a dry, even surface.",
            Self::OneAthletePerLane => {
                "Send one athlete per lane at a time, and keep the barriers of neighbouring lanes from touching."
            }
            Self::Supervise => "Watch every run, and check every barrier before the first.",
            Self::WarmUpFirst => "Warm up before the first barrier.",
            Self::StopOnBreakdown => "Stop when technique breaks down with fatigue.",
            Self::GrowthPainSigns => {
                "Pain that lasts or grows, limping, or swelling at knee or heel is a warning sign: stop and refer."
            }
            Self::WetSurface => {
                "The surface is wet: move or wait; otherwise wickets or soft barriers, closer, and nobody steps up today."
            }
            Self::UnevenSurface => {
                "The surface is uneven: move; otherwise wickets or soft barriers, closer, and nobody steps up today."
            }
            Self::AfterReport => {
                "Back after pain, illness, injury or a restriction: watch every run, and stop at the first sign of it."
            }
            Self::NoTarget => {
                "No target specification is on file: only the club's equipment and policy limit the steps, so check each."
            }
            Self::ThinEvidence => {
                "Few of this athlete's own runs are behind this estimate: watch the first runs and adjust."
            }
            Self::NoWicketsOwned => "The equipment list has no wickets: use flat marks or light sticks that give way.",
            Self::BeyondAdvice => {
                "A coach went beyond the advice here: watch the first runs, and step back at once when they break."
            }
            Self::NotReady => {
                "Not ready for this race by what was run so far: run it on a coach's word only, and stop at any barrier."
            }
            Self::LoadJump => {
                "Far more was run this week than in the four weeks before: cut back, since jumps in load hurt growing athletes."
            }
            Self::AfterFall => {
                "After a fall, check the athlete and the barriers before anyone runs, and never force a refused barrier."
            }
        }
    }
}
