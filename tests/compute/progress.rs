//! Progress by hand, and what must hold for every athlete.

use lanewright_compute::advice::{Record, RunRecord, Setting, advise};
use lanewright_compute::day::Day;
use lanewright_compute::decision::{
    Clearance, Configuration, Criterion, DecisionKind, Missing, Policy, Rating, Ratings, Stock, Wall, Word,
};
use lanewright_compute::prior::{Experience, PriorPolicy};
use lanewright_compute::progress::{
    Forecast, HORIZON_WEEKS, HeldUp, Note, Period, Plateau, Progress, Status, plateau, progress, progress_keeping,
    slope_per_week, training_days,
};
use lanewright_compute::specs::Birth;
use lanewright_compute::units::{BarrierKind, Length, Sex};
use lanewright_compute::wellbeing::{Break, What};
use proptest::prelude::*;

fn today() -> Day {
    Day::from_ymd(2_025, 6, 1).unwrap()
}

fn setting() -> Setting {
    let stock = |kind, heights: &[u32]| Stock { kind, heights: heights.iter().copied().map(Length::from_mm).collect() };
    Setting {
        ruleset: "UKA".to_owned(),
        specs: Vec::new(),
        age_groups: Vec::new(),
        stock: vec![
            stock(BarrierKind::Wicket, &[300]),
            stock(BarrierKind::LowBarrier, &[500, 600]),
            stock(BarrierKind::Hurdle, &[600, 685, 762]),
        ],
        policy: Policy::default(),
        start: PriorPolicy::default(),
    }
}

fn secure() -> Ratings {
    let secure = Some(Rating::Secure);
    Ratings { lead_leg: secure, trail_leg: secure, walkover: secure, ..Ratings::default() }
}

/// A run of five barriers, `back` days ago.
fn run(back: i32, spacing_mm: u32, held: u16) -> RunRecord {
    RunRecord {
        day: today().days() - back,
        barrier_kind: BarrierKind::LowBarrier,
        height: Length::from_mm(500),
        spacing: Length::from_mm(spacing_mm),
        barriers: 5,
        held,
        over_reached: 4 - held,
        crowded: 0,
        broken: 0,
        hits: 1,
        fell: false,
    }
}

fn record(runs: Vec<RunRecord>) -> Record {
    Record {
        sex: Sex::Female,
        birth: Birth::Date(Day::from_ymd(2_013, 5, 20).unwrap()),
        experience: Experience::Novice,
        stature_m: Some(1.58),
        leg_length_m: None,
        sprint_30m_s: None,
        sprint_50m_s: None,
        approach_strides: None,
        status: lanewright_compute::decision::Status::Active,
        breaks: Vec::new(),
        surface: None,
        ratings: secure(),
        clearance: Clearance::NotNeeded,
        word: None,
        runs,
    }
}

fn weeks(weeks: i32) -> Period {
    Period::new(today().add_days(1 - 7 * weeks), today()).unwrap()
}

