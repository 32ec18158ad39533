//! Parsers on broken text.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use lanewright::compute::units::Length;
use lanewright::platform::fault::Fault;
use lanewright::platform::ids::{AthleteId, GroupId};
use lanewright::platform::page::PageParams;
use lanewright::platform::patch;
use lanewright::platform::sheets::csv;
use lanewright::platform::sheets::dialect::Declared;
use lanewright::platform::stored::Stored;
use lanewright::platform::token::Opaque;
use lanewright::resources::athletes::model::NewAthlete;
use lanewright::resources::athletes::roster::{self, Context, Known, Wanted};
use lanewright::resources::athletes::roster_file::{self, Shown};
use lanewright::resources::competition_specs::shapes as specs;
use lanewright::resources::lane_plans::{model as plans, request};
use lanewright::resources::runs::shapes as runs;
use serde_json::Value;
use uuid::Uuid;

use crate::machine::fuzz;

/// Every error names a field and says what is wrong with it.
#[track_caller]
fn named(faults: &[Fault]) {
    assert!(!faults.is_empty());
    for fault in faults {
        assert!(fault.pointer.as_deref().is_some_and(|pointer| pointer.starts_with('/')), "{fault:?}");
        assert!(!fault.code.is_empty() && fault.detail.len() > 5, "{fault:?}");
    }
}

fn context() -> Context {
    let group = GroupId(Uuid::from_u128(7));
    Context {
        groups: HashMap::from([("sprinters".to_owned(), group), (group.0.to_string(), group)]),
        names: HashMap::from([(group, "Sprinters".to_owned())]),
        known: HashMap::new(),
        today: NaiveDate::from_ymd_opt(2026, 11, 25).unwrap(),
        confirmed: false,
        audience: None,
    }
}

const ROSTERS: [&str; 4] = [
    "display_name,sex,birth_date,birth_year,groups,preferred_lead_leg,approach_strides,experience,status,consent_on,stature_m,leg_length_m,sprint_30m_s,sprint_50m_s,measured_on\r\nMira Osei,F,2013-05-17,,Sprinters,left,8,novice,active,2026-09-01,1.52,0.74,5.4,8.6,2026-10-01\r\n",
    "display_name;sex;birth_year;groups;experience\nJon \"Jo\" B;M;2012;Sprinters;trained\n",
    "\u{feff}display_name,sex,birth_year,groups,experience\n\"O'Neil, A\",F,2011,Sprinters,novice\n'=Ana,F,2014,Sprinters,novice\n",
    "display_name,sex,birth_year,groups,experience,stature_m,measured_on\nA,M,2010,sprinters|Sprinters,novice,1.7,2026-01-02\n\nB,F,2010,Sprinters,trained,,\n",
];

#[test]
fn a_roster_is_refused_by_field_or_reads_back_as_written() {
    let corpus: Vec<&[u8]> = ROSTERS.iter().map(|text| text.as_bytes()).collect();
    let read = |bytes: &[u8]| {
        let sheet = csv::read(bytes, None, &roster::BOUNDS)?;
        roster::check_header(&sheet).map(|()| sheet)
    };
    fuzz("roster", &corpus, |input| {
        let mut context = context();
        let rows = match read(input) {
            Ok(sheet) => roster::rows(&sheet, Declared::default(), &context),
            Err(faults) => {
                assert!(!faults.is_empty());
                return false;
            }
        };
        let mut accepted: Vec<Shown> = Vec::new();
        for row in rows {
            assert!(row.line > 1);
            match row.wanted {
                Err(faults) => named(&faults),
                Ok(Wanted::New(NewAthlete { id, athlete, measurements })) => {
                    assert!((1..=80).contains(&athlete.display_name.chars().count()));
                    assert!(!athlete.groups.is_empty());
                    let measured = measurements.into_iter().map(|(_, one)| one).collect();
                    accepted.push(Shown { id, rev: 1, athlete, measured });
                }
                Ok(other) => panic!("nobody is known: {other:?}"),
            }
        }
        let written = roster_file::table(&accepted, &context.names).csv().unwrap();
        // Whoever was added is known from now on, so far without what was measured.
        context.known.extend(accepted.iter().map(|one| {
            let stored = Stored { id: one.id, rev: 1, value: one.athlete.clone() };
            (one.id, Known { stored, revs: [0; 6], measured: Vec::new() })
        }));
        let again = roster::rows(&read(&written).unwrap(), Declared::default(), &context);
        assert_eq!(again.len(), accepted.len());
        for (row, one) in again.into_iter().zip(&accepted) {
            let Ok(Wanted::Change(change)) = row.wanted else { panic!("{:?} of {one:?}", row.wanted) };
            assert_eq!(change.after, one.athlete);
            assert_eq!(change.added.len(), one.measured.len());
        }
        !accepted.is_empty()
    });
}

fn now() -> DateTime<Utc> {
    DateTime::from_timestamp(1_795_600_000, 0).unwrap()
}

