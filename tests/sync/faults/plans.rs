//! Every list goes along an index: what the server reads for a page is little more than the page, whatever the filters, for an
//! admin and for a coach of one group in eight, before the server has counted its tables and after. The plans of the statements
//! that are asked most are in `plans.txt`, for two clubs of 80 athletes over 60 sessions; connections say what none may be.

use std::fmt::Write;
use std::fs;

use chrono::{Duration, NaiveDate, Utc};
use sqlx::{AssertSqlSafe, PgPool};

use super::knife::Knife;
use crate::support::{Caller, TestApp};

/// Groups of a club; athletes, sessions, runs of each athlete in each session.
const GROUPS: usize = 8;
const SQUAD: [i32; 3] = [80, 60, 2];
/// Runs of two sessions.
const WHOLE: i64 = 2 * 80 * 2;
/// The plans as they were last looked at; `LANEWRIGHT_WRITE_PLANS=1` writes them.
const PLANS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/sync/faults/plans.txt");

/// A club of three seasons. Ids tell the kind and count up, as those that phones make count up with time.
async fn fill(pool: &PgPool, admin: &Caller, groups: &[String], first: NaiveDate) {
    let (club, me) = (&admin.club, &admin.account);
    let groups = format!("array['{}']::uuid[]", groups.join("','"));
    let [athletes, sessions, runs] = SQUAD;
    let id =
        |kind: u8, number: &str| format!("('0{kind}000000-0000-7000-8000-' || lpad(to_hex({number}), 12, '0'))::uuid");
    let (athlete, session) = (id(1, "a"), id(2, "s"));
    let run = id(3, "(s * 1000 + a) * 10 + n");
    let sql = format!(
        "begin; set local app.club_id = '{club}';
        insert into athletes (club_id, id, display_name, sex, birth_year, experience, status, created_at, updated_at)
          select '{club}', {athlete}, 'Athlete ' || a, 'F', 2012, 'novice', 'active', now(), now()
          from generate_series(1, {athletes}) a;
        insert into sessions (club_id, id, held_on, state, created_at, updated_at)
          select '{club}', {session}, '{first}'::date + 2 * s, 'held', now(), now() from generate_series(1, {sessions}) s;
        insert into root_scope (club_id, kind, root_id, scope_id)
          select '{club}'::uuid, 'athlete', {athlete}, ({groups})[1 + a % {GROUPS}] from generate_series(1, {athletes}) a
          union all
          select '{club}'::uuid, 'session', {session}, g.id from generate_series(1, {sessions}) s, unnest({groups}) g (id)
          where s % 2 = 0 or g.id = ({groups})[1 + s % {GROUPS}];
        insert into runs (club_id, id, session_id, athlete_id, run_at, barrier_kind, height_mm, spacing_mm, barriers, held,
            over_reached, crowded, broken, hits, fell, recorded_by, created_at)
          select '{club}', {run}, {session}, {athlete}, now(), 'wicket', 300, 6000, 5, 4, 0, 0, 0, 0, false, '{me}', now()
          from generate_series(1, {sessions}) s, generate_series(1, {athletes}) a, generate_series(1, {runs}) n;
        insert into assessments (club_id, id, athlete_id, session_id, assessed_at, arms, recorded_by, created_at)
          select '{club}', {assessment}, {athlete}, {session}, '{first}'::date + 2 * s, 2, '{me}', now()
          from generate_series(1, {sessions}) s, generate_series(1, {athletes}) a where s % 5 = 0;
        insert into wellbeing_records (club_id, id, athlete_id, kind, reported_on, void, recorded_by, created_at)
          select '{club}', {report}, {athlete}, 'pain', '{first}'::date + 2 * s, false, '{me}', now()
          from generate_series(1, {sessions}) s, generate_series(1, {athletes}) a where s % 5 = 0;
        insert into held_item (club_id, id, kind, op_id, member_id, device_id, data, reason, detail, received_at)
          select '{club}', {held}, 'run', {held}, '{me}', '{me}', '{{}}', 'reference', '[]', now()
          from generate_series(1, 2000) n;
        commit",
        assessment = id(4, "s * 1000 + a"),
        held = id(5, "n"),
        report = id(6, "s * 1000 + a"),
    );
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(pool).await.unwrap();
}

/// What was read so far of a table: rows in passing over it, and entries of its indexes.
async fn read(pool: &PgPool, table: &str) -> (i64, i64) {
    let sql = "select t.seq_scan, t.seq_tup_read + coalesce((select sum(i.idx_tup_read) from pg_stat_user_indexes i
        where i.relid = t.relid and i.indexrelname <> 'runs_supersedes'), 0)::bigint
        from pg_stat_user_tables t where t.relname = $1";
    sqlx::query_as(sql).bind(table).fetch_one(pool).await.unwrap()
}

