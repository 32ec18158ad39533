//! The lane plan against brute force, and the laws that hold for every plan.

use lanewright_compute::lane_plan::{
    Athlete, Budget, Candidate, Infeasible, Lane, LastTime, Limit, Objective, Part, Pin, Plan, PlanError, PlannedLane,
    Problem, ProblemError, Relaxation, StockItem, WaitReason, plan, weight,
};
use lanewright_compute::units::{BarrierKind, Length};
use std::collections::BTreeMap;

use crate::lane_plan_cases::{Dice, Shape, check, problem, stock_suffices};

const ENOUGH: Budget = Budget { nodes: 200_000 };

fn solve(problem: &Problem) -> Result<Plan, PlanError> {
    plan(problem, ENOUGH, &|| false)
}

/// The best (total, largest) in regret units by trying everything: every configuration in every lane, and in each such
/// set-out every assignment, with some athletes waiting at a cost where `may_wait`.
fn brute_force(problem: &Problem, may_wait: bool) -> Option<(i64, i64)> {
    let regrets: Vec<Vec<Option<i64>>> = (0..problem.athletes.len()).map(|a| problem.regret_units(a)).collect();
    let (lanes, kinds) = (problem.lanes.len(), problem.candidates.len() + 1);
    let mut best: Option<(i64, i64)> = None;
    for code in 0..kinds.pow(u32::try_from(lanes).unwrap()) {
        let choice: Vec<Option<usize>> =
            (0..lanes).map(|l| (code / kinds.pow(u32::try_from(l).unwrap()) % kinds).checked_sub(1)).collect();
        let stands = choice.iter().zip(&problem.lanes).all(|(c, lane)| {
            c.is_none_or(|c| {
                problem.candidates[c].straight_mm(problem.barriers_min, problem.run_out)
                    <= u64::from(lane.straight.mm())
            })
        });
        let mut demand: BTreeMap<(BarrierKind, Length), u32> = BTreeMap::new();
        for c in choice.iter().flatten() {
            let candidate = problem.candidates[*c];
            *demand.entry((candidate.kind, candidate.height)).or_default() += problem.barriers_min;
        }
        let used = choice.iter().flatten().count();
        if stands && used <= problem.lanes_max && stock_suffices(problem, &demand) {
            let start = (change_cost(problem, &choice), 0);
            assign(problem, &regrets, (&choice, may_wait), &mut vec![], start, &mut best);
        }
    }
    best
}

/// What the lanes of a choice cost that were not there last time, in regret units.
fn change_cost(problem: &Problem, choice: &[Option<usize>]) -> i64 {
    let Some(last) = &problem.last_time else { return 0 };
    let pinned = |number: u32| problem.pins.iter().any(|pin| pin.lane == number);
    let numbers: Vec<u32> = problem.lanes.iter().map(|lane| lane.number).collect();
    let mut kept: Vec<_> = last.lanes.iter().filter(|(n, _)| numbers.contains(n) && !pinned(*n)).collect();
    let mut changed = 0;
    for (c, &number) in choice.iter().zip(&numbers) {
        let Some(c) = c else { continue };
        let candidate = problem.candidates[*c];
        let same = if pinned(number) {
            last.lanes.contains(&(number, candidate))
        } else if let Some(at) = kept.iter().position(|(_, one)| *one == candidate) {
            kept.remove(at);
            true
        } else {
            false
        };
        changed += i64::from(!same);
    }
    #[allow(clippy::cast_possible_truncation)] // at most 3e11
    let each = (last.unless_saves * 1e9).round() as i64;
    changed * each
}

/// The place in a choice of those who wait.
const WAITS: usize = usize::MAX;

/// What it costs when an athlete waits, in regret units.
#[allow(clippy::cast_possible_truncation)] // at most 4e10
fn waits(problem: &Problem, athlete: usize) -> i64 {
    (20.0 * problem.athletes[athlete].weight * 1e9).round() as i64
}