const RUN: &str = r#"{"id":"01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57","session_id":"01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e58","athlete_id":"01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e59","run_at":"2026-11-24T17:35:00Z","barrier_kind":"low_barrier","height_m":0.5,"spacing_m":6.25,"approach_m":11.0,"barriers":5,"intervals":{"held":3,"over_reached":1},"hits":0,"fell":false,"lead_leg":"left","touchdown_times_s":[2.61,3.78,null,6.11,7.32],"timing_method":"video","video_fps":60,"note":"Looked down"}"#;
const PLAIN_RUN: &str = r#"{"id":"01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57","session_id":"01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e58","athlete_id":"01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e59","run_at":"2026-11-24T17:35:00+02:00","barrier_kind":"wicket","height_m":0.3,"spacing_m":7,"barriers":1,"intervals":{}}"#;
const LANE_RUN: &str = r#"{"id":"01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57","session_id":"01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e58","athlete_id":"01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e59","run_at":"2026-11-24T17:35:00Z","lane":{"lane_plan_id":"01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e60","lane":2,"round":1},"barrier_kind":"wicket","height_m":0.3,"spacing_m":6,"barriers":5,"intervals":{"held":4}}"#;

#[test]
fn a_run_is_refused_by_field_or_adds_up() {
    fuzz("runs", &[RUN.as_bytes(), PLAIN_RUN.as_bytes(), LANE_RUN.as_bytes()], |input| {
        let Ok(fields) = serde_json::from_slice::<runs::Fields>(input) else { return false };
        let run = match fields.parse(now(), None) {
            Ok(run) => run,
            Err(faults) => {
                named(&faults);
                return false;
            }
        };
        let outcomes = run.intervals;
        let sum = [outcomes.held, outcomes.over_reached, outcomes.crowded, outcomes.broken];
        assert!(sum.iter().all(|count| *count >= 0));
        assert_eq!(sum.iter().sum::<i16>(), run.barriers - 1);
        assert!((1..=20).contains(&run.barriers) && (0..=run.barriers).contains(&run.hits));
        assert!((50..=1_100).contains(&run.height.mm()) && (1_000..=20_000).contains(&run.spacing.mm()));
        if let Some(touchdowns) = &run.touchdowns {
            assert_eq!(touchdowns.times_ms.len(), usize::try_from(run.barriers).unwrap());
            let known: Vec<i32> = touchdowns.times_ms.iter().copied().flatten().collect();
            assert!(
                known.windows(2).all(|pair| pair[0] < pair[1]) && known.iter().all(|ms| (1..=120_000).contains(ms))
            );
        }
        let again: runs::Fields = serde_json::from_value(serde_json::to_value(&fields).unwrap()).unwrap();
        assert_eq!(again.parse(now(), None).unwrap(), run);
        true
    });
}

#[test]
fn a_run_with_an_impossible_number_of_barriers_still_names_its_other_broken_counts() {
    let broken = PLAIN_RUN.replace("\"barriers\":1", "\"barriers\":0,\"hits\":21").replace("{}", "{\"held\":-1}");
    let faults = serde_json::from_str::<runs::Fields>(&broken).unwrap().parse(now(), None).unwrap_err();
    let pointers: Vec<_> = faults.iter().filter_map(|fault| fault.pointer.as_deref()).collect();
    assert_eq!(pointers, ["/barriers", "/intervals/held", "/hits"]);
}

const PLANS: [&str; 2] = [
    r#"{"lanes":4,"capacity":8,"barriers":{"min":4,"max":6},"approach_m":12,"run_out_m":10,"straight_m":60,"hold_target":0.8,"rounds":3,"objective":"fair","reserved_lanes":[3],"lane_straights":[{"lane":4,"straight_m":45.5}],"like":{"lane_plan_id":"00000000-0000-0000-0000-000000000003","unless_saves":0.2},"time_limit_s":2,"pins":[{"athlete_id":"00000000-0000-0000-0000-000000000001","lane":2}],"apart":[["00000000-0000-0000-0000-000000000001","00000000-0000-0000-0000-000000000002"]]}"#,
    r#"{"lanes":1,"capacity":300,"barriers":{"min":1,"max":20}}"#,
];

