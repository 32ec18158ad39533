//! Whole clubs for eight weeks, in two arms: everybody in a private lane that follows the advice, and everybody in the lanes
//! that the plan gives a real straight. Ratings come late, runners hit, fall, and are restricted.

use std::collections::BTreeSet;

use lanewright_compute::advice::{Advice, Record, RunRecord, Setting, advise_keeping};
use lanewright_compute::approach::Approach;
use lanewright_compute::day::Day;
use lanewright_compute::decision::{Clearance, Configuration, Policy, Rating, Ratings, Reason, Stage, Status, Stock};
use lanewright_compute::estimate::Kept;
use lanewright_compute::lane_plan::{Budget, Lane, Objective, Problem, Runner, StockItem, group, loss, plan, weight};
use lanewright_compute::prior::PriorPolicy;
use lanewright_compute::specs::Birth;
use lanewright_compute::units::{BarrierKind, Length};
use lanewright_compute::wellbeing::{Break, What};

use super::athlete::Athlete;
use super::coach::grid;
use super::dice::Dice;
use super::laws::{Placement, broken};
use super::season::{runs, squad};

/// Eight weeks.
pub const DAYS: i32 = 56;
/// The first day of the calendar, days since 1970-01-01.
pub(super) const FIRST_DAY: i32 = 20_700;
/// Days of running after which an athlete's share of held intervals says something of eight weeks.
const DAYS_TO_JUDGE: usize = 4;
/// Share of broken intervals in which an athlete goes down.
const FALLS: f64 = 0.01;
/// Share of barriers hit where the interval holds, and where not.
const HITS: (f64, f64) = (0.02, 0.10);
/// Share of sessions after which an athlete is restricted for a week.
const RESTRICTED: f64 = 0.01;
/// Parts of a search that one plan may look into.
const MOST_NODES: u64 = 50_000;

/// How many athletes, lanes and places.
#[derive(Clone, Copy, Debug)]
pub struct Shape {
    pub athletes: u32,
    pub lanes: u32,
    pub capacity: usize,
}

/// What a squad of 24 finds on most straights.
pub const USUAL: Shape = Shape { athletes: 24, lanes: 6, capacity: 8 };

/// A placement worth looking at.
#[derive(Clone, Debug)]
pub struct Case {
    pub club: u64,
    pub athlete: usize,
    pub day: i32,
    pub at: Configuration,
    pub advised: Configuration,
    /// Mean P(hold) as believed, and the truth.
    pub believed: f64,
    pub truth: f64,
    pub loss: f64,
}

/// What one arm came to.
#[derive(Clone, Debug, Default)]
pub struct Arm {
    /// Stages gained by all together.
    pub gains: usize,
    /// Athletes at spacing build or later at the end.
    pub far: usize,
    pub athletes: usize,
    pub held: u32,
    pub intervals: u32,
    /// Share of intervals held of each athlete, lowest first.
    pub shares: Vec<f64>,
    /// The same of those who ran on four days or more and whom some lane holds as a first lane should, the truth known: nobody
    /// can hold more than the best lane.
    pub able: Vec<f64>,
    pub placements: usize,
    pub waits: usize,
    /// Placements exactly as advised.
    pub as_advised: usize,
    /// Laws broken, with the placement.
    pub broken: Vec<(&'static str, Case)>,
    /// Ten placements with the lowest true P(hold).
    pub worst: Vec<Case>,
    /// Plans that were not proven.
    pub unproven: usize,
    pub plans: usize,
}

pub struct Member {
    pub athlete: Athlete,
    pub record: Record,
    kept: Option<Kept>,
    rated_on: i32,
    losses: Vec<f64>,
    first: Option<usize>,
    last: usize,
    held: u32,
    intervals: u32,
    fell_on: Option<i32>,
}

fn mm(heights: &[u32]) -> Vec<Length> {
    heights.iter().copied().map(Length::from_mm).collect()
}

fn barriers() -> Vec<StockItem> {
    let item = |id, kind, heights: &[u32], count| StockItem { id, kind, heights: mm(heights), count };
    vec![
        item(1, BarrierKind::Wicket, &[300], 24),
        item(2, BarrierKind::LowBarrier, &[400, 500, 600], 24),
        item(3, BarrierKind::Hurdle, &[600, 685, 762, 840], 24),
    ]
}

pub fn setting() -> Setting {
    let stock = barriers().into_iter().map(|item| Stock { kind: item.kind, heights: item.heights }).collect();
    Setting {
        ruleset: "UKA".to_owned(),
        specs: Vec::new(),
        age_groups: Vec::new(),
        stock,
        policy: Policy::default(),
        start: PriorPolicy::default(),
    }
}

fn secure() -> Ratings {
    let secure = Some(Rating::Secure);
    Ratings { lead_leg: secure, trail_leg: secure, walkover: secure, ..Ratings::default() }
}

impl Member {
    pub fn new(athlete: Athlete) -> Self {
        let mut dice = athlete.dice(0, 20);
        let rated_on = [0, 0, 0, 7, 14][dice.pick(5) as usize];
        let measured = athlete.measured;
        #[allow(clippy::cast_possible_truncation)] // days of a youth
        let born = FIRST_DAY - (athlete.age_y * 365.25) as i32;
        let record = Record {
            sex: athlete.sex,
            birth: Birth::Date(Day::from_days(born).expect("a day")),
            experience: measured.experience,
            stature_m: measured.stature_m,
            leg_length_m: measured.leg_length_m,
            sprint_30m_s: measured.sprint_30m_s,
            sprint_50m_s: measured.sprint_50m_s,
            approach_strides: None,
            status: Status::Active,
            breaks: Vec::new(),
            surface: None,
            ratings: Ratings::default(),
            clearance: Clearance::NotNeeded,
            word: None,
            runs: Vec::new(),
        };
        Self {
            athlete,
            record,
            kept: None,
            rated_on,
            losses: Vec::new(),
            first: None,
            last: 0,
            held: 0,
            intervals: 0,
            fell_on: None,
        }
    }