fn better(objective: Objective, a: (i64, i64), b: (i64, i64)) -> bool {
    match objective {
        Objective::Total => a.0 < b.0,
        Objective::Fair => (a.1, a.0) < (b.1, b.0),
    }
}

fn assign(
    problem: &Problem,
    regrets: &[Vec<Option<i64>>],
    (choice, may_wait): (&[Option<usize>], bool),
    placed: &mut Vec<usize>,
    so_far: (i64, i64),
    best: &mut Option<(i64, i64)>,
) {
    let a = placed.len();
    if a == regrets.len() {
        if best.is_none_or(|b| better(problem.objective, so_far, b)) {
            *best = Some(so_far);
        }
        return;
    }
    let id = problem.athletes[a].id;
    let pinned = problem.pins.iter().find(|pin| pin.athlete == id);
    if may_wait && pinned.is_none() {
        placed.push(WAITS);
        assign(problem, regrets, (choice, may_wait), placed, (so_far.0 + waits(problem, a), so_far.1), best);
        placed.pop();
    }
    for (l, c) in choice.iter().enumerate() {
        let Some(regret) = c.and_then(|c| regrets[a][c]) else {
            continue;
        };
        if pinned.is_some_and(|pin| pin.lane != problem.lanes[l].number)
            || placed.iter().filter(|&&other| other == l).count() == problem.capacity
        {
            continue;
        }
        let clash = |&(x, y): &(u128, u128)| {
            let other = if x == id {
                y
            } else if y == id {
                x
            } else {
                return false;
            };
            placed.iter().enumerate().any(|(b, &lane)| lane == l && problem.athletes[b].id == other)
        };
        if problem.apart.iter().any(clash) {
            continue;
        }
        placed.push(l);
        assign(problem, regrets, (choice, may_wait), placed, (so_far.0 + regret, so_far.1.max(regret)), best);
        placed.pop();
    }
}

#[test]
fn small_plans_are_as_good_as_the_best_of_all_plans() {
    let (mut full, mut short, mut impossible) = (0, 0, 0);
    for seed in 0..600 {
        let mut dice = Dice::new(seed ^ 0xABCD);
        let shape = Shape {
            athletes: 1 + dice.below(5),
            lanes: 1 + dice.below(3),
            spacings: 2 + dice.below(3),
            heights: 1 + dice.below(2),
            scarce: dice.below(3) > 0,
            wishes: dice.below(2) == 0,
        };
        let mut problem = problem(seed, &shape);
        if shape.wishes {
            problem.lanes_max -= dice.below(2).min(problem.lanes_max - 1);
            problem.last_time = last_time(&problem, &mut dice);
        }
        match (solve(&problem), best_of_all(&problem)) {
            (Ok(plan), Some(best)) => {
                check(&problem, &plan);
                assert!(plan.proven_optimal, "seed {seed}");
                let each = problem.last_time.as_ref().map_or(0.0, |last| last.unless_saves);
                let objective = plan.total_regret + plan.changed.unwrap_or(0) as f64 * each;
                assert!((plan.lower_bound - objective).abs() < 1e-9, "seed {seed}");
                as_good_as(&problem, &plan, (objective, best), seed);
                full += usize::from(plan.waiting.is_empty());
                if let Some(why) = &plan.short_of {
                    relaxations_work(&problem, why, seed);
                    short += 1;
                }
            }
            (Err(PlanError::Infeasible(_)), None) => impossible += 1,
            (ours, brute) => panic!("seed {seed}: {ours:?} but brute force finds {brute:?}"),
        }
    }
    assert!(full >= 250 && short >= 30 && impossible >= 5, "{full} with all, {short} short, {impossible} impossible");
}

/// The best of all plans.
#[derive(Clone, Copy, Debug)]
enum Best {
    /// With a place for all: (total, largest).
    All((i64, i64)),
    /// With some waiting: who waits costs so much, with what the others lose, whatever stood there last time.
    Some(i64),
}

