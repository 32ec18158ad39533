//! Whoever loses a group, or is erased, while something about it is computed: what comes out of that is not stored.

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, PgPool, Postgres, Transaction};
use uuid::Uuid;

use crate::floods::occupy;
use crate::members::assign;
use crate::race_tests;
use crate::support::{Answer, Caller, eventually};
use crate::sync_pull::{Squad, athlete, squad};
use crate::sync_push::{batch, create, item};

/// The wish for lanes.
fn wish(more: &Value) -> Value {
    let mut wish = json!({"lanes": 1, "capacity": 4, "barriers": {"min": 4, "max": 5}, "straight_m": 80});
    wish.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    wish
}

async fn stock(admin: &Caller) {
    let stock = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 40});
    admin.post("/equipment", stock).await.expect(201);
}

/// Keeps a record of the club from everybody who would write it, until it is rolled back; the whole club when it is the highest id.
async fn hold(admin: &Caller, record: Uuid) -> Transaction<'static, Postgres> {
    let club: Uuid = admin.club.parse().unwrap();
    let key = Uuid::new_v5(&club, record.as_bytes()).as_u64_pair().0.cast_signed();
    let mut tx = admin.app.pool.begin().await.unwrap();
    sqlx::query("select pg_advisory_xact_lock($1)").bind(key).execute(&mut *tx).await.unwrap();
    tx
}

/// Waits until so many wait for what is kept from them.
async fn waiting(admin: &Caller, count: i64) {
    eventually("they wait", async || {
        let waits = "select count(*) from pg_locks where locktype = 'advisory' and not granted
            and database = (select oid from pg_database where datname = current_database())";
        sqlx::query_scalar::<_, i64>(waits).fetch_one(&admin.app.pool).await.unwrap() == count
    })
    .await;
}

/// Erases an athlete after a call has computed and before it stores anything; what the call is answered. Nobody waits for longer than
/// the statements here take: the call has computed, and whoever erases has the club already.
async fn erased_before(admin: &Caller, athlete: &str, call: impl Future<Output = Answer> + Send + 'static) -> Answer {
    let mut gate = hold(admin, Uuid::max()).await;
    let calling = tokio::spawn(call);
    waiting(admin, 1).await;
    // At the least what the service's own erasure does.
    for statement in [
        format!("set local app.club_id = '{}'", admin.club),
        format!("update athletes set deleted_at = now() where id = '{athlete}'"),
        format!("delete from root_scope where kind = 'athlete' and root_id = '{athlete}'"),
    ] {
        sqlx::raw_sql(AssertSqlSafe(statement)).execute(&mut *gate).await.unwrap();
    }
    gate.commit().await.unwrap();
    calling.await.unwrap()
}

#[sqlx::test]
async fn lanes_of_a_session_that_was_taken_from_their_author_are_not_stored(pool: PgPool) {
    let squad = squad(pool).await;
    stock(&squad.admin).await;
    let both = squad.admin.member("Both Coach", "coach", &[&squad.mine, &squad.other]).await;
    let plans = format!("/sessions/{}/lane-plans", squad.session);
    let guest = wish(&json!({"athlete_ids": [squad.hidden]}));
    both.post(&plans, guest.clone()).await.expect(201);
    let turns = occupy(&squad.app.lanes.plans).await;
    let (caller, path) = (both.clone(), plans.clone());
    let planning = tokio::spawn(async move { caller.post(&path, guest).await });
    eventually("it waits for its turn", async || squad.app.lanes.plans.waiting() == 1).await;
    assign(&squad.admin, &both, json!({"group_ids": [squad.other]})).await;
    drop(turns);
    planning.await.unwrap().expect(404);
    assert_eq!(squad.admin.get(&plans).await.expect(200).body["items"].as_array().unwrap().len(), 1);
}

