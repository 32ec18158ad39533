//! Invented clubs, written straight into the tables as a season of ordinary use would leave them.

use chrono::Utc;
use lanewright::platform::ids::{AccountId, DeviceId};
use lanewright::platform::token::Keys;
use sqlx::{AssertSqlSafe, PgConnection};
use uuid::Uuid;

/// Athletes of a filled club of the figures of sync.
pub const ATHLETES: u32 = 199;

/// The id of a club.
pub fn club_id(number: u32) -> String {
    format!("{number:08x}-c10b-7000-8000-000000000000")
}

fn part(number: u32, word: &str, one: u32) -> String {
    format!("{number:08x}-{word}-7000-8000-{one:012x}")
}

/// An athlete of a filled club, from 1.
pub fn athlete_id(one: u32) -> String {
    part(one, "a711", 0)
}

/// The session of [`found`], on 2026-01-05.
pub fn session_id() -> String {
    part(1, "5e55", 0)
}

/// The access token of a phone of a club, each with an account of its own.
pub fn access(keys: &Keys, club: u32, phone: u32) -> String {
    let id = |word| Uuid::parse_str(&part(club, word, phone)).expect("a UUID");
    keys.sign(AccountId(id("acc0")), DeviceId(id("de71")), "sync session.write", Utc::now()).expect("a key")
}

async fn run(conn: &mut PgConnection, sql: String) {
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(conn).await.expect("the schema takes it");
}

/// Founds clubs with some phones each (an admin of its own behind each), one group, one athlete and one session.
pub async fn found(conn: &mut PgConnection, from: u32, to: u32, phones: u32) {
    let (club, athlete, session) =
        ("lpad(to_hex(n), 8, '0') || '-c10b-7000-8000-000000000000'", athlete_id(1), session_id());
    let id = |word: &str, one: &str| {
        format!("(lpad(to_hex(n), 8, '0') || '-{word}-7000-8000-' || lpad(to_hex({one}), 12, '0'))::uuid")
    };
    let (account, device, grant) = (id("acc0", "p"), id("de71", "p"), id("96a0", "g"));
    let (group, each) = (part(1, "9609", 0), format!("generate_series({from}, {to}) n"));
    let both = format!("{each}, generate_series(1, {phones}) p");
    let seq = |add: u32| format!("2 * {phones} + {add}");
    let roots = format!(
        "(values ('{group}', {}, 'group'), ('{athlete}', {}, 'athlete'), ('{session}', {}, 'session')) v (id, seq, kind)",
        seq(1),
        seq(2),
        seq(3)
    );
    run(
        conn,
        format!(
            "set session_replication_role = replica;
         insert into clubs (id, name, time_zone, ruleset, created_at, updated_at)
         select ({club})::uuid, 'Club ' || n, 'Europe/London', 'UKA-2024', now(), now() from {each};
         insert into club_clock (club_id, seq) select ({club})::uuid, {last} from {each};
         insert into accounts (account_id, email, display_name, password_hash, created_at, updated_at)
         select {account}, 'p' || p || '@c' || n || '.example', 'Pat', 'none', now(), now() from {both};
         insert into devices (account_id, id, name, created_at, last_used_at)
         select {account}, {device}, 'Phone', now(), now() from {both};
         insert into account_club (account_id, club_id, joined_at) select {account}, ({club})::uuid, now() from {both};
         insert into members (club_id, id, role, display_name, email, created_at, updated_at)
         select ({club})::uuid, {account}, 'admin', 'Pat', 'p@c.example', now(), now() from {both};
         insert into scope_grant (club_id, id, member_id, scope_id, from_seq)
         select ({club})::uuid, {grant}, {account}, case g % 2 when 0 then ({club})::uuid else '{nil}' end, g
         from {both}, generate_series(2 * p - 1, 2 * p) g;
         insert into club_change (club_id, seq, kind, op, entity_id, root_kind, root_id, before_scopes, after_scopes, at)
         select ({club})::uuid, g, 'grant', 'grant', {grant}, 'member', {account}, '{{}}',
           array[case g % 2 when 0 then ({club})::uuid else '{nil}' end], now()
         from {both}, generate_series(2 * p - 1, 2 * p) g;
         insert into groups (club_id, id, rev, name, created_at, updated_at)
         select ({club})::uuid, '{group}', {}, 'Hurdles', now(), now() from {each};
         insert into athletes (club_id, id, rev, display_name, sex, birth_year, experience, status, created_at, updated_at)
         select ({club})::uuid, '{athlete}', {}, 'Alex', 'F', 2012, 'novice', 'active', now(), now() from {each};
         insert into sessions (club_id, id, rev, held_on, state, created_at, updated_at)
         select ({club})::uuid, '{session}', {}, '2026-01-05', 'held', now(), now() from {each};
         insert into root_scope (club_id, kind, root_id, scope_id)
         select ({club})::uuid, k, r::uuid, '{group}' from {each}, (values ('athlete', '{athlete}'), ('session', '{session}')) v (k, r);
         insert into club_change (club_id, seq, kind, op, entity_id, root_kind, root_id, before_scopes, after_scopes, at)
         select ({club})::uuid, v.seq, v.kind, 'put', v.id::uuid, v.kind, v.id::uuid, '{{}}', array['{group}'::uuid], now()
         from {each}, {roots};",
            seq(1),
            seq(2),
            seq(3),
            last = seq(3),
            nil = Uuid::nil(),
        ),
    )
    .await;
}

