//! From what is on file about one athlete to the advice on a day: estimate, target specification, decision.
//!
//! Nothing is decided here. This is where a record becomes the inputs of the models that decide, so it holds which rows count, for what
//! and for how long:
//!
//! ```text
//! measurements -> prior ----------.
//! runs, all of them -> estimate <-'-> P(hold), height cost, prior share ---.
//! birth, rule set, day -> specifications -> target, approach               |
//! runs of 56 days since a return -> current, held, evidence                +-> situation -> decision
//! breaks -> what stands; way back                                          |
//! ratings, word, clearance, surface, stock, policy ------------------------'
//! ```
//!
//! | what | how long it counts | why |
//! | --- | --- | --- |
//! | a run, for the estimate | for good, ever less: the limit drifts | what was held a year ago still says where the limit was |
//! | a run, for a step | [`EVIDENCE_DAYS`], and not from before a return | older runs say what an athlete could do, not what they can |
//! | a rating | [`RATING_DAYS`] | technique changes as athletes grow |
//! | the latest session | until the next | a fall is not forgotten over the holidays |
//! | a measurement | until the next, unless it cannot be of that age | a slip of the pen must not move a lane |
//!
//! # What is assumed
//! Days are the club's own days. Ratings, breaks and words of later days were left out by the caller; later runs are left out here. Of
//! the measurements each is the latest; of the ratings each is the latest inside its window. All of it was parsed before: the one thing
//! that can still be wrong is a figure that no model accepts, and that is an [`AdviceError`].
//!
//! # Example
//! ```
//! use lanewright_compute::advice::{Record, RunRecord, Setting, advise};
//! use lanewright_compute::day::Day;
//! use lanewright_compute::decision::{Clearance, DecisionKind, Missing, Policy, Ratings, Status};
//! use lanewright_compute::prior::{Experience, PriorPolicy};
//! use lanewright_compute::specs::Birth;
//! use lanewright_compute::units::{BarrierKind, Length, Sex};
//!
//! let on = Day::from_ymd(2026, 11, 25).unwrap();
//! let mut record = Record {
//!     sex: Sex::Female,
//!     birth: Birth::Year(2013),
//!     experience: Experience::Novice,
//!     stature_m: Some(1.52),
//!     leg_length_m: None,
//!     sprint_30m_s: None,
//!     sprint_50m_s: None,
//!     approach_strides: None,
//!     status: Status::Active,
//!     breaks: Vec::new(),
//!     surface: None,
//!     ratings: Ratings::default(),
//!     clearance: Clearance::NotNeeded,
//!     word: None,
//!     runs: Vec::new(),
//! };
//! let setting = Setting {
//!     ruleset: "UKA".to_owned(),
//!     specs: Vec::new(),
//!     age_groups: Vec::new(),
//!     stock: Vec::new(),
//!     policy: Policy::default(),
//!     start: PriorPolicy::default(),
//! };
//! // Without a run the body says where to begin: a limit of 4.65 statures, 7.07 m, and a wicket lane well inside it.
//! let first = advise(&record, &setting, on)?;
//! assert!((first.estimate.limit_m.mean - 7.07).abs() < 0.05 && first.estimate.prior_share > 0.9);
//! let lane = first.decision.proposed.unwrap();
//! assert!(lane.barrier_kind == BarrierKind::Wicket && lane.spacing.metres() < first.estimate.limit_m.mean);
//! // Three runs of four intervals on two days, all held: evidence enough, and only the ratings keep her off barriers.
//! let run = |day| RunRecord {
//!     day,
//!     barrier_kind: BarrierKind::Wicket,
//!     height: Length::from_mm(300),
//!     spacing: Length::from_mm(6_000),
//!     barriers: 5,
//!     held: 4,
//!     over_reached: 0,
//!     crowded: 0,
//!     broken: 0,
//!     hits: 0,
//!     fell: false,
//! };
//! record.runs = vec![run(on.days() - 6), run(on.days() - 6), run(on.days() - 3)];
//! let advice = advise(&record, &setting, on)?;
//! assert_eq!((advice.estimate.evidence.intervals, advice.decision.kind), (12, DecisionKind::Consolidate));
//! assert!(advice.decision.missing.iter().all(|one| matches!(one, Missing::Rating { .. })));
//! # Ok::<(), lanewright_compute::advice::AdviceError>(())
//! ```
//!
//! # Where it is asked
//! Recommendations, lane plans, cards and race tests ask [`advise`], most of them through a memory that keeps what an estimate can go on from
//! ([`advise_keeping`]); [`crate::progress`] and [`crate::board`], which have an estimate for every day already, ask [`advise_from`].
//!
//! # Source
//! The parts name theirs: [`crate::prior`], [`crate::estimate`], [`crate::specs`], [`crate::decision`], [`crate::wellbeing`]. The windows are
//! design choices.