#[sqlx::test]
async fn a_plan_for_somebody_who_was_erased_meanwhile_is_not_stored(pool: PgPool) {
    let squad = squad(pool).await;
    stock(&squad.admin).await;
    let plans = format!("/sessions/{}/lane-plans", squad.session);
    let id = Uuid::now_v7().to_string();
    let (caller, path) = (squad.coach.clone(), plans.clone());
    let body = wish(&json!({"id": id, "athlete_ids": [squad.athlete]}));
    let planning = async move { caller.post(&path, body).await };
    let refused = erased_before(&squad.admin, &squad.athlete, planning).await.expect(409);
    assert!(refused.body["detail"].as_str().unwrap().contains("nothing was stored"), "{}", refused.body);
    assert_eq!(squad.admin.get(&plans).await.expect(200).body["items"], json!([]));
}

#[sqlx::test]
async fn a_word_about_somebody_who_was_erased_meanwhile_is_not_stored(pool: PgPool) {
    let squad = squad(pool).await;
    let id = Uuid::now_v7().to_string();
    let (caller, path) = (squad.coach.clone(), format!("/athletes/{}/recommendation/decisions", squad.athlete));
    let body = json!({"id": id, "outcome": "overridden", "reason": "Sore since Monday"});
    let deciding = async move { caller.post(&path, body).await };
    erased_before(&squad.admin, &squad.athlete, deciding).await.expect(404);
    let mut tx = squad.app.pool.begin().await.unwrap();
    let club = format!("set local app.club_id = '{}'", squad.admin.club);
    sqlx::raw_sql(AssertSqlSafe(club)).execute(&mut *tx).await.unwrap();
    let stored: i64 = sqlx::query_scalar("select count(*) from recommendations").fetch_one(&mut *tx).await.unwrap();
    assert_eq!(stored, 0);
}

#[sqlx::test]
async fn a_measurement_of_somebody_who_was_erased_meanwhile_is_not_stored(pool: PgPool) {
    let squad = squad(pool).await;
    let (id, path) = (Uuid::now_v7(), format!("/athletes/{}/measurements", squad.athlete));
    let body = json!({"id": id, "kind": "stature_m", "value": 1.6, "measured_on": squad.day});
    let (caller, to) = (squad.coach.clone(), path.clone());
    let measuring = async move { caller.post(&to, body).await };
    erased_before(&squad.admin, &squad.athlete, measuring).await.expect(404);
    let mut tx = squad.app.pool.begin().await.unwrap();
    let club = format!("set local app.club_id = '{}'", squad.admin.club);
    sqlx::raw_sql(AssertSqlSafe(club)).execute(&mut *tx).await.unwrap();
    let stored: i64 = sqlx::query_scalar("select count(*) from measurements where id = $1")
        .bind(id)
        .fetch_one(&mut *tx)
        .await
        .unwrap();
    assert_eq!(stored, 0);
}

#[sqlx::test]
async fn nobody_is_entered_who_was_erased_meanwhile(pool: PgPool) {
    let squad = race_tests::squad(pool).await;
    let (race, tag) = squad.entered(&squad.athletes[..1]).await;
    let entries = format!("{race}/entries");
    let field = json!({"athlete_ids": squad.athletes[..2], "coach_accepts": squad.athletes[..2]});
    let (caller, path) = (squad.coach.clone(), squad.coach.path(&entries));
    let entering = async move { caller.call(Method::PUT, &path, &[("if-match", tag.as_str())], Some(field)).await };
    erased_before(&squad.admin, &squad.athletes[1], entering).await.expect_fault(422, "/athlete_ids/1");
    let entered = squad.admin.get(&race).await.expect(200).body["entries"].to_string();
    assert!(entered.contains(&squad.athletes[0]) && !entered.contains(&squad.athletes[1]), "{entered}");
}