fn best_of_all(problem: &Problem) -> Option<Best> {
    let some = || {
        let anew = Problem { objective: Objective::Total, last_time: None, ..problem.clone() };
        brute_force(&anew, true).map(|(total, _)| Best::Some(total))
    };
    brute_force(problem, false).map(Best::All).or_else(some)
}

/// Fails unless a plan, whose objective is given, is as good as the best.
fn as_good_as(problem: &Problem, plan: &Plan, (objective, best): (f64, Best), seed: u64) {
    let same = |found: f64, (total, largest): (i64, i64)| {
        assert!((found - total as f64 * 1e-9).abs() < 1e-8, "seed {seed}: {plan:?}");
        let fair = (plan.largest_regret - largest as f64 * 1e-9).abs() < 1e-12;
        assert!(problem.objective == Objective::Total || fair, "seed {seed}: {plan:?}");
    };
    let cost = match best {
        Best::All(best) => {
            assert!(plan.waiting.is_empty(), "seed {seed}: {plan:?}");
            return same(objective, best);
        }
        Best::Some(cost) => cost,
    };
    // Those who wait are the cheapest to wait, and nobody else could run better.
    let waiting = |id: u128| plan.waiting.iter().any(|one| one.athlete == id);
    let waited: i64 =
        (0..problem.athletes.len()).filter(|&a| waiting(problem.athletes[a].id)).map(|a| waits(problem, a)).sum();
    let mut few = problem.clone();
    few.athletes.retain(|athlete| !waiting(athlete.id));
    few.apart.retain(|&(a, b)| !waiting(a) && !waiting(b));
    same(objective, brute_force(&few, false).unwrap());
    let anew = Problem { objective: Objective::Total, last_time: None, ..few };
    assert_eq!(waited + brute_force(&anew, false).unwrap().0, cost, "seed {seed}: {plan:?}");
}

/// Two of the lanes as they may have been last time.
fn last_time(problem: &Problem, dice: &mut Dice) -> Option<LastTime> {
    let lanes = problem.lanes.iter().take(2);
    let lanes = lanes.map(|lane| (lane.number, problem.candidates[dice.below(problem.candidates.len())])).collect();
    (dice.below(2) == 0).then(|| LastTime { lanes, unless_saves: 0.05 * dice.below(12) as f64 })
}

/// Each relaxation makes a plan possible, and the next smaller one does not.
fn relaxations_work(problem: &Problem, why: &Infeasible, seed: u64) {
    for relaxation in &why.relaxations {
        let with = |relaxation: &Relaxation| {
            let mut changed = problem.clone();
            match *relaxation {
                Relaxation::Capacity(capacity) => changed.capacity = capacity,
                Relaxation::BarriersMin(barriers) => changed.barriers_min = barriers,
                Relaxation::Straight(straight) => {
                    for lane in &mut changed.lanes {
                        lane.straight = lane.straight.max(straight);
                    }
                }
                Relaxation::Units { kind, height, more } => {
                    changed.stock.push(StockItem { id: 99, kind, heights: vec![height], count: more });
                }
                Relaxation::NoPins => changed.pins.clear(),
            }
            solve(&changed).is_ok_and(|plan| plan.short_of.is_none())
        };
        assert!(with(relaxation), "seed {seed}: {relaxation:?} does not help");
        let smaller = match *relaxation {
            Relaxation::Capacity(capacity) => Some(Relaxation::Capacity(capacity - 1)),
            Relaxation::BarriersMin(barriers) => Some(Relaxation::BarriersMin(barriers + 1)),
            Relaxation::Straight(straight) => Some(Relaxation::Straight(Length::from_mm(straight.mm() - 1))),
            Relaxation::Units { kind, height, more } => Some(Relaxation::Units { kind, height, more: more - 1 }),
            Relaxation::NoPins => None,
        };
        assert!(smaller.is_none_or(|smaller| !with(&smaller)), "seed {seed}: less than {relaxation:?} would do");
    }
}

