//! Every list goes along an index: what the server reads for a page is little more than the page, whatever the filters, for an
//! admin and for a coach of one group in eight, before the server has counted its tables and after.
//!
//! Statements are those that the service sent, with the values that it sent, explained by the server on the service's own
//! connection: nothing here is a copy that could drift. The plans at full size are in `plans.txt`.

use std::collections::BTreeMap;
use std::fmt::Write;
use std::fs;

use chrono::{Duration, NaiveDate, Utc};
use sqlx::{AssertSqlSafe, PgPool};

use super::knife::{Bound, Knife};
use crate::support::{Caller, TestApp};

/// Groups of a club.
const GROUPS: usize = 8;
/// How often each page is read before: the server decides on a plan for good after five times.
const TIMES: usize = 8;
/// How many rows of a table may be read for each that is given, and one more.
const READ: u64 = 4;
/// The most rows of a page.
const PAGE: u64 = 201;
/// The plans as they were last looked at; `LANEWRIGHT_WRITE_PLANS=1` writes them.
const PLANS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/sync/faults/plans.txt");

/// Athletes, sessions, runs of each athlete in each session.
type Squad = [i32; 3];

/// The club that is asked, and the others beside it.
fn squads() -> (Squad, Vec<Squad>) {
    if super::deep() { ([400, 200, 8], vec![[80, 100, 8]; 8]) } else { ([80, 60, 2], vec![[80, 60, 2]]) }
}

/// A club of some seasons. Ids tell the kind and count up, as those that phones make count up with time.
async fn fill(pool: &PgPool, admin: &Caller, groups: &[String], (squad, held): (Squad, i32), first: NaiveDate) {
    let (club, me) = (&admin.club, &admin.account);
    let groups = format!("array['{}']::uuid[]", groups.join("','"));
    let [athletes, sessions, runs] = squad;
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
          select '{club}', {session}, '{first}'::date + s, 'held', now(), now() from generate_series(1, {sessions}) s;
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
          select '{club}', {assessment}, {athlete}, {session}, '{first}'::date + s, 2, '{me}', now()
          from generate_series(1, {sessions}) s, generate_series(1, {athletes}) a where s % 5 = 0;
        insert into wellbeing_records (club_id, id, athlete_id, kind, reported_on, void, recorded_by, created_at)
          select '{club}', {report}, {athlete}, 'pain', '{first}'::date + s, false, '{me}', now()
          from generate_series(1, {sessions}) s, generate_series(1, {athletes}) a where s % 5 = 0;
        insert into held_item (club_id, id, kind, op_id, member_id, device_id, data, reason, detail, received_at)
          select '{club}', {one}, 'run', {one}, '{me}', '{me}', '{{}}', 'reference', '[]', now()
          from generate_series(1, {held}) n;
        commit",
        assessment = id(4, "s * 1000 + a"),
        one = id(5, "n"),
        report = id(6, "s * 1000 + a"),
    );
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(pool).await.unwrap();
}

/// A value in the text of SQL.
fn literal(kind: &str, value: Option<&[u8]>) -> String {
    let Some(value) = value else { return format!("null::{kind}") };
    let number = |bytes: &[u8]| {
        let first = i64::from(bytes[0].cast_signed());
        bytes[1..].iter().fold(first, |sum, byte| sum << 8 | i64::from(*byte))
    };
    if let Some(each) = kind.strip_suffix("[]") {
        // Dimensions, flags and type; then, of one dimension, its length and lower bound; then each with its length.
        let mut items = Vec::new();
        let mut rest = value.get(20..).unwrap_or_default();
        while !rest.is_empty() {
            let (length, after) = rest.split_at(4);
            let (item, after) = after.split_at(usize::try_from(number(length)).unwrap());
            items.push(literal(each, Some(item)));
            rest = after;
        }
        return format!("array[{}]::{kind}", items.join(", "));
    }
    match kind {
        "uuid" => format!("'{}'::uuid", uuid::Uuid::from_slice(value).unwrap()),
        "bigint" | "integer" | "smallint" => format!("{}::{kind}", number(value)),
        "boolean" => (value[0] != 0).to_string(),
        "text" | "character varying" => format!("'{}'", std::str::from_utf8(value).unwrap().replace('\'', "''")),
        "date" => format!("date '2000-01-01' + {}", number(value)),
        "timestamp with time zone" => {
            format!("timestamptz '2000-01-01T00:00:00Z' + {} * interval '1 microsecond'", number(value))
        }
        other => panic!("no literal for {other}"),
    }
}

/// What a plan did.
#[derive(Debug, Default)]
struct Work {
    /// Rows that it gave.
    gave: u64,
    /// Rows that it read from each table, those that a filter let go among them; but not from the list of groups, of which every
    /// record has its own few.
    of: BTreeMap<String, u64>,
    /// The most rows that it sorted at once.
    sorted: u64,
    /// Whether it read a table whole, or gathered what it then had to look at again.
    whole: bool,
}

