//! What was stored while athletes and sessions shared one list of groups by id alone is told apart when that list learns
//! of kinds: by what the log says of each, and never so that somebody sees more than the log gave them.

use lanewright::platform::db::MIGRATOR;
use sqlx::{AssertSqlSafe, PgPool};
use uuid::Uuid;

use crate::support::spread;

/// The last migration before roots were named by kind.
const BEFORE: i64 = 10;

pub fn id(n: u128) -> Uuid {
    Uuid::from_u128(0x0193_0000_0000_7000_8000_0000_0000_0000 + n)
}

pub async fn migrate(pool: &PgPool, wanted: impl Fn(i64) -> bool) {
    for migration in MIGRATOR.iter().filter(|one| wanted(one.version)) {
        let mut tx = pool.begin().await.unwrap();
        sqlx::raw_sql(AssertSqlSafe(migration.sql.as_str().to_owned())).execute(&mut *tx).await.unwrap();
        tx.commit().await.unwrap();
    }
}

/// Runs statements in the club; `#n` stands for the n-th id.
pub async fn run(pool: &PgPool, text: &str) {
    let mut tx = pool.begin().await.unwrap();
    let mut parts = text.split('#');
    let mut sql = format!("set local app.club_id = '{}';", id(1));
    sql.push_str(parts.next().unwrap());
    for part in parts {
        let digits = part.find(|c: char| !c.is_ascii_digit()).unwrap_or(part.len());
        sql.extend(["'", &id(part[..digits].parse().unwrap()).to_string(), "'"]);
        sql.push_str(&part[digits..]);
    }
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(&mut *tx).await.unwrap();
    tx.commit().await.unwrap();
}

