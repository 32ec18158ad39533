//! Whoever loses a group, or is erased, while something about it is computed: what comes out of that is not stored.

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, PgPool, Postgres, Transaction};
use uuid::Uuid;

use crate::floods::occupy;
use crate::members::assign;
use crate::race_tests;
use crate::support::{Answer, Caller, eventually};
use crate::sync_pull::squad;

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

/// Keeps a record from everybody who would write it, until it is rolled back.
async fn hold(pool: &PgPool, club: &str, record: &str) -> Transaction<'static, Postgres> {
    let (club, record): (Uuid, Uuid) = (club.parse().unwrap(), record.parse().unwrap());
    let key = Uuid::new_v5(&club, record.as_bytes()).as_u64_pair().0.cast_signed();
    let mut tx = pool.begin().await.unwrap();
    sqlx::query("select pg_advisory_xact_lock($1)").bind(key).execute(&mut *tx).await.unwrap();
    tx
}

/// Erases an athlete after a call has computed and before it stores the record of this id; what the call is answered.
async fn erased_before(
    admin: &Caller,
    athlete: &str,
    record: &str,
    call: impl Future<Output = Answer> + Send + 'static,
) -> Answer {
    let pool = admin.app.pool.clone();
    let gate = hold(&pool, &admin.club, record).await;
    let calling = tokio::spawn(call);
    eventually("it waits for the record", async || {
        assert!(!calling.is_finished(), "it does not wait");
        let waits = "select exists (select from pg_locks where locktype = 'advisory' and not granted
            and database = (select oid from pg_database where datname = current_database()))";
        sqlx::query_scalar::<_, bool>(waits).fetch_one(&pool).await.unwrap()
    })
    .await;
    admin.delete(&format!("/athletes/{athlete}"), "*").await.expect(204);
    gate.rollback().await.unwrap();
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
    let refused = erased_before(&squad.admin, &squad.athlete, &id, planning).await.expect(409);
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
    erased_before(&squad.admin, &squad.athlete, &id, deciding).await.expect(404);
    let mut tx = squad.app.pool.begin().await.unwrap();
    let club = format!("set local app.club_id = '{}'", squad.admin.club);
    sqlx::raw_sql(AssertSqlSafe(club)).execute(&mut *tx).await.unwrap();
    let stored: i64 = sqlx::query_scalar("select count(*) from recommendations").fetch_one(&mut *tx).await.unwrap();
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
    let id = race.rsplit('/').next().unwrap();
    erased_before(&squad.admin, &squad.athletes[1], id, entering).await.expect_fault(422, "/athlete_ids/1");
    let entered = squad.admin.get(&race).await.expect(200).body["entries"].to_string();
    assert!(entered.contains(&squad.athletes[0]) && !entered.contains(&squad.athletes[1]), "{entered}");
}