use thiserror::Error;

use super::approach::Approach;
use super::bounds::{Measured, judge};
use super::day::Day;
use super::decision::{
    Clearance, Configuration, Decision, Policy, Ratings, Situation, Status, Stock, Surface, Target, Wall, Word, decide,
};
use super::estimate::{Estimate, EstimateError, Kept, RunCounts, SPACING_MAX, SPACING_MIN, Settings, estimate_keeping};
use super::prior::{Experience, Prior, PriorError, PriorInputs, PriorPolicy, predict};
use super::specs::{AgeGroup, Applicable, Birth, Club, Lookup, OnFile, Query, Spec, lookup, sprint_target};
use super::units::{BarrierKind, Length, Sex};
use super::wellbeing::{Break, Standing, standing};

mod evidence;
mod lately;

pub(crate) use evidence::{current, latest, recent, tried};
use evidence::{given, held};
pub(crate) use lately::way_back;

/// Days back to which runs at a configuration count as evidence for a step: eight weeks (design choice). A run exactly so many days ago
/// still counts.
pub const EVIDENCE_DAYS: i32 = 56;
/// Days back to which a technique rating counts: twelve weeks (design choice). Whoever reads the ratings keeps to it, here they are taken as
/// given.
pub const RATING_DAYS: i32 = 84;
/// Age below which an athlete counts as a minor, years.
pub(super) const ADULT_YEARS: i32 = 18;

/// One run, as far as advice needs it. Corrected and voided runs are left out or replaced before they come here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct RunRecord {
    /// Day of its session, days since 1970-01-01.
    pub day: i32,
    /// What stood in the lane.
    pub barrier_kind: BarrierKind,
    /// Height of the barriers.
    pub height: Length,
    /// Spacing of the barriers.
    pub spacing: Length,
    /// Barriers run; one more than intervals where all of them were run in strides.
    pub barriers: u16,
    /// Intervals held: three strides between the barriers.
    pub held: u16,
    /// Intervals over-reached: too far.
    pub over_reached: u16,
    /// Intervals crowded: too near.
    pub crowded: u16,
    /// Intervals broken, cause not recorded.
    pub broken: u16,
    /// Barriers hit; they do not enter the estimate, only the rules.
    pub hits: u16,
    /// Whether the athlete went down.
    pub fell: bool,
}

impl RunRecord {
    /// What was run over. The number of barriers does not matter to it.
    pub fn configuration(&self) -> Configuration {
        Configuration { barrier_kind: self.barrier_kind, height: self.height, spacing: self.spacing }
    }

    /// Intervals of every outcome; 0 for walkovers and single barriers.
    pub fn intervals(&self) -> u32 {
        [self.held, self.over_reached, self.crowded, self.broken].into_iter().map(u32::from).sum()
    }
}

/// What is on file about one athlete, as of a day.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// Category for rules and growth tables.
    pub sex: Sex,
    /// When the athlete was born: the date, or the year alone where a club keeps no more.
    pub birth: Birth,
    /// How long the athlete has hurdled; shifts the prior alone.
    pub experience: Experience,
    /// Latest stature, metres (m). What cannot be at that age is not used, see [`judge`].
    pub stature_m: Option<f64>,
    /// Latest leg length, metres (m); not used where it is not 0.35 to 0.65 of the stature.
    pub leg_length_m: Option<f64>,
    /// Latest 30 m time, seconds (s); not used where it is no shorter than the 50 m time.
    pub sprint_30m_s: Option<f64>,
    /// Latest 50 m time, seconds (s).
    pub sprint_50m_s: Option<f64>,
    /// Strides to the first barrier that a coach counts for the athlete, see [`crate::approach`].
    pub approach_strides: Option<u8>,
    /// Whether the athlete trains.
    pub status: Status,
    /// Reports of pain, illness or injury and restrictions, in any order; those that are over too, since a return follows from them.
    pub breaks: Vec<Break>,
    /// What is wrong with the surface of the day's session, if anything; none too where the athlete has no session that day.
    pub surface: Option<Surface>,
    /// Latest rating of each criterion inside [`RATING_DAYS`].
    pub ratings: Ratings,
    /// A coach's word after the last fall, in a run or in a race.
    pub clearance: Clearance,
    /// The coach's latest decision on what the athlete runs over, if it names that; the runs since are found here.
    pub word: Option<Word>,
    /// Runs in any order; those after the day asked for are left out.
    pub runs: Vec<RunRecord>,
}

