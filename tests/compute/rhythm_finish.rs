//! Forecasts of the final time and a club's own schedule, on simulated races.

use lanewright_compute::rhythm::{
    Calibration, Course, FinalTime, FinalTimeError, Schedule, Series, SeriesError, Shape, Timing, courses, final_time,
};
use proptest::prelude::*;

use crate::rhythm_races::{Dice, drawn, race};

const EXACT: Timing = Timing::Video(1_000);

fn men() -> Course {
    courses("110H")[0]
}

/// A club that starts slower, runs faster between, accelerates longer and fades less than usual.
const CLUB: Shape = Shape { touchdown_1_s: 0.06, unit_s: -0.005, acceleration: 0.02, fade: -0.03 };

fn races(count: usize, club: Shape, timing: Timing, seed: u64) -> Vec<Series> {
    let mut dice = Dice::new(seed);
    (0..count)
        .map(|_| {
            let final_time = 13.65 + dice.normal(0.33);
            race(&men(), final_time.clamp(13.0, 14.6), club, timing, &mut dice)
        })
        .collect()
}

fn first(series: &Series, count: usize) -> &[Option<f64>] {
    &series.touchdown_times_s[..count]
}

fn forecast(club: &Calibration, series: &Series, count: usize) -> FinalTime {
    final_time(&men(), club, first(series, count), series.timing).unwrap()
}

fn mean(values: impl Iterator<Item = f64>) -> f64 {
    let values: Vec<f64> = values.collect();
    values.iter().sum::<f64>() / values.len() as f64
}

/// Mean absolute error of each touchdown time against a club's schedule.
fn touchdown_errors(series: &[Series], shape: &Shape) -> Vec<f64> {
    let scheduled: Vec<Schedule> =
        series.iter().map(|one| Schedule::new(&men(), one.final_time_s, shape).unwrap()).collect();
    (0..10)
        .map(|at| {
            let pairs = series.iter().zip(&scheduled);
            mean(pairs.map(|(one, ours)| (one.touchdown_times_s[at].unwrap() - ours.touchdown_times_s[at]).abs()))
        })
        .collect()
}

#[test]
fn a_learnt_schedule_predicts_touchdowns_as_well_as_published_regressions_do() {
    // Iwasaki, Nunome, Nozawa 2022: mean absolute errors of 0.019 to 0.033 s for the ten touchdowns of 151 elite races.
    let club = Calibration::learn(&men(), &races(60, CLUB, EXACT, 1));
    let fresh = races(151, CLUB, EXACT, 2);
    let errors = touchdown_errors(&fresh, &club.shape);
    println!("mean absolute error of touchdowns 1 to 10 (s): {errors:.4?}");
    assert!(errors.iter().all(|error| *error <= 0.033), "{errors:?}");
    // The simulated races spread as the published ones do, no less.
    let least = errors.iter().copied().fold(f64::INFINITY, f64::min);
    assert!(least > 0.017, "{errors:?}");
    let before = touchdown_errors(&fresh, &Shape::default());
    assert!(mean(before.into_iter()) > 1.3 * mean(errors.into_iter()));
}

#[test]
fn leaving_one_race_out_the_finish_from_five_touchdowns_misses_by_at_most_0_12_s_on_average() {
    let series = races(30, CLUB, Timing::Video(120), 3);
    let misses = mean((0..series.len()).map(|out| {
        let others: Vec<Series> =
            series.iter().enumerate().filter(|(at, _)| *at != out).map(|(_, one)| one.clone()).collect();
        let club = Calibration::learn(&men(), &others);
        (forecast(&club, &series[out], 5).p50 - series[out].final_time_s).abs()
    }));
    println!("leave-one-out finish from H1 to H5, mean absolute error: {misses:.3} s");
    assert!(misses <= 0.12, "{misses}");
}

#[test]
fn the_first_touchdown_alone_tells_the_finish_as_exactly_as_the_literature_says() {
    // Lopez del Amo and others 2018: standard errors of 0.09 s (final) to 0.23 s (heats) from start variables, 110 m.
    let club = Calibration::learn(&men(), &races(400, Shape::default(), EXACT, 4));
    let series = &races(1, Shape::default(), EXACT, 5)[0];
    let found = forecast(&club, series, 1);
    let sd = (found.p95 - found.p05) / 2.0 / 1.645;
    assert!((0.09..0.30).contains(&sd), "{sd}");
}

#[test]
fn intervals_of_the_forecast_hold_as_often_as_they_say_for_clubs_with_a_shape_of_their_own() {
    let mut dice = Dice::new(6);
    // Well inside the valid range: at its fast end the forecast knows that nothing lies beyond, these races do not.
    let (mut half, mut most, count) = (0, 0, 500);
    for at in 0..count {
        let club = drawn(Shape::default(), 2.0, &mut dice);
        let (time, from) = (16.0 + 3.0 * dice.even(), 1 + at % 9);
        let one = race(&men(), time, club, Timing::Video(25), &mut dice);
        let found = forecast(&Calibration::default(), &one, from);
        half += usize::from((found.p25..=found.p75).contains(&one.final_time_s));
        most += usize::from((found.p05..=found.p95).contains(&one.final_time_s));
    }
    println!("forecasts that held: {half} of {count} at 50 %, {most} at 90 %");
    let share = |held: usize| held as f64 / count as f64;
    assert!((0.44..0.56).contains(&share(half)), "{half}");
    assert!((0.86..0.94).contains(&share(most)), "{most}");
}