fn middling(seed: u64) -> Problem {
    problem(
        seed,
        &Shape { athletes: 14, lanes: 4, spacings: 10, heights: 3, scarce: seed.is_multiple_of(2), wishes: true },
    )
}

#[test]
fn the_order_of_athletes_candidates_and_stock_does_not_matter() {
    for seed in 0..40 {
        let given = middling(seed);
        let mut turned = given.clone();
        turned.candidates.reverse();
        for athlete in &mut turned.athletes {
            athlete.hold.reverse();
            athlete.permitted.reverse();
        }
        turned.athletes.reverse();
        turned.stock.reverse();
        turned.lanes.reverse();
        match (solve(&given), solve(&turned)) {
            (Ok(a), Ok(b)) => {
                assert_eq!(a.total_regret.to_bits(), b.total_regret.to_bits(), "seed {seed}");
                assert_eq!(a.lanes.len(), b.lanes.len(), "seed {seed}");
                let shown = |problem: &Problem, plan: &Plan| -> Vec<_> {
                    let lane =
                        |lane: &PlannedLane| (lane.number, problem.candidates[lane.candidate].spacing, lane.barriers);
                    plan.lanes.iter().map(lane).collect()
                };
                assert_eq!(shown(&given, &a), shown(&turned, &b), "seed {seed}");
            }
            (Err(_), Err(_)) => {}
            (a, b) => panic!("seed {seed}: {a:?} against {b:?}"),
        }
    }
}

fn waits_for(problem: &Problem, id: u128) -> f64 {
    20.0 * problem.athletes.iter().find(|one| one.id == id).unwrap().weight
}

#[test]
fn more_of_anything_never_makes_a_plan_worse() {
    let mut compared = 0;
    for seed in 0..30 {
        let mut given = middling(seed);
        given.objective = Objective::Total;
        let Ok(before) = solve(&given) else { continue };
        check(&given, &before);
        let mut stock = given.clone();
        stock.stock.iter_mut().for_each(|item| item.count += 5);
        let mut capacity = given.clone();
        capacity.capacity += 2;
        let mut lane = given.clone();
        lane.lanes.push(Lane { number: 9, straight: lane.lanes[0].straight });
        lane.lanes_max += 1;
        for more in [stock, capacity, lane] {
            let after = solve(&more).unwrap();
            check(&more, &after);
            let cost = |plan: &Plan| plan.waiting.iter().map(|one| waits_for(&given, one.athlete)).sum::<f64>();
            let (now, then) = (after.total_regret + cost(&after), before.total_regret + cost(&before));
            assert!(now <= then + 1e-9, "seed {seed}");
            compared += 1;
        }
        let fair = solve(&Problem { objective: Objective::Fair, ..given }).unwrap();
        assert_eq!(fair.waiting, before.waiting);
        assert!(fair.largest_regret <= before.largest_regret + 1e-12);
        assert!(fair.total_regret >= before.total_regret - 1e-12);
    }
    assert!(compared > 30);
}

#[test]
fn a_spent_budget_gives_a_plan_with_its_gap_or_says_so() {
    let mut gaps = 0;
    for seed in 0..20 {
        let given =
            problem(seed, &Shape { athletes: 30, lanes: 6, spacings: 16, heights: 3, scarce: false, wishes: true });
        match plan(&given, Budget { nodes: 1 }, &|| false) {
            Ok(plan) => {
                check(&given, &plan);
                assert!(plan.lower_bound <= plan.total_regret);
                gaps += usize::from(!plan.proven_optimal);
            }
            Err(error) => assert_eq!(error, PlanError::Budget),
        }
    }
    assert!(gaps > 0);
    let given = middling(3);
    let stopped = plan(&given, ENOUGH, &|| true);
    assert!(matches!(stopped, Err(PlanError::Budget) | Ok(Plan { proven_optimal: false, .. })));
}

