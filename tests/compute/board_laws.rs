//! The board says what the rules say, and since when: told anew from the rows, for random squads.

use lanewright_compute::advice::{RATING_DAYS, Record, RunRecord, Setting, advise};
use lanewright_compute::board::{
    BEHIND_SESSIONS, LOOK_BACK_SESSIONS, Measured, Place, SEASON_DAYS, Seen, board, place,
};
use lanewright_compute::day::Day;
use lanewright_compute::decision::{Clearance, Criterion, Missing, Policy, Rating, Ratings, Status, Stock};
use lanewright_compute::prior::{Experience, PriorPolicy};
use lanewright_compute::progress::{HeldUp, Period, Rated};
use lanewright_compute::specs::Birth;
use lanewright_compute::units::{BarrierKind, Length, Sex};
use lanewright_compute::wellbeing::{Break, Report, What};
use proptest::prelude::*;

fn today() -> Day {
    Day::from_ymd(2_025, 6, 1).unwrap()
}

fn period() -> Period {
    Period::new(today().add_days(-83), today()).unwrap()
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
            stock(BarrierKind::Hurdle, &[685, 762]),
        ],
        policy: Policy::default(),
        start: PriorPolicy::default(),
    }
}

/// What is on file of one athlete.
#[derive(Clone, Debug)]
struct File {
    record: Record,
    rated: Vec<Rated>,
    came: Vec<i32>,
    measured: Measured,
}

impl File {
    fn seen(&self) -> Seen<'_> {
        let last_rated = Criterion::ALL
            .map(|one| self.rated.iter().rev().find(|rated| rated.ratings.of(one).is_some()).map(|rated| rated.day));
        Seen { record: &self.record, rated: &self.rated, came: &self.came, last_rated, measured: self.measured }
    }

    /// The days on which the athlete came or ran up to a day, told anew.
    fn days(&self, to: i32) -> Vec<i32> {
        let mut days: Vec<i32> = self.came.clone();
        days.extend(self.record.runs.iter().map(|run| run.day));
        days.retain(|day| *day <= to);
        days.sort_unstable();
        days.dedup();
        days
    }

    /// The rating of a criterion that counted on a day.
    fn rating(&self, criterion: Criterion, day: i32) -> Option<Rating> {
        let counts = |one: &&Rated| one.day <= day && one.day >= day - RATING_DAYS;
        self.rated.iter().filter(counts).filter_map(|one| one.ratings.of(criterion)).next_back()
    }
}

fn run() -> impl Strategy<Value = (i32, RunRecord)> {
    let back = prop_oneof![4 => 0..60_i32, 1 => 60..SEASON_DAYS + 90];
    (back, 0..3_usize, 20..28_u32, 0..5_u16, 0..3_u16, prop::bool::weighted(0.03)).prop_map(
        |(back, kind, quarters, held, hits, fell)| {
            let (barrier_kind, height) =
                [(BarrierKind::Wicket, 300), (BarrierKind::LowBarrier, 500), (BarrierKind::LowBarrier, 600)][kind];
            let run = RunRecord {
                day: today().days() - back,
                barrier_kind,
                height: Length::from_mm(height),
                spacing: Length::from_mm(250 * quarters),
                barriers: 5,
                held,
                over_reached: 4 - held,
                crowded: 0,
                broken: 0,
                hits,
                fell,
            };
            (back, run)
        },
    )
}

fn rated() -> impl Strategy<Value = Rated> {
    let rating = || prop::option::weighted(0.7, (1..4_u8).prop_map(|level| Rating::from_level(level).unwrap()));
    (0..SEASON_DAYS + 100, rating(), rating(), rating(), rating()).prop_map(|(back, lead, trail, walk, rhythm)| Rated {
        day: today().days() - back,
        ratings: Ratings { lead_leg: lead, trail_leg: trail, walkover: walk, rhythm, ..Ratings::default() },
    })
}

fn breaks() -> impl Strategy<Value = Vec<Break>> {
    let one = (0..40_i32, prop::option::of(0..40_i32)).prop_map(|(back, cleared)| Break {
        what: What::Report(Report::Pain),
        on: today().days() - back,
        cleared_on: cleared.map(|days| (today().days() - back + days).min(today().days())),
        confirmed_on: None,
    });
    prop_oneof![4 => Just(Vec::new()), 1 => prop::collection::vec(one, 1..3)]
}

