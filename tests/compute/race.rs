//! Race tests: heats against brute force, laws of heats and lanes, and the handicap by simulation.

// Milliseconds made of random seconds are small and above zero.
#![allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]

use std::collections::BTreeSet;

use lanewright_compute::race::{
    Basis, Entry, Expected, Heats, HeatsError, LaneDraw, Pin, Seeding, Wish, draw_lanes, handicap, heats, usable_lanes,
};
use proptest::prelude::*;

fn field(times: &[Option<u32>]) -> Vec<Entry> {
    (1..).zip(times).map(|(athlete, expected_ms)| Entry { athlete, expected_ms: *expected_ms }).collect()
}

fn wish(lanes: u8, seeding: Seeding) -> Wish {
    Wish { lanes: usable_lanes(lanes, false), heats: None, seeding, pins: vec![], apart: vec![] }
}

fn time_of(entries: &[Entry], athlete: u128) -> Option<u32> {
    entries.iter().find(|entry| entry.athlete == athlete).unwrap().expected_ms
}

/// How far an arrangement is from one athlete of each tier in each heat, and the spread of the means: both written
/// afresh from the definition.
fn mix_and_spread(entries: &[Entry], heats: &[Vec<u128>]) -> (usize, f64) {
    let mut order: Vec<&Entry> = entries.iter().collect();
    order.sort_by_key(|entry| (entry.expected_ms, entry.athlete));
    let tier = |athlete: &u128| order.iter().position(|entry| entry.athlete == *athlete).unwrap() / heats.len();
    let mix = heats.iter().map(|heat| heat.len() - heat.iter().map(tier).collect::<BTreeSet<_>>().len()).sum();
    let means: Vec<f64> = heats
        .iter()
        .map(|heat| heat.iter().map(|one| f64::from(time_of(entries, *one).unwrap())).sum::<f64>() / heat.len() as f64)
        .collect();
    let (low, high) = means.iter().fold((f64::MAX, f64::MIN), |(low, high), mean| (low.min(*mean), high.max(*mean)));
    (mix, high - low)
}