fn candidate(kind: BarrierKind, height_mm: u32, spacing_mm: u32) -> Candidate {
    Candidate {
        kind,
        height: Length::from_mm(height_mm),
        spacing: Length::from_mm(spacing_mm),
        approach: Length::from_mm(12_000),
    }
}

/// Two athletes, two spacings, worked by hand: widths of 0.2 m, so that k w = 0.4 m.
fn by_hand() -> Problem {
    let candidates =
        vec![candidate(BarrierKind::LowBarrier, 600, 6_000), candidate(BarrierKind::LowBarrier, 600, 6_500)];
    let athlete = |id: u128, advised: usize, hold: [f64; 2]| Athlete {
        id,
        width_m: 0.2,
        height_cost: 1.0,
        advised: candidates[advised].configuration(),
        advised_hold: hold[advised],
        hold: hold.to_vec(),
        permitted: vec![true, true],
        weight: 1.0,
        target: 0,
    };
    Problem {
        athletes: vec![athlete(1, 1, [0.9, 0.8]), athlete(2, 0, [0.8, 0.2])],
        candidates,
        lanes: vec![Lane { number: 1, straight: Length::from_mm(60_000) }],
        lanes_max: 1,
        capacity: 2,
        barriers_min: 4,
        barriers_max: 6,
        run_out: Length::from_mm(10_000),
        stock: vec![StockItem { id: 7, kind: BarrierKind::LowBarrier, heights: vec![Length::from_mm(600)], count: 5 }],
        pins: Vec::new(),
        apart: Vec::new(),
        objective: Objective::Total,
        last_time: None,
    }
}

#[test]
fn a_plan_worked_by_hand_comes_out() {
    // Athlete 1 at 6.0 m: 0.5 m easier than advised, 1 - exp(-(0.5 / 0.4)^2 / 2) = 0.542167.
    // Athlete 2 at 6.5 m: as much harder counts twice, at most 1. One lane at 6.0 m costs less.
    let plan = solve(&by_hand()).unwrap();
    assert_eq!(plan.lanes.len(), 1);
    let lane = &plan.lanes[0];
    assert_eq!((lane.candidate, lane.barriers), (0, 5), "as many barriers as the stock has");
    assert!((plan.total_regret - 0.542_167).abs() < 1e-6, "{}", plan.total_regret);
    assert!((lane.athletes[0].regret - 0.542_167).abs() < 1e-6 && lane.athletes[1].regret == 0.0);
}

#[test]
fn whoever_was_served_badly_lately_counts_more() {
    let mut problem = by_hand();
    problem.athletes[0].weight = weight(&[0.4, 0.4]);
    let plan = solve(&problem).unwrap();
    assert_eq!(plan.lanes[0].candidate, 1, "2 x 0.54 outweighs 1");
    // With one place, whoever waited last time runs.
    problem.capacity = 1;
    let waits = |problem: &Problem| solve(problem).unwrap().waiting.iter().map(|one| one.athlete).collect::<Vec<_>>();
    assert_eq!(waits(&problem), [2]);
    problem.athletes[0].weight = 1.0;
    problem.athletes[1].weight = weight(&[1.0]);
    assert_eq!(waits(&problem), [1]);
}

#[test]
fn equally_demanding_barriers_lose_only_what_another_barrier_loses() {
    let mut problem = by_hand();
    // 0.60 m costs 1.0 x 0.30 m of spacing: a wicket lane at 6.3 m is as demanding as 6.0 m at 0.60 m.
    problem.candidates =
        vec![candidate(BarrierKind::LowBarrier, 600, 6_000), candidate(BarrierKind::Wicket, 300, 6_300)];
    problem.athletes[1].hold = vec![0.8, 0.8];
    assert_eq!(problem.regret_units(1), [Some(0), Some(250_000_000)]);
}

