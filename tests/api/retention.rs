//! What a club keeps for a time: what it says, what the preview counts is what goes, and what something rests on stays.

use std::time::Duration as Moment;

use chrono::{Days, NaiveDate, Utc};
use lanewright::chores;
use lanewright::platform::db::Db;
use lanewright::resources::{exports, retention};
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::audit::{as_owner, noted};
use crate::support::{Caller, TestApp};
use crate::sync_pull::{Phone, run as recorded};
use crate::sync_push::{create, push, statuses};
use crate::wellbeing::{record, stored};

/// A squad whose club switched retention on long ago.
struct Keeper {
    pool: PgPool,
    admin: Caller,
    group: String,
    today: NaiveDate,
}

impl Keeper {
    async fn new(pool: PgPool) -> Self {
        let app = TestApp::spawn(pool.clone()).await;
        let admin = app.admin_of("North").await;
        let group = admin.group("Mine").await;
        let today = admin.get("/retention/preview").await.expect(200).body["on"].as_str().unwrap().parse().unwrap();
        let keeper = Self { pool, admin, group, today };
        keeper.say(json!({"enabled": true})).await;
        keeper.begin().await;
        keeper
    }

    fn ago(&self, days: u64) -> NaiveDate {
        self.today - Days::new(days)
    }

    async fn say(&self, patch: Value) -> Value {
        let tag = self.admin.get("/retention").await.expect(200).header("etag").to_owned();
        self.admin.patch("/retention", &tag, patch).await.expect(200).body
    }

    /// As if the week of notice were over.
    async fn begin(&self) {
        self.sql("update retention set begins_at = now() - interval '1 hour'").await;
    }

    async fn sql(&self, sql: &str) {
        as_owner(&self.pool, &self.admin.club, sql).await;
    }

    fn db(&self) -> Db {
        Db::lazy((*self.pool.connect_options()).clone(), 1)
    }

    /// What the service deletes now.
    async fn sweep(&self) -> u64 {
        chores::compact(&self.db(), chrono::Duration::zero()).await.unwrap().unwrap().retained
    }

    /// What the preview says of a kind: what goes, what stays, and of whom.
    async fn preview(&self, kind: &str) -> (i64, i64, Value) {
        let body = self.admin.get("/retention/preview").await.expect(200).body;
        let part = body["items"].as_array().unwrap().iter().find(|one| one["kind"] == kind).unwrap().clone();
        (part["records"].as_i64().unwrap(), part["kept"].as_i64().unwrap(), part["people"].clone())
    }

    async fn athlete(&self, name: &str) -> String {
        let body = json!({"display_name": name, "sex": "F", "birth_year": 2010, "group_ids": [self.group],
            "experience": "novice"});
        self.admin.post("/athletes", body).await.expect(201).id()
    }

    async fn session(&self, day: NaiveDate) -> String {
        let body = json!({"held_on": day, "state": "held", "group_ids": [self.group]});
        self.admin.post("/sessions", body).await.expect(201).id()
    }

    /// A run of a day in a session of its own: session and run.
    async fn run(&self, athlete: &str, day: NaiveDate, more: Value) -> (String, String) {
        let session = self.session(day).await;
        let id = self.run_in(&session, athlete, day, more).await;
        (session, id)
    }

    async fn run_in(&self, session: &str, athlete: &str, day: NaiveDate, more: Value) -> String {
        let mut run = recorded(session, athlete, day);
        run.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        let sent = self.admin.post("/runs", json!({"runs": [run]})).await.expect(200).body;
        assert_eq!(sent["results"][0]["status"], "created", "{sent}");
        run["id"].as_str().unwrap().to_owned()
    }

    async fn decide(&self, athlete: &str, on: NaiveDate) {
        let body = json!({"on": on, "outcome": "accepted", "clears_return": true});
        self.admin.post(&format!("/athletes/{athlete}/recommendation/decisions"), body).await.expect(201);
    }

    async fn there(&self, path: &str) -> bool {
        let status = self.admin.get(path).await.status;
        assert!([200, 404].contains(&status), "{path}: {status}");
        status == 200
    }
}