/// Every way to cut a field into heats of at most `places`.
fn every_cut(athletes: &[u128], sizes: &[usize]) -> Vec<Vec<Vec<u128>>> {
    let Some((first, rest)) = athletes.split_first() else { return vec![vec![vec![]; sizes.len()]] };
    let mut all = Vec::new();
    for heat in 0..sizes.len() {
        if sizes[heat] == 0 {
            continue;
        }
        let mut smaller = sizes.to_vec();
        smaller[heat] -= 1;
        for mut cut in every_cut(rest, &smaller) {
            cut[heat].push(*first);
            all.push(cut);
        }
    }
    all
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn a_small_field_is_balanced_as_well_as_brute_force_can(times in prop::collection::vec(10_000..16_000_u32, 4..9)) {
        let entries = field(&times.iter().copied().map(Some).collect::<Vec<_>>());
        let found = heats(&entries, &Wish { heats: Some(2), ..wish(6, Seeding::Balanced) }).unwrap();
        prop_assert!(found.exact);
        let ids: Vec<u128> = entries.iter().map(|entry| entry.athlete).collect();
        let sizes: Vec<usize> = found.heats.iter().map(Vec::len).collect();
        let best = every_cut(&ids, &sizes)
            .iter()
            .map(|cut| mix_and_spread(&entries, cut))
            .min_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)))
            .unwrap();
        let ours = mix_and_spread(&entries, &found.heats);
        prop_assert_eq!(ours.0, best.0);
        prop_assert!((ours.1 - best.1).abs() < 1e-6, "{ours:?} instead of {best:?}");
        prop_assert!((found.spread_ms.unwrap() - best.1).abs() < 1e-6);
    }

    #[test]
    fn sizes_differ_by_at_most_one_and_everybody_runs_once(
        times in prop::collection::vec(prop::option::weighted(0.8, 9_000..18_000_u32), 1..70),
        lanes in 1..=9_u8,
        like in any::<bool>(),
    ) {
        let seeding = if like { Seeding::LikeTimes } else { Seeding::Balanced };
        let entries = field(&times);
        let wish = wish(lanes, seeding);
        if times.len().div_ceil(usize::from(lanes)) > 60 {
            return Ok(());
        }
        let found = heats(&entries, &wish).unwrap();
        prop_assert_eq!(found.heats.len(), times.len().div_ceil(usize::from(lanes)), "the fewest");
        let sizes: Vec<usize> = found.heats.iter().map(Vec::len).collect();
        prop_assert!(sizes.iter().max().unwrap() - sizes.iter().min().unwrap() <= 1);
        let mut all: Vec<u128> = found.heats.concat();
        all.sort_unstable();
        prop_assert_eq!(all, entries.iter().map(|entry| entry.athlete).collect::<Vec<_>>());
        let unknown: Vec<usize> =
            found.heats.iter().map(|heat| heat.iter().filter(|one| time_of(&entries, **one).is_none()).count()).collect();
        prop_assert!(unknown.iter().max().unwrap() - unknown.iter().min().unwrap() <= 1, "{unknown:?}");
        let mut shuffled = entries.clone();
        shuffled.reverse();
        prop_assert_eq!(heats(&shuffled, &wish).unwrap(), found, "the order of entries does not matter");
    }

    #[test]
    fn each_balanced_heat_has_the_same_mix(times in prop::collection::vec(9_000..18_000_u32, 12..60), lanes in 4..=8_u8) {
        let entries = field(&times.iter().copied().map(Some).collect::<Vec<_>>());
        let found = heats(&entries, &wish(lanes, Seeding::Balanced)).unwrap();
        let (mix, spread) = mix_and_spread(&entries, &found.heats);
        prop_assert_eq!(mix, 0);
        // A plain serpentine is what a coach does by hand.
        let mut order: Vec<&Entry> = entries.iter().collect();
        order.sort_by_key(|entry| (entry.expected_ms, entry.athlete));
        let count = found.heats.len();
        let mut serpentine = vec![Vec::new(); count];
        for (at, entry) in order.iter().enumerate() {
            let heat = if (at / count).is_multiple_of(2) { at % count } else { count - 1 - at % count };
            serpentine[heat].push(entry.athlete);
        }
        if entries.len().is_multiple_of(count) {
            prop_assert!(spread <= mix_and_spread(&entries, &serpentine).1 + 1e-6);
        }
    }

    #[test]
    fn like_times_run_together_and_the_fastest_heat_comes_last(
        times in prop::collection::vec(9_000..18_000_u32, 2..60),
        lanes in 2..=8_u8,
    ) {
        let entries = field(&times.iter().copied().map(Some).collect::<Vec<_>>());
        let found = heats(&entries, &wish(lanes, Seeding::LikeTimes)).unwrap();
        if times.len() % found.heats.len() != 0 {
            return Ok(()); // where a heat is larger, which one it is decides too
        }
        for pair in found.heats.windows(2) {
            let slower = pair[0].iter().map(|one| time_of(&entries, *one)).min().unwrap();
            let faster = pair[1].iter().map(|one| time_of(&entries, *one)).max().unwrap();
            prop_assert!(slower >= faster);
        }
    }

    #[test]
    fn pins_hold_and_pairs_stay_apart(
        times in prop::collection::vec(9_000..18_000_u32, 9..40),
        pairs in prop::collection::vec((1..9_u128, 1..9_u128), 0..5),
        heat in 1..=3_u8,
    ) {
        let entries = field(&times.iter().copied().map(Some).collect::<Vec<_>>());
        let apart: Vec<(u128, u128)> = pairs.into_iter().filter(|(a, b)| a != b).collect();
        let pins = vec![Pin { athlete: 9, heat: Some(heat), lane: Some(2) }];
        let wish = Wish { heats: Some(5), pins, apart: apart.clone(), ..wish(8, Seeding::Balanced) };
        match heats(&entries, &wish) {
            Ok(found) => {
                prop_assert!(found.heats[usize::from(heat) - 1].contains(&9));
                for (a, b) in apart {
                    prop_assert!(!found.heats.iter().any(|heat| heat.contains(&a) && heat.contains(&b)));
                }
            }
            // Five pairs among eight athletes always leave a way over five heats.
            Err(error) => prop_assert!(false, "{error}"),
        }
    }

    #[test]
    fn everybody_of_a_heat_has_one_lane_in_use(
        count in 1..=8_usize,
        every_other in any::<bool>(),
        ranked in any::<bool>(),
        seed in any::<u32>(),
    ) {
        let usable = usable_lanes(if every_other { 12 } else { 8 }, every_other);
        prop_assume!(count <= usable.len());
        let athletes: Vec<u128> = (1..).take(count).collect();
        let draw = if ranked { LaneDraw::Ranked } else { LaneDraw::Lots };
        let drawn = draw_lanes(&athletes, &[(1, usable[0])], &usable, draw, seed, 3);
        prop_assert_eq!(drawn.len(), count);
        prop_assert!(drawn.windows(2).all(|pair| pair[0].lane < pair[1].lane));
        prop_assert!(drawn.iter().all(|one| usable.contains(&one.lane)));
        prop_assert_eq!(drawn.iter().find(|one| one.athlete == 1).unwrap().lane, usable[0]);
        if every_other {
            prop_assert!(drawn.windows(2).all(|pair| pair[1].lane - pair[0].lane >= 2), "a free lane between");
        }
    }
}

