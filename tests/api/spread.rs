//! Where tables are spread over several servers, whatever a request asks is asked of one of them: about one club, one account or
//! one key. The extension says so itself, of every statement that is checked at compile time and, after a run of the other
//! tests, of every one that they sent in a club. On a single server there is nothing to ask.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::atomic::{AtomicUsize, Ordering};

use serde_json::Value;
use sqlx::{AssertSqlSafe, Connection, PgConnection, PgPool, Row};

use crate::support::spread;

/// What asks more than one server, each by its beginning, and why that is no request about a club or an account.
const ACROSS: [(&str, &str); 18] = [
    (
        "select account_id from accounts where account_id >",
        "whether the demo may be loaded, and ends that are carried out again",
    ),
    ("select distinct club_id from account_club", "the clubs that chores go through"),
    ("select account_id, email from accounts where not members_know_email", "a chore carries new addresses to clubs"),
    (
        "select a.account_id, a.email from accounts a where a.email_proven_at is null",
        "a chore drops unclaimed accounts",
    ),
    ("select account_id from login_emails where email = any", "the same"),
    ("delete from accounts where account_id = any", "the same"),
    ("select account_id, id from devices where revoked_at", "a chore drops ended sign-ins"),
    ("delete from devices d using unnest", "the same"),
    ("select account_id, token_hash from refresh_tokens where expires_at", "a chore drops tokens that are over"),
    ("delete from refresh_tokens x using unnest", "the same"),
    ("select account_id, token_hash from authorizations where expires_at", "the same of apps"),
    ("delete from authorizations x using unnest", "the same"),
    ("delete from mail_links where expires_at", "a chore drops links that are over"),
    ("delete from email_changes where expires_at", "a chore drops moves that are over"),
    ("select bucket from throttles where refilled_at", "a chore drops full buckets"),
    ("delete from throttles where bucket = any", "the same"),
    (
        "select d.id from unnest($1::uuid[], $2::uuid[]) as u (account_id, id) join devices d",
        "all who wait for changes, at once",
    ),
    (
        "select m.role as \"role?\", m.deleted_at, exists ( select from club_security s where s.club_id = $1 and \
      s.admins_second_factor ) as \"asks_factor!\", array( select g.scope_id from scope_grant g where g.club_id = $1 and \
      g.member_id = $2 and not g.revoked ) as \"scopes!\", ( select a.scopes from apps a join app_grants g on g.club_id = $1 \
      and g.app_id = a.id where a.club_id = $1 and a.id = $3 and a.revoked_at is null and g.member_id = $2 and g.revoked_at \
      is null ) as granted, d.id is not null",
        "on a single server alone, see `access/standing.rs`",
    ),
];

/// Values of one type, far enough apart: those of two places lie on different servers in one of two rounds.
struct Values {
    ids: Vec<String>,
    texts: Vec<String>,
}

impl Values {
    /// One value for each part that tables are spread over.
    async fn apart(pool: &PgPool) -> Self {
        let each = async |table: &str, value: &str| -> Vec<String> {
            let sql = format!(
                "select distinct on (part) value::text from (
                   select v.value, get_shard_id_for_distribution_column('{table}', v.value) as part
                   from (select {value} as value from generate_series(1, 200) n) v
                 ) x order by part, value"
            );
            sqlx::query_scalar(AssertSqlSafe(sql)).fetch_all(pool).await.unwrap()
        };
        let found =
            Self { ids: each("clubs", "md5(n::text)::uuid").await, texts: each("login_emails", "'a' || n").await };
        assert!(found.ids.len() >= 4 && found.texts.len() >= 4, "tables are to be spread over four parts at least");
        found
    }

    /// Which of four: two places that are alike in one round are not in the other.
    const fn which(place: usize, round: usize) -> usize {
        (if round == 0 { place } else { place / 4 }) % 4
    }

    fn literal(&self, of: &str, place: usize, round: usize) -> String {
        let at = Self::which(place, round);
        if let Some(one) = of.strip_suffix("[]") {
            let other = self.literal(one, if round == 0 { place + 1 } else { place + 4 }, round);
            return format!("array[{}, {other}]::{of}", self.literal(one, place, round));
        }
        let text = match of {
            "uuid" => self.ids[at].clone(),
            "text" | "character varying" => self.texts[at].clone(),
            "timestamp with time zone" | "date" => "2025-06-01".to_owned(),
            "boolean" => "true".to_owned(),
            "jsonb" => "{}".to_owned(),
            "bytea" => "\\x00".to_owned(),
            _ => (place + 1).to_string(),
        };
        format!("'{text}'::{of}")
    }
}

