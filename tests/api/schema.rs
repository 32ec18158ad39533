//! The schema: it can be spread over servers by club, and its rows are walled off by club.

use sqlx::{PgPool, Row};
use uuid::Uuid;

use crate::support::TestApp;

#[sqlx::test]
async fn every_table_can_be_spread_by_club(pool: PgPool) {
    let lint = include_str!("../schema/tenant_lint.sql");
    let findings = sqlx::raw_sql(lint).fetch_all(&pool).await.unwrap();
    let errors: Vec<String> = findings
        .iter()
        .filter(|row| row.get::<String, _>("severity") == "error")
        .map(|row| format!("{}: {}", row.get::<String, _>("table"), row.get::<String, _>("problem")))
        .collect();
    assert!(errors.is_empty(), "{errors:#?}");
}

#[sqlx::test]
async fn a_query_without_its_club_sees_nothing_foreign(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    north.group("North group").await;
    south.group("South group").await;
    let tables: Vec<String> = sqlx::query_scalar(
        "select c.relname::text from pg_class c join pg_namespace n on n.oid = c.relnamespace
         where n.nspname = 'public' and obj_description(c.oid, 'pg_class') like 'scope:tenant%' order by 1",
    )
    .fetch_all(&pool)
    .await
    .unwrap();
    assert!(tables.len() >= 20, "{tables:?}");
    let mut seen = 0;
    for table in tables {
        let key = if table == "clubs" { "id" } else { "club_id" };
        let mut tx = pool.begin().await.unwrap();
        let enter =
            format!("set local role club_app; set local app.club_id = '{}'", Uuid::parse_str(&north.club).unwrap());
        sqlx::raw_sql(sqlx::AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
        let sql = format!("select {key} from {table}");
        let clubs: Vec<Uuid> = sqlx::query_scalar(sqlx::AssertSqlSafe(sql)).fetch_all(&mut *tx).await.unwrap();
        seen += clubs.len();
        assert!(clubs.iter().all(|club| club.to_string() == north.club), "{table}");
        tx.rollback().await.unwrap();
        let bare = format!("select count(*) from {table}");
        let mut tx = pool.begin().await.unwrap();
        let count: i64 = sqlx::query_scalar(sqlx::AssertSqlSafe(bare)).fetch_one(&mut *tx).await.unwrap();
        assert_eq!(count, 0, "{table}: without a club nothing is seen");
    }
    assert!(seen > 5);
}