#[test]
fn lanes_stay_as_they_were_unless_a_change_saves_enough() {
    let mut compared = 0;
    for seed in 0..20 {
        let mut given = middling(seed);
        given.objective = Objective::Total;
        let Ok(today) = solve(&given) else { continue };
        // Last time everything stood one candidate further on.
        let next = |lane: &PlannedLane| (lane.number, given.candidates[(lane.candidate + 1) % given.candidates.len()]);
        let lanes: Vec<_> = today.lanes.iter().map(next).collect();
        let with = |unless_saves: f64| {
            solve(&Problem { last_time: Some(LastTime { lanes: lanes.clone(), unless_saves }), ..given.clone() })
                .unwrap()
        };
        let mut before: Option<Plan> = None;
        for unless_saves in [0.0, 0.02, 0.1, 0.5, 5.0] {
            let plan = with(unless_saves);
            check(&given, &plan);
            if let Some(before) = &before {
                assert!(plan.changed <= before.changed, "seed {seed}: the dearer a change, the fewer");
                let saved = (before.changed.unwrap() - plan.changed.unwrap()) as f64 * unless_saves;
                assert!(plan.total_regret <= before.total_regret + saved + 1e-9, "seed {seed}");
            } else {
                assert!((plan.total_regret - today.total_regret).abs() < 1e-9, "seed {seed}");
            }
            // Where all lanes are of one length, a lane that is kept keeps its number.
            if plan.lanes.len() > plan.changed.unwrap() && seed % 2 == 1 {
                let kept = |lane: &&PlannedLane| lanes.contains(&(lane.number, given.candidates[lane.candidate]));
                let kept = plan.lanes.iter().filter(kept).count();
                assert_eq!(kept + plan.changed.unwrap(), plan.lanes.len(), "seed {seed}");
            }
            before = Some(plan);
        }
        let same = Problem {
            last_time: Some(LastTime {
                lanes: today.lanes.iter().map(|l| (l.number, given.candidates[l.candidate])).collect(),
                unless_saves: 0.0,
            }),
            ..given.clone()
        };
        assert_eq!(solve(&same).unwrap().changed, Some(0), "seed {seed}");
        compared += 1;
    }
    assert!(compared > 10);
}

#[test]
fn of_equal_lanes_each_takes_athletes_of_one_target() {
    let mut problem = by_hand();
    let alike = problem.athletes[0].clone();
    // Eight alike athletes alternate between two targets, and two lanes carry the same.
    problem.athletes = (0..8).map(|i| Athlete { id: i, target: (i % 2) as u32, ..alike.clone() }).collect();
    problem.lanes.push(Lane { number: 2, ..problem.lanes[0] });
    (problem.lanes_max, problem.capacity) = (2, 4);
    problem.stock[0].count = 20;
    let plan = solve(&problem).unwrap();
    check(&problem, &plan);
    for lane in &plan.lanes {
        let parity = lane.athletes[0].athlete % 2;
        assert!(lane.athletes.iter().all(|placed| placed.athlete % 2 == parity), "{plan:?}");
    }
    // With room for all in either lane, and one target, the lanes share them evenly.
    problem.athletes.iter_mut().for_each(|athlete| athlete.target = 0);
    problem.athletes.iter_mut().take(4).for_each(|athlete| athlete.target = 1);
    problem.capacity = 5;
    let sizes: Vec<usize> = solve(&problem).unwrap().lanes.iter().map(|lane| lane.athletes.len()).collect();
    assert_eq!(sizes, [4, 4]);
}

