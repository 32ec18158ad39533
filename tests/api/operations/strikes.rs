//! The database undoes a request, or says that something is there already: what the caller hears of it.

use std::collections::{BTreeMap, BTreeSet};

use lanewright::platform::db::unique;
use sqlx::{AssertSqlSafe, PgPool, Row};

use super::stage::Stage;
use super::{Operation, operations, results};
use crate::support::{Answer, TestApp};

/// More strikes than anybody tries.
const ALWAYS: i64 = 1_000_000;

/// Tables that no request writes.
const CHORES: [&str; 4] = ["audit_start", "chores", "server_history", "signing_keys"];

/// A trigger on every table that raises an error in the first so many statements which write.
struct Striker {
    pool: PgPool,
    tables: Vec<String>,
}

impl Striker {
    async fn new(pool: &PgPool) -> Self {
        let tables: Vec<String> = sqlx::query_scalar(
            "select c.relname::text from pg_class c join pg_namespace n on n.oid = c.relnamespace
             where n.nspname = 'public' and c.relkind = 'r' and c.relname not like '\\_sqlx%' order by 1",
        )
        .fetch_all(pool)
        .await
        .unwrap();
        let mut sql = String::from(
            "create table strike (code text, name text, part text, target text, times bigint);
             create sequence strikes;
             create function strike() returns trigger language plpgsql security definer as $f$
             declare s strike;
             begin
               select * into s from strike limit 1;
               perform nextval('wrote_' || tg_table_name);
               if s.code is not null and s.target in ('', tg_table_name) then
                 if nextval('strikes') <= s.times then
                   if s.name = '' then
                     raise exception using errcode = s.code, message = 'struck';
                   else
                     raise exception using errcode = s.code,
                       message = 'duplicate key value violates unique constraint \"' || s.name || s.part || '\"';
                   end if;
                 end if;
               end if;
               return null;
             end $f$;",
        );
        sql.extend(tables.iter().map(|table| {
            format!(
                "create sequence wrote_{table};
                 create trigger struck before insert or update or delete on {table} for each statement
                 execute function strike();"
            )
        }));
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(pool).await.unwrap();
        Self { pool: pool.clone(), tables }
    }

    /// From now on the first `times` writes of `target` (every table when empty) fail with this SQLSTATE.
    async fn set(&self, code: &str, (name, part): (&str, &str), target: &str, times: i64) {
        let sql = format!(
            "delete from strike; insert into strike values ('{code}', '{name}', '{part}', '{target}', {times});
             select setval('strikes', 1, false);"
        );
        sqlx::raw_sql(AssertSqlSafe(sql)).execute(&self.pool).await.unwrap();
    }

    async fn rest(&self) {
        sqlx::raw_sql("delete from strike").execute(&self.pool).await.unwrap();
    }

    async fn count(&self) -> i64 {
        sqlx::query_scalar("select case when is_called then last_value else 0 end from strikes")
            .fetch_one(&self.pool)
            .await
            .unwrap()
    }

    /// The tables that were written since the last call.
    async fn written(&self) -> BTreeSet<String> {
        let mut written = BTreeSet::new();
        for table in &self.tables {
            let sql = format!("select is_called from wrote_{table}");
            let called: bool = sqlx::query_scalar(AssertSqlSafe(sql)).fetch_one(&self.pool).await.unwrap();
            if called {
                let sql = format!("select setval('wrote_{table}', 1, false)");
                sqlx::raw_sql(AssertSqlSafe(sql)).execute(&self.pool).await.unwrap();
                written.insert(table.clone());
            }
        }
        written
    }
}

/// The worst status in an answer, items of a push included.
fn worst(answer: &Answer) -> u16 {
    let items = results(&answer.body).iter().filter_map(|one| one["status"].as_u64());
    items.filter_map(|status| u16::try_from(status).ok()).chain([answer.status]).max().unwrap()
}

fn writing(all: Vec<Operation>) -> Vec<Operation> {
    all.into_iter().filter(Operation::writes).collect()
}

