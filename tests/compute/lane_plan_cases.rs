//! Random lane plan problems from a small seeded generator, and an independent check of any plan.

use std::collections::BTreeMap;

use lanewright_compute::lane_plan::{Athlete, Candidate, Lane, Objective, Pin, Plan, Problem, StockItem};
use lanewright_compute::units::{BarrierKind, Length};

/// SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", 2014).
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        // Mixed once, or the numbers of one seed would be those of the next, one place on.
        let mut mixed = Self(seed);
        Self(mixed.next())
    }

    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// From 0 to `n` - 1.
    pub fn below(&mut self, n: usize) -> usize {
        usize::try_from(self.next() % n as u64).unwrap()
    }

    /// From 0 to 1.
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }
}

pub struct Shape {
    pub athletes: usize,
    pub lanes: usize,
    pub spacings: usize,
    pub heights: usize,
    pub scarce: bool,
    pub wishes: bool,
}

const HEIGHTS_MM: [u32; 4] = [300, 500, 600, 762];

fn candidates(shape: &Shape) -> Vec<Candidate> {
    let mut candidates = Vec::new();
    for (h, height) in HEIGHTS_MM.iter().take(shape.heights).enumerate() {
        for s in 0..shape.spacings {
            let spacing = 5_000 + 250 * u32::try_from(s).unwrap();
            candidates.push(Candidate {
                kind: if h == 0 { BarrierKind::Wicket } else { BarrierKind::LowBarrier },
                height: Length::from_mm(*height),
                spacing: Length::from_mm(spacing),
                approach: Length::from_mm(11_000),
            });
        }
    }
    candidates
}

fn stock(dice: &mut Dice, shape: &Shape) -> Vec<StockItem> {
    let mut stock = vec![StockItem {
        id: 1,
        kind: BarrierKind::Wicket,
        heights: vec![Length::from_mm(300)],
        count: if shape.scarce { u32::try_from(4 + dice.below(10)).unwrap() } else { 100 },
    }];
    for j in 1..shape.heights.max(2) {
        let heights = HEIGHTS_MM[1..shape.heights.max(2)].iter().filter(|_| dice.below(3) > 0);
        let heights: Vec<Length> = heights.map(|&mm| Length::from_mm(mm)).collect();
        let count = if shape.scarce { u32::try_from(dice.below(12)).unwrap() } else { 100 };
        stock.push(StockItem { id: 1 + j as u128, kind: BarrierKind::LowBarrier, heights, count });
    }
    stock
}

type Wishes = (Vec<Pin>, Vec<(u128, u128)>);

fn wishes(dice: &mut Dice, shape: &Shape, athletes: &[Athlete], lanes: &[Lane]) -> Wishes {
    let mut pins: Vec<Pin> = Vec::new();
    let mut apart = Vec::new();
    if shape.wishes {
        for athlete in athletes.iter().take(2) {
            if dice.below(3) == 0 {
                pins.push(Pin { athlete: athlete.id, lane: lanes[dice.below(lanes.len())].number });
            }
        }
        if athletes.len() > 2 && dice.below(3) == 0 {
            apart.push((athletes[0].id, athletes[2].id));
        }
    }
    (pins, apart)
}

/// A problem whose athletes have hold curves of the model's form.
#[allow(clippy::too_many_lines)] // one field of the problem after the other
pub fn problem(seed: u64, shape: &Shape) -> Problem {
    let mut dice = Dice::new(seed);
    let candidates = candidates(shape);
    let span = 0.25 * shape.spacings as f64;
    let athletes = (0..shape.athletes)
        .map(|i| {
            let (limit, width, cost) = (5.0 + span * dice.unit(), 0.1 + 0.3 * dice.unit(), 0.3 + 1.5 * dice.unit());
            let hold: Vec<f64> = candidates
                .iter()
                .map(|c| {
                    let limit = limit - cost * (c.height.metres() - 0.3).max(0.0);
                    let beyond = (c.spacing.metres() - limit) / width;
                    let jammed = (limit - 1.6 - c.spacing.metres()) / width;
                    (1.0 - 1.0 / (1.0 + (-beyond).exp()) - 1.0 / (1.0 + (-jammed).exp())).clamp(1e-9, 1.0)
                })
                .collect();
            let top = candidates[dice.below(shape.heights) * shape.spacings];
            let comfortable = limit - cost * (top.height.metres() - 0.3) - width;
            let advised = candidates
                .iter()
                .filter(|c| c.height == top.height && c.spacing.metres() <= comfortable)
                .map(lanewright_compute::lane_plan::Candidate::configuration)
                .max_by_key(|c| c.spacing)
                .unwrap_or(top.configuration());
            let own = candidates.iter().position(|one| one.configuration() == advised);
            let advised_hold = own.map_or(1.0, |own| hold[own]);
            let weight = if dice.below(2) == 0 { 1.0 } else { 1.0 + dice.unit() };
            // Of some no region is known: everything up to the advised height.
            let free = dice.below(4) == 0;
            let banned = dice.below(candidates.len() * 6);
            let permitted = |(c, one): (usize, &Candidate)| {
                let beyond = if one.height < advised.height { 250 } else { 0 };
                let inside = one.spacing.mm() <= advised.spacing.mm() + beyond
                    && one.spacing.mm() + 1_500 >= advised.spacing.mm();
                one.height <= advised.height && c != banned && (free || inside)
            };
            let permitted = candidates.iter().enumerate().map(permitted).collect();
            Athlete {
                id: 1_000 + i as u128,
                width_m: width,
                height_cost: cost,
                advised,
                advised_hold,
                hold,
                permitted,
                weight,
                target: advised.height.mm(),
            }
        })
        .collect::<Vec<_>>();
    let straight = if shape.scarce { 28_000 + 1_000 * u32::try_from(dice.below(12)).unwrap() } else { 80_000 };
    let lanes = (0..shape.lanes)
        .map(|l| {
            let cut = if shape.scarce { 2_000 * u32::try_from(dice.below(3)).unwrap() } else { 0 };
            Lane { number: 1 + u32::try_from(l).unwrap(), straight: Length::from_mm(straight - cut) }
        })
        .collect::<Vec<_>>();
    let least = shape.athletes.div_ceil(shape.lanes);
    let stock = stock(&mut dice, shape);
    let (pins, apart) = wishes(&mut dice, shape, &athletes, &lanes);
    Problem {
        lanes_max: lanes.len(),
        athletes,
        candidates,
        lanes,
        capacity: least + dice.below(2),
        barriers_min: 3 + u32::try_from(dice.below(2)).unwrap(),
        barriers_max: 6,
        run_out: Length::from_mm(5_000),
        stock,
        pins,
        apart,
        objective: if dice.below(2) == 0 { Objective::Total } else { Objective::Fair },
        last_time: None,
    }
}