#[sqlx::test]
async fn a_club_says_how_long_it_keeps_what_and_nothing_goes_until_it_does(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Mine").await;
    let coach = admin.member("Cora Coach", "coach", &[&group]).await;
    let before = admin.get("/retention").await.expect(200);
    let defaults = json!({"rev": 1, "enabled": false, "former_athletes_days": 365, "wellbeing_records_days": 365,
        "measurements_days": 730, "assessments_days": 1095, "decisions_days": 1095, "runs_days": 1095,
        "sessions_days": 1095});
    assert_eq!(before.body, defaults);
    for path in ["/retention", "/retention/preview"] {
        coach.get(path).await.expect(403);
    }
    coach.patch("/retention", "*", json!({"enabled": true})).await.expect(403);
    admin.patch("/retention", "", json!({"enabled": true})).await.expect(428);
    let patch = async |body: Value| admin.patch("/retention", "*", body).await;
    patch(json!({"runs_days": 449})).await.expect_fault(422, "/runs_days");
    patch(json!({"former_athletes_days": 29})).await.expect_fault(422, "/former_athletes_days");
    patch(json!({"measurements_days": 3651})).await.expect_fault(422, "/measurements_days");
    patch(json!({"wellbeing_records_days": null})).await.expect_fault(422, "/wellbeing_records_days");
    patch(json!({"runs_days": "long"})).await.expect(400);
    patch(json!({"notes_days": 400})).await.expect(400);

    let on = patch(json!({"enabled": true, "sessions_days": null})).await.expect(200);
    assert_eq!((&on.body["rev"], on.body.get("sessions_days")), (&json!(2), None));
    let begins: chrono::DateTime<Utc> = on.body["begins_at"].as_str().unwrap().parse().unwrap();
    assert!(begins > Utc::now() + chrono::Duration::days(6), "a week to look again: {begins}");
    admin.patch("/retention", before.header("etag"), json!({"enabled": false})).await.expect(412);
    // Whatever takes less counts at once and leaves the week as it was.
    let longer = patch(json!({"runs_days": 2000})).await.expect(200);
    assert_eq!(longer.body["begins_at"], on.body["begins_at"]);
    let off = patch(json!({"enabled": false})).await.expect(200);
    assert_eq!(off.body.get("begins_at"), None);
    let kinds: Vec<Value> = admin.get("/retention/preview").await.expect(200).body["items"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| one["kind"].clone())
        .collect();
    assert_eq!(kinds, ["former_athletes", "wellbeing_records", "measurements", "assessments", "decisions", "runs"]);

    let changed = noted(&admin, "changed", "PATCH /v1/clubs/{club_id}/retention").await;
    assert_eq!(changed.len(), 3, "each change is a row: {changed:#?}");
    assert_eq!(changed[0]["account_id"], json!(admin.account));
    let seen = noted(&admin, "read", "GET /v1/clubs/{club_id}/retention/preview").await;
    assert_eq!(seen[0]["reach"], "seen");
}

#[sqlx::test]
async fn what_the_preview_counts_is_what_goes_to_the_day_and_reaches_phones(pool: PgPool) {
    let keeper = Keeper::new(pool).await;
    let admin = &keeper.admin;
    let mira = keeper.athlete("Mira Osei").await;
    let (old_session, old) = keeper.run(&mira, keeper.ago(1_096), json!({})).await;
    let (first_session, first) = keeper.run(&mira, keeper.ago(1_095), json!({})).await;
    let rated = |day: NaiveDate| {
        json!({"id": Uuid::now_v7(), "athlete_id": mira, "assessed_at": format!("{day}T12:00:00Z"), "ratings": {"arms": 1},
            "note": "Shy"})
    };
    let ratings = [rated(keeper.ago(1_096)), rated(keeper.ago(1_095))];
    admin.post("/assessments", json!({"assessments": ratings})).await.expect(200);
    let mut phone = Phone::default();
    phone.pull(admin, 100).await;
    assert_eq!((phone.ids("run").len(), phone.ids("assessment").len(), phone.ids("session").len()), (2, 2, 2));

    let (records, kept, people) = keeper.preview("runs").await;
    assert_eq!((records, kept), (1, 0));
    assert_eq!(people, json!([{"athlete_id": mira, "display_name": "Mira Osei", "records": 1}]));
    assert_eq!(keeper.preview("assessments").await.0, 1);
    assert_eq!(keeper.preview("sessions").await, (0, 1, json!([])), "a run stands in it");
    // Off, or within the week of notice, nothing goes.
    keeper.say(json!({"enabled": false})).await;
    assert_eq!(keeper.sweep().await, 0);
    keeper.say(json!({"enabled": true})).await;
    assert_eq!(keeper.sweep().await, 0);
    keeper.begin().await;

    assert_eq!(keeper.sweep().await, 3, "a run, an assessment, and the session that is empty without them");
    assert!(!keeper.there(&format!("/runs/{old}")).await && keeper.there(&format!("/runs/{first}")).await);
    assert!(!keeper.there(&format!("/sessions/{old_session}")).await);
    assert!(keeper.there(&format!("/sessions/{first_session}")).await);
    phone.pull(admin, 1).await;
    assert_eq!(phone.ids("run"), [first.as_str()]);
    assert_eq!(phone.ids("session"), [first_session.as_str()]);
    assert_eq!(phone.ids("assessment"), [ratings[1]["id"].as_str().unwrap()]);
    let mut fresh = Phone::default();
    fresh.pull(admin, 100).await;
    assert_eq!(fresh.copy, phone.copy);
    assert_eq!(keeper.sweep().await, 0, "once is enough");

    let rows = noted(admin, "changed", "service retention").await;
    assert_eq!(rows.len(), 3, "a transaction is a row: {rows:#?}");
    assert!(rows.iter().all(|row| row.get("account_id").is_none()));
    assert!(rows.iter().any(|row| row["athlete_ids"] == json!([mira]) && row["record_ids"] == json!([old])));
    assert_eq!(admin.get("/audit/verification").await.expect(200).body["sound"], true);
}