#[test]
fn fewer_touchdowns_and_a_worse_clock_make_a_wider_forecast() {
    let series = &races(1, CLUB, EXACT, 7)[0];
    let club = Calibration::learn(&men(), &races(20, CLUB, EXACT, 8));
    let width = |count, timing| {
        let found = final_time(&men(), &club, first(series, count), timing).unwrap();
        assert!(found.p05 < found.p25 && found.p25 < found.p50 && found.p50 < found.p75 && found.p75 < found.p95);
        assert!(found.p05 < found.mean && found.mean < found.p95);
        found.p95 - found.p05
    };
    for count in 1..10 {
        assert!(width(count + 1, EXACT) < width(count, EXACT), "{count}");
    }
    for count in [1, 4, 9] {
        assert!(width(count, Timing::Hand) > width(count, Timing::Video(25)));
        assert!(width(count, Timing::Video(25)) > width(count, Timing::Video(240)));
    }
}

#[test]
fn missing_touchdowns_are_done_without() {
    let series = &races(1, CLUB, EXACT, 9)[0];
    let mut gaps = series.touchdown_times_s[..6].to_vec();
    (gaps[0], gaps[3]) = (None, None);
    let found = final_time(&men(), &Calibration::default(), &gaps, EXACT).unwrap();
    let whole = forecast(&Calibration::default(), series, 6);
    assert!(found.p95 - found.p05 > whole.p95 - whole.p05);
    assert!((found.p50 - whole.p50).abs() < 0.5);
}

#[test]
fn touchdown_times_that_point_to_no_final_time_are_refused() {
    let found = |times: &[Option<f64>]| final_time(&men(), &Calibration::default(), times, EXACT);
    assert_eq!(found(&[]), Err(FinalTimeError::Length(10)));
    assert_eq!(found(&[None, None]), Err(FinalTimeError::Length(10)));
    assert_eq!(found(&[Some(2.5); 11]), Err(FinalTimeError::Length(10)));
    for wrong in [[2.5, 2.4, 3.5], [2.5, 2.9, 3.9], [2.5, 6.0, 7.0], [-1.0, 0.0, 1.0]] {
        assert_eq!(found(&wrong.map(Some)), Err(FinalTimeError::NotARun), "{wrong:?}");
    }
    for outside in [[1.5, 2.2, 2.9], [7.0, 9.8, 12.6]] {
        assert!(matches!(found(&outside.map(Some)), Err(FinalTimeError::Outside(_))), "{outside:?}");
    }
}

#[test]
fn touchdown_times_that_do_not_belong_together_are_called_unusual() {
    let fair = &races(1, Shape::default(), EXACT, 10)[0];
    assert!(!forecast(&Calibration::default(), fair, 8).unusual);
    let odd = [2.5, 3.55, 4.6, 5.95, 7.0, 8.05].map(Some);
    assert!(final_time(&men(), &Calibration::default(), &odd, EXACT).unwrap().unusual);
}

#[test]
fn without_races_the_schedule_is_exactly_the_default() {
    let club = Calibration::learn(&men(), &[]);
    assert_eq!(club, Calibration::default());
    assert_eq!((club.shape, club.series), (Shape::default(), 0));
    assert!(club.weights.iter().all(|weight| weight.abs() < 1e-15));
}

#[test]
fn one_number_read_without_error_is_shrunk_by_n_over_n_plus_k() {
    // Bühlmann 1967 by hand: a touchdown 1 that all races of 13.65 s show 0.1 s late. Two touchdown times near a clock
    // without error leave the intervals' own error; k = (race / club)^2 = 1/4.
    let mut times = Schedule::new(&men(), 13.65, &Shape::default()).unwrap().touchdown_times_s;
    for time in &mut times {
        *time += 0.1;
    }
    let late = Series { touchdown_times_s: times.into_iter().map(Some).collect(), final_time_s: 13.65, timing: EXACT };
    for n in [1_usize, 3, 10, 40] {
        let club = Calibration::learn(&men(), &vec![late.clone(); n]);
        let weight = n as f64 / (n as f64 + 0.25);
        assert_eq!(club.series, n);
        assert!((club.weights[0] - weight).abs() < 0.01, "{n}: {:?} {weight}", club.weights);
        assert!((club.shape.touchdown_1_s - 0.1 * weight).abs() < 0.003, "{n}: {:?}", club.shape);
    }
}