    /// Brings the record up to the morning of a day.
    pub fn wake(&mut self, day: i32) {
        if day >= self.rated_on {
            self.record.ratings = secure();
        }
        // A coach clears a fall at the second session after it.
        let cleared = self.fell_on.is_some_and(|fell| day - fell > 4);
        self.record.clearance = match self.fell_on {
            None => Clearance::NotNeeded,
            Some(_) if cleared => Clearance::Given,
            Some(_) => Clearance::Pending,
        };
    }

    pub fn advice<'a>(&mut self, setting: &'a Setting, day: i32) -> Advice<'a> {
        let on = Day::from_days(FIRST_DAY + day).expect("a day");
        let advice = advise_keeping(&mut self.kept, &self.record, setting, on).expect("possible records");
        let stage = Stage::ALL.iter().position(|stage| *stage == advice.decision.stage).expect("a stage");
        self.first.get_or_insert(stage);
        self.last = stage;
        advice
    }

    pub fn run(&mut self, day: i32, at: Configuration) {
        let mut dice = self.athlete.dice(day, 21);
        for run in runs(&self.athlete, day, at.height, at.spacing) {
            let all = u16::try_from(run.intervals()).expect("a run");
            let share = |dice: &mut Dice, n: u16, p: f64| (0..n).map(|_| u16::from(dice.chance(p))).sum::<u16>();
            let hits = share(&mut dice, run.held + 1, HITS.0) + share(&mut dice, all - run.held, HITS.1);
            let fell = share(&mut dice, run.over_reached, FALLS) > 0;
            if fell {
                self.fell_on = Some(day);
            }
            self.held += u32::from(run.held);
            self.intervals += u32::from(all);
            self.record.runs.push(RunRecord {
                day: FIRST_DAY + day,
                barrier_kind: at.barrier_kind,
                height: at.height,
                spacing: at.spacing,
                barriers: all + 1,
                held: run.held,
                over_reached: run.over_reached,
                crowded: run.crowded,
                broken: run.broken,
                hits,
                fell,
            });
        }
        if dice.chance(RESTRICTED) {
            // A coach confirms the return on its first day.
            let (on, until) = (FIRST_DAY + day, FIRST_DAY + day + 7);
            let what = What::Restriction { until: Some(until) };
            self.record.breaks.push(Break { what, on, cleared_on: None, confirmed_on: Some(until + 1) });
        }
    }

    /// Configurations held on file at the latest, counted here and not by the service.
    fn held_on_file(&self) -> Vec<Configuration> {
        let runs = &self.record.runs;
        let mut found: Vec<Configuration> = Vec::new();
        for run in runs {
            let same = || runs.iter().filter(|other| other.configuration() == run.configuration());
            let all: u32 = same().map(RunRecord::intervals).sum();
            let held: u32 = same().map(|run| u32::from(run.held)).sum();
            if all >= 6 && held * 2 > all && !found.contains(&run.configuration()) {
                found.push(run.configuration());
            }
        }
        found
    }

    /// Whether the latest session had a fall, a fall waits for a coach's word, or fewer than two sessions were run since a
    /// restriction.
    fn unclean(&self, day: i32) -> bool {
        let runs = &self.record.runs;
        let latest = runs.iter().map(|run| run.day).max();
        let fell = runs.iter().any(|run| Some(run.day) == latest && run.fell);
        let back = self.record.breaks.iter().map(|one| one.on + 8).filter(|back| *back <= FIRST_DAY + day).max();
        let since =
            |back: i32| -> BTreeSet<i32> { runs.iter().map(|run| run.day).filter(|one| *one >= back).collect() };
        fell || self.record.clearance == Clearance::Pending || back.is_some_and(|back| since(back).len() < 2)
    }
}

