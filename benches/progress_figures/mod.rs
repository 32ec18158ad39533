//! How long the progress of a squad takes: series, slopes, plateau, decision and two forecasts for each athlete.

#![allow(clippy::expect_used, clippy::missing_panics_doc, clippy::print_stdout)] // prints figures, inputs are its own

use std::hint::black_box;
use std::time::Instant;

use lanewright::compute::advice::{Record, RunRecord, Setting};
use lanewright::compute::day::Day;
use lanewright::compute::decision::{Clearance, Policy, Ratings, Status};
use lanewright::compute::prior::{Experience, PriorPolicy};
use lanewright::compute::progress::{Period, progress};
use lanewright::compute::specs::Birth;
use lanewright::compute::units::{BarrierKind, Length, Sex};

const ATHLETES: u32 = 60;
const SESSIONS: u32 = 120;
const REPEATS: usize = 5;

/// Prints the time of a squad over the whole of its history and over the last twelve weeks.
pub fn run() {
    let to = Day::from_ymd(2_025, 6, 1).expect("a day");
    let setting = Setting {
        ruleset: "UKA".to_owned(),
        specs: Vec::new(),
        age_groups: Vec::new(),
        stock: Vec::new(),
        policy: Policy::default(),
        start: PriorPolicy::default(),
    };
    let squad: Vec<Record> = (0..ATHLETES).map(|athlete| record(athlete, to)).collect();
    for (words, days) in [("all of them in the period", 430), ("the last twelve weeks of them", 84)] {
        let period = Period::new(to.add_days(1 - days), to).expect("a period");
        let mut least = f64::INFINITY;
        let mut forecasts = 0;
        for _ in 0..REPEATS {
            let begun = Instant::now();
            let found: Vec<_> =
                squad.iter().map(|record| progress(record, &setting, period).expect("possible runs")).collect();
            least = least.min(begun.elapsed().as_secs_f64() * 1_000.0);
            forecasts = found.iter().map(|one| one.outlook.target.iter().chain(&one.outlook.next).count()).sum();
            black_box(found);
        }
        println!(
            "progress: {ATHLETES} athletes x {SESSIONS} sessions, {words}, {forecasts} forecasts: {least:.0} ms (bar 1 000 ms)"
        );
    }
}

/// An invented athlete who runs twice a week, four runs of four intervals a session, spacing and height rising slowly;
/// outcomes from a fixed sequence.
fn record(athlete: u32, to: Day) -> Record {
    let mut seed = u64::from(athlete) * 2 + 1;
    let mut runs = Vec::new();
    for session in 0..SESSIONS {
        let day = to.days() - 1 - i32::try_from((SESSIONS - 1 - session) * 7 / 2).expect("small");
        let height = [300, 500, 600][(session / 40) as usize];
        let spacing = (5_700 + 25 * (athlete % 40) + session * 3 - (height - 300)) / 250 * 250;
        for _ in 0..4 {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            let over_reached = u16::try_from((seed >> 33) % 5).expect("small").saturating_sub(2);
            runs.push(RunRecord {
                day,
                barrier_kind: BarrierKind::LowBarrier,
                height: Length::from_mm(height),
                spacing: Length::from_mm(spacing),
                barriers: 5,
                held: 4 - over_reached,
                over_reached,
                crowded: 0,
                broken: 0,
                hits: 0,
                fell: false,
            });
        }
    }
    Record {
        sex: Sex::Female,
        birth: Birth::Date(Day::from_ymd(2_013, 5, 20).expect("a day")),
        experience: Experience::Novice,
        stature_m: Some(1.60),
        leg_length_m: None,
        sprint_30m_s: None,
        sprint_50m_s: None,
        approach_strides: None,
        breaks: Vec::new(),
        surface: None,
        status: Status::Active,
        ratings: Ratings::default(),
        clearance: Clearance::NotNeeded,
        word: None,
        runs,
    }
}