fn file() -> impl Strategy<Value = File> {
    let came = prop::collection::vec(0..SEASON_DAYS + 90, 0..30);
    let stature = prop::option::of(0..200_i32);
    let parts = (prop::collection::vec(run(), 0..40), prop::collection::vec(rated(), 0..5), breaks(), came, stature);
    parts.prop_map(|(runs, mut rated, breaks, came, stature)| {
        rated.sort_by_key(|one| one.day);
        let mut came: Vec<i32> = came.into_iter().map(|back| today().days() - back).collect();
        came.sort_unstable();
        came.dedup();
        let runs: Vec<RunRecord> = runs.into_iter().map(|(_, run)| run).collect();
        let fell = runs.iter().any(|run| run.fell);
        let mut file = File {
            record: Record {
                sex: Sex::Female,
                birth: Birth::Date(Day::from_ymd(2_013, 5, 20).unwrap()),
                experience: Experience::Novice,
                stature_m: Some(1.58),
                leg_length_m: None,
                sprint_30m_s: None,
                sprint_50m_s: None,
                approach_strides: None,
                status: Status::Active,
                breaks,
                surface: None,
                ratings: Ratings::default(),
                clearance: if fell { Clearance::Pending } else { Clearance::NotNeeded },
                word: None,
                runs,
            },
            rated,
            came,
            measured: Measured { stature: stature.map(|back| today().days() - back), sprint: None },
        };
        let latest = |one| file.rating(one, today().days());
        file.record.ratings = Ratings {
            lead_leg: latest(Criterion::LeadLeg),
            trail_leg: latest(Criterion::TrailLeg),
            walkover: latest(Criterion::Walkover),
            rhythm: latest(Criterion::Rhythm),
            ..Ratings::default()
        };
        file
    })
}

fn of<'a>(file: &File, setting: &'a Setting) -> Place<'a> {
    place(&file.seen(), setting, period()).unwrap()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn the_board_says_what_the_recommendation_says(file in file()) {
        let setting = setting();
        let (found, alone) = (of(&file, &setting), advise(&file.record, &setting, today()).unwrap());
        prop_assert_eq!(&found.advice.decision, &alone.decision);
        prop_assert_eq!(found.now.stage, alone.decision.stage);
        let closed = alone.decision.region.closed().map(HeldUp::Closed);
        let expected: Vec<HeldUp> =
            closed.into_iter().chain(alone.decision.missing.iter().map(|one| HeldUp::Missing(*one))).collect();
        prop_assert_eq!(found.obstacles.iter().map(|one| one.what).collect::<Vec<_>>(), expected);
    }

    /// A criterion that is not secure stands in the way since the first of the unbroken row of days on which it was not.
    #[test]
    fn a_rating_stands_in_the_way_since_the_rows_say_so(file in file()) {
        let setting = setting();
        let found = of(&file, &setting);
        let first = today().days() - SEASON_DAYS + 1;
        let mut days = file.days(today().days());
        days.retain(|day| *day >= first);
        let looked_at = &days[days.len().saturating_sub(LOOK_BACK_SESSIONS)..];
        for one in &found.obstacles {
            let HeldUp::Missing(Missing::Rating { criterion, .. }) = one.what else { continue };
            let gate = Criterion::GATE.contains(&criterion);
            let lacks = |day: i32| file.rating(criterion, day).map_or(gate, |rating| rating < Rating::Secure);
            let row: Vec<i32> = looked_at.iter().rev().copied().take_while(|day| lacks(*day)).collect();
            prop_assert_eq!(one.sessions as usize, row.len(), "{:?} {:?}", one, looked_at);
            prop_assert_eq!(one.since, row.last().copied());
            prop_assert_eq!(one.at_least, row.len() == LOOK_BACK_SESSIONS);
        }
    }

    #[test]
    fn a_report_stands_in_the_way_since_its_day(file in file()) {
        let setting = setting();
        let found = of(&file, &setting);
        let standing = file.record.breaks.iter().filter(|one| one.stands(today().days())).map(|one| one.on).min();
        let closed = found.obstacles.iter().find(|one| matches!(one.what, HeldUp::Closed(_)));
        prop_assert_eq!(closed.is_some(), standing.is_some());
        prop_assert_eq!(closed.and_then(|one| one.since), standing);
        prop_assert!(closed.is_none() || found.obstacles[0] == *closed.unwrap());
    }

    #[test]
    fn a_load_is_counted_once_and_only_in_its_days(file in file()) {
        let setting = setting();
        let found = of(&file, &setting);
        let between = |from: i32, to: i32| -> u32 {
            let runs = file.record.runs.iter().filter(|run| (from..=to).contains(&(today().days() - run.day)));
            runs.map(RunRecord::intervals).sum()
        };
        prop_assert_eq!(found.weeks.week.intervals, between(0, 6));
        prop_assert_eq!(found.weeks.before.intervals, between(7, 34));
        prop_assert_eq!(found.now.load.intervals, between(0, 83));
        let usual = f64::from(between(7, 34)) / 4.0;
        let week = f64::from(between(0, 6));
        prop_assert_eq!(found.weeks.jumps(), week > 1.5 * usual && week - usual > 16.0);
        match &found.last_season {
            Some(last) => prop_assert_eq!(last.load.intervals, between(SEASON_DAYS, SEASON_DAYS + 83)),
            None => prop_assert_eq!(between(SEASON_DAYS, SEASON_DAYS + 400), 0),
        }
    }

    /// Last season's weeks are what the board said, or would have said, when they ended.
    #[test]
    fn last_season_is_told_as_it_was(file in file()) {
        let setting = setting();
        let found = of(&file, &setting);
        let then = today().add_days(-SEASON_DAYS);
        let mut past = file.clone();
        past.record.runs.retain(|run| run.day <= then.days());
        past.rated.retain(|one| one.day <= then.days());
        past.came.retain(|day| *day <= then.days());
        let known = !past.record.runs.is_empty() || !past.rated.is_empty() || !past.came.is_empty();
        prop_assert_eq!(found.last_season.is_some(), known);
        let Some(last) = found.last_season else { return Ok(()) };
        let days = past.days(then.days()).into_iter().filter(|day| *day >= then.days() - 83).count();
        prop_assert_eq!((last.days as usize, last.to), (days, then));
        let current = advise(&past.record, &setting, then).unwrap().decision.current;
        prop_assert_eq!(last.current, current);
    }

    #[test]
    fn everybody_stands_on_one_rung_and_who_is_behind_is_named(files in prop::collection::vec(file(), 0..5)) {
        let setting = setting();
        let places: Vec<Place<'_>> = files.iter().map(|file| of(file, &setting)).collect();
        let found = board(&places);
        let mut on_rungs: Vec<usize> = found.ladder.iter().flat_map(|(_, now, _)| now.clone()).collect();
        on_rungs.sort_unstable();
        prop_assert_eq!(on_rungs, (0..files.len()).collect::<Vec<_>>());
        prop_assert!(found.ladder.windows(2).all(|pair| pair[0].0 < pair[1].0));
        let behind: usize =
            places.iter().flat_map(|one| &one.obstacles).filter(|one| one.sessions >= BEHIND_SESSIONS).count();
        prop_assert_eq!(found.behind.len(), behind);
        let sessions: Vec<u32> = found.behind.iter().map(|(at, which)| places[*at].obstacles[*which].sessions).collect();
        prop_assert!(sessions.windows(2).all(|pair| pair[0] >= pair[1]) && sessions.iter().all(|n| *n >= BEHIND_SESSIONS));
        for at in &found.ready {
            prop_assert!(places[*at].advice.decision.proposed.is_some());
        }
        prop_assert_eq!(found.load.0.runs, places.iter().map(|one| one.now.load.runs).sum::<u32>());
    }

    #[test]
    fn the_order_of_runs_does_not_matter(file in file(), seed: u64) {
        let setting = setting();
        let mut other = file.clone();
        let turn = usize::try_from(seed % 40).unwrap().min(other.record.runs.len());
        other.record.runs.rotate_left(turn);
        prop_assert_eq!(of(&file, &setting).obstacles, of(&other, &setting).obstacles);
    }
}