#[test]
fn what_cannot_be_is_named() {
    let entries = field(&[Some(12_000), Some(12_500), None, Some(13_000)]);
    let base = wish(2, Seeding::Balanced);
    let refused = |change: &dyn Fn(&mut Wish)| {
        let mut wish = base.clone();
        change(&mut wish);
        heats(&entries, &wish).unwrap_err()
    };
    let pin = |athlete, heat, lane| Pin { athlete, heat, lane };
    assert_eq!(refused(&|wish| wish.heats = Some(1)), HeatsError::Count { wanted: 1, least: 2, most: 4 });
    assert_eq!(refused(&|wish| wish.heats = Some(5)), HeatsError::Count { wanted: 5, least: 2, most: 4 });
    assert_eq!(refused(&|wish| wish.lanes = vec![]), HeatsError::Lanes(0));
    assert_eq!(refused(&|wish| wish.pins = vec![pin(7, Some(1), None)]), HeatsError::NotEntered(7));
    assert_eq!(refused(&|wish| wish.pins = vec![pin(1, Some(3), None)]), HeatsError::PinOutside(1));
    assert_eq!(refused(&|wish| wish.pins = vec![pin(1, None, Some(3))]), HeatsError::PinOutside(1));
    assert_eq!(refused(&|wish| wish.pins = vec![pin(1, Some(1), None); 2]), HeatsError::Twice(1));
    let three = (1..=3).map(|athlete| pin(athlete, Some(1), None)).collect::<Vec<_>>();
    assert_eq!(refused(&|wish| wish.pins.clone_from(&three)), HeatsError::PinsFull(3));
    let same_lane = (1..=3).map(|athlete| pin(athlete, None, Some(1))).collect::<Vec<_>>();
    assert_eq!(refused(&|wish| wish.pins.clone_from(&same_lane)), HeatsError::PinsFull(3));
    let clash = vec![pin(1, Some(1), Some(1)), pin(2, Some(1), Some(1))];
    assert_eq!(refused(&|wish| wish.pins.clone_from(&clash)), HeatsError::PinClash(1, 2));
    let together = vec![pin(1, Some(1), None), pin(2, Some(1), None)];
    let both = |wish: &mut Wish| {
        wish.pins.clone_from(&together);
        wish.apart = vec![(1, 2)];
    };
    assert_eq!(refused(&both), HeatsError::PinnedTogether(1, 2));
    assert_eq!(refused(&|wish| wish.apart = vec![(1, 2), (2, 3), (1, 3)]), HeatsError::Apart);
    assert_eq!(heats(&[], &base).unwrap_err(), HeatsError::Entries(0));
}