/// What can be written about an athlete, each under this id: where to and what.
fn words(squad: &Squad, id: Uuid, athlete: &str) -> Vec<(String, Value)> {
    let Squad { session, day, .. } = squad;
    let at = format!("{day}T18:00:00Z");
    let run = json!({"id": id, "session_id": session, "athlete_id": athlete, "run_at": at, "barrier_kind": "wicket",
        "height_m": 0.3, "spacing_m": 6.0, "barriers": 5, "note": "Tender knee", "intervals": {"held": 4}});
    let rated =
        json!({"id": id, "athlete_id": athlete, "assessed_at": at, "ratings": {"arms": 1}, "note": "Tender knee"});
    let pain = json!({"id": id, "athlete_id": athlete, "kind": "pain", "reported_on": day, "reported_by": "athlete"});
    let stature = json!({"id": id, "kind": "stature_m", "value": 1.6, "measured_on": day});
    let decided = json!({"id": id, "outcome": "overridden", "reason": "Tender knee"});
    let agreed = json!({"id": id, "purpose": "sharing_with_apps", "act": "given", "on": day, "by": "guardian"});
    let of = |path: &str| format!("/athletes/{athlete}/{path}");
    vec![
        ("/runs".to_owned(), json!({"runs": [run]})),
        ("/assessments".to_owned(), json!({"assessments": [rated]})),
        ("/wellbeing-records".to_owned(), json!({"wellbeing_records": [pain]})),
        (of("measurements"), stature),
        (of("recommendation/decisions"), decided),
        (of("consents"), agreed),
        ("/changes".to_owned(), batch(&[create("run", run)])),
    ]
}

/// Erases an athlete, by the route or in a push of the version that is named.
async fn erase(admin: Caller, athlete: String, pushed: Option<Value>) {
    let Some(rev) = pushed else {
        admin.delete(&format!("/athletes/{athlete}"), "*").await.expect(204);
        return;
    };
    let sent = batch(&[item("DELETE", "athlete", &athlete, json!({"if_match": rev}))]);
    let answer = admin.post("/changes", sent).await.expect(200).body;
    assert_eq!(answer["results"][0]["status"], 200, "{answer}");
}

/// Whether a call created what it sent, also as one of a batch or a push, which are answered 200 for what they refuse.
fn created(answer: &Answer) -> bool {
    match &answer.body["results"][0]["status"] {
        Value::Null => answer.status == 201,
        one => answer.status == 200 && (one == "created" || one == 201),
    }
}

/// Whoever came first is stored and goes with the athlete: nothing that was written at that moment outlives the erasure.
#[sqlx::test]
async fn what_is_written_while_somebody_is_erased_goes_with_them(pool: PgPool) {
    let squad = squad(pool).await;
    let admin = &squad.admin;
    let mut erased = Vec::new();
    for word in 0..7 {
        let (id, athlete) = (Uuid::now_v7(), athlete(admin, "Mira Osei", &[&squad.mine]).await);
        let (path, body) = words(&squad, id, &athlete).swap_remove(word);
        let rev = admin.get(&format!("/athletes/{athlete}")).await.expect(200).body["rev"].clone();
        let gate = hold(admin, id).await;
        let (caller, to) = (squad.coach.clone(), path.clone());
        let calling = tokio::spawn(async move { caller.post(&to, body).await });
        waiting(admin, 1).await;
        // The last goes by a push.
        let erasing = tokio::spawn(erase(admin.clone(), athlete.clone(), Some(rev).filter(|_| word == 6)));
        waiting(admin, 2).await;
        gate.rollback().await.unwrap();
        let answer = calling.await.unwrap();
        assert!(created(&answer), "{path}: {answer:?}");
        erasing.await.unwrap();
        erased.push(athlete.parse::<Uuid>().unwrap());
    }
    let mut tx = squad.app.pool.begin().await.unwrap();
    let club = format!("set local app.club_id = '{}'", admin.club);
    sqlx::raw_sql(AssertSqlSafe(club)).execute(&mut *tx).await.unwrap();
    for (table, facts) in [
        ("runs", 2),
        ("assessments", 1),
        ("recommendations", 1),
        ("wellbeing_records", 0),
        ("measurements", 0),
        ("consents", 0),
    ] {
        let sql = format!(
            "select count(*), count(*) filter (where x::text like '%Tender%') from {table} x where athlete_id = any ($1)"
        );
        let left: (i64, i64) = sqlx::query_as(AssertSqlSafe(sql)).bind(&erased).fetch_one(&mut *tx).await.unwrap();
        assert_eq!(left, (facts, 0), "{table}: facts about nobody stay, and nothing that was said of them");
    }
}