fn of(record: &Record, setting: &Setting, check: impl FnOnce(&Progress<'_>)) {
    check(&progress(record, setting, weeks(12)).unwrap());
}

#[test]
fn a_day_is_summed_and_named_by_what_was_run_most() {
    let mut walkover = run(3, 6_500, 0);
    (walkover.barriers, walkover.over_reached) = (1, 0);
    let runs = [run(3, 6_000, 3), run(3, 6_000, 4), run(3, 6_250, 4), walkover, run(90, 5_000, 4)];
    let days = training_days(&runs, today().days() - 10, today().days());
    assert_eq!(days.len(), 1);
    let day = days[0];
    assert_eq!((day.main.spacing.mm(), day.widest.mm()), (6_000, 6_500));
    assert_eq!((day.load.runs, day.load.intervals, day.load.held, day.load.barriers), (4, 12, 11, 16));
    assert_eq!(day.load.hits_per_100_barriers(), Some(25.0));
}

#[test]
fn of_equal_configurations_the_wider_names_the_day() {
    let days = training_days(&[run(0, 6_250, 4), run(0, 6_000, 4)], 0, today().days());
    assert_eq!(days[0].main.spacing.mm(), 6_250);
}

/// Slopes of all pairs by hand: 0.2, 0.1, 0.4 and their median 0.2 per week.
#[test]
fn a_slope_is_the_median_of_all_pairs() {
    let slope = slope_per_week(&[(0, 6.0), (7, 6.1), (21, 6.6)]).unwrap();
    assert!((slope.per_week - 0.2).abs() < 1e-12 && slope.days == 3);
    assert!(slope.low <= 0.1 + 1e-12 && slope.high >= 0.25 - 1e-12);
    assert_eq!(slope_per_week(&[(0, 6.0), (7, 6.1)]), None);
}

#[test]
fn a_plateau_needs_two_days_in_each_of_four_weeks_and_says_which_lack_them() {
    let points = |weeks: &[i32]| -> Vec<(i32, f64)> {
        let mut days: Vec<i32> = weeks.iter().flat_map(|week| [-7 * week - 4, -7 * week]).collect();
        days.sort_unstable();
        days.into_iter().map(|day| (day, 6.5 + 0.01 * f64::from(day.rem_euclid(3)))).collect()
    };
    let Plateau::NotEnoughData(weeks) = plateau(&points(&[0, 1, 3]), 2) else { panic!("week 2 is missing") };
    assert_eq!((weeks.len(), weeks[0].from, weeks[0].to, weeks[0].training_days), (1, -20, -14, 0));
    assert!(matches!(plateau(&points(&[0, 1, 2, 3]), 2), Plateau::Standing { weeks: 4, .. }));
    assert!(matches!(plateau(&points(&[0, 1, 2, 3, 4, 5]), 2), Plateau::Standing { weeks: 6, .. }));
    assert!(matches!(plateau(&points(&[0, 1, 2, 3, 4, 6]), 2), Plateau::Standing { weeks: 5, .. }));
    assert!(matches!(plateau(&points(&[0, 1, 2, 3]), 9), Plateau::NotEnoughData(_)), "nothing for nine days");
    let rising: Vec<(i32, f64)> = points(&[0, 1, 2, 3]).into_iter().map(|(day, _)| (day, f64::from(day))).collect();
    assert!(matches!(plateau(&rising, 2), Plateau::Moving(slope) if (slope.per_week - 7.0).abs() < 1e-9));
}

#[test]
fn equal_values_stand_still() {
    let points: Vec<(i32, f64)> = (0..8).map(|k| (k / 2 * 7 + k % 2 * 3, 6.0)).collect();
    assert!(matches!(plateau(&points, 24), Plateau::Standing { weeks: 4, .. }));
}

/// Two sessions a week for `weeks` weeks, held throughout, the spacing opening by `step_mm` a week.
fn season(weeks: i32, step_mm: u32) -> Vec<RunRecord> {
    let weeks = u32::try_from(weeks).unwrap();
    (0..weeks)
        .flat_map(|week| {
            let back = i32::try_from(7 * (weeks - 1 - week)).unwrap();
            let spacing = 5_500 + step_mm * week;
            [run(back + 4, spacing, 4), run(back + 4, spacing, 4), run(back + 1, spacing, 4), run(back + 1, spacing, 3)]
        })
        .collect()
}

#[test]
fn the_last_point_is_the_estimate_that_advice_is_given_on_wherever_the_club_lets_it_start() {
    let start = PriorPolicy { stature_novice: 4.2, ..PriorPolicy::default() };
    let own = Setting { start, ..setting() };
    for (record, days) in [(record(season(8, 60)), 16), (record(season(1, 60)), 2)] {
        let mut limits = Vec::new();
        for setting in [&setting(), &own] {
            of(&record, setting, |found| {
                let advised = advise(&record, setting, today()).unwrap();
                let last = found.believed.last().unwrap();
                assert_eq!(last.day, today().days());
                assert!((last.limit_m.mean - advised.estimate.limit_m.mean).abs() < 1e-9);
                assert_eq!(found.advice.decision, advised.decision);
                assert_eq!((found.days.len(), found.believed.len()), (days, days + 1));
                limits.push(last.limit_m.mean);
            });
        }
        assert!(limits[1] < limits[0], "{limits:?}");
    }
}

#[test]
fn who_is_known_by_year_starts_as_who_was_born_in_the_middle_of_it_on_every_day() {
    let setting = setting();
    let limit = |birth, on| {
        let unmeasured = Record { birth, stature_m: None, ..record(Vec::new()) };
        advise(&unmeasured, &setting, on).unwrap().estimate.limit_m.mean
    };
    let day = |year, month, day| Day::from_ymd(year, month, day).unwrap();
    let (year, middle) = (Birth::Year(2_013), Birth::Date(day(2_013, 7, 2)));
    for on in [day(2_025, 1, 1), day(2_025, 4, 30), day(2_025, 7, 2), day(2_025, 12, 31), day(2_026, 1, 1)] {
        assert!((limit(year, on) - limit(middle, on)).abs() < 0.005, "{on}");
    }
    // A child below the growth table starts no further than one at its lower end.
    let small = |born| limit(Birth::Year(born), day(2_025, 6, 1));
    assert!(small(2_024) <= small(2_020) + 1e-9 && small(2_020) < small(2_016), "{} {}", small(2_024), small(2_020));
}

fn dates(forecast: &Forecast) -> Vec<i32> {
    forecast.days.iter().map(|day| day.map_or(i32::MAX, Day::days)).collect()
}

/// Without a hit.
fn clean(runs: Vec<RunRecord>) -> Record {
    record(runs.into_iter().map(|run| RunRecord { hits: 0, ..run }).collect())
}

#[test]
fn who_runs_wider_arrives_sooner_and_the_next_age_group_comes_with_its_date() {
    let (slow, fast, setting) = (clean(season(10, 20)), clean(season(10, 120)), setting());
    of(&slow, &setting, |slow| {
        of(&fast, &setting, |fast| {
            let of = |one: &Progress<'_>| one.outlook.target.clone().unwrap();
            let (slow_target, fast_target) = (of(slow), of(fast));
            assert!(dates(&slow_target).is_sorted() && dates(&fast_target).is_sorted());
            assert!(dates(&fast_target).iter().zip(dates(&slow_target)).all(|(fast, slow)| *fast <= slow));
            assert!(fast_target.probability_within > slow_target.probability_within);
            let (from, next) = fast.advice.next_target.unwrap();
            assert!(from > today() && next.spec.between >= fast.advice.target.unwrap().spec.between);
            let next = fast.outlook.next.clone().unwrap();
            assert!(next.days.iter().flatten().all(|day| *day >= from), "not before it applies");
            let current = fast.advice.decision.current.unwrap();
            let gap = next.spacing.metres() - current.spacing.metres();
            assert!((next.gap.spacing_m.unwrap() - gap).abs() < 1e-12);
        });
    });
}

/// Eight runs over the target on four days of two weeks.
fn at_the_target(setting: &Setting) -> Record {
    let spec = progress(&record(season(2, 0)), setting, weeks(12)).unwrap().advice.target.unwrap().spec.clone();
    let over = |back| RunRecord {
        barrier_kind: BarrierKind::Hurdle,
        height: spec.height,
        spacing: spec.between,
        ..run(back, 0, 4)
    };
    clean([1, 1, 4, 4, 8, 8, 11, 11].map(over).to_vec())
}

#[test]
fn who_is_advised_the_race_test_has_reached_the_target_today() {
    let setting = setting();
    of(&at_the_target(&setting), &setting, |found| {
        assert_eq!(found.advice.decision.kind, DecisionKind::RaceTest);
        let forecast = found.outlook.target.as_ref().unwrap();
        assert_eq!((forecast.status, forecast.days), (Status::Reached, [Some(today()); 5]));
        assert!((forecast.probability_now - 1.0).abs() < 1e-12);
    });
    of(&clean((1..7).map(|back| run(back, 4_500, 0)).collect()), &setting, |found| {
        let forecast = found.outlook.target.as_ref().unwrap();
        assert_eq!((forecast.status, forecast.days), (Status::NotWithinHorizon, [None; 5]));
        let note = found.outlook.notes.iter().find(|note| note.code() == "longer_at_this_rate").unwrap().text();
        assert!(note.contains("would bring a race test sooner"), "{note}");
    });
}

#[test]
fn who_stands_behind_a_gate_is_told_so_and_what_passing_it_would_bring() {
    let setting = setting();
    let open = at_the_target(&setting);
    let ratings = Ratings { trail_leg: None, rhythm: Some(Rating::Emerging), ..secure() };
    of(&Record { ratings, ..open.clone() }, &setting, |found| {
        let forecast = found.outlook.target.as_ref().unwrap();
        assert_eq!((forecast.status, forecast.days[2]), (Status::NotBeforeGate, Some(today())));
        let held: Vec<Criterion> = found
            .outlook
            .held_up
            .iter()
            .map(|one| match one {
                HeldUp::Missing(Missing::Rating { criterion, .. }) => *criterion,
                other => panic!("{other:?}"),
            })
            .collect();
        assert_eq!(held, [Criterion::TrailLeg, Criterion::Rhythm]);
    });
    let what = What::Restriction { until: Some(today().days()) };
    let rests = vec![Break { what, on: today().days() - 3, cleared_on: None, confirmed_on: None }];
    of(&Record { breaks: rests, ..open.clone() }, &setting, |found| {
        assert_eq!(found.outlook.target.as_ref().unwrap().status, Status::NotBeforeGate);
        assert!(matches!(found.outlook.held_up[..], [HeldUp::Closed(Wall::Restricted { .. })]));
    });
    let fell = RunRecord { fell: true, ..open.runs[0] };
    let fallen = Record { clearance: Clearance::Pending, runs: [open.runs, vec![fell]].concat(), ..clean(vec![]) };
    of(&fallen, &setting, |found| {
        assert!(found.outlook.held_up.contains(&HeldUp::Missing(Missing::CoachConfirmation)));
    });
}

#[test]
fn a_coach_s_word_holds_the_forecast_back_as_it_does_the_advice() {
    let setting = setting();
    let open = at_the_target(&setting);
    let held = open.runs[0].configuration();
    let at = Configuration { spacing: Length::from_mm(held.spacing.mm() - 500), ..held };
    let (on, until) = (today().days(), today().days() + 20);
    let word =
        Word { at, overridden: true, coach_accepts: false, on, since: on, until, overtaken: false, gate_rated: None };
    of(&Record { word: Some(word), ..open.clone() }, &setting, |found| {
        assert_eq!(found.advice.decision.proposed, Some(at));
        let forecast = found.outlook.target.as_ref().unwrap();
        assert!(forecast.status != Status::Reached && forecast.probability_now < 1e-9, "{forecast:?}");
        let first = found.outlook.steps[0];
        // Only a fall, which ends the word, brings anything earlier.
        let usual = first.days[1..].iter().chain(&forecast.days[1..]).flatten();
        assert!(usual.copied().all(|day| day.days() > until), "{first:?} {forecast:?}");
    });
    // A word for more than the rules advise is the first step.
    let on_the_way = clean(season(10, 20));
    let advised = advise(&on_the_way, &setting, today()).unwrap().decision;
    let from = advised.current.unwrap();
    let to = Configuration { spacing: Length::from_mm(from.spacing.mm() + 500), ..from };
    let word = Word { at: to, coach_accepts: true, ..word };
    of(&Record { word: Some(word), ..on_the_way }, &setting, |found| {
        let first = found.outlook.steps[0];
        assert_eq!((Some(first.to), first.days), (found.advice.decision.proposed, [Some(today()); 5]));
        assert_eq!((first.to, first.kind), (to, found.advice.decision.kind));
    });
}

#[test]
fn a_forecast_after_a_report_walks_the_way_back_that_the_advice_asks_for() {
    let setting = setting();
    let open = at_the_target(&setting);
    let today = today().days();
    // Over since today, or still to be cleared: either way nothing run before is evidence, and two sessions come first.
    for until in [today - 1, today] {
        let what = What::Restriction { until: Some(until) };
        let rests = vec![Break { what, on: today - 1, cleared_on: None, confirmed_on: None }];
        of(&Record { breaks: rests, ..open.clone() }, &setting, |found| {
            let (first, race) = (found.outlook.steps[0], found.outlook.target.as_ref().unwrap());
            assert_eq!(race.status, Status::NotBeforeGate);
            let days: Vec<i32> = first.days.iter().chain(&race.days).flatten().map(|day| day.days()).collect();
            assert!(!days.is_empty() && days.iter().all(|day| *day >= today + 7), "{until}: {days:?} from {today}");
            assert!(first.to.spacing < race.spacing || first.to.height < race.height, "{first:?}");
        });
    }
}

#[test]
fn a_barrier_that_the_club_does_not_own_holds_everybody_up() {
    let mut poor = setting();
    poor.stock.retain(|one| one.kind != BarrierKind::Hurdle);
    of(&clean(season(10, 120)), &poor, |found| {
        let forecast = found.outlook.target.as_ref().unwrap();
        assert_eq!((forecast.status, forecast.days), (Status::NotBeforeGate, [None; 5]));
        assert!(matches!(found.outlook.held_up[..], [HeldUp::Missing(Missing::Equipment { .. })]));
    });
}

#[test]
fn the_next_two_steps_come_in_order_with_their_dates() {
    of(&clean(season(10, 120)), &setting(), |found| {
        let [first, second] = found.outlook.steps[..] else { panic!("{:?}", found.outlook.steps) };
        let decision = &found.advice.decision;
        if decision.proposed != decision.current {
            assert_eq!(
                (Some(first.to), first.kind, first.days),
                (decision.proposed, decision.kind, [Some(today()); 5])
            );
        }
        assert!(first.likely > 0.0 && first.likely <= 1.0 && second.likely <= 1.0);
        assert!(first.days[2] <= second.days[2] && second.to != first.to);
        let last = today().add_days(7 * i32::try_from(HORIZON_WEEKS).unwrap());
        let race = found.outlook.target.as_ref().unwrap();
        assert!(second.days.iter().chain(&race.days).flatten().all(|day| *day <= last));
    });
}

#[test]
fn the_same_record_gives_the_same_forecast() {
    let (record, setting) = (clean(season(6, 100)), setting());
    let once = progress(&record, &setting, weeks(12)).unwrap().outlook;
    assert_eq!(once, progress(&record, &setting, weeks(12)).unwrap().outlook);
}

#[test]
fn what_is_kept_is_what_would_be_found_and_goes_when_anything_changes() {
    let setting = setting();
    let first = clean(season(6, 100));
    let ran = clean([season(6, 100), vec![run(0, 6_250, 4)]].concat());
    let other = Setting { ruleset: "WA".to_owned(), ..setting.clone() };
    let said = |found: &Progress<'_>| {
        let Progress { advice, days, believed, load, limit_slope, spacing_slope, plateau, outlook, .. } = found;
        let estimate = (advice.estimate.limit_m, advice.estimate.prior_share);
        let targets = (&advice.target, &advice.next_target, &advice.no_target);
        format!(
            "{:?}",
            (estimate, &advice.decision, targets, days, believed, load, limit_slope, spacing_slope, plateau, outlook)
        )
    };
    let mut kept = None;
    let mut answers = Vec::new();
    for (record, setting, weeks) in [
        (&first, &setting, weeks(12)),
        (&first, &setting, weeks(12)),
        (&ran, &setting, weeks(12)),
        (&ran, &setting, weeks(6)),
        (&ran, &other, weeks(6)),
        (&first, &setting, weeks(12)),
    ] {
        let found = said(&progress_keeping(&mut kept, record, setting, weeks).unwrap());
        assert_eq!(found, said(&progress(record, setting, weeks).unwrap()));
        answers.push(found);
    }
    assert_eq!(answers[0], answers[1]);
    assert_ne!(answers[1], answers[2], "another run says something");
    assert_eq!(answers[0], answers[5]);
}