#[test]
fn a_lane_plan_request_is_refused_by_field_or_within_bounds() {
    let athletes = [AthleteId(Uuid::from_u128(1)), AthleteId(Uuid::from_u128(2))];
    let corpus: Vec<&[u8]> = PLANS.iter().map(|text| text.as_bytes()).collect();
    fuzz("lane plan requests", &corpus, |input| {
        let Ok(request) = serde_json::from_slice::<request::Request>(input) else { return false };
        let raw = plans::Raw {
            lanes: request.lanes,
            reserved_lanes: &request.reserved_lanes,
            lane_straights: request.lane_straights.iter().map(|one| (one.lane, one.straight_m)).collect(),
            unless_saves: request.like.map(|like| like.unless_saves),
            time_limit_s: request.time_limit_s,
            capacity: request.capacity,
            barriers_min: request.barriers.min,
            barriers_max: request.barriers.max,
            approach_m: request.approach_m,
            run_out_m: request.run_out_m,
            straight_m: request.straight_m,
            hold_target: request.hold_target,
            rounds: request.rounds,
            objective: &request.objective,
            pins: request.pins.iter().map(|pin| (pin.athlete_id, pin.lane)).collect(),
            apart: request.apart.iter().map(|[a, b]| (*a, *b)).collect(),
        };
        match plans::Wish::parse(&raw, &athletes, Some((Length::from_mm(60_000), 6))) {
            Err(faults) => {
                named(&faults);
                false
            }
            Ok(wish) => {
                assert!((1..=6).contains(&wish.lanes.len()) && (1..=300).contains(&wish.capacity));
                assert!(wish.lanes.iter().all(|lane| (10_000..=400_000).contains(&lane.straight.mm())));
                assert!(1 <= wish.barriers.0 && wish.barriers.0 <= wish.barriers.1 && wish.barriers.1 <= 20);
                assert!(
                    wish.hold_target.is_none_or(|hold| (0.5..=0.95).contains(&hold))
                        && wish.run_out.is_none_or(|run_out| run_out.mm() >= 3_000)
                );
                let there = |number: u32| wish.lanes.iter().any(|lane| lane.number == number);
                assert!(wish.pins.iter().all(|(athlete, lane)| athletes.contains(athlete) && there(*lane)));
                assert!(wish.apart.iter().all(|(a, b)| a != b && athletes.contains(a) && athletes.contains(b)));
                true
            }
        }
    });
}

const SPEC: &str = r#"{"ruleset":"UKA-2026","event_code":"75H","environment":"outdoor","sex":"F","age_group":"U14","race_distance_m":75,"barriers":8,"height_m":0.685,"to_first_m":11.5,"between_m":7.5,"run_in_m":11,"valid_from":"2026-04-01","valid_to":"2028-03-31","source":"Hurdle sheet 2026"}"#;

#[test]
fn a_specification_is_refused_by_field_or_adds_up_and_reads_back() {
    fuzz("specifications", &[SPEC.as_bytes()], |input| {
        let Ok(fields) = serde_json::from_slice::<specs::Fields>(input) else { return false };
        match fields.parse() {
            Err(faults) => {
                named(&faults);
                false
            }
            Ok(own) => {
                let gaps = u32::from(own.barriers) - 1;
                assert_eq!(own.race_distance.mm(), own.to_first.mm() + gaps * own.between.mm() + own.run_in.mm());
                assert!(own.valid_to.is_none_or(|last| last >= own.valid_from));
                assert_eq!(specs::Fields::from(&own).parse().unwrap(), own);
                true
            }
        }
    });
}

const PATCHES: [&str; 3] = [r#"{"note":null}"#, r#"{"intervals":{"held":4},"hits":1}"#, r#"{"barriers":7,"note":"x"}"#];

#[test]
fn tokens_cursors_and_patches_are_refused_or_mean_what_they_say() {
    let owner = Uuid::from_u128(0x0193_6f2e);
    let (token, made) = Opaque::new(owner).unwrap();
    let read = Opaque::parse(&token).unwrap();
    assert_eq!((read.owner, read.hash), (owner, made.hash));
    let page = PageParams { limit: Some(1), cursor: None }.parse::<Uuid>().unwrap();
    let (_, cursor) = page.cut(vec![owner, Uuid::nil()], |id| *id);
    let cursor = cursor.unwrap();
    let after = PageParams { limit: Some(1), cursor: Some(cursor.clone()) }.parse::<Uuid>().unwrap().after;
    assert_eq!(after, Some(owner));
    let current: runs::Fields = serde_json::from_str(RUN).unwrap();
    let mut corpus: Vec<&[u8]> = PATCHES.iter().map(|text| text.as_bytes()).collect();
    corpus.extend([token.as_bytes(), cursor.as_bytes(), RUN.as_bytes()]);
    fuzz("tokens, cursors, patches", &corpus, |input| {
        let text = String::from_utf8_lossy(input).into_owned();
        if let Some(found) = Opaque::parse(&text) {
            assert_eq!((text.len(), found.hash.len()), (64, 32));
        }
        if let Ok(page) = (PageParams { limit: None, cursor: Some(text) }).parse::<Uuid>() {
            let next = page.cut(vec![page.after.unwrap(); page.limit + 1], |id| *id).1;
            let again = PageParams { limit: None, cursor: next }.parse::<Uuid>().unwrap();
            assert_eq!(again.after, page.after);
        }
        if let Ok(Value::Object(patch)) = serde_json::from_slice(input)
            && let Ok(merged) = patch::merge(&current, &patch)
        {
            let once = serde_json::to_value(&merged).unwrap();
            let twice = patch::merge(&merged, &patch).unwrap();
            assert_eq!(serde_json::to_value(&twice).unwrap(), once, "a merge patch applied twice is applied once");
            if let Err(faults) = merged.parse(now(), None) {
                named(&faults);
            }
            return true;
        }
        false
    });
}
