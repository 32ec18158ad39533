//! Restrictions that were noted on athletes are carried over as records, each with a change that phones learn of.

use chrono::{Duration, NaiveDate, Utc};
use sqlx::PgPool;
use uuid::Uuid;

use crate::kinds_migration::{id, migrate, rows, run};
use crate::support::spread;

/// The last migration before well-being records were carried over.
const BEFORE: i64 = 21;

/// Athlete, kind, first and last day, number, who recorded it.
type Carried = (Uuid, String, NaiveDate, Option<NaiveDate>, i64, Option<Uuid>);

#[sqlx::test(migrations = false)]
async fn restrictions_of_athletes_become_records_with_changes(pool: PgPool) {
    if spread(&pool).await {
        return;
    }
    migrate(&pool, |version| version <= BEFORE).await;
    let today = Utc::now().date_naive();
    let (ahead, over) = (today + Duration::days(9), today - Duration::days(40));
    let stored = format!(
        "insert into clubs (id, name, time_zone, ruleset, created_at, updated_at) values (#1, 'N', 'UTC', 'UKA', now(), now());
         insert into club_clock (club_id, seq) values (#1, 100);
         insert into athletes (club_id, id, display_name, experience, status, restricted_until, deleted_at, created_at, updated_at)
         values (#1, #21, 'A', 'novice', 'active', '{ahead}', null, now(), now()),
           (#1, #22, 'B', 'novice', 'active', '{over}', null, now(), now()),
           (#1, #23, 'C', 'novice', 'active', null, null, now(), now()),
           (#1, #24, '', 'novice', 'left', '{ahead}', now(), now(), now());"
    );
    run(&pool, &stored).await;
    migrate(&pool, |version| version > BEFORE).await;
    let found: Vec<Carried> = rows(
        &pool,
        "select athlete_id, kind, reported_on, until, rev, recorded_by from wellbeing_records order by athlete_id",
    )
    .await;
    let carried = |n, from, until, rev| (id(n), "restriction".to_owned(), from, Some(until), rev, None);
    assert_eq!(found, [carried(21, today, ahead, 101), carried(22, over, over, 102)]);
    let log: Vec<(i64, Uuid, bool)> = rows(
        &pool,
        "select c.seq, c.root_id, c.entity_id = w.id from club_change c
         join wellbeing_records w on w.club_id = c.club_id and w.rev = c.seq
         where c.kind = 'wellbeing_record' and c.op = 'put' and c.root_kind = 'athlete' order by c.seq",
    )
    .await;
    assert_eq!(log, [(101, id(21), true), (102, id(22), true)]);
    let clock: Vec<(i64,)> = rows(&pool, "select seq from club_clock").await;
    assert_eq!(clock, [(102,)]);
}
