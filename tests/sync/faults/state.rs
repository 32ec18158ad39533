//! All rows of a club: read whole, kept, and put back.

use std::collections::BTreeMap;

use sqlx::{AssertSqlSafe, PgPool};

struct Table {
    name: String,
    columns: Vec<String>,
    key: Vec<String>,
    /// Columns that no two runs share: times, and how often an admin asked for a full copy.
    times: Vec<String>,
}

/// A table: its name, its columns, those of its key, those of time.
type Columns = (String, Vec<String>, Vec<String>, Vec<String>);

/// The rows of one club, in a database of its own.
pub struct Rows {
    pool: PgPool,
    club: String,
    /// Each after those that it refers to.
    tables: Vec<Table>,
    kept: State,
}

/// The rows by table, as text.
pub type State = BTreeMap<String, Vec<String>>;

/// What stands in one state only.
pub fn differences(left: &State, right: &State) -> Vec<String> {
    let only = |sign: &'static str, one: &State, other: &State| {
        let missing = |table: &String, row: &String| other.get(table).is_none_or(|rows| !rows.contains(row));
        let rows = one.iter().flat_map(|(table, rows)| rows.iter().map(move |row| (table.clone(), row.clone())));
        rows.filter(|(table, row)| missing(table, row)).map(|(table, row)| format!("{sign} {table} {row}")).collect()
    };
    let both: [Vec<String>; 2] = [only("-", left, right), only("+", right, left)];
    both.concat()
}

impl Rows {
    /// The rows as they are now; they are kept for [`Rows::put_back`].
    pub async fn keep(pool: &PgPool, club: &str) -> Self {
        let found: Vec<Columns> = sqlx::query_as(
            "with recursive tenant as (
               select c.oid, c.relname::text as name from pg_class c
               where c.relkind = 'r' and c.relnamespace = 'public'::regnamespace
                 and obj_description(c.oid, 'pg_class') like 'scope:tenant%'
                 -- Nothing of it is ever put back: the next row follows the last.
                 and c.relname not like 'audit%'
             ), placed as (
               select oid, name, 0 as depth from tenant
               union
               select t.oid, t.name, p.depth + 1 from placed p
               join pg_constraint f on f.confrelid = p.oid and f.contype = 'f' and f.conrelid <> f.confrelid
               join tenant t on t.oid = f.conrelid
             ), named as (
               select a.attrelid as oid, a.attnum, a.attname::text as name,
                 a.atttypid = 'timestamptz'::regtype or a.attname in ('skew_ms', 'generation') as is_time
               from pg_attribute a where a.attnum > 0 and not a.attisdropped and a.attgenerated = ''
             )
             select p.name,
               array(select n.name from named n where n.oid = p.oid order by n.attnum) as columns,
               array(select n.name from named n join pg_index i on i.indrelid = p.oid and i.indisprimary
                     where n.oid = p.oid and n.attnum = any (i.indkey)) as key,
               array(select n.name from named n where n.oid = p.oid and n.is_time) as times
             from placed p group by p.oid, p.name order by max(p.depth), p.name",
        )
        .fetch_all(pool)
        .await
        .unwrap();
        let tables = found.into_iter().map(|(name, columns, key, times)| Table { name, columns, key, times }).collect();
        let mut rows = Self { pool: pool.clone(), club: club.to_owned(), tables, kept: State::new() };
        let copies: Vec<String> =
            rows.tables.iter().map(|t| format!("create table kept.{0} as select * from {0}", t.name)).collect();
        rows.run(&format!("drop schema if exists kept cascade; create schema kept; {}", copies.join("; "))).await;
        rows.kept = rows.read().await;
        rows
    }

    async fn run(&self, statements: &str) {
        let sql = format!("begin; set local app.club_id = '{}'; {statements}; commit", self.club);
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(&self.pool).await.unwrap();
    }

    /// Makes the rows what they were when they were kept; `now` is what they are.
    pub async fn put_back(&self, now: &State) {
        let changed = || self.tables.iter().filter(|t| now.get(&t.name) != self.kept.get(&t.name));
        let gone = changed().rev().map(|t| {
            let key = t.key.join(", ");
            format!("delete from {0} where ({key}) not in (select {key} from kept.{0})", t.name)
        });
        let back = changed().map(|t| {
            let (key, columns) = (t.key.join(", "), t.columns.join(", "));
            let values: Vec<String> = t.columns.iter().map(|column| format!("excluded.{column}")).collect();
            format!(
                "insert into {0} ({columns}) select {columns} from kept.{0} on conflict ({key}) do update set ({columns}) = row ({1})",
                t.name,
                values.join(", ")
            )
        });
        self.run(&gone.chain(back).collect::<Vec<_>>().join("; ")).await;
    }

    /// The rows; of a time only whether there is one.
    pub async fn read(&self) -> State {
        let parts: Vec<String> = self
            .tables
            .iter()
            .map(|t| {
                let times: Vec<String> =
                    t.times.iter().map(|column| format!("'{column}', x.{column} is null")).collect();
                let times = times.join(", ");
                format!("select '{0}', (to_jsonb(x) || jsonb_build_object({times}))::text from {0} x", t.name)
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