#[test]
fn what_binds_is_named_with_the_smallest_change() {
    let few = Problem { stock: vec![StockItem { count: 2, ..by_hand().stock[0].clone() }], ..by_hand() };
    let why = short(&few, &[1, 2]);
    assert_eq!(why.limit, Limit::Stock);
    let units = Relaxation::Units { kind: BarrierKind::LowBarrier, height: Length::from_mm(600), more: 2 };
    assert_eq!(why.relaxations, [units, Relaxation::BarriersMin(2)]);

    // 12 + 3 x 6 + 10 = 40 m.
    let why =
        short(&Problem { lanes: vec![Lane { number: 1, straight: Length::from_mm(39_000) }], ..by_hand() }, &[1, 2]);
    assert_eq!(why.limit, Limit::Straight);
    assert_eq!(why.relaxations, [Relaxation::BarriersMin(3), Relaxation::Straight(Length::from_mm(40_000))]);

    // Either could run as advised: of equal plans the one with the smaller spacing, so that athlete 1 waits.
    let why = short(&Problem { capacity: 1, ..by_hand() }, &[1]);
    assert_eq!(why.limit, Limit::Places { athletes: 2, places: 1 });
    assert_eq!(why.relaxations, [Relaxation::Capacity(2)]);
}

/// Why a plan has no place for some athletes, who are these.
fn short(problem: &Problem, waiting: &[u128]) -> Infeasible {
    let plan = solve(problem).unwrap();
    check(problem, &plan);
    assert_eq!(plan.waiting.iter().map(|one| one.athlete).collect::<Vec<_>>(), waiting);
    assert!(plan.waiting.iter().all(|one| one.reason == WaitReason::NoPlace));
    plan.short_of.unwrap()
}

#[test]
fn somebody_whom_nothing_suits_waits_while_the_others_run() {
    let mut barred = by_hand();
    barred.athletes[1].permitted = vec![false, false];
    let plan = solve(&barred).unwrap();
    check(&barred, &plan);
    assert_eq!((plan.waiting[0].athlete, plan.waiting[0].reason), (2, WaitReason::NothingPermitted));
    assert_eq!((plan.lanes[0].candidate, plan.total_regret, plan.short_of), (1, 0.0, None));
    barred.pins = vec![Pin { athlete: 2, lane: 1 }];
    let Err(PlanError::Infeasible(why)) = solve(&barred) else { panic!("a pin cannot wait") };
    assert_eq!(why.limit, Limit::NoPermittedConfiguration { athlete: 2 });
    barred.athletes[0].permitted = vec![false, false];
    let Err(PlanError::Infeasible(why)) = solve(&barred) else { panic!("a pin cannot wait") };
    let named = "the one with the pin, not whom nothing suits either and who could wait";
    assert_eq!(why.limit, Limit::NoPermittedConfiguration { athlete: 2 }, "{named}");
}

#[test]
fn problems_that_cannot_be_read_say_which_part() {
    let refused = |change: fn(&mut Problem)| {
        let mut problem = by_hand();
        change(&mut problem);
        match solve(&problem) {
            Err(PlanError::Problem(error)) => error,
            other => panic!("{other:?}"),
        }
    };
    assert_eq!(refused(|p| p.athletes.clear()), ProblemError::Size(Part::Athletes));
    assert_eq!(refused(|p| p.athletes[0].hold[0] = f64::NAN), ProblemError::Range(Part::Hold));
    assert_eq!(refused(|p| p.athletes[0].width_m = 0.0), ProblemError::Range(Part::Width));
    assert_eq!(refused(|p| p.athletes[1].id = 1), ProblemError::Twice(Part::Athletes));
    assert_eq!(refused(|p| p.athletes[0].weight = 0.9), ProblemError::Range(Part::Weight));
    assert_eq!(refused(|p| p.athletes[0].permitted.clear()), ProblemError::Size(Part::Permitted));
    assert_eq!(refused(|p| p.barriers_min = 0), ProblemError::Range(Part::Barriers));
    assert_eq!(refused(|p| p.apart = vec![(1, 5)]), ProblemError::Unknown(Part::Apart));
}
