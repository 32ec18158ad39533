//! What is proved of phones behind a bad network.

use std::collections::BTreeMap;
use std::rc::Rc;

use serde_json::{Value, json};
use sqlx::PgPool;
use tokio::task::LocalSet;
use uuid::Uuid;

use super::figures::Figures;
use super::run::{figures, run};
use super::service::Service;
use super::world::{Plan, World};
use crate::phone::{Lost, Outcome, Phone, Reply, Request, Store};

/// A day out: a new session, who came, what they ran, and edits of all of it.
fn work(phone: &mut Phone) -> Uuid {
    let [group, athlete, session, venue] = [(); 4].map(|()| Uuid::now_v7());
    phone.record("group", group, json!({"name": "Hurdles"}));
    let person = json!({"display_name": "Mira", "sex": "F", "birth_year": 2012, "group_ids": [group],
        "experience": "novice"});
    phone.record("athlete", athlete, person);
    let day = chrono::Utc::now().date_naive();
    phone.record("session", session, json!({"held_on": day, "state": "held", "group_ids": [group]}));
    let venue_data = json!({"name": "Park", "environment": "outdoor", "straight_m": 80.0, "lanes": 4});
    phone.record("venue", venue, venue_data.clone());
    phone.replace("venue", venue, json!({"name": "Park", "environment": "indoor", "straight_m": 80.0, "lanes": 4}));
    phone.replace("venue", venue, venue_data);
    let there = Uuid::new_v5(&session, athlete.as_bytes());
    phone.record("attendance", there, json!({"session_id": session, "athlete_id": athlete}));
    for _ in 0..3 {
        let run = json!({"session_id": session, "athlete_id": athlete, "run_at": format!("{day}T00:00:00Z"),
            "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6, "barriers": 5, "hits": 0, "fell": false,
            "intervals": {"held": 4}});
        phone.record("run", Uuid::now_v7(), run);
    }
    phone.patch("athlete", athlete, json!({"display_name": "Mira Osei"}));
    phone.patch("athlete", athlete, json!({"preferred_lead_leg": "left"}));
    phone.patch("athlete", athlete, json!({"display_name": "Mira O."}));
    phone.delete("venue", venue);
    athlete
}

type Copy = BTreeMap<(String, Uuid), Value>;

/// What is stored after the work, without ids and numbers.
fn shape(copy: &Copy) -> Vec<String> {
    let mut all: Vec<String> = copy.keys().map(|(kind, _)| kind.clone()).collect();
    all.sort();
    all
}

#[sqlx::test]
async fn a_phone_that_is_killed_at_any_step_loses_nothing_and_does_nothing_twice(pool: PgPool) {
    let whole = async {
        let service = Service::start((*pool.connect_options()).clone()).await;
        let person = service.person("admin", "north").await;
        for step in 0.. {
            let club = service.found(&person, "North").await;
            let folder = std::env::temp_dir().join(format!("lanewright-phone-{}", Uuid::now_v7()));
            std::fs::create_dir(&folder).unwrap();
            let store = Store::file(&folder.join("phone.db"));
            let mut link = async |request: Request| -> Result<Reply, Lost> {
                Ok(service.carry(&person.token, club, &request).await.0)
            };
            let mut phone = Phone::open(&store);
            phone.settings.limit = 3;
            let athlete = work(&mut phone);
            phone.kill_after(step);
            let killed = phone.sync(&mut link, 0).await.is_err();
            drop(phone);
            let mut phone = Phone::open(&store);
            phone.settings.limit = 4;
            // The first page of a full copy may put the journal back into the outbox; the second round hands it in again.
            for _ in 0..2 {
                assert_eq!(phone.sync(&mut link, 0).await.unwrap(), Outcome::Done);
            }
            assert_eq!((phone.waiting(), phone.parked().len()), (0, 0), "{:?}", phone.parked());
            assert_eq!(
                shape(&phone.copy()),
                ["athlete", "attendance", "club", "group", "run", "run", "run", "session"]
            );
            assert_eq!(phone.data("athlete", athlete).unwrap()["display_name"], "Mira O.");
            assert_eq!(phone.journal().len(), 14);
            let mut tx = service.look(club).await;
            let (rows, last): (i64, i64) = sqlx::query_as(
                "select (select count(*) from club_change where club_id = $1), seq from club_clock where club_id = $1",
            )
            .bind(club)
            .fetch_one(&mut *tx)
            .await
            .unwrap();
            assert_eq!(rows, last, "killed at step {step}");
            std::fs::remove_dir_all(&folder).unwrap();
            if !killed {
                assert!(step > 30, "the loop has more than {step} steps");
                return;
            }
        }
    };
    LocalSet::new().run_until(whole).await;
}