#[sqlx::test]
async fn what_went_is_in_no_archive_either(pool: PgPool) {
    let keeper = Keeper::new(pool).await;
    let admin = &keeper.admin;
    let (mira, other) = (keeper.athlete("Mira Osei").await, keeper.athlete("Ada Lind").await);
    let (session, _) = keeper.run(&mira, keeper.ago(1_200), json!({})).await;
    keeper.run(&other, keeper.ago(10), json!({})).await;
    let export = async |body: Value| {
        let id = admin.post("/exports", body).await.expect(201).id();
        let made = exports::make(&keeper.db(), Utc::now() + chrono::Duration::hours(1)).await.unwrap();
        assert_eq!(made, Some(exports::Made::Ready));
        id
    };
    let state = async |id: &str| admin.get(&format!("/exports/{id}")).await.expect(200).body["state"].clone();
    let all = [
        export(json!({})).await,
        export(json!({"athlete_id": mira})).await,
        export(json!({"athlete_id": other})).await,
    ];
    keeper.say(json!({"sessions_days": null})).await;
    assert_eq!(keeper.sweep().await, 1, "the run");
    let states = [state(&all[0]).await, state(&all[1]).await, state(&all[2]).await];
    assert_eq!(states, ["withdrawn", "withdrawn", "ready"]);
    admin.get(&format!("/exports/{}/archive", all[0])).await.expect(409);
    // With a session goes who came to it.
    let again = export(json!({})).await;
    assert_eq!(keeper.sweep().await, 0, "nothing is old");
    assert_eq!(state(&again).await, "ready");
    keeper.say(json!({"sessions_days": 1_095})).await;
    keeper.begin().await;
    assert_eq!(keeper.sweep().await, 1, "the session");
    assert!(!keeper.there(&format!("/sessions/{session}")).await);
    assert_eq!([state(&again).await, state(&all[2]).await], ["withdrawn", "withdrawn"]);
}