/// Adds so many changes to a club of so many athletes, two at least: 85 % runs, 5 % each of assessments, sessions and edits of
/// athletes.
///
/// Ids grow with time, as version 7 makes them. Each record carries the number of its last change.
#[allow(clippy::too_many_lines)] // one statement for each table
pub async fn fill(conn: &mut PgConnection, number: u32, athletes: u32, changes: u32) {
    let (club, group, account) = (club_id(number), part(1, "9609", 0), part(number, "acc0", 1));
    let athlete = |k: &str| format!("(lpad(to_hex({k}), 8, '0') || '-a711-7000-8000-000000000000')::uuid");
    let own =
        |word: &str| format!("(lpad(to_hex(i), 8, '0') || '-{word}-7000-8000-' || substr(md5(i::text), 1, 12))::uuid");
    // The first rows create the athletes after the first; a session comes with every 20th row after them.
    let news = athletes - 1;
    let first = news / 20 + 2;
    let sessions = 20 * first;
    let session = |i: &str| {
        format!("(lpad(to_hex(greatest({i} / 20, {first})), 8, '0') || '-5e55-7000-8000-000000000000')::uuid")
    };
    let kind = format!(
        "case when i <= {news} then 'athlete' when i % 20 = 0 and i >= {sessions} then 'session' when i % 20 = 10 then 'athlete'
         when i % 20 = 5 then 'assessment' else 'run' end"
    );
    let (run, rating) = (own("4aaa"), own("a55e"));
    let (subject, its_session) = (athlete(&format!("i * 7 % {athletes} + 1")), session("i"));
    let (added, edited) = (athlete("i + 1"), athlete(&format!("i / 20 % {athletes} + 1")));
    // The root of what stands below an athlete, and of what is a root itself.
    let (root_kind, root) = (
        "case when kind = 'session' then kind else 'athlete' end",
        "case when kind in ('run', 'assessment') then subject else id end",
    );
    run_all(conn, &[
        format!(
            "create temp table feed as
             select i, c.seq + i as seq, {kind} as kind, {subject} as subject, {its_session} as session,
               case when i <= {news} then {added} when {kind} = 'session' then {its_session}
                 when {kind} = 'athlete' then {edited} when {kind} = 'run' then {run} else {rating} end as id
             from club_clock c, generate_series(1, {changes}) i where c.club_id = '{club}'"
        ),
        format!(
            "insert into club_change (club_id, seq, kind, op, entity_id, root_kind, root_id, before_scopes, after_scopes, at)
             select '{club}', seq, kind, 'put', id, {root_kind}, {root},
               case when created then '{{}}'::uuid[] end, case when created then array['{group}'::uuid] end, now()
             from (select *, kind = 'session' or (kind = 'athlete' and i <= {news}) as created from feed) f order by seq"
        ),
        format!(
            "insert into athletes (club_id, id, rev, display_name, sex, birth_year, experience, status, created_at, updated_at)
             select '{club}', id, seq, 'Athlete ' || i, 'F', 2012, 'trained', 'active', now(), now() from feed where i <= {news};
             update athletes a set rev = f.seq, name_rev = f.seq
             from (select id, max(seq) as seq from feed where kind = 'athlete' group by id) f
             where a.club_id = '{club}' and a.id = f.id;
             insert into sessions (club_id, id, rev, held_on, state, blocks, created_at, updated_at)
             select '{club}', id, seq, '2026-01-05', 'held', '[]', now(), now() from feed where kind = 'session';
             insert into root_scope (club_id, kind, root_id, scope_id)
             select '{club}', kind, id, '{group}' from feed where kind = 'session' or i <= {news}"
        ),
        format!(
            "insert into runs (club_id, id, rev, session_id, athlete_id, run_at, barrier_kind, height_mm, spacing_mm,
               approach_mm, barriers, held, over_reached, crowded, broken, hits, fell, lead_leg, touchdown_times_ms,
               timing_method, recorded_by, created_at, skew_ms)
             select '{club}', id, seq, session, subject, '2026-01-05T17:00:00Z'::timestamptz + i * interval '1 ms', 'low_barrier',
               500, 6250, 11000, 8, 5, 1, 1, 0, i % 3, false, 'left',
               array[2610, 3780, 4940, 6110, 7320, 8510, 9700, 10900], 'tap', '{account}', now(), 120
             from feed where kind = 'run' order by seq"
        ),
        format!(
            "insert into assessments (club_id, id, rev, athlete_id, session_id, assessed_at, lead_leg, trail_leg, rhythm,
               recorded_by, created_at)
             select '{club}', id, seq, subject, session, '2026-01-05T18:00:00Z', 2, 1, 2, '{account}', now()
             from feed where kind = 'assessment' order by seq"
        ),
        format!("update club_clock set seq = seq + {changes} where club_id = '{club}'"),
        "drop table feed".to_owned(),
    ])
    .await;
}

async fn run_all(conn: &mut PgConnection, statements: &[String]) {
    for sql in statements {
        run(conn, sql.clone()).await;
    }
}