impl Record {
    /// What reports, restrictions and clearances come to on a day (days since 1970-01-01).
    pub fn standing(&self, on: i32) -> Standing {
        standing(&self.breaks, on)
    }

    /// Why the athlete runs nowhere on a day (days since 1970-01-01), if so; also for whom nothing can be computed.
    pub fn closed(&self, on: i32) -> Option<Wall> {
        Wall::of_record(self.status, &self.standing(on))
    }
}

/// What holds for the whole club. Read once for a squad.
#[derive(Clone, Debug, PartialEq)]
pub struct Setting {
    /// Rule set of the club, as in [`Query`].
    pub ruleset: String,
    /// The club's own specifications, which come before published ones.
    pub specs: Vec<Spec>,
    /// The club's own age groups, likewise.
    pub age_groups: Vec<AgeGroup>,
    /// The club's equipment: kinds and heights; counts are the lane plan's.
    pub stock: Vec<Stock>,
    /// The club's policy, already checked.
    pub policy: Policy,
    /// The club's constants of where an estimate starts, already checked.
    pub start: PriorPolicy,
}

impl Setting {
    /// The specifications that apply to somebody on a day and from when others do, indoors and outdoors.
    pub fn specs_for(&self, sex: Sex, birth: Birth, on: Day) -> Lookup<'_> {
        let club = Club { specs: &self.specs, age_groups: &self.age_groups };
        lookup(&Query { ruleset: &self.ruleset, sex, birth, on, environment: None }, &club)
    }

    /// What is on file of the club's rule set on a day: whether an age leads to a specification at all.
    pub fn on_file(&self, on: Day) -> OnFile {
        OnFile::of(&self.ruleset, &Club { specs: &self.specs, age_groups: &self.age_groups }, on)
    }

    /// Heights the club owns, with the wicket height, ascending, each once: the heights for which a recommendation shows the limit and the curve
    /// of P(hold). Never empty.
    pub fn heights(&self) -> Vec<Length> {
        let mut heights: Vec<Length> = self.stock.iter().flat_map(|stock| stock.heights.iter().copied()).collect();
        heights.push(self.policy.wicket_height);
        heights.sort_unstable();
        heights.dedup();
        heights
    }
}

/// The advice for one athlete on a day. Borrows the specifications from the [`Setting`].
#[derive(Clone, Debug)]
pub struct Advice<'a> {
    /// The estimate: where the limit lies, and how sure that is.
    pub estimate: Estimate,
    /// The decision: what to do, why, and where the athlete may run.
    pub decision: Decision,
    /// Where the first barrier stands, for any spacing.
    pub approach: Approach,
    /// The specification to train towards, when one is on file; for who is too young for every group that of the youngest, marked
    /// `provisional`.
    pub target: Option<Applicable<'a>>,
    /// The sprint specification after it, with the day from which it applies; none when nothing changes that is known.
    pub next_target: Option<(Day, Applicable<'a>)>,
    /// Why no specification applies; may stand beside a provisional target. None without a target means that specifications apply and
    /// none of them is a sprint.
    pub no_target: Option<super::specs::Reason>,
}