#[test]
fn a_forecast_says_what_weakens_it() {
    let codes = |record: &Record| {
        let setting = setting();
        let found = progress(record, &setting, weeks(12)).unwrap();
        found.outlook.notes.iter().map(|note| note.code()).collect::<Vec<_>>()
    };
    assert_eq!(codes(&record(Vec::new())), ["no_runs"]);
    let few = codes(&record(vec![run(60, 6_000, 4)]));
    assert_eq!(few[..3], ["no_recent_runs", "thin_evidence", "higher_than_run"]);
    let mut restricted = record(season(10, 50));
    let what = What::Restriction { until: Some(today().days()) };
    restricted.breaks.push(Break { what, on: today().days() - 3, cleared_on: None, confirmed_on: None });
    assert_eq!(codes(&restricted), ["training_goes_on", "higher_than_run", "restricted"]);
    assert!(Note::TrainingGoesOn { days: 8 }.text().contains("8 training days"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn the_order_of_the_runs_does_not_matter_and_later_runs_are_left_out(
        runs in prop::collection::vec((-20..60_i32, 16..32_u32, 0..5_u16), 1..20),
        turn in 0..20_usize,
    ) {
        let runs: Vec<RunRecord> = runs.into_iter().map(|(back, step, held)| run(back, step * 250, held)).collect();
        let mut turned = runs.clone();
        turned.rotate_left(turn % runs.len());
        turned.retain(|run| run.day <= today().days());
        let (setting, all, turned) = (setting(), record(runs), record(turned));
        let (all, turned) = (progress(&all, &setting, weeks(12)).unwrap(), progress(&turned, &setting, weeks(12)).unwrap());
        prop_assert_eq!(&all.believed, &turned.believed);
        prop_assert_eq!(&all.outlook, &turned.outlook);
        prop_assert_eq!((all.load, &all.days, all.plateau), (turned.load, &turned.days, turned.plateau));
        for one in &all.believed {
            prop_assert!(one.limit_m.p05 <= one.limit_m.p50 && one.limit_m.p50 <= one.limit_m.p95);
        }
        if let Some(forecast) = &all.outlook.target {
            prop_assert!(dates(forecast).is_sorted());
            prop_assert!((0.0..=1.0).contains(&forecast.probability_now));
            prop_assert!(forecast.probability_now <= forecast.probability_within && forecast.probability_within <= 1.0);
        }
    }
}