#[sqlx::test]
async fn what_others_undo_is_carried_out_again_or_answered_503(pool: PgPool) {
    let mut app = TestApp::spawn_on(pool.clone(), (*pool.connect_options()).clone(), 4).await;
    app.promised = false;
    let stage = Stage::new(&app).await;
    let striker = Striker::new(&pool).await;
    let (mut wrong, mut struck) = (Vec::new(), 0);
    for operation in writing(operations(&app).await) {
        for code in ["40P01", "40001"] {
            striker.rest().await;
            let case = stage.request(&operation).await;
            striker.set(code, ("", ""), "", 2).await;
            let answer = case.send(&app).await;
            let strikes = striker.count().await;
            if worst(&answer) >= 300 || (strikes > 0 && strikes < 3) {
                wrong.push(format!("{} {code}: {} after {strikes}: {}", operation.id, answer.status, answer.body));
            }
            struck += usize::from(strikes > 0);
        }
        striker.rest().await;
        let case = stage.request(&operation).await;
        striker.set("40P01", ("", ""), "", ALWAYS).await;
        let answer = case.send(&app).await;
        if striker.count().await > 0 && (answer.status != 503 || answer.header("retry-after").is_empty()) {
            wrong.push(format!("{} for ever: {} {}", operation.id, answer.status, answer.body));
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    // All but the two calculators write.
    assert!(struck >= 100, "{struck} were struck");
}

/// The unique indexes of each table.
async fn uniques(pool: &PgPool) -> BTreeMap<String, Vec<String>> {
    let rows = sqlx::query(
        "select t.relname::text as place, i.relname::text as name
         from pg_index x
         join pg_class i on i.oid = x.indexrelid
         join pg_class t on t.oid = x.indrelid
         join pg_namespace n on n.oid = t.relnamespace
         where n.nspname = 'public' and x.indisunique and t.relname not like '\\_sqlx%' order by 1, 2",
    )
    .fetch_all(pool)
    .await
    .unwrap();
    let mut found: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for row in rows {
        found.entry(row.get("place")).or_default().push(row.get("name"));
    }
    found
}

#[sqlx::test]
async fn every_uniqueness_has_a_meaning_that_a_caller_can_read(pool: PgPool) {
    let uniques = uniques(&pool).await;
    let mut app = TestApp::spawn_on(pool.clone(), (*pool.connect_options()).clone(), 4).await;
    app.promised = false;
    let stage = Stage::new(&app).await;
    let striker = Striker::new(&pool).await;
    striker.rest().await;
    // Which operation writes which table; pushes last, for what only they write.
    let mut writers: BTreeMap<String, Operation> = BTreeMap::new();
    let mut all = writing(operations(&app).await);
    all.sort_by_key(|operation| operation.id == "push_changes");
    for operation in all {
        let case = stage.request(&operation).await;
        striker.written().await;
        case.send(&app).await;
        for table in striker.written().await {
            writers.entry(table).or_insert_with(|| operation.clone());
        }
    }
    // What is held or refused is written by pushes that a stage does not send; they take the same way.
    let only_odd = ["held_item", "refused_edit"];
    let mut wrong = Vec::new();
    for (table, names) in uniques {
        for name in names {
            let Some(meaning) = unique::meaning(&name) else {
                wrong.push(format!("{name} means nothing: say in src/platform/db/unique.rs what it does"));
                continue;
            };
            let Some(operation) = writers.get(&table) else {
                if !CHORES.contains(&table.as_str()) && !only_odd.contains(&table.as_str()) {
                    wrong.push(format!("{table} is written by no operation"));
                }
                continue;
            };
            // Named as one server names it, as one of many does, and not at all.
            for (given, part) in [(name.as_str(), ""), (name.as_str(), "_102008"), ("", "")] {
                striker.rest().await;
                let case = stage.request(operation).await;
                striker.set("23505", (given, part), &table, 2).await;
                let answer = case.send(&app).await;
                // A store that knows what it may meet does not try again; unnamed, it takes it for that.
                let mapped_at_once = answer.body["detail"] == meaning || given.is_empty();
                if worst(&answer) >= 500 || (worst(&answer) >= 300 && !mapped_at_once) {
                    wrong.push(format!("{name} twice, by {}: {} {}", operation.id, answer.status, answer.body));
                }
                striker.rest().await;
                let case = stage.request(operation).await;
                striker.set("23505", (given, part), &table, ALWAYS).await;
                let answer = case.send(&app).await;
                let says = answer.body.to_string().contains(meaning) || given.is_empty();
                if worst(&answer) != 409 || !says {
                    wrong
                        .push(format!("{name}{part} for ever, by {}: {} {}", operation.id, answer.status, answer.body));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
}