/// Why there is no advice. The caller says it as a conflict with what is on file, since nothing in the question is wrong; of many it leaves
/// this one out and says so. Codes and words are in [`crate::english`].
#[derive(Clone, Copy, Debug, Error, PartialEq)]
pub enum AdviceError {
    /// A measurement is outside what the prior accepts, though somebody of that age may have it: a stature above 2.3 m, 30 m in over 12 s.
    #[error(transparent)]
    Prior(#[from] PriorError),
    /// The runs cannot be used: more than 20 years or 50 000 of them, a barrier above 1.5 m, more than 100 intervals in one run.
    #[error(transparent)]
    Estimate(#[from] EstimateError),
}

/// Advises one athlete on a day. Runs after that day are left out. The same record, setting and day always give the same advice.
///
/// # Errors
/// [`AdviceError`] when a stored measurement is impossible or the runs reach back too far.
pub fn advise<'a>(record: &Record, setting: &'a Setting, on: Day) -> Result<Advice<'a>, AdviceError> {
    advise_keeping(&mut None, record, setting, on)
}

/// The same, bit for bit, in less time when `kept` is what the last advice for this athlete left there: runs known are not learned again.
///
/// What `kept` holds of another athlete, of runs that were corrected since, or of a later day is found out and costs time, no
/// correctness. Between two advices that rest on the same runs and the same day nothing is computed but the decision.
///
/// # Errors
/// As [`advise`]; `kept` is empty after an error of the estimate.
pub fn advise_keeping<'a>(
    kept: &mut Option<Kept>,
    record: &Record,
    setting: &'a Setting,
    on: Day,
) -> Result<Advice<'a>, AdviceError> {
    let prior = prior(record, setting, on)?;
    let estimate = estimate_keeping(kept, &prior, &rhythm_runs(record), on.days(), &Settings::default())?;
    Ok(advise_from(record, setting, on, estimate))
}

/// Advises one athlete on a day from an estimate that was made already, on the same day and from the same runs.
///
/// Nothing checks that it was; of another day or athlete it gives advice for nobody. Never fails: what could was the estimate.
pub fn advise_from<'a>(record: &Record, setting: &'a Setting, on: Day, estimate: Estimate) -> Advice<'a> {
    let targets = Targets::of(record, setting, on);
    let situation = situation(record, setting, on, targets.now.as_ref(), &estimate);
    let decision = decide(&situation, &setting.policy, &|height, spacing| estimate.hold(height, spacing));
    targets.beside(estimate, decision)
}

/// The specifications that an athlete trains towards.
pub(super) struct Targets<'a> {
    /// That of the day.
    now: Option<Applicable<'a>>,
    /// The one after it, with its first day.
    next: Option<(Day, Applicable<'a>)>,
    /// Why none applies.
    none: Option<super::specs::Reason>,
    /// With the approach and spacing of the one of the day.
    approach: Approach,
}

impl<'a> Targets<'a> {
    /// Those of a day. One lookup answers for both: it knows the next birthday, season and edition.
    pub(super) fn of(record: &Record, setting: &'a Setting, on: Day) -> Self {
        let known = setting.specs_for(record.sex, record.birth, on);
        let now = trained_towards(&known);
        let next = known.next.as_ref().and_then(|next| {
            let spec = sprint_target(&next.specs, None)?;
            Some((next.applies_from, *spec))
        });
        let race = now.as_ref().map(|target| (target.spec.to_first, target.spec.between));
        Self { now, next, none: known.reason, approach: Approach::new(race, record.approach_strides) }
    }

    /// The advice that an estimate and a decision make with them.
    pub(super) fn beside(self, estimate: Estimate, decision: Decision) -> Advice<'a> {
        let Self { now, next, none, approach } = self;
        Advice { estimate, decision, approach, target: now, next_target: next, no_target: none }
    }
}

/// The specification to train towards: the sprint among those that apply, else among those of the youngest group.
fn trained_towards<'a>(known: &Lookup<'a>) -> Option<Applicable<'a>> {
    sprint_target(&known.current, None).or_else(|| sprint_target(&known.provisional, None)).copied()
}

/// The specification that an athlete trains towards on a day. For whoever asks the rules about many days and looks it up once.
pub(super) fn target<'a>(setting: &'a Setting, record: &Record, on: Day) -> Option<Applicable<'a>> {
    trained_towards(&setting.specs_for(record.sex, record.birth, on))
}

/// Where the estimate of an athlete starts on a day, by the club's constants: the limit by body and sprint, or by age and sex where neither
/// was measured.
///
/// The mean of a group never enters, since the age is known of every athlete and comes before it ([`crate::prior`] says why).
///
/// # Errors
/// [`PriorError`] when a stored measurement is impossible.
pub(super) fn prior(record: &Record, setting: &Setting, on: Day) -> Result<Prior, PriorError> {
    predict(&prior_inputs(record, on), &setting.start)
}