#[sqlx::test]
async fn a_correction_goes_with_what_it_corrects_or_both_stay(pool: PgPool) {
    let keeper = Keeper::new(pool).await;
    let mira = keeper.athlete("Mira Osei").await;
    let (old, new) = (keeper.ago(1_200), keeper.ago(100));
    let (session, first) = keeper.run(&mira, old, json!({})).await;
    let second = keeper.run_in(&session, &mira, old, json!({"supersedes": first})).await;
    keeper.run_in(&session, &mira, old, json!({"supersedes": second, "void": true})).await;
    let (_, moved) = keeper.run(&mira, old, json!({})).await;
    let later = keeper.session(new).await;
    let moved_to = keeper.run_in(&later, &mira, new, json!({"supersedes": moved})).await;
    let listed = async || {
        let page = keeper.admin.get("/runs?superseded=true&limit=200").await.expect(200).body;
        page["items"].as_array().unwrap().iter().map(|one| one["id"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(listed().await.len(), 5);
    assert_eq!((keeper.preview("runs").await.0, keeper.preview("runs").await.1), (3, 1));
    keeper.sweep().await;
    let mut left = listed().await;
    left.sort();
    let mut both = [moved, moved_to];
    both.sort();
    assert_eq!(left, both, "an old run whose correction is young stays corrected");
}

#[sqlx::test]
async fn a_fall_without_a_coachs_word_stays_and_so_does_the_word(pool: PgPool) {
    let keeper = Keeper::new(pool).await;
    keeper.say(json!({"runs_days": 450, "decisions_days": 450, "wellbeing_records_days": 365})).await;
    keeper.begin().await;
    let mira = keeper.athlete("Mira Osei").await;
    let fell = json!({"fell": true, "hits": 1});
    let (_, fall) = keeper.run(&mira, keeper.ago(460), fell.clone()).await;
    assert_eq!((keeper.preview("runs").await.0, keeper.preview("runs").await.1), (0, 1));
    keeper.sweep().await;
    assert!(keeper.there(&format!("/runs/{fall}")).await, "advice still waits for a coach");
    // Cleared, the fall goes; the word that cleared it goes when there is nothing left that it clears.
    keeper.decide(&mira, keeper.ago(455)).await;
    assert_eq!(keeper.preview("decisions").await.1, 1);
    assert_eq!(keeper.preview("runs").await.0, 1);
    keeper.sweep().await;
    assert!(!keeper.there(&format!("/runs/{fall}")).await);
    keeper.sweep().await;
    assert_eq!((keeper.preview("decisions").await.0, keeper.preview("decisions").await.1), (0, 0));
    // Nobody will clear the fall of somebody who left.
    let tam = keeper.athlete("Tam Reyl").await;
    let (_, fall) = keeper.run(&tam, keeper.ago(460), fell).await;
    keeper.admin.patch(&format!("/athletes/{tam}"), "*", json!({"status": "left"})).await.expect(200);
    keeper.sweep().await;
    assert!(!keeper.there(&format!("/runs/{fall}")).await);
}

#[sqlx::test]
async fn what_rests_somebody_or_keeps_them_on_the_way_back_stays(pool: PgPool) {
    let keeper = Keeper::new(pool).await;
    let admin = &keeper.admin;
    let (open, back) = (keeper.athlete("Open Report").await, keeper.athlete("On The Way").await);
    let day = keeper.ago(500);
    let pain = stored(admin, record(&open, "pain", day, &json!({}))).await;
    let hurt = stored(admin, record(&back, "injury", day, &json!({}))).await;
    stored(admin, record(&back, "clearance", keeper.ago(490), &json!({"clears": hurt}))).await;
    let path = |id: &Value| format!("/wellbeing-records/{}", id.as_str().unwrap());
    let (records, kept, people) = keeper.preview("wellbeing_records").await;
    assert_eq!((records, kept, people), (0, 3, json!([])));
    keeper.sweep().await;
    assert!(keeper.there(&path(&pain)).await && keeper.there(&path(&hurt)).await);
    let advice = async |athlete: &str| {
        admin.get(&format!("/athletes/{athlete}/recommendation")).await.expect(200).body["decision"].clone()
    };
    assert_eq!(advice(&open).await["kind"], "rest_and_refer");
    assert_eq!(advice(&back).await["needs_confirmation"], true);

    // Confirmed, and two sessions run since: report and clearance mean nothing any more, and go together.
    keeper.decide(&back, keeper.ago(489)).await;
    for ago in [480, 470] {
        let session = keeper.session(keeper.ago(ago)).await;
        for _ in 0..2 {
            keeper.run_in(&session, &back, keeper.ago(ago), json!({})).await;
        }
    }
    let before = advice(&back).await;
    assert_eq!(keeper.preview("wellbeing_records").await.0, 2);
    assert_eq!(keeper.sweep().await, 2);
    assert!(!keeper.there(&path(&hurt)).await && keeper.there(&path(&pain)).await);
    assert_eq!(advice(&back).await, before, "advice is the same without them");
    let mut phone = Phone::default();
    phone.pull(admin, 100).await;
    assert_eq!(phone.ids("wellbeing_record"), [pain.as_str().unwrap()]);
    // A clearance of yesterday keeps what it clears, however old that is.
    stored(admin, record(&open, "clearance", keeper.ago(1), &json!({"clears": pain}))).await;
    keeper.decide(&open, keeper.ago(0)).await;
    keeper.sweep().await;
    assert!(keeper.there(&path(&pain)).await);
}

#[sqlx::test]
async fn the_newest_measurement_of_each_kind_stays_however_old(pool: PgPool) {
    let keeper = Keeper::new(pool).await;
    let mira = keeper.athlete("Mira Osei").await;
    let path = format!("/athletes/{mira}/measurements");
    for (kind, value, ago) in
        [("stature_m", 1.40, 1_500), ("stature_m", 1.45, 1_200), ("stature_m", 1.50, 900), ("sprint_30m_s", 5.4, 1_300)]
    {
        let body = json!({"kind": kind, "value": value, "measured_on": keeper.ago(ago), "confirmed": true});
        keeper.admin.post(&path, body).await.expect(201);
    }
    assert_eq!((keeper.preview("measurements").await.0, keeper.preview("measurements").await.1), (2, 2));
    assert_eq!(keeper.sweep().await, 2);
    let left = keeper.admin.get(&path).await.expect(200).body;
    let values: Vec<f64> = left["items"].as_array().unwrap().iter().map(|one| one["value"].as_f64().unwrap()).collect();
    assert_eq!(values.len(), 2);
    assert!(values.contains(&1.5) && values.contains(&5.4), "{left}");
    let mut phone = Phone::default();
    phone.pull(&keeper.admin, 100).await;
    assert_eq!(phone.ids("measurement").len(), 2);
}

#[sqlx::test]
async fn who_left_long_ago_goes_as_when_an_admin_deletes_them(pool: PgPool) {
    let keeper = Keeper::new(pool).await;
    let admin = &keeper.admin;
    let [gone, late, trains] = [
        keeper.athlete("Gone Long").await,
        keeper.athlete("Left With News").await,
        keeper.athlete("Still Trains").await,
    ];
    for athlete in [&gone, &late] {
        admin.patch(&format!("/athletes/{athlete}"), "*", json!({"status": "left"})).await.expect(200);
    }
    keeper
        .sql("update athletes set updated_at = now() - interval '366 days', created_at = now() - interval '900 days'")
        .await;
    let mut phone = Phone::default();
    phone.pull(admin, 100).await;
    // Something was recorded of one of them only yesterday.
    keeper.run(&late, keeper.ago(700), json!({})).await;
    let (records, kept, people) = keeper.preview("former_athletes").await;
    assert_eq!((records, kept), (1, 1));
    assert_eq!(people[0]["display_name"], "Gone Long");
    assert_eq!(keeper.sweep().await, 1);
    admin.get(&format!("/athletes/{gone}")).await.expect(404);
    for stays in [&late, &trains] {
        admin.get(&format!("/athletes/{stays}")).await.expect(200);
    }
    phone.pull(admin, 100).await;
    assert_eq!(phone.ids("athlete").len(), 2);
    let rows = noted(admin, "changed", "service retention").await;
    assert_eq!(rows[0]["athlete_ids"], json!([gone]));
    let dump: Vec<String> = {
        let mut tx = keeper.pool.begin().await.unwrap();
        as_club(&mut tx, &admin.club).await;
        sqlx::query_scalar("select x::text from athletes x").fetch_all(&mut *tx).await.unwrap()
    };
    assert!(dump.iter().all(|row| !row.contains("Gone Long")), "{dump:?}");
}

async fn as_club(tx: &mut sqlx::Transaction<'_, sqlx::Postgres>, club: &str) {
    let club = Uuid::parse_str(club).unwrap();
    let enter = format!("set local app.club_id = '{club}'");
    sqlx::raw_sql(sqlx::AssertSqlSafe(enter)).execute(&mut **tx).await.unwrap();
}

#[sqlx::test]
async fn estimates_are_those_of_somebody_who_never_ran_what_is_gone(pool: PgPool) {
    let keeper = Keeper::new(pool).await;
    let (one, other) = (keeper.athlete("Ran Long").await, keeper.athlete("Ran Lately").await);
    for ago in [1_300, 1_200, 1_100] {
        keeper.run(&one, keeper.ago(ago), json!({"spacing_m": 5.0, "intervals": {"over_reached": 4}})).await;
    }
    for ago in [30, 10] {
        let session = keeper.session(keeper.ago(ago)).await;
        for athlete in [&one, &other] {
            keeper.run_in(&session, athlete, keeper.ago(ago), json!({})).await;
        }
    }
    let estimate = async |athlete: &str| {
        let advice = keeper.admin.get(&format!("/athletes/{athlete}/recommendation")).await.expect(200).body;
        assert!(advice["estimate"].is_object(), "{advice}");
        advice["estimate"].clone()
    };
    assert_ne!(estimate(&one).await, estimate(&other).await);
    assert!(keeper.sweep().await >= 3);
    assert_eq!(estimate(&one).await, estimate(&other).await);
}

#[sqlx::test]
async fn an_empty_session_goes_with_whatever_was_planned_in_it(pool: PgPool) {
    let keeper = Keeper::new(pool).await;
    let admin = &keeper.admin;
    let mira = keeper.athlete("Mira Osei").await;
    let session = keeper.session(keeper.ago(1_100)).await;
    admin.put(&format!("/sessions/{session}/attendance"), "", json!({"present": [mira]})).await.expect(200);
    let plan =
        json!({"lanes": 2, "capacity": 4, "barriers": {"min": 4, "max": 5}, "straight_m": 80, "athlete_ids": [mira]});
    admin.post(&format!("/sessions/{session}/lane-plans"), plan).await.expect(201);
    let race = json!({"session_id": session, "dimensions": {"race_distance_m": 50, "barriers": 5, "height_m": 0.5,
        "approach_m": 11, "spacing_m": 6.5}});
    let race = admin.post("/race-tests", race).await.expect(201).id();
    let entries = json!({"athlete_ids": [mira], "coach_accepts": [mira]});
    admin.put(&format!("/race-tests/{race}/entries"), "*", entries).await.expect(200);
    let mut phone = Phone::default();
    phone.pull(admin, 100).await;
    for kind in ["session", "attendance", "lane_plan", "race_test", "race_entry"] {
        assert_eq!(phone.ids(kind).len(), 1, "{kind}");
    }
    assert_eq!(keeper.preview("sessions").await, (1, 0, json!([])));
    assert_eq!(keeper.sweep().await, 1);
    phone.pull(admin, 2).await;
    for kind in ["session", "attendance", "lane_plan", "race_test", "race_entry"] {
        assert_eq!(phone.ids(kind), Vec::<&str>::new(), "{kind}");
    }
    for path in [format!("/sessions/{session}"), format!("/race-tests/{race}")] {
        admin.get(&path).await.expect(404);
    }
}

/// One instance that died is followed by another while it may still be at work.
#[sqlx::test]
async fn two_instances_at_once_delete_each_record_once_beside_those_who_correct(pool: PgPool) {
    let keeper = Keeper::new(pool).await;
    let mut runs = Vec::new();
    for name in ["A", "B", "C"] {
        let athlete = keeper.athlete(name).await;
        for ago in [1_096, 1_200, 1_300] {
            let (session, run) = keeper.run(&athlete, keeper.ago(ago), json!({})).await;
            runs.push((session, athlete.clone(), run, keeper.ago(ago)));
        }
    }
    let (one, two) = (keeper.db(), keeper.db());
    let correcting = async {
        let mut corrected = 0;
        for (session, athlete, run, day) in &runs {
            let mut fixed = recorded(session, athlete, *day);
            fixed["supersedes"] = json!(run);
            let sent = keeper.admin.post("/runs", json!({"runs": [fixed]})).await;
            // Gone before it was corrected, or corrected before it went.
            assert!([200, 422, 503].contains(&sent.status), "{}", sent.body);
            corrected += usize::from(sent.body["results"][0]["status"] == "created");
            tokio::time::sleep(Moment::from_millis(1)).await;
        }
        corrected
    };
    let (first, second, corrected) = tokio::join!(retention::sweep(&one), retention::sweep(&two), correcting);
    let rest = keeper.sweep().await;
    let total = first.unwrap() + second.unwrap() + rest;
    // Each run, each correction that was stored, and the nine sessions.
    assert_eq!(total, (runs.len() + corrected + 9) as u64);
    let left = keeper.admin.get("/runs?superseded=true").await.expect(200).body;
    assert_eq!(left["items"], json!([]));
}

/// A phone that hands in an old fact once more brings nothing back by itself.
#[sqlx::test]
async fn what_is_handed_in_again_after_it_went_waits_for_an_admin(pool: PgPool) {
    let keeper = Keeper::new(pool).await;
    let mira = keeper.athlete("Mira Osei").await;
    let session = keeper.session(keeper.ago(1_100)).await;
    let item = create("run", recorded(&session, &mira, keeper.ago(1_100)));
    assert_eq!(statuses(&push(&keeper.admin, std::slice::from_ref(&item)).await), [201]);
    assert_eq!(keeper.sweep().await, 2);
    let again = push(&keeper.admin, &[item]).await;
    assert_eq!(statuses(&again), [202], "its session is gone: {again:?}");
    assert_eq!(keeper.admin.get("/runs").await.expect(200).body["items"], json!([]));
}
