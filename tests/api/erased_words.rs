//! An erasure leaves no word of a person: not in any table, feed, export or log, nor after an older copy was restored.

use std::collections::{BTreeMap, BTreeSet};
use std::io::{self, Write};
use std::sync::{LazyLock, Mutex};

use lanewright::platform::config::Config;
use lanewright::platform::db::Db;
use lanewright::resources::athletes;
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, PgConnection, PgPool, Postgres, Transaction};
use tracing_subscriber::fmt::MakeWriter;
use uuid::Uuid;

use crate::exports::exported;
use crate::support::{Caller, TestApp};
use crate::sync_pull::{Phone, Squad, athlete, run, squad};
use crate::sync_push::{create, item, push, statuses};

/// What the log is searched for, and what was found. All tests of this process write to one log.
static WATCHED: LazyLock<Mutex<(Vec<String>, BTreeSet<String>)>> = LazyLock::new(Mutex::default);

#[derive(Clone)]
struct Watch;

impl Write for Watch {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        let text = String::from_utf8_lossy(bytes).into_owned();
        let mut watched = WATCHED.lock().unwrap();
        let found: Vec<String> = watched.0.iter().filter(|word| text.contains(*word)).cloned().collect();
        watched.1.extend(found);
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl<'a> MakeWriter<'a> for Watch {
    type Writer = Self;

    fn make_writer(&'a self) -> Self {
        self.clone()
    }
}

/// Searches the log of this process from here on.
fn watch_log(words: impl IntoIterator<Item = String>) {
    let lines = tracing_subscriber::fmt().with_max_level(tracing::Level::DEBUG).with_writer(Watch).json().finish();
    // Another test of this file may have been first.
    let _ = tracing::subscriber::set_global_default(lines);
    WATCHED.lock().unwrap().0.extend(words);
}

/// A transaction of whoever owns the tables, in the club.
async fn owning(pool: &PgPool, club: &str) -> Transaction<'static, Postgres> {
    let mut tx = pool.begin().await.unwrap();
    sqlx::raw_sql(AssertSqlSafe(format!("set local app.club_id = '{club}'"))).execute(&mut *tx).await.unwrap();
    tx
}

async fn tables(conn: &mut PgConnection) -> Vec<String> {
    let sql = "select c.relname::text from pg_class c join pg_namespace n on n.oid = c.relnamespace
        where n.nspname = 'public' and c.relkind = 'r' order by 1";
    sqlx::query_scalar(sql).fetch_all(conn).await.unwrap()
}

/// Every row of every table, as text.
async fn dump(pool: &PgPool, club: &str) -> Vec<(String, String)> {
    let mut tx = owning(pool, club).await;
    let mut all = Vec::new();
    for table in tables(&mut tx).await {
        let sql = format!("select t::text from {table} t");
        let rows: Vec<String> = sqlx::query_scalar(AssertSqlSafe(sql)).fetch_all(&mut *tx).await.unwrap();
        all.extend(rows.into_iter().map(|row| (table.clone(), row)));
    }
    all
}

/// Which words stand where.
fn traces(dump: &[(String, String)], words: &BTreeMap<&str, String>) -> BTreeSet<String> {
    let found = |(table, row): &(String, String)| {
        let row = row.to_lowercase();
        words
            .iter()
            .filter(|(_, word)| row.contains(&word.to_lowercase()))
            .map(|(what, _)| format!("{what} in {table}"))
            .collect::<Vec<_>>()
    };
    dump.iter().flat_map(found).collect()
}