pub async fn rows<T>(pool: &PgPool, sql: &'static str) -> Vec<T>
where
    T: for<'r> sqlx::FromRow<'r, sqlx::postgres::PgRow> + Send + Unpin,
{
    let mut tx = pool.begin().await.unwrap();
    sqlx::raw_sql(AssertSqlSafe(format!("set local app.club_id = '{}'", id(1)))).execute(&mut *tx).await.unwrap();
    sqlx::query_as(sql).fetch_all(&mut *tx).await.unwrap()
}

/// Three groups (11 to 13). Athletes: 21 plain; 22 taken by a session of another group; 23 destroyed with such a session; 24
/// taken, its own creation no longer in the log; 25 has the id of a venue; 26 taken and moved since by whoever took it; 27
/// taken, neither creation in the log. Sessions: those, and 31 plain.
const STORED: &str = "
  insert into clubs (id, name, time_zone, ruleset, created_at, updated_at) values (#1, 'N', 'UTC', 'UKA', now(), now());
  insert into club_clock (club_id, seq) values (#1, 100);
  insert into groups (club_id, id, name, created_at, updated_at)
    select #1, g, g::text, now(), now() from unnest(array[#11, #12, #13]::uuid[]) g;
  insert into athletes (club_id, id, display_name, experience, status, created_at, updated_at)
    select #1, a, 'A', 'novice', 'active', now(), now()
    from unnest(array[#21, #22, #23, #24, #25, #26, #27]::uuid[]) a;
  insert into sessions (club_id, id, held_on, state, created_at, updated_at, deleted_at)
    select #1, s, now(), 'held', now(), now(), case when s = #23 then now() end
    from unnest(array[#22, #23, #24, #26, #27, #31]::uuid[]) s;
  insert into venues (club_id, id, name, environment, straight_mm, lanes, created_at, updated_at)
    values (#1, #25, 'V', 'outdoor', 60000, 6, now(), now());
  insert into root_scope (club_id, root_id, scope_id) values
    (#1, #21, #11), (#1, #31, #12), (#1, #22, #11), (#1, #22, #12), (#1, #24, #11), (#1, #24, #12), (#1, #25, #13),
    (#1, #26, #11), (#1, #26, #12), (#1, #26, #13), (#1, #27, #11), (#1, #27, #12), (#1, #99, #13);
  insert into club_change (club_id, seq, kind, op, entity_id, root_id, before_scopes, after_scopes, at) values
    (#1, 1, 'athlete', 'put', #22, #22, '{}', array[#11]::uuid[], now()),
    (#1, 2, 'session', 'put', #22, #22, '{}', array[#12]::uuid[], now()),
    (#1, 3, 'athlete', 'put', #23, #23, '{}', array[#11]::uuid[], now()),
    (#1, 4, 'session', 'put', #23, #23, '{}', array[#12]::uuid[], now()),
    (#1, 5, 'session', 'remove', #23, #23, array[#11, #12]::uuid[], '{}', now()),
    (#1, 6, 'session', 'put', #24, #24, '{}', array[#12]::uuid[], now()),
    (#1, 7, 'run', 'put', #77, #21, null, null, now()),
    (#1, 8, 'lane_plan', 'put', #78, #31, null, null, now()),
    (#1, 9, 'grant', 'grant', #79, #80, '{}', array[#11]::uuid[], now()),
    (#1, 10, 'athlete', 'put', #26, #26, '{}', array[#11]::uuid[], now()),
    (#1, 11, 'session', 'put', #26, #26, '{}', array[#12]::uuid[], now()),
    (#1, 12, 'athlete', 'put', #26, #26, array[#11, #12]::uuid[], array[#11, #12, #13]::uuid[], now());
  insert into op_receipt (club_id, op_id, digest, entity_id, status, rev, at) values
    (#1, #81, '\\x00', #77, 201, 7, now()), (#1, #82, '\\x00', #83, 201, 1, now());
  insert into held_item (club_id, id, kind, op_id, member_id, device_id, data, reason, detail, received_at)
    values (#1, #84, 'run', #84, #80, #80, '{}', 'role', '[]', now());";

#[sqlx::test(migrations = false)]
async fn groups_of_athletes_and_sessions_are_told_apart_by_the_log(pool: PgPool) {
    if spread(&pool).await {
        return;
    }
    migrate(&pool, |version| version <= BEFORE).await;
    run(&pool, STORED).await;
    migrate(&pool, |version| version > BEFORE).await;
    let scopes: Vec<(String, Uuid, Uuid)> =
        rows(&pool, "select kind, root_id, scope_id from root_scope order by root_id, kind, scope_id").await;
    let expected = [
        ("athlete", 21, 11),
        ("athlete", 22, 11),
        ("session", 22, 12),
        // Seen by nobody after the session was deleted; what the log gave is given back.
        ("athlete", 23, 11),
        ("athlete", 24, 11),
        ("session", 24, 12),
        ("athlete", 25, 13),
        // What the log adds, but not what came from the session.
        ("athlete", 26, 11),
        ("athlete", 26, 13),
        ("session", 26, 12),
        // 27: the log gives neither of them anything, so only an admin sees them until they are put into a group.
        ("session", 31, 12),
    ];
    let expected: Vec<_> = expected.map(|(kind, root, scope)| (kind.to_owned(), id(root), id(scope))).into();
    assert_eq!(scopes, expected);

    let roots: Vec<(i64, String)> =
        rows(&pool, "select seq, root_kind from club_change where seq <= 12 order by seq").await;
    let kinds = ["athlete", "session", "athlete", "session", "session", "session", "athlete", "session", "member"];
    assert_eq!(roots.iter().take(9).map(|(_, kind)| kind.as_str()).collect::<Vec<_>>(), kinds);
    // Whoever saw one of the twins drops it, and whoever sees it now takes it anew.
    let told: Vec<(String, Uuid, Vec<Uuid>, Vec<Uuid>)> = rows(
        &pool,
        "select kind, entity_id, before_scopes, after_scopes from club_change where seq > 100 order by seq",
    )
    .await;
    assert_eq!(told.len(), 2 * (2 * 5 + 1));
    for pair in told.chunks(2) {
        let (drop, take) = (&pair[0], &pair[1]);
        assert_eq!((&drop.0, drop.1, &drop.3), (&take.0, take.1, &take.2));
        let now: Vec<Uuid> = scopes
            .iter()
            .filter(|(kind, root, _)| (kind, *root) == (&take.0, take.1))
            .map(|(.., scope)| *scope)
            .collect();
        assert_eq!(take.3, now);
        assert!(now.iter().all(|scope| drop.2.contains(scope)), "who sees it now is told to drop it first");
        assert_eq!(drop.2.contains(&id(1)), drop.1 == id(25), "all members may hold what lay below the venue's id");
    }
    let clock: Vec<(i64,)> = rows(&pool, "select seq from club_clock").await;
    assert_eq!(clock, [(122,)]);
    let receipts: Vec<(Option<String>,)> = rows(&pool, "select kind from op_receipt order by op_id").await;
    assert_eq!(receipts, [(Some("run".to_owned()),), (None,)]);
    // Each of these has the walls it had.
    let walls: Vec<(i64,)> = rows(
        &pool,
        "select count(*) from pg_class where relname in ('root_scope', 'athletes', 'sessions', 'groups', 'venues',
           'equipment', 'barrier_configurations', 'age_groups', 'competition_specs', 'clubs', 'club_change', 'club_clock',
           'op_receipt') and relrowsecurity and relforcerowsecurity",
    )
    .await;
    assert_eq!(walls, [(13,)]);
    let sql = "insert into root_scope (club_id, kind, root_id, scope_id) values (#1, 'session', #21, #13)";
    let refused = tokio::spawn({
        let pool = pool.clone();
        async move { run(&pool, sql).await }
    });
    assert!(refused.await.is_err(), "a scope of a session that is an athlete");
}