#[test]
fn a_hand_timed_race_counts_less_than_one_between_gates_and_slower_races_less_than_fast_ones() {
    let weights = |timing, final_time: f64| {
        let series = race(&men(), final_time, Shape::default(), timing, &mut Dice::new(11));
        Calibration::learn(&men(), &[series]).weights
    };
    for at in 0..4 {
        assert!(weights(Timing::Gate, 14.0)[at] > weights(Timing::Hand, 14.0)[at]);
        assert!(weights(Timing::Gate, 14.0)[at] > weights(Timing::Gate, 18.0)[at]);
    }
}

#[test]
fn the_more_races_the_nearer_the_clubs_own_shape() {
    let all = races(300, CLUB, Timing::Video(60), 12);
    let away = |shape: Shape| {
        let wide = Schedule::new(&men(), 13.65, &shape).unwrap().touchdown_times_s;
        let true_times = Schedule::new(&men(), 13.65, &CLUB).unwrap().touchdown_times_s;
        wide.iter().zip(true_times).map(|(a, b)| (a - b).abs()).fold(0.0, f64::max)
    };
    let mut before = [0.0; 4];
    for count in [1, 4, 16, 64, 300] {
        let club = Calibration::learn(&men(), &all[..count]);
        for (now, before) in club.weights.iter().zip(&mut before) {
            assert!(*now > *before && *now < 1.0);
            *before = *now;
        }
    }
    let learnt = Calibration::learn(&men(), &all).shape;
    assert!(away(learnt) < 0.01, "{}", away(learnt));
    assert!(away(Shape::default()) > 0.05);
}

#[test]
fn acceleration_and_fade_are_learnt_separately() {
    let only = |acceleration, fade| Shape { acceleration, fade, ..Shape::default() };
    for (club, seed) in [(only(0.03, 0.0), 14), (only(0.0, 0.03), 15)] {
        let learnt = Calibration::learn(&men(), &races(200, club, Timing::Video(120), seed)).shape;
        assert!((learnt.acceleration - club.acceleration).abs() < 0.01, "{learnt:?}");
        assert!((learnt.fade - club.fade).abs() < 0.01, "{learnt:?}");
    }
}

#[test]
fn races_that_cannot_be_learnt_from_are_left_out() {
    let good = races(1, CLUB, EXACT, 13).remove(0);
    let with =
        |times: &[Option<f64>], final_time_s| Series { touchdown_times_s: times.to_vec(), final_time_s, timing: EXACT };
    let times = good.touchdown_times_s.clone();
    assert_eq!(good.check(&men()), Ok(()));
    assert_eq!(with(&times[..1], 13.6).check(&men()), Err(SeriesError::Length));
    assert_eq!(with(&[Some(2.5); 11], 13.6).check(&men()), Err(SeriesError::Length));
    assert_eq!(with(&times, 11.0).check(&men()), Err(SeriesError::NotARun));
    assert_eq!(with(&[Some(2.5), Some(2.5)], 13.6).check(&men()), Err(SeriesError::NotARun));
    assert!(matches!(with(&times, 26.0).check(&men()), Err(SeriesError::OutOfRange(_))));
    let mixed = [with(&times, 11.0), good.clone(), with(&[], 13.0)];
    assert_eq!(Calibration::learn(&men(), &mixed), Calibration::learn(&men(), &[good]));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn a_learnt_schedule_is_a_race_whatever_was_fed_to_it(
        first in 0.5_f64..6.0, intervals in prop::collection::vec(0.6_f64..3.0, 9), run_in in 0.1_f64..4.0, n in 1_usize..40,
        share in 0.0..=1.0,
    ) {
        let mut time = first;
        let mut times = vec![Some(first)];
        for interval in &intervals {
            time += interval;
            times.push(Some(time));
        }
        let odd = Series { touchdown_times_s: times, final_time_s: (time + run_in).clamp(12.8, 25.0), timing: EXACT };
        let club = Calibration::learn(&men(), &vec![odd; n]);
        let schedule = Schedule::new(&men(), 12.8 + share * 12.2, &club.shape).unwrap();
        prop_assert!(schedule.touchdown_times_s[0] > 0.0 && schedule.run_in_s() > 0.0);
        prop_assert!(schedule.interval_times_s().iter().all(|time| *time > 0.0));
        prop_assert!(club.weights.iter().all(|weight| (0.0..=1.0).contains(weight)));
    }

    #[test]
    fn the_order_of_races_does_not_matter(seed in 0_u64..1_000) {
        let mut all = races(6, CLUB, Timing::Tap, seed);
        let once = Calibration::learn(&men(), &all).shape;
        all.reverse();
        let again = Calibration::learn(&men(), &all).shape;
        prop_assert!((once.touchdown_1_s - again.touchdown_1_s).abs() < 1e-12);
        prop_assert!((once.unit_s - again.unit_s).abs() < 1e-12 && (once.fade - again.fade).abs() < 1e-12);
        prop_assert!((once.acceleration - again.acceleration).abs() < 1e-12);
    }
}