/// The club's tables, each after those that it points at.
async fn in_order(conn: &mut PgConnection) -> Vec<String> {
    let mut left: BTreeSet<String> = sqlx::query_scalar(
        "select c.relname::text from pg_class c join pg_namespace n on n.oid = c.relnamespace
         where n.nspname = 'public' and obj_description(c.oid, 'pg_class') like 'scope:tenant%'",
    )
    .fetch_all(&mut *conn)
    .await
    .unwrap()
    .into_iter()
    .collect();
    let points: Vec<(String, String)> = sqlx::query_as(
        "select conrelid::regclass::text, confrelid::regclass::text from pg_constraint where contype = 'f' and conrelid <> confrelid",
    )
    .fetch_all(conn)
    .await
    .unwrap();
    let mut order = Vec::new();
    while !left.is_empty() {
        let waits = |table: &String| points.iter().any(|(from, to)| from == table && left.contains(to));
        let ready: Vec<String> = left.iter().filter(|table| !waits(table)).cloned().collect();
        assert!(!ready.is_empty(), "{left:?} point at each other");
        left.retain(|table| !ready.contains(table));
        order.extend(ready);
    }
    order
}

/// Keeps a copy of all that the club has.
async fn copy(pool: &PgPool, club: &str) {
    let mut tx = owning(pool, club).await;
    sqlx::raw_sql("create schema copied").execute(&mut *tx).await.unwrap();
    for table in in_order(&mut tx).await {
        let sql = format!("create table copied.{table} as select * from public.{table}");
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
}

/// Puts the copy in the place of what the club has.
async fn restore(pool: &PgPool, club: &str) {
    let mut tx = owning(pool, club).await;
    let order = in_order(&mut tx).await;
    for table in order.iter().rev() {
        sqlx::raw_sql(AssertSqlSafe(format!("delete from {table}"))).execute(&mut *tx).await.unwrap();
    }
    for table in &order {
        let columns: String = sqlx::query_scalar(
            "select string_agg(quote_ident(attname), ', ') from pg_attribute
             where attrelid = $1::text::regclass and attnum > 0 and not attisdropped and attgenerated = ''",
        )
        .bind(table)
        .fetch_one(&mut *tx)
        .await
        .unwrap();
        let sql = format!("insert into {table} ({columns}) select {columns} from copied.{table}");
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
}

/// Facts that stay, about nobody.
async fn counts(pool: &PgPool, club: &str) -> Vec<i64> {
    let mut tx = owning(pool, club).await;
    let mut all = Vec::new();
    for table in [
        "runs",
        "assessments",
        "recommendations",
        "race_results",
        "attendance",
        "sessions",
        "lane_plans",
        "race_tests",
        "audit",
    ] {
        let sql = format!("select count(*) from {table}");
        all.push(sqlx::query_scalar(AssertSqlSafe(sql)).fetch_one(&mut *tx).await.unwrap());
    }
    // The erasure itself is a row.
    *all.last_mut().unwrap() = 0;
    all
}

/// A word of its own for each place.
fn words() -> BTreeMap<&'static str, String> {
    let places = [
        "name",
        "earlier name",
        "name in a conflict",
        "name in a broken edit",
        "status in a broken edit",
        "name in a broken create",
        "run",
        "corrected run",
        "assessment",
        "decision",
        "race result",
        "held run",
        "held decision",
        "rejected held fact",
        "why it was rejected",
        "accepted held run",
        "name in a plan",
        "name in a stale plan",
        "name in a plan of nobody",
        "name in a deleted plan",
        "name in a roster",
        "query",
        "withdrawn assessment",
        "refused fact",
    ];
    let word = |at: usize| {
        format!(
            "Zq{}{}",
            ["uill", "ompo", "aster", "enith"][at % 4],
            Uuid::now_v7().simple().to_string()[24..].to_owned() + &at.to_string()
        )
    };
    places
        .into_iter()
        .enumerate()
        .map(|(at, what)| (what, word(at)))
        .chain([("birth", "2013-02-27".to_owned())])
        .collect()
}

/// Says something with each word, through every door there is; the athlete.
#[allow(clippy::too_many_lines)] // one after another
async fn say(squad: &Squad, words: &BTreeMap<&str, String>) -> String {
    let (admin, coach, day) = (&squad.admin, &squad.coach, squad.day);
    let body = json!({"display_name": words["earlier name"], "sex": "F", "birth_date": words["birth"], "group_ids": [squad.mine],
        "experience": "novice", "measurements": [{"kind": "stature_m", "value": 1.5, "measured_on": day}]});
    let id = coach.post("/athletes", body).await.expect(201).id();
    let stock = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 40});
    admin.post("/equipment", stock).await.expect(201);
    let path = format!("/athletes/{id}");
    coach.patch(&path, "*", json!({"display_name": words["name"]})).await.expect(200);
    coach.get(&format!("/athletes?q={}", words["query"])).await.expect(200);
    let consent = json!({"purpose": "sharing_with_apps", "act": "withdrawn", "on": day, "by": "guardian"});
    coach.post(&format!("{path}/consents"), consent).await.expect(201);

    let plan =
        json!({"lanes": 1, "capacity": 4, "barriers": {"min": 4, "max": 5}, "straight_m": 80, "athlete_ids": [id]});
    let planned = coach.post(&format!("/sessions/{}/lane-plans", squad.session), plan).await.expect(201);
    let ran = |session: &str, note: &str| {
        let mut fact = run(session, &id, day);
        fact["note"] = json!(words[note]);
        fact
    };
    let rated = |note: &str| json!({"id": Uuid::now_v7(), "athlete_id": id, "assessed_at": format!("{day}T18:00:00Z"), "ratings": {"arms": 2}, "note": words[note]});
    let first = ran(&squad.session, "run");
    let mut again = ran(&squad.session, "corrected run");
    again["supersedes"] = first["id"].clone();
    coach.post("/runs", json!({"runs": [first]})).await.expect(200);
    coach.post("/runs", json!({"runs": [again]})).await.expect(200);
    let wrong = rated("withdrawn assessment");
    let mut withdrawn = wrong.clone();
    (withdrawn["id"], withdrawn["supersedes"], withdrawn["void"]) =
        (json!(Uuid::now_v7()), wrong["id"].clone(), json!(true));
    coach.post("/assessments", json!({"assessments": [rated("assessment"), wrong]})).await.expect(200);
    coach.post("/assessments", json!({"assessments": [withdrawn]})).await.expect(200);
    let decided = json!({"outcome": "overridden", "reason": words["decision"], "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6.0});
    coach.post(&format!("{path}/recommendation/decisions"), decided).await.expect(201);
    coach.post(&format!("{path}/recommendation/decisions"), json!({"outcome": "accepted"})).await.expect(201);
    let test = json!({"session_id": squad.session, "name": "Test", "state": "held", "timing_method": "video",
        "dimensions": {"race_distance_m": 50, "barriers": 5, "height_m": 0.5, "approach_m": 11, "spacing_m": 6.5}});
    let test = coach.post("/race-tests", test).await.expect(201).id();
    coach
        .put(&format!("/race-tests/{test}/entries"), "*", json!({"athlete_ids": [id], "coach_accepts": [id]}))
        .await
        .expect(200);
    coach
        .call(
            reqwest::Method::POST,
            &coach.path(&format!("/race-tests/{test}/heats")),
            &[("if-match", "*")],
            Some(json!({"lanes": 4, "seed": 7})),
        )
        .await
        .expect(200);
    let result = json!({"id": Uuid::now_v7(), "athlete_id": id, "status": "finished", "final_time_s": 9.8, "timing_method": "video",
        "video_fps": 120, "note": words["race result"]});
    coach.post(&format!("/race-tests/{test}/results"), json!({"results": [result]})).await.expect(200);
    coach.put(&format!("/sessions/{}/attendance", squad.session), "*", json!({"present": [id]})).await.expect(200);
    held(squad, words, &id, &ran).await;
    let planned = coach.get(&format!("/sessions/{}/lane-plans/{}", squad.session, planned.id())).await.expect(200);
    edits(squad, words, &id, &planned.body).await;
    let roster = format!(
        "display_name,sex,birth_date,groups,experience\n{},F,{},Nowhere,novice\n",
        words["name in a roster"], words["birth"]
    );
    admin.bytes(reqwest::Method::POST, "/athletes/import", "text/csv", roster.into_bytes()).await.expect(422);
    id
}

/// Facts that wait: one is accepted, one rejected with a word, one stays.
async fn held(squad: &Squad, words: &BTreeMap<&str, String>, id: &str, ran: &impl Fn(&str, &str) -> Value) {
    let (admin, coach) = (&squad.admin, &squad.coach);
    let nowhere = Uuid::now_v7().to_string();
    let facts = ["held run", "rejected held fact", "accepted held run"].map(|note| create("run", ran(&nowhere, note)));
    assert_eq!(statuses(&push(coach, &facts).await), [202; 3]);
    let reason = json!({"reason": words["why it was rejected"]});
    admin.post(&format!("/held-items/{}/reject", facts[1]["id"].as_str().unwrap()), reason).await.expect(200);
    let accepted = json!({"session_id": squad.session});
    admin.post(&format!("/held-items/{}/accept", facts[2]["id"].as_str().unwrap()), accepted).await.expect(200);
    // Of somebody who does not see the athlete.
    let elsewhere = admin.member("Other Coach", "coach", &[&squad.other]).await;
    let decided = json!({"athlete_id": id, "outcome": "overridden", "reason": words["held decision"], "barrier_kind": "wicket", "height_m": 0.3,
        "spacing_m": 6.0});
    assert_eq!(statuses(&push(&elsewhere, &[create("decision", decided)]).await), [202]);
}

/// Edits that lose, are broken or come too late.
async fn edits(squad: &Squad, words: &BTreeMap<&str, String>, id: &str, planned: &Value) {
    let coach = &squad.coach;
    let patch = |base: i64, data: Value| item("PATCH", "athlete", id, json!({"base_rev": base, "data": data}));
    let lost = patch(0, json!({"display_name": words["name in a conflict"]}));
    let long = patch(1_000_000, json!({"display_name": words["name in a broken edit"].repeat(20)}));
    let status = patch(1_000_000, json!({"status": words["status in a broken edit"]}));
    let made = json!({"display_name": words["name in a broken create"], "sex": "F", "birth_date": words["birth"], "experience": "novice",
        "group_ids": [Uuid::now_v7()]});
    assert_eq!(statuses(&push(coach, &[lost]).await), [409]);
    assert_eq!(statuses(&push(coach, &[long]).await), [422]);
    assert_eq!(statuses(&push(coach, &[status]).await), [422]);
    assert_eq!(statuses(&push(coach, &[create("athlete", made)]).await), [422]);
    let mut fact = run(&squad.session, id, squad.day);
    (fact["note"], fact["barriers"]) = (json!(words["refused fact"]), json!(99));
    assert_eq!(statuses(&push(coach, &[create("run", fact)]).await), [422]);
    let named = |word: &str, somebody: &str| {
        let mut data = planned.clone();
        for gone in ["id", "rev", "created_at", "updated_at", "created_by"] {
            data.as_object_mut().unwrap().remove(gone);
        }
        data["lanes"][0]["athletes"][0]["display_name"] = json!(words[word]);
        data["lanes"][0]["athletes"][0]["athlete_id"] = json!(somebody);
        data
    };
    let (plan, rev) = (planned["id"].as_str().unwrap(), planned["rev"].as_i64().unwrap());
    let put = |id: &str, rev: i64, data: Value| item("PUT", "lane_plan", id, json!({"if_match": rev, "data": data}));
    let results = push(coach, &[put(plan, rev + 1_000, named("name in a stale plan", id))]).await;
    assert_eq!(statuses(&results), [412], "{results:?}");
    let results = push(coach, &[put(plan, rev, named("name in a plan of nobody", &Uuid::now_v7().to_string()))]).await;
    assert_eq!(statuses(&results), [422], "{results:?}");
    let gone = create("lane_plan", named("name in a plan", id));
    let results = push(coach, std::slice::from_ref(&gone)).await;
    assert_eq!(statuses(&results), [201], "{results:?}");
    let gone_id = gone["id"].as_str().unwrap();
    let rev = results[0]["rev"].as_i64().unwrap();
    assert_eq!(statuses(&push(coach, &[item("DELETE", "lane_plan", gone_id, json!({"if_match": rev}))]).await), [200]);
    assert_eq!(statuses(&push(coach, &[put(gone_id, rev, named("name in a deleted plan", id))]).await), [410]);
}

/// Everything that a phone is told from the start.
async fn told(caller: &Caller) -> String {
    let mut phone = Phone::default();
    phone.pull(caller, 100).await;
    phone.copy.values().map(Value::to_string).collect()
}

#[sqlx::test]
async fn no_word_of_an_erased_athlete_is_left_anywhere_nor_after_a_restore(pool: PgPool) {
    let words = words();
    let squad = squad(pool).await;
    watch_log(words.values().filter(|word| !word.starts_with("20")).cloned().chain([squad.admin.club.clone()]));
    let file = std::env::temp_dir().join(format!("lanewright-erasures-{}", Uuid::now_v7()));
    let options = (*squad.app.pool.connect_options()).clone();
    let config = Config { workers: 1, erasures: Some(file.clone()), ..Config::default() };
    let app = TestApp::spawn_with(squad.app.pool.clone(), options.clone(), config).await;
    let with = |caller: &Caller| Caller { app: app.clone(), ..caller.clone() };
    let squad = Squad { admin: with(&squad.admin), coach: with(&squad.coach), app: app.clone(), ..squad };
    let (pool, club) = (&app.pool, squad.admin.club.as_str());
    let stays = athlete(&squad.admin, "Stays Here", &[&squad.mine]).await;
    let id = say(&squad, &words).await;
    exported(&squad.admin, json!({})).await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 100).await;

    let before = traces(&dump(pool, club).await, &words);
    for place in [
        "name in athletes",
        "birth in athletes",
        "run in runs",
        "assessment in assessments",
        "decision in recommendations",
        "race result in race_results",
        "held run in held_item",
        "held decision in held_item",
        "why it was rejected in held_item",
        "name in a conflict in refused_edit",
        "withdrawn assessment in assessments",
    ] {
        assert!(before.contains(place), "{place} is not in {before:#?}");
    }
    let counted = counts(pool, club).await;
    copy(pool, club).await;

    let tag = squad.admin.get(&format!("/athletes/{id}")).await.expect(200).header("etag").to_owned();
    squad.admin.delete(&format!("/athletes/{id}"), &tag).await.expect(204);
    assert_eq!(traces(&dump(pool, club).await, &words), BTreeSet::new());
    assert_eq!(counts(pool, club).await, counted, "what was counted still counts");
    phone.pull(&squad.coach, 100).await;
    let (old, new) = (phone.copy.values().map(Value::to_string).collect::<String>(), told(&squad.coach).await);
    let files = exported(&squad.admin, json!({})).await;
    let archive: String = files.values().map(|bytes| String::from_utf8_lossy(bytes)).collect();
    for text in [&old, &new, &archive] {
        assert!(text.contains("Stays Here"));
        for (what, word) in &words {
            assert!(!text.contains(word), "{what}");
        }
    }

    // An older copy takes the place of all of it, and the list of erasures is applied before anybody is served.
    restore(pool, club).await;
    assert!(traces(&dump(pool, club).await, &words).contains("name in athletes"));
    assert_eq!(athletes::erasures::settle(&Db::lazy(options, 1), &file).await.unwrap(), 1);
    assert_eq!(traces(&dump(pool, club).await, &words), BTreeSet::new());
    assert_eq!(counts(pool, club).await, counted);
    squad.coach.get(&format!("/athletes/{id}")).await.expect(404);
    squad.coach.get(&format!("/athletes/{stays}")).await.expect(200);
    std::fs::remove_file(file).unwrap();

    let found = WATCHED.lock().unwrap().1.clone();
    assert!(found.contains(club), "the log was not watched");
    let in_log: Vec<&str> = words.iter().filter(|(_, word)| found.contains(*word)).map(|(what, _)| *what).collect();
    assert!(in_log.is_empty(), "in the log: {in_log:?}");
}