/// The runs that say something about the rhythm, as the estimate takes them; of every day, in the order of the record.
pub(super) fn rhythm_runs(record: &Record) -> Vec<RunCounts> {
    record.runs.iter().filter_map(counts).collect()
}

/// Age in whole years; with a birth year only, the least it can be, so that nobody is taken for grown too early. Negative before the birth.
pub(super) fn age(birth: Birth, on: Day) -> i32 {
    birth.ages(on).youngest
}

/// What is known of an athlete before any run, as the prior takes it: impossible figures left out one by one, so that a slip in one costs that
/// one alone. The age in years is 365.25 days each; below 4 and above 100 years it counts as these, since the growth table is flat there and
/// knowing nothing would start a small child further than one of 4 years.
fn prior_inputs(record: &Record, on: Day) -> PriorInputs {
    // The middle of the possible ages: somebody of whom the year is known grows through it like everybody.
    let (youngest, oldest) = record.birth.ages_y(on);
    let years = f64::midpoint(youngest, oldest);
    // What cannot be of somebody of that age is a slip; what is only rare was asked about when it was filed.
    let can =
        |what, value: Option<f64>| value.filter(|value| judge(what, record.sex, record.birth, on, *value).counts(true));
    let stature_m = can(Measured::Stature, record.stature_m);
    let sprint_50m_s = can(Measured::Sprint50, record.sprint_50m_s);
    PriorInputs {
        sex: record.sex,
        age_y: Some(years.clamp(4.0, 100.0)),
        stature_m,
        leg_length_m: can(Measured::LegLength, record.leg_length_m).filter(|leg| {
            // A leg length that cannot belong to the stature is a measuring error of one of the two: the stature, which
            // is easier to measure, is kept.
            stature_m.is_none_or(|stature| (0.35..=0.65).contains(&(leg / stature)))
        }),
        sprint_30m_s: can(Measured::Sprint30, record.sprint_30m_s)
            .filter(|short| sprint_50m_s.is_none_or(|long| *short < long)),
        sprint_50m_s,
        experience: record.experience,
        group: None,
    }
}

/// A run as the estimate takes it; none for walkovers and single barriers, which say nothing about the rhythm, and for spacings outside 2 to
/// 15 m.
fn counts(run: &RunRecord) -> Option<RunCounts> {
    let usable = (SPACING_MIN..=SPACING_MAX).contains(&run.spacing) && run.intervals() > 0;
    usable.then_some(RunCounts {
        day: run.day,
        height: run.height,
        spacing: run.spacing,
        held: run.held,
        over_reached: run.over_reached,
        crowded: run.crowded,
        broken: run.broken,
    })
}

/// What the rules read of an athlete on a day.
///
/// The estimate gives two figures of it: the height cost, by which runs elsewhere are held against the current configuration, and the
/// share that is still the prior's. P(hold) is not in it; [`decide`] is given that beside it.
pub(super) fn situation(
    record: &Record,
    setting: &Setting,
    on: Day,
    target: Option<&Applicable<'_>>,
    estimate: &Estimate,
) -> Situation {
    let today = on.days();
    let stands = record.standing(today);
    // What was run before a break, or against it, is no evidence for a step after it.
    let counts = |run: &&RunRecord| stands.back.is_none_or(|back| run.day >= back.since);
    let recent: Vec<&RunRecord> = recent(&record.runs, today).into_iter().filter(counts).collect();
    Situation {
        on: today,
        current: current(&recent, &setting.policy, estimate.height_cost),
        held: held(&recent),
        latest: latest(&record.runs, today),
        status: record.status,
        ratings: record.ratings,
        restriction: stands.restriction,
        report: stands.report,
        back: stands.back.and_then(|back| way_back(record, back, today)),
        clearance: record.clearance,
        word: record.word.map(|word| given(word, record, &recent, &setting.policy)),
        target: target.map(target_of),
        stock: setting.stock.clone(),
        minor: age(record.birth, on) < ADULT_YEARS,
        surface: record.surface,
        prior_share: estimate.prior_share,
    }
}