#[test]
fn a_large_field_keeps_rivals_apart_and_is_balanced_to_a_hundredth_of_its_range() {
    let mut lots = Lots(11);
    let times: Vec<Option<u32>> = (0..60).map(|_| Some(10_000 + (lots.unit() * 6_000.0) as u32)).collect();
    let entries = field(&times);
    // A chain of rivals over half the field.
    let apart: Vec<(u128, u128)> = (1..30).map(|n| (n, n + 1)).collect();
    let Heats { heats: found, spread_ms, exact } =
        heats(&entries, &Wish { apart: apart.clone(), ..wish(8, Seeding::Balanced) }).unwrap();
    assert!(!exact);
    assert!(apart.iter().all(|(a, b)| !found.iter().any(|heat| heat.contains(a) && heat.contains(b))));
    assert!(spread_ms.unwrap() < 60.0, "{spread_ms:?}");
}

/// A small seeded generator of the tests' own.
struct Lots(u64);

impl Lots {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// Normal, mean 0, deviation 1: twelve uniform numbers less six.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

fn range(values: &[f64]) -> f64 {
    values.iter().fold(f64::MIN, |high, value| high.max(*value))
        - values.iter().fold(f64::MAX, |low, value| low.min(*value))
}

#[test]
fn a_handicap_brings_the_finish_closer_together() {
    let mut lots = Lots(42);
    let (mut with, mut without, mut first) = (0.0, 0.0, [0_u32; 6]);
    for field in 0..300 {
        // Six athletes between 11 and 16 s, each known to 0.25 s.
        let truth: Vec<f64> = (0..6).map(|_| 11.0 + 5.0 * lots.unit()).collect();
        let expected: Vec<Option<Expected>> = truth
            .iter()
            .map(|time| {
                let time_ms = ((time + 0.25 * lots.normal()) * 1_000.0) as u32;
                Some(Expected { time_ms, sd_ms: 250, basis: Basis::RecentTests })
            })
            .collect();
        let starts = handicap(&expected, 20_000);
        let race: Vec<f64> = truth.iter().map(|time| time + 0.15 * lots.normal()).collect();
        let finish: Vec<f64> = race
            .iter()
            .zip(&starts)
            .map(|(time, start)| time + f64::from(start.offset_ms.unwrap()) / 1_000.0)
            .collect();
        with += range(&finish) / 300.0;
        without += range(&race) / 300.0;
        // Who is first across the line, counted by rank of true speed.
        let winner = (0..6).min_by(|a, b| finish[*a].total_cmp(&finish[*b])).unwrap();
        let rank = truth.iter().filter(|time| **time < truth[winner]).count();
        first[rank] += 1;
        assert!(starts.iter().any(|start| start.offset_ms == Some(0)), "field {field}: the slowest starts first");
    }
    // Normal theory: six finishes of deviation sqrt(0.25^2 + 0.15^2) = 0.29 range over 2.53 deviations = 0.74 s.
    assert!((0.65..0.85).contains(&with), "{with}");
    assert!(without > 3.0, "{without}");
    assert!(first.iter().all(|wins| (25..=80).contains(wins)), "everybody has a chance: {first:?}");
}

#[test]
fn without_an_expected_time_there_is_no_handicap() {
    let time = |time_ms| Some(Expected { time_ms, sd_ms: 300, basis: Basis::Speed });
    let offsets = |field: &[Option<Expected>]| -> Vec<Option<u32>> {
        handicap(field, 5_000).iter().map(|start| start.offset_ms).collect()
    };
    assert_eq!(offsets(&[None, None]), [None, None]);
    assert_eq!(offsets(&[None, time(12_000)]), [None, None], "one known time has nobody to wait for");
    assert_eq!(offsets(&[time(12_000), None, time(13_500)]), [Some(1_500), None, Some(0)]);
}