#[sqlx::test]
async fn a_page_reads_little_more_than_it_answers(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let knife = Knife::before(&options);
    let mut app = TestApp::spawn_on(pool.clone(), knife.through(options), 1).await;
    // The rows are made here and not by the service.
    app.promised = false;
    let first = Utc::now().date_naive() - Duration::days(200);
    let mut clubs = Vec::new();
    for name in ["North", "South"] {
        let admin = app.admin_of(name).await;
        let mut groups = Vec::new();
        for n in 0..GROUPS {
            groups.push(admin.group(&format!("Group {n}")).await);
        }
        fill(&pool, &admin, &groups, first).await;
        clubs.push((admin, groups));
    }
    let (admin, groups) = &clubs[0];
    let coach = admin.member("Cora Coach", "coach", &[&groups[1]]).await;
    let (athlete, session) = ("01000000-0000-7000-8000-000000000008", "02000000-0000-7000-8000-000000000010");
    let (from, to) = (first + Duration::days(60), first + Duration::days(90));
    let group = &groups[1];
    let lists = [
        ("runs", "/runs?limit=200".to_owned()),
        ("runs", "/runs?superseded=true".to_owned()),
        ("runs", format!("/runs?athlete_id={athlete}")),
        ("runs", format!("/runs?session_id={session}")),
        ("runs", format!("/runs?athlete_id={athlete}&from={from}")),
        ("athletes", "/athletes".to_owned()),
        ("athletes", format!("/athletes?group_id={group}")),
        ("sessions", "/sessions".to_owned()),
        ("sessions", format!("/sessions?from={from}&to={to}")),
        ("assessments", "/assessments".to_owned()),
        ("assessments", format!("/assessments?athlete_id={athlete}")),
        ("assessments", format!("/assessments?session_id={session}")),
        ("assessments", format!("/assessments?from={from}&to={to}")),
        ("assessments", format!("/assessments?athlete_id={athlete}&from={from}&to={to}")),
        ("wellbeing_records", "/wellbeing-records".to_owned()),
        ("wellbeing_records", format!("/wellbeing-records?athlete_id={athlete}&from={from}")),
        ("wellbeing_records", format!("/wellbeing-records?from={from}&to={to}")),
        ("held_item", "/own-held-items".to_owned()),
        ("held_item", "/own-held-items?decided=true".to_owned()),
    ];
    let of_admin = [
        ("runs", format!("/runs?from={from}&limit=200")),
        ("runs", format!("/runs?from={from}&to={to}")),
        ("held_item", "/held-items".to_owned()),
        ("held_item", "/held-items?decided=true".to_owned()),
    ];
    let all = lists.iter().map(|list| (&coach, list)).chain(lists.iter().chain(&of_admin).map(|list| (admin, list)));
    let all: Vec<_> = all.collect();
    for counted in [false, true] {
        if counted {
            sqlx::raw_sql("analyze").execute(&pool).await.unwrap();
        }
        let mut found = Vec::new();
        for (who, (table, path)) in &all {
            for _ in 0..8 {
                who.get(path).await.expect(200);
            }
            knife.rest().await;
            knife.ask("select pg_stat_force_next_flush()").await;
            let before = read(&pool, table).await;
            let page = who.get(path).await.expect(200);
            knife.rest().await;
            knife.ask("select pg_stat_force_next_flush()").await;
            let after = read(&pool, table).await;
            let rows = i64::try_from(page.body["items"].as_array().unwrap().len()).unwrap();
            let (passes, entries) = (after.0 - before.0, after.1 - before.1);
            // A list of days reads its sessions whole, one at first.
            let whole = if path.starts_with("/runs") && path.contains("from=") { WHOLE } else { 0 };
            if passes > 0 || entries > 4 * (rows + 1) + whole {
                found.push(format!("{path}: {rows} rows, {entries} read, {passes} times the whole table"));
            }
        }
        assert!(found.is_empty(), "counted {counted}: {found:#?}");
    }
    let others = [
        format!("/athletes/{athlete}"),
        format!("/athletes/{athlete}/recommendation"),
        format!("/groups/{group}/recommendations"),
        format!("/groups/{group}/progression"),
        "/changes?limit=500".to_owned(),
    ];
    for who in [admin, &coach] {
        for path in others.iter().flat_map(|path| std::iter::repeat_n(path, 8)) {
            who.get(path).await.expect(200);
        }
    }
    knife.rest().await;
    compare(&knife, &admin.club).await;
}

/// The plans of what is asked most are those that were looked at.
async fn compare(knife: &Knife, club: &str) {
    let known = "select name, statement, cardinality(parameter_types) from pg_prepared_statements
        where generic_plans >= 3 and statement not like '%pg_%' order by statement collate \"C\"";
    let mut plans = String::new();
    for row in knife.ask(known).await {
        let nulls = vec!["null"; row[2].parse().unwrap()].join(", ");
        let explain = format!(
            "begin; set local role club_app; set local app.club_id = '{club}'; explain (costs off) execute {} ({nulls}); rollback",
            row[0]
        );
        let plan: Vec<String> = knife.ask(&explain).await.into_iter().flatten().collect();
        write!(plans, "{}\n\n{}\n\n\n", row[1], plan.join("\n")).unwrap();
        for scan in ["Seq Scan", "Bitmap"] {
            assert!(!plan.iter().any(|line| line.contains(scan)), "{}\n{}", row[1], plan.join("\n"));
        }
    }
    let count = plans.matches("\n\n\n").count();
    assert!(count >= 20, "{count}");
    if std::env::var("LANEWRIGHT_WRITE_PLANS").is_ok_and(|value| value == "1") {
        fs::write(PLANS, &plans).unwrap();
    }
    if super::deep() {
        assert_eq!(
            plans,
            fs::read_to_string(PLANS).unwrap(),
            "look at the plans and write them with LANEWRIGHT_WRITE_PLANS=1"
        );
    }
}
