//! All rows of a club: read whole, kept, and put back.

use std::collections::BTreeMap;

use sqlx::{AssertSqlSafe, PgPool};

struct Table {
    name: String,
    /// Columns that no two runs share: times, and how often an admin asked for a full copy.
    times: Vec<String>,
}

/// The rows of one club, in a database of its own.
pub struct Rows {
    pool: PgPool,
    club: String,
    /// Each after those that it refers to.
    tables: Vec<Table>,
}

/// The rows by table, as text.
pub type State = BTreeMap<String, Vec<String>>;

impl Rows {
    pub async fn of(pool: &PgPool, club: &str) -> Self {
        let found: Vec<(String, Vec<String>)> = sqlx::query_as(
            "with recursive tenant as (
               select c.oid, c.relname::text as name from pg_class c
               where c.relkind = 'r' and c.relnamespace = 'public'::regnamespace
                 and obj_description(c.oid, 'pg_class') like 'scope:tenant%'
             ), placed as (
               select oid, name, 0 as depth from tenant
               union
               select t.oid, t.name, p.depth + 1 from placed p
               join pg_constraint f on f.confrelid = p.oid and f.contype = 'f' and f.conrelid <> f.confrelid
               join tenant t on t.oid = f.conrelid
             )
             select p.name, array(
               select a.attname::text from pg_attribute a
               where a.attrelid = p.oid and (a.atttypid = 'timestamptz'::regtype or a.attname in ('skew_ms', 'generation'))
             ) from placed p group by p.oid, p.name order by max(p.depth), p.name",
        )
        .fetch_all(pool)
        .await
        .unwrap();
        let tables = found.into_iter().map(|(name, times)| Table { name, times }).collect();
        Self { pool: pool.clone(), club: club.to_owned(), tables }
    }

    async fn run(&self, statements: &str) {
        let sql = format!("begin; set local app.club_id = '{}'; {statements}; commit", self.club);
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(&self.pool).await.unwrap();
    }

    /// Keeps the rows as they are now, for [`Rows::put_back`].
    pub async fn keep(&self) {
        let copies: Vec<String> =
            self.tables.iter().map(|t| format!("create table kept.{0} as select * from {0}", t.name)).collect();
        self.run(&format!("drop schema if exists kept cascade; create schema kept; {}", copies.join("; "))).await;
    }

    /// Makes the rows what they were when they were kept.
    pub async fn put_back(&self) {
        let gone = self.tables.iter().rev().map(|t| format!("delete from {}", t.name));
        let back = self.tables.iter().map(|t| format!("insert into {0} select * from kept.{0}", t.name));
        self.run(&gone.chain(back).collect::<Vec<_>>().join("; ")).await;
    }

    /// The rows without times.
    pub async fn read(&self) -> State {
        let parts: Vec<String> = self
            .tables
            .iter()
            .map(|t| {
                let times: Vec<String> = t.times.iter().map(|column| format!("'{column}'")).collect();
                let times = times.join(", ");
                format!("select '{0}', (to_jsonb(x) - array[{times}]::text[])::text from {0} x", t.name)
            })
            .collect();
        let sql = format!("{} order by 1, 2", parts.join(" union all "));
        let mut tx = self.pool.begin().await.unwrap();
        let enter = format!("set local app.club_id = '{}'", self.club);
        sqlx::raw_sql(AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
        let rows: Vec<(String, String)> = sqlx::query_as(AssertSqlSafe(sql)).fetch_all(&mut *tx).await.unwrap();
        let mut state = State::new();
        for (table, row) in rows {
            state.entry(table).or_default().push(row);
        }
        state
    }
}