fn attends(one: &Athlete, day: i32) -> bool {
    one.calendar.season().any(|own| own == day)
}

/// Eight weeks of a club in private lanes, each as advised.
pub fn private(club: u64, shape: Shape) -> Arm {
    let setting = setting();
    let mut arm = Arm::default();
    for mut member in squad(club, shape.athletes).into_iter().map(Member::new) {
        for day in (0..DAYS).filter(|day| attends(&member.athlete, *day)).collect::<Vec<_>>() {
            member.wake(day);
            let advice = member.advice(&setting, day);
            if let Some(at) = advice.decision.region.advised() {
                member.run(day, at);
                arm.placements += 1;
            }
        }
        member.wake(DAYS);
        member.advice(&setting, DAYS);
        arm.add(&member);
    }
    arm
}

/// Eight weeks of a club in planned lanes.
#[allow(clippy::too_many_lines)] // one day after the other
pub fn planned(club: u64, shape: Shape) -> Arm {
    let setting = setting();
    let mut arm = Arm::default();
    let mut members: Vec<Member> = squad(club, shape.athletes).into_iter().map(Member::new).collect();
    for day in 0..DAYS {
        let here: Vec<usize> = (0..members.len()).filter(|&a| attends(&members[a].athlete, day)).collect();
        let advised: Vec<(usize, Advice<'_>)> = here
            .into_iter()
            .map(|a| {
                members[a].wake(day);
                (a, members[a].advice(&setting, day))
            })
            .filter(|(_, advice)| advice.decision.region.closed().is_none())
            .collect();
        if advised.is_empty() {
            continue;
        }
        let runners: Vec<Runner<'_>> = advised
            .iter()
            .map(|(a, advice)| Runner {
                id: *a as u128,
                estimate: &advice.estimate,
                region: advice.decision.region.clone(),
                weight: weight(&members[*a].losses),
                target: 0,
                approach: Approach::default(),
            })
            .collect();
        let problem = problem(&runners, &setting, shape);
        let made = plan(&problem, Budget { nodes: MOST_NODES }, &|| false).expect("a plan");
        arm.plans += 1;
        arm.unproven += usize::from(!made.proven_optimal);
        for one in &made.waiting {
            members[usize::try_from(one.athlete).expect("a position")].losses.insert(0, 1.0);
            arm.waits += 1;
        }
        for lane in &made.lanes {
            let at = problem.candidates[lane.candidate].configuration();
            for placed in &lane.athletes {
                let runner = problem.athletes.iter().find(|one| one.id == placed.athlete).expect("an athlete");
                let a = usize::try_from(placed.athlete).expect("a position");
                let advice = &advised.iter().find(|(one, _)| *one == a).expect("advised").1;
                let case = Case {
                    club,
                    athlete: a,
                    day,
                    at,
                    advised: runner.advised,
                    believed: placed.hold,
                    truth: members[a].athlete.hold(day, at.height, at.spacing),
                    loss: loss(runner, at, placed.hold),
                };
                arm.judge(&case, &members[a], advice, &setting.policy);
                members[a].losses.insert(0, case.loss);
                members[a].run(day, at);
            }
        }
    }
    for mut member in members {
        member.wake(DAYS);
        member.advice(&setting, DAYS);
        arm.add(&member);
    }
    arm
}

fn problem(runners: &[Runner<'_>], setting: &Setting, shape: Shape) -> Problem {
    let stock = barriers();
    let (candidates, athletes) = group(runners, &stock, setting.policy.spacing_step, None);
    Problem {
        athletes,
        candidates,
        lanes: (1..=shape.lanes).map(|number| Lane { number, straight: Length::from_mm(80_000) }).collect(),
        lanes_max: shape.lanes as usize,
        capacity: shape.capacity,
        barriers_min: 4,
        barriers_max: 6,
        run_out: Length::from_mm(10_000),
        stock,
        pins: Vec::new(),
        apart: Vec::new(),
        objective: Objective::Total,
        last_time: None,
    }
}

impl Arm {
    fn add(&mut self, member: &Member) {
        let far = Stage::ALL.iter().position(|stage| *stage == Stage::SpacingBuild).expect("a stage");
        self.gains += member.last.saturating_sub(member.first.unwrap_or(member.last));
        self.far += usize::from(member.last >= far);
        self.athletes += 1;
        self.held += member.held;
        self.intervals += member.intervals;
        if member.intervals > 0 {
            let share = f64::from(member.held) / f64::from(member.intervals);
            self.shares.push(share);
            let wicket = Length::from_mm(300);
            let best = grid().map(|spacing| member.athlete.hold(DAYS / 2, wicket, spacing)).fold(0.0, f64::max);
            // Whoever came a few times only has no eight weeks to be judged over: their first lanes are known from no run.
            let days: BTreeSet<i32> = member.record.runs.iter().map(|run| run.day).collect();
            let able = best >= Policy::default().first_lane_hold && days.len() >= DAYS_TO_JUDGE;
            self.able.extend(able.then_some(share));
            self.sort();
        }
    }

    fn judge(&mut self, case: &Case, member: &Member, advice: &Advice<'_>, policy: &Policy) {
        let target = advice.target.as_ref().map(|target| (target.spec.height.mm(), target.spec.between.mm()));
        let laws = broken(&Placement {
            at: case.at,
            hold: advice.estimate.hold_mean(case.at.height, case.at.spacing),
            advised: advice.decision.proposed.expect("nobody rests"),
            last: advice.decision.current,
            held: &member.held_on_file(),
            target_mm: target,
            unclean: member.unclean(case.day),
            soft: false,
            crowded: advice.decision.needs_confirmation && advice.decision.reasons.contains(&Reason::Crowded),
            floor: policy.hold_floor,
            wanted: policy.first_lane_hold,
            step_mm: policy.spacing_step.mm(),
        });
        self.broken.extend(laws.into_iter().map(|law| (law, case.clone())));
        self.placements += 1;
        self.as_advised += usize::from(case.at == case.advised);
        self.worst.push(case.clone());
        self.worst.sort_by(|a, b| a.truth.total_cmp(&b.truth));
        self.worst.truncate(10);
    }

    /// Both together.
    #[must_use]
    pub fn with(mut self, other: Self) -> Self {
        self.gains += other.gains;
        self.far += other.far;
        self.athletes += other.athletes;
        self.held += other.held;
        self.intervals += other.intervals;
        self.shares.extend(other.shares);
        self.able.extend(other.able);
        self.sort();
        self.placements += other.placements;
        self.waits += other.waits;
        self.as_advised += other.as_advised;
        self.broken.extend(other.broken);
        self.worst.extend(other.worst);
        self.worst.sort_by(|a, b| a.truth.total_cmp(&b.truth));
        self.worst.truncate(10);
        self.unproven += other.unproven;
        self.plans += other.plans;
        self
    }

    fn sort(&mut self) {
        self.shares.sort_by(f64::total_cmp);
        self.able.sort_by(f64::total_cmp);
    }

    /// Share of all intervals that were held.
    pub fn held_share(&self) -> f64 {
        f64::from(self.held) / f64::from(self.intervals.max(1))
    }
}

/// Both arms of clubs of these seeds: private lanes, and the plan.
pub fn both(seeds: impl Iterator<Item = u64>, shape: Shape) -> (Arm, Arm) {
    seeds.fold((Arm::default(), Arm::default()), |(alone, together), seed| {
        (alone.with(private(seed, shape)), together.with(planned(seed, shape)))
    })
}