impl Work {
    fn of(plan: &[String]) -> Self {
        let figure = |line: &str, name: &str| {
            let text = line.split(name).nth(1)?;
            let digits: String = text.chars().take_while(char::is_ascii_digit).collect();
            digits.parse::<u64>().ok()
        };
        let mut work = Self::default();
        for (at, line) in plan.iter().enumerate() {
            let node = line.trim_start().trim_start_matches("->").trim_start();
            work.whole |= node.starts_with("Seq Scan") || node.starts_with("Bitmap");
            let (Some(rows), Some(loops)) = (figure(line, "actual rows="), figure(line, "loops=")) else { continue };
            if at == 0 {
                work.gave = rows * loops;
            }
            let table = node.split(" on ").nth(1).and_then(|rest| rest.split(' ').next()).unwrap_or_default();
            if (node.starts_with("Index") || node.starts_with("Seq Scan")) && table != "root_scope" {
                let own =
                    plan[at + 1..].iter().take_while(|line| !line.contains("(actual") && !line.contains("(never"));
                let let_go: u64 = own.filter_map(|line| figure(line, "Rows Removed by Filter: ")).sum();
                *work.of.entry(table.to_owned()).or_default() += (rows + let_go) * loops;
            }
            if node.starts_with("Sort") || node.starts_with("Incremental Sort") {
                work.sorted = work.sorted.max(rows);
            }
        }
        work
    }

    /// Rows that it read from the table from which it read most.
    fn read(&self) -> u64 {
        self.of.values().copied().max().unwrap_or(0)
    }
}

/// How the server carries a statement out with the values that it was sent with.
async fn explain(knife: &Knife, who: &Caller, one: &Bound) -> Vec<String> {
    let known = format!(
        "select coalesce(array_to_string(parameter_types, ','), ''), generic_plans from pg_prepared_statements where name = '{}'",
        one.name
    );
    let known = knife.ask(&known).await.swap_remove(0);
    assert_ne!(known[1], "0", "planned anew each time: {}", one.label);
    let kinds = known[0].split(',').filter(|kind| !kind.is_empty());
    let values: Vec<String> = kinds.zip(&one.values).map(|(kind, value)| literal(kind, value.as_deref())).collect();
    assert_eq!(values.len(), one.values.len(), "{}", one.label);
    let sql = format!(
        "begin; set local role club_app; set local app.club_id = '{}'; set local app.account_id = '{}';
        explain (analyze, costs off, timing off, summary off, buffers off) execute {} ({}); rollback",
        who.club,
        who.account,
        one.name,
        values.join(", ")
    );
    let plan = knife.ask(&sql).await.into_iter().flatten();
    // What differs from machine to machine, and with what was vacuumed.
    let passing = ["Memory", "Heap Fetches", "Index Searches"];
    plan.filter(|line| !passing.iter().any(|word| line.contains(word))).collect()
}

/// The lists, by path.
fn lists(group: &str, (from, to): (NaiveDate, NaiveDate)) -> Vec<String> {
    let athlete = "athlete_id=01000000-0000-7000-8000-000000000009";
    let session = "session_id=02000000-0000-7000-8000-00000000000f";
    let days = format!("from={from}&to={to}");
    let of_facts = |path: &str| {
        [String::new(), athlete.to_owned(), days.clone(), format!("{athlete}&from={from}"), format!("{athlete}&{days}")]
            .map(|filters| format!("/{path}?{filters}"))
    };
    let mut all = vec![
        "/runs?limit=200".to_owned(),
        "/runs?superseded=true".to_owned(),
        format!("/runs?{session}"),
        format!("/runs?{session}&{athlete}"),
        "/athletes".to_owned(),
        format!("/athletes?group_id={group}"),
        "/sessions".to_owned(),
        format!("/sessions?{days}"),
        format!("/assessments?{session}"),
        format!("/assessments?{session}&{athlete}"),
        "/own-held-items".to_owned(),
        "/own-held-items?decided=true".to_owned(),
    ];
    all.extend(["runs", "assessments", "wellbeing-records"].into_iter().flat_map(of_facts));
    all.into_iter().map(|path| path.trim_end_matches('?').to_owned()).collect()
}