#[sqlx::test]
async fn an_erased_athlete_is_in_nothing_that_a_phone_keeps(pool: PgPool) {
    let whole = async {
        let service = Service::start((*pool.connect_options()).clone()).await;
        let person = service.person("admin", "north").await;
        let club = service.found(&person, "North").await;
        let mut link = async |request: Request| -> Result<Reply, Lost> {
            Ok(service.carry(&person.token, club, &request).await.0)
        };
        let stores = ["erased-one", "erased-other"].map(Store::memory);
        let mut phones = stores.each_ref().map(Phone::open);
        let athlete = work(&mut phones[0]);
        let day = chrono::Utc::now().date_naive();
        for phone in &mut phones {
            assert_eq!(phone.sync(&mut link, 0).await.unwrap(), Outcome::Done);
        }
        let [one, other] = &mut phones;
        // Something for each of the three: confirmed, refused, and not handed in yet.
        let measured =
            |value: f64| json!({"athlete_id": athlete, "kind": "stature_m", "value": value, "measured_on": day});
        other.record("measurement", Uuid::now_v7(), measured(1.5));
        other.record("measurement", Uuid::now_v7(), measured(-1.0));
        other.patch("athlete", athlete, json!({"display_name": ""}));
        assert_eq!(other.sync(&mut link, 0).await.unwrap(), Outcome::Done);
        assert_eq!((other.journal().len(), other.parked().len()), (1, 2), "{:?}", other.parked());
        other.record("measurement", Uuid::now_v7(), measured(1.6));
        other.patch("athlete", athlete, json!({"display_name": "Mira Secret"}));
        one.delete("athlete", athlete);
        for phone in [one, other] {
            for _ in 0..2 {
                assert_eq!(phone.sync(&mut link, 0).await.unwrap(), Outcome::Done);
            }
            let kept = format!("{:?} {:?} {:?}", phone.copy(), phone.journal(), phone.parked());
            assert!(!kept.contains(&athlete.to_string()) && !kept.contains("Mira"), "{kept}");
            assert_eq!(phone.waiting(), 0);
        }
        let mut tx = service.look(club).await;
        let held: i64 = sqlx::query_scalar("select count(*) from held_item").fetch_one(&mut *tx).await.unwrap();
        assert_eq!(held, 0, "nothing about them waits for anybody");
    };
    LocalSet::new().run_until(whole).await;
}

/// Runs a plan in a database of its own, with the printed figures of the run.
async fn simulate(pool: &PgPool, plan: Plan) -> World {
    let whole = async {
        let service = Rc::new(Service::start((*pool.connect_options()).clone()).await);
        run(service, plan).await
    };
    let world = LocalSet::new().run_until(whole).await;
    for (name, figure) in world.figures.lines() {
        println!("{name}: {figure}");
    }
    world
}

/// What is stored at the end, without the columns that hold the service's time and without accounts; with or without the
/// numbers of the changes, which follow the order in which they came.
async fn state(world: &mut World, revs: bool) -> Vec<String> {
    let mut all = Vec::new();
    for number in 0..world.clubs.len() {
        let device = world.devices.iter().position(|one| one.club == number).unwrap();
        for ((kind, id), mut data) in world.fresh_copy(device, &(None, None)).await {
            if let Some(fields) = data.as_object_mut() {
                fields.remove("decided_at");
                if let Some(readiness) = fields.get_mut("readiness").and_then(Value::as_object_mut) {
                    readiness.remove("looked_at");
                }
                if !revs {
                    fields.remove("rev");
                }
            }
            // Every run founds clubs of its own, and the service makes the ids of entries.
            if kind == "race_entry" {
                data["id"].take();
                all.push(format!("{number} {kind} {data}"));
            } else if kind != "club" {
                all.push(format!("{number} {kind} {id} {data}"));
            }
        }
        let mut tx = world.service.look(world.clubs[number].id).await;
        let held: Vec<String> = sqlx::query_scalar(
            "select concat_ws(' ', kind, id, reason, outcome, data) from held_item where club_id = $1 order by id",
        )
        .bind(world.clubs[number].id)
        .fetch_all(&mut *tx)
        .await
        .unwrap();
        all.extend(held);
    }
    all
}

#[track_caller]
fn assert_alike(one: &[String], other: &[String]) {
    let only = |these: &[String], those: &[String]| -> Vec<String> {
        these.iter().filter(|line| !those.contains(line)).take(5).cloned().collect()
    };
    let (left, right) = (only(one, other), only(other, one));
    assert!(left.is_empty() && right.is_empty(), "only in one: {left:#?}\nonly in the other: {right:#?}");
    assert_eq!(one.len(), other.len());
}

/// Operations of each of the two seeds below.
fn size(seed: u64) -> Plan {
    Plan::of(seed, if crate::faults::deep() { 50_000 } else { 3_500 })
}

#[sqlx::test]
async fn nothing_is_lost_doubled_shown_or_split_behind_a_bad_network(pool: PgPool) {
    let mut all = Figures::default();
    for seed in [1, 2] {
        let service = Rc::new(Service::beside_another((*pool.connect_options()).clone()).await);
        all.add(&figures(service, size(seed)).await);
    }
    for (name, figure) in all.lines() {
        println!("{name}: {figure}");
    }
    assert_eq!(all.missing(), [""; 0], "these faults never happened: {:?}", all.faults);
    assert!(all.has_edits(), "{} of {} operations are edits", all.edits, all.operations());
}

#[sqlx::test]
async fn the_clocks_of_the_phones_change_nothing_that_is_stored(pool: PgPool) {
    let plan = Plan { claims: false, load: false, parallel: false, ..Plan::of(2, 800) };
    let mut states = Vec::new();
    for clocks in [20, 21] {
        let mut world = simulate(&pool, Plan { clocks, ..plan }).await;
        states.push(LocalSet::new().run_until(state(&mut world, true)).await);
    }
    assert_alike(&states[0], &states[1]);
}

#[sqlx::test]
async fn the_cut_of_the_pushes_changes_nothing_that_is_stored(pool: PgPool) {
    let plan =
        Plan { claims: false, load: false, faults: false, interleaved: false, parallel: false, ..Plan::of(3, 700) };
    let mut states = Vec::new();
    for batch in [500, 50, 3, 1] {
        let mut world = simulate(&pool, Plan { batch: Some(batch), ..plan }).await;
        states.push(LocalSet::new().run_until(state(&mut world, false)).await);
    }
    for other in &states[1..] {
        assert_alike(&states[0], other);
    }
}