/// Whether reports and restrictions mean nothing to the rules any more on a day (days since 1970-01-01): none stands, and every
/// return lies behind the athlete. Advice is then the same without them.
pub fn is_settled(record: &Record, on: i32) -> bool {
    let stands = record.standing(on);
    !stands.rests() && stands.back.is_none_or(|back| way_back(record, back, on).is_none())
}

/// A specification as the rules read it.
pub(super) fn target_of(one: &Applicable<'_>) -> Target {
    Target {
        height: one.spec.height,
        spacing: one.spec.between,
        barriers: u32::from(one.spec.barriers),
        approach: one.spec.to_first,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::decision::DecisionKind;
    use crate::wellbeing::What;

    fn run(day: i32, spacing_mm: u32, held: u16, over_reached: u16) -> RunRecord {
        RunRecord {
            day,
            barrier_kind: BarrierKind::LowBarrier,
            height: Length::from_mm(500),
            spacing: Length::from_mm(spacing_mm),
            barriers: held + over_reached + 1,
            held,
            over_reached,
            crowded: 0,
            broken: 0,
            hits: 0,
            fell: false,
        }
    }

    #[test]
    fn the_current_configuration_is_the_last_with_six_intervals() {
        let runs = [run(10, 6_000, 4, 0), run(10, 6_000, 4, 0), run(12, 6_250, 4, 1), run(13, 6_500, 3, 0)];
        let recent: Vec<&RunRecord> = runs.iter().collect();
        let found = current(&recent, &Policy::default(), 1.0).unwrap();
        assert_eq!(found.configuration.spacing, Length::from_mm(6_000), "the others have fewer than six");
        assert_eq!((found.evidence.intervals(), found.evidence.days, found.evidence.barriers), (8, 1, 10));
        let more = [runs.as_slice(), &[run(12, 6_250, 2, 0)]].concat();
        let recent: Vec<&RunRecord> = more.iter().collect();
        assert_eq!(current(&recent, &Policy::default(), 1.0).unwrap().configuration.spacing, Length::from_mm(6_250));
    }

    #[test]
    fn an_age_changes_on_the_birthday() {
        let day = |y, m, d| Day::from_ymd(y, m, d).unwrap();
        let born = Birth::Date(day(2012, 5, 17));
        assert_eq!((age(born, day(2026, 5, 16)), age(born, day(2026, 5, 17))), (13, 14));
        // By year alone the least that it can be: on the last day of the year everybody of it has had the birthday.
        let by_year = |on| age(Birth::Year(2012), on);
        assert_eq!([day(2026, 1, 1), day(2026, 12, 30), day(2026, 12, 31)].map(by_year), [13, 13, 14]);
    }

    fn restriction(until: i32) -> Break {
        let what = What::Restriction { until: Some(until) };
        Break { what, on: until - 30, cleared_on: None, confirmed_on: None }
    }

    #[test]
    fn a_restriction_rests_the_athlete_whatever_the_runs_say() {
        let setting = Setting {
            ruleset: "WA".to_owned(),
            specs: Vec::new(),
            age_groups: Vec::new(),
            stock: Vec::new(),
            policy: Policy::default(),
            start: PriorPolicy::default(),
        };
        let on = Day::from_ymd(2026, 11, 25).unwrap();
        let mut record = Record {
            sex: Sex::Female,
            birth: Birth::Year(2010),
            experience: Experience::Novice,
            stature_m: Some(1.6),
            leg_length_m: Some(0.3),
            sprint_30m_s: None,
            sprint_50m_s: None,
            approach_strides: None,
            status: Status::Active,
            breaks: vec![restriction(on.days())],
            surface: None,
            ratings: Ratings::default(),
            clearance: Clearance::NotNeeded,
            word: None,
            runs: vec![run(on.days() - 3, 6_000, 4, 0)],
        };
        let kind = |record: &Record| advise(record, &setting, on).unwrap().decision.kind;
        assert_eq!(kind(&record), DecisionKind::RestAndRefer);
        assert!(!is_settled(&record, on.days()));
        record.breaks = vec![restriction(on.days() - 1)];
        assert_ne!(kind(&record), DecisionKind::RestAndRefer);
        assert!(!is_settled(&record, on.days()), "the way back has begun");
        assert!(is_settled(&record, on.days() - 40), "nothing was restricted then");
    }
}