#[sqlx::test]
async fn a_page_reads_little_more_than_it_answers(pool: PgPool) {
    let options = (*pool.connect_options()).clone();
    let knife = Knife::before(&options);
    let through = knife.through(options).statement_cache_capacity(1000);
    let mut app = TestApp::spawn_on(pool.clone(), through, 1).await;
    // The rows are made here and not by the service.
    app.promised = false;
    let first = Utc::now().date_naive() - Duration::days(250);
    let (squad, others) = squads();
    let mut clubs = Vec::new();
    for (number, squad) in std::iter::once(squad).chain(others).enumerate() {
        let admin = app.admin_of(&format!("Club {number}")).await;
        let mut groups = Vec::new();
        for n in 0..GROUPS {
            groups.push(admin.group(&format!("Group {n}")).await);
        }
        // What is held is rare: two clubs have as much of it as a phone may have.
        let held = if number < 2 { 2000 } else { 0 };
        fill(&pool, &admin, &groups, (squad, held), first).await;
        clubs.push((admin, groups));
    }
    let (admin, groups) = &clubs[0];
    let coach = admin.member("Cora Coach", "coach", &[&groups[1]]).await;
    let mut lists = lists(&groups[1], (first + Duration::days(20), first + Duration::days(40)));
    let held = ["/held-items", "/held-items?decided=true"].map(str::to_owned);
    let whole = ["/athletes/01000000-0000-7000-8000-000000000009".to_owned(), format!("/groups/{}", groups[1])];
    lists.extend(whole);
    let of_coach = lists.iter().map(|path| ("a coach", &coach, path));
    let all: Vec<_> = of_coach.chain(lists.iter().chain(&held).map(|path| ("an admin", admin, path))).collect();
    let mut plans = BTreeMap::new();
    for counted in [false, true] {
        if counted {
            sqlx::raw_sql("analyze").execute(&pool).await.unwrap();
        }
        let mut found = Vec::new();
        for (name, who, path) in &all {
            for _ in 0..TIMES {
                who.get(path).await.expect(200);
            }
            knife.rest().await;
            knife.watch();
            who.get(path).await.expect(200);
            knife.rest().await;
            for one in knife.bound().into_iter().filter(|one| one.label.starts_with("select")) {
                let plan = explain(&knife, who, &one).await;
                let work = Work::of(&plan);
                let (Work { gave, sorted, whole, .. }, read) = (&work, work.read());
                if *whole || read > READ * (gave + 1) || *sorted > PAGE {
                    let (plan, label) = (plan.join("\n"), &one.label);
                    found.push(format!(
                        "{path} of {name}: {read} rows read for {gave}, {sorted} sorted\n{label}\n{plan}"
                    ));
                }
                let words = one.label.split_whitespace().collect::<Vec<_>>().join(" ");
                let figures = format!("{path} of {name}: {gave} rows from {read}");
                plans.entry(words).or_insert_with(|| (figures, plan));
            }
        }
        assert!(found.is_empty(), "counted {counted}:\n{}", found.join("\n\n"));
    }
    assert!(plans.len() >= 20, "{}", plans.len());
    if super::deep() {
        let version = knife.ask("show server_version_num").await.swap_remove(0).swap_remove(0);
        compare(&version[..2], &groups[1], first, &plans);
    }
}

/// The plans of all lists at full size are those that were looked at. Another version of the server may word them otherwise.
fn compare(version: &str, group: &str, first: NaiveDate, plans: &BTreeMap<String, (String, Vec<String>)>) {
    let mut text = format!("PostgreSQL {version}\n");
    for (statement, (figures, plan)) in plans {
        let figures = figures.replace(group, "{group}");
        write!(text, "\n\n{figures}\n{statement}\n\n{}\n", plan.join("\n")).unwrap();
    }
    for (day, name) in [(20, "{from}"), (40, "{to}")] {
        text = text.replace(&(first + Duration::days(day)).to_string(), name);
    }
    if std::env::var("LANEWRIGHT_WRITE_PLANS").is_ok_and(|value| value == "1") {
        fs::write(PLANS, &text).unwrap();
    }
    let known = fs::read_to_string(PLANS).unwrap();
    if known.lines().next() == text.lines().next() {
        assert_eq!(text, known, "look at the plans and write them with LANEWRIGHT_WRITE_PLANS=1");
    }
}

#[test]
fn what_a_plan_did_is_read_from_it() {
    let plan = "Limit (actual rows=20 loops=1)
  ->  Sort (actual rows=20 loops=1)
        ->  Index Scan using runs_session on runs x (actual rows=2 loops=10)
              Filter: (NOT void)
              Rows Removed by Filter: 3
              SubPlan 3
                ->  Index Only Scan using runs_supersedes on runs later (actual rows=0 loops=20)
        ->  Seq Scan on athletes a (never executed)";
    let plan: Vec<String> = plan.lines().map(str::to_owned).collect();
    let work = Work::of(&plan);
    assert_eq!((work.gave, work.read(), work.sorted, work.whole), (20, 50, 20, true));
    let sent =
        [&[0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 20, 0, 0, 0, 2, 0, 0, 0, 1][..], &[0, 0, 0, 8, 0, 0, 0, 0, 0, 0, 1, 0]]
            .concat();
    let sent = [sent, vec![0, 0, 0, 8, 255, 255, 255, 255, 255, 255, 255, 254]].concat();
    assert_eq!(literal("bigint[]", Some(&sent)), "array[256::bigint, -2::bigint]::bigint[]");
    assert_eq!(literal("date", Some(&[0, 0, 0, 3])), "date '2000-01-01' + 3");
    assert_eq!(literal("uuid", None), "null::uuid");
}