/// Whether the stock can set out so many units of each kind and height: Hall's condition over every subset of demands.
pub fn stock_suffices(problem: &Problem, demand: &BTreeMap<(BarrierKind, Length), u32>) -> bool {
    let wanted: Vec<_> = demand.iter().collect();
    (1_u32..1 << wanted.len()).all(|set| {
        let chosen: Vec<_> = wanted.iter().enumerate().filter(|(i, _)| set >> i & 1 == 1).map(|(_, w)| w).collect();
        let need: u32 = chosen.iter().map(|(_, units)| **units).sum();
        let serves = |item: &&StockItem| {
            chosen.iter().any(|((kind, height), _)| item.kind == *kind && item.heights.contains(height))
        };
        let have: u32 = problem.stock.iter().filter(serves).map(|item| item.count).sum();
        need <= have
    })
}

/// Fails unless the plan keeps every limit and adds up.
pub fn check(problem: &Problem, plan: &Plan) {
    let mut seen = Vec::new();
    let mut demand: BTreeMap<(BarrierKind, Length), u32> = BTreeMap::new();
    let (mut total, mut largest) = (0.0, 0.0_f64);
    for lane in &plan.lanes {
        let candidate = problem.candidates[lane.candidate];
        let given = problem.lanes.iter().find(|given| given.number == lane.number).unwrap();
        assert!((problem.barriers_min..=problem.barriers_max).contains(&lane.barriers));
        assert!(candidate.straight_mm(lane.barriers, problem.run_out) <= u64::from(given.straight.mm()));
        assert!(!lane.athletes.is_empty() && lane.athletes.len() <= problem.capacity);
        *demand.entry((candidate.kind, candidate.height)).or_default() += lane.barriers;
        for placed in &lane.athletes {
            let a = problem.athletes.iter().position(|athlete| athlete.id == placed.athlete).unwrap();
            assert!(problem.permits(a, lane.candidate));
            // Regrets are rounded to whole units of 1e-9.
            assert!((0.0..=problem.athletes[a].weight + 1e-9).contains(&placed.regret));
            assert!((placed.hold - problem.athletes[a].hold[lane.candidate]).abs() < 1e-15);
            total += placed.regret;
            largest = largest.max(placed.regret);
            seen.push(placed.athlete);
            let pin = problem.pins.iter().find(|pin| pin.athlete == placed.athlete);
            assert!(pin.is_none_or(|pin| pin.lane == lane.number));
        }
        for (a, b) in &problem.apart {
            assert!(!lane.athletes.iter().any(|p| p.athlete == *a) || !lane.athletes.iter().any(|p| p.athlete == *b));
        }
    }
    seen.extend(plan.waiting.iter().map(|one| one.athlete));
    assert!(plan.waiting.iter().all(|one| problem.pins.iter().all(|pin| pin.athlete != one.athlete)));
    seen.sort_unstable();
    let mut everyone: Vec<u128> = problem.athletes.iter().map(|athlete| athlete.id).collect();
    everyone.sort_unstable();
    assert_eq!(seen, everyone);
    assert!((total - plan.total_regret).abs() < 1e-9 && (largest - plan.largest_regret).abs() < 1e-12);
    assert!(stock_suffices(problem, &demand));
    let mut used: BTreeMap<(BarrierKind, Length), u32> = BTreeMap::new();
    let mut taken: BTreeMap<u128, u32> = BTreeMap::new();
    for one in &plan.stock_used {
        let item = problem.stock.iter().find(|item| item.id == one.item).unwrap();
        assert!(item.heights.contains(&one.height));
        *used.entry((item.kind, one.height)).or_default() += one.count;
        *taken.entry(one.item).or_default() += one.count;
        assert!(taken[&one.item] <= item.count);
    }
    assert_eq!(used, demand);
}