#[test]
fn a_step_taken_begins_the_wait_for_evidence_anew() {
    let runs = |spacings: &[u32]| -> Vec<RunRecord> {
        let of = |(at, spacing): (usize, &u32)| RunRecord {
            day: today().days() - 3 * i32::try_from(spacings.len() - 1 - at).unwrap(),
            barrier_kind: BarrierKind::LowBarrier,
            height: Length::from_mm(500),
            spacing: Length::from_mm(*spacing),
            barriers: 8,
            held: 7,
            over_reached: 0,
            crowded: 0,
            broken: 0,
            hits: 0,
            fell: false,
        };
        spacings.iter().enumerate().map(of).collect()
    };
    let secure = Some(Rating::Secure);
    let ratings = Ratings { lead_leg: secure, trail_leg: secure, walkover: secure, ..Ratings::default() };
    let file = |spacings: &[u32]| File {
        record: Record {
            sex: Sex::Female,
            birth: Birth::Year(2_012),
            experience: Experience::Novice,
            stature_m: Some(1.58),
            leg_length_m: None,
            sprint_30m_s: None,
            sprint_50m_s: None,
            approach_strides: None,
            status: Status::Active,
            breaks: Vec::new(),
            surface: None,
            ratings,
            clearance: Clearance::NotNeeded,
            word: None,
            runs: runs(spacings),
        },
        rated: vec![Rated { day: today().days() - 60, ratings }],
        came: Vec::new(),
        measured: Measured::default(),
    };
    let setting = setting();
    let wait = |spacings: &[u32]| {
        let found = of(&file(spacings), &setting);
        let days = found.obstacles.iter().find(|one| one.what.code() == "days").copied();
        days.map(|one| (one.sessions, one.since.map(|day| today().days() - day)))
    };
    // Each new spacing lacks its second day on its first; the rows before do not count for it.
    assert_eq!(wait(&[5_500, 5_750, 6_000]), Some((1, Some(0))));
    assert_eq!(wait(&[5_500, 5_500]), None, "two days are enough");
}