/// What is wrong with how the server would carry a statement out, if anything. It is asked as who may.
async fn flaw(conn: &mut PgConnection, values: &Values, statement: &str, round: usize) -> Option<String> {
    let mut said = String::new();
    for role in ["club_app", "lanewright"] {
        let mut tx = conn.begin().await.unwrap();
        let role = if role == "club_app" { "set local role club_app" } else { "set local role none" };
        sqlx::raw_sql(role).execute(&mut *tx).await.unwrap();
        match plan(&mut tx, values, statement, round).await {
            Ok(plan) => {
                let one = plan.matches("Task Count: ").count() == 1 && plan.contains("Task Count: 1\n");
                let whole = !plan.contains("Subplan") && !plan.contains("Could not get remote plan");
                let here = !plan.contains("Citus");
                return (!(here || (one && whole))).then_some(plan);
            }
            Err(error) => said = error.to_string(),
        }
    }
    Some(said)
}

async fn plan(conn: &mut PgConnection, values: &Values, statement: &str, round: usize) -> Result<String, sqlx::Error> {
    // A name of its own: what is refused stays prepared.
    static NAMED: AtomicUsize = AtomicUsize::new(0);
    let name = format!("asked_{}", NAMED.fetch_add(1, Ordering::Relaxed));
    sqlx::raw_sql(AssertSqlSafe(format!("prepare {name} as {statement}"))).execute(&mut *conn).await?;
    let types = "select parameter_types::text[] from pg_prepared_statements where name = $1";
    let types: Vec<String> = sqlx::query_scalar(types).bind(&name).persistent(false).fetch_one(&mut *conn).await?;
    let bound: Vec<String> = types.iter().enumerate().map(|(at, of)| values.literal(of, at, round)).collect();
    let bound = if bound.is_empty() { String::new() } else { format!("({})", bound.join(", ")) };
    let explain = format!("explain (costs off) execute {name}{bound}");
    let lines = sqlx::raw_sql(AssertSqlSafe(explain)).fetch_all(&mut *conn).await?;
    sqlx::raw_sql(AssertSqlSafe(format!("deallocate {name}"))).execute(conn).await?;
    Ok(lines.iter().map(|row| row.get::<String, _>(0) + "\n").collect())
}

fn plain(statement: &str) -> String {
    statement.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The statements that the compiler checked.
fn checked() -> BTreeSet<String> {
    let files = std::fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/.sqlx")).unwrap();
    let query = |file: std::io::Result<std::fs::DirEntry>| {
        let text = std::fs::read_to_string(file.unwrap().path()).unwrap();
        plain(serde_json::from_str::<Value>(&text).unwrap()["query"].as_str().unwrap())
    };
    files.map(query).collect()
}

/// Those that were sent in a club since the server started, where it keeps them: among them the lists, which are put together.
async fn sent(pool: &PgPool) -> BTreeSet<String> {
    let kept = "select exists (select from pg_extension where extname = 'pg_stat_statements')";
    if !sqlx::query_scalar::<_, bool>(kept).fetch_one(pool).await.unwrap() {
        return BTreeSet::new();
    }
    let sent = "select distinct query from pg_stat_statements where userid = 'club_app'::regrole and query like '%$1%'";
    let sent: Vec<String> = sqlx::query_scalar(sent).fetch_all(pool).await.unwrap();
    sent.iter().map(|one| plain(one)).collect()
}

fn can_be_explained(statement: &str) -> bool {
    ["select ", "insert ", "update ", "delete ", "with "].iter().any(|word| statement.starts_with(word))
}

#[test]
fn what_asks_several_servers_is_still_there() {
    let statements = checked();
    for (beginning, _) in ACROSS {
        assert!(
            statements.iter().any(|one| one.starts_with(beginning)),
            "no statement begins so any more: {beginning}"
        );
    }
}

#[sqlx::test]
async fn whatever_a_request_asks_is_asked_of_one_server(pool: PgPool) {
    if !spread(&pool).await {
        println!("skipped: one server has all tables here; see ./dev distributed");
        return;
    }
    let values = Values::apart(&pool).await;
    let mut conn = pool.acquire().await.unwrap();
    let mut flaws = BTreeMap::new();
    let mut asked = 0;
    for statement in checked().union(&sent(&pool).await).filter(|one| can_be_explained(one)) {
        let across = ACROSS.iter().any(|(beginning, _)| statement.starts_with(beginning));
        for round in 0..2 {
            let flaw = flaw(&mut conn, &values, statement, round).await;
            asked += 1;
            if let Some(flaw) = flaw.filter(|_| !across) {
                flaws.insert(statement.clone(), flaw);
            }
        }
    }
    let told: Vec<String> = flaws.iter().map(|(statement, flaw)| format!("{statement}\n{flaw}")).collect();
    assert!(told.is_empty(), "{} statements ask more than one server:\n{}", told.len(), told.join("\n\n"));
    println!("{asked} times asked, always one server");
}
