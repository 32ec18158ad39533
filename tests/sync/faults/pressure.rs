//! Others hold the database up: a transaction that stays open, a lock that is not given back, a club with a hundred phones.

use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, PgPool, Postgres, Transaction};

use super::data::{batch, create, run, session, venue};
use super::squad::Squad;
use crate::support::{Answer, Caller, Patience, TestApp, eventually};

async fn inside(pool: &PgPool, club: &str) -> Transaction<'static, Postgres> {
    let mut tx = pool.begin().await.unwrap();
    let enter = format!("set local app.club_id = '{club}'");
    sqlx::raw_sql(AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
    tx
}

async fn push(caller: &Caller, items: &[Value]) -> Answer {
    caller.post("/changes", batch(items)).await
}

fn statuses(answer: &Answer) -> Vec<u64> {
    let results = answer.body["results"].as_array();
    results.into_iter().flatten().map(|one| one["status"].as_u64().unwrap()).collect()
}

#[sqlx::test]
async fn a_transaction_that_stays_open_elsewhere_holds_back_no_change(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let squad = Squad::make(&app).await;
    // It has a number and a snapshot, as a report or a forgotten shell has.
    let mut foreign = pool.begin().await.unwrap();
    sqlx::raw_sql("set transaction isolation level repeatable read; create table report (n int)")
        .execute(&mut *foreign)
        .await
        .unwrap();
    let mut phones = squad.phones(5, 3).await;
    for _ in 0..4 {
        for handset in &mut phones {
            squad.record(handset);
            handset.round().await;
        }
    }
    let found = squad.check(&pool, &mut phones).await;
    foreign.rollback().await.unwrap();
    assert!(found.is_whole(), "{found:?}");
}

#[sqlx::test]
async fn a_lock_that_is_not_given_back_costs_its_club_a_repeat_and_others_nothing(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let items = [create("venue", venue("Hall")), create("venue", venue("Track"))];
    for lock in ["select seq from club_clock for update", "lock table venues in exclusive mode"] {
        let mut tx = inside(&pool, &north.club).await;
        sqlx::raw_sql(lock).execute(&mut *tx).await.unwrap();
        let waits = push(&north, &items[..1]);
        let answers = async {
            let made = create("group", json!({"name": lock}));
            assert_eq!(statuses(&push(&south, &[made]).await.expect(200)), [201]);
            north.get("/changes").await.expect(200)
        };
        let (refused, page) = tokio::join!(waits, answers);
        assert_eq!(refused.status, 503, "{}", refused.body);
        assert_eq!(refused.body["type"], "/problems/unavailable");
        assert_eq!(page.body["more"], false, "reading waits for no lock");
        tx.rollback().await.unwrap();
    }
    let first = push(&north, &items).await.expect(200);
    assert_eq!(statuses(&first), [201, 201], "nothing was stored before");
    let again = push(&north, &items).await.expect(200);
    for at in 0..2 {
        assert_eq!(again.body["results"][at]["rev"], first.body["results"][at]["rev"]);
    }
}

#[sqlx::test]
async fn a_club_with_a_hundred_phones_does_not_keep_another_from_its_answers(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let squad = Busy::of(&north).await;
    let calm = async {
        for n in 0..10 {
            let made = create("venue", venue(&format!("Hall {n}")));
            assert_eq!(statuses(&push(&south, &[made]).await.expect(200)), [201]);
            south.get("/changes").await.expect(200);
        }
    };
    let (refused, ()) = tokio::join!(squad.all(), calm);
    eprintln!("{refused} pushes of the busy club were asked to come again");
    let mut tx = inside(&pool, &north.club).await;
    let (rows, facts): (i64, i64) =
        sqlx::query_as("select count(*), count(distinct entity_id) from club_change where kind = 'run'")
            .fetch_one(&mut *tx)
            .await
            .unwrap();
    assert_eq!((rows, facts), (500, 500));
}

/// A club whose hundred phones all push at the same time.
struct Busy {
    caller: Caller,
    pushes: Vec<Vec<Value>>,
}

impl Busy {
    async fn of(caller: &Caller) -> Self {
        let day = chrono::Utc::now().date_naive() - chrono::Duration::days(3);
        let group = caller.group("Mine").await;
        let athlete = caller.post("/athletes", super::data::person("Seen", &group)).await.expect(201).id();
        let held = caller.post("/sessions", session(day, &group)).await.expect(201).id();
        let recorded = || (0..5).map(|_| create("run", run(&held, &athlete, day))).collect();
        Self { caller: caller.clone(), pushes: (0..100).map(|_| recorded()).collect() }
    }

    /// Hands everything in; how often a push had to be repeated.
    async fn all(self) -> usize {
        let phones: Vec<_> =
            self.pushes.into_iter().map(|items| tokio::spawn(insist(self.caller.clone(), items))).collect();
        let mut repeats = 0;
        for phone in phones {
            repeats += phone.await.unwrap();
        }
        repeats
    }
}

async fn insist(caller: Caller, items: Vec<Value>) -> usize {
    let (patience, mut repeats) = (Patience::new(), 0);
    loop {
        let answer = push(&caller, &items).await;
        if answer.status == 200 {
            assert!(statuses(&answer).iter().all(|status| *status < 202), "{}", answer.body);
            return repeats;
        }
        assert!(matches!(answer.status, 429 | 503), "{}", answer.body);
        repeats += 1;
        patience.wait("the push is taken").await;
    }
}

#[sqlx::test]
async fn a_database_that_can_only_be_read_asks_phones_to_come_again(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let north = app.admin_of("North").await;
    let made = [create("venue", venue("Hall"))];
    for (setting, expected) in [("on", 503), ("off", 200)] {
        let sql = format!(
            "do $m$ begin
               execute format('alter database %I set default_transaction_read_only = {setting}', current_database());
             end $m$"
        );
        // This connection may have been opened while the setting was on.
        let mut connection = pool.acquire().await.unwrap();
        sqlx::raw_sql("set default_transaction_read_only = off").execute(&mut *connection).await.unwrap();
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut *connection).await.unwrap();
        // Those that were opened before do not know the setting: each must have ended, not only been told to.
        let old: Vec<(i32, bool)> = sqlx::query_as(
            "select pid, pg_terminate_backend(pid) from pg_stat_activity
             where datname = current_database() and application_name = 'lanewright'",
        )
        .fetch_all(&mut *connection)
        .await
        .unwrap();
        let old: Vec<i32> = old.into_iter().map(|(pid, _)| pid).collect();
        eventually("the old connections have ended", async || {
            let left = "select count(*) from pg_stat_activity where pid = any($1)";
            sqlx::query_scalar::<_, i64>(left).bind(&old).fetch_one(&mut *connection).await.unwrap() == 0
        })
        .await;
        eventually("the setting shows", async || {
            let answer = push(&north, &made).await;
            // A connection that was ended is found only when it is used.
            assert!(answer.status == expected || answer.status == 503, "{}", answer.body);
            answer.status == expected
        })
        .await;
    }
}
