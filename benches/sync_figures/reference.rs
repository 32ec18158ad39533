//! What the database alone reaches: pgbench with the statements that the server logged for one request of the service.
//!
//! The script is the log, statement by statement, with the same parameters and round trips. What must differ from request
//! to request is computed by SQL: the ids of what is new (chance takes the place of a mark in them), the club (each client
//! may have its own) and the change numbers (counted from what the counter returned). `set local` takes no parameter, so the
//! club is set with `set_config`.

use std::collections::HashSet;
use std::fmt::Write;
use std::fs;
use std::path::PathBuf;
use std::process::Command;
use std::time::Duration;

use lanewright::platform::db::PLANNING;
use sqlx::{AssertSqlSafe, PgConnection};

use super::service::Service;
use super::{Bench, clubs};

/// A statement as the server logged it.
#[derive(Debug)]
pub struct Logged {
    /// The process that was asked.
    backend: String,
    /// Its text.
    pub sql: String,
    /// What was put in.
    pub parameters: Vec<Option<String>>,
}

/// What stands in the ids of a request where chance comes in.
pub const MARK: &str = "5eed0001-feed";

/// What is recorded.
#[derive(Clone, Copy, Debug)]
pub struct Source<'a> {
    /// The name of the script.
    pub name: &'a str,
    /// Each client has a club of its own, from this one on; all have the same one when absent.
    pub club: Option<u32>,
    /// How many changes a request makes.
    pub changes: usize,
}

/// A service whose every statement the server logs.
pub struct Recorder<'a> {
    bench: &'a Bench,
    /// The service.
    pub service: Service,
}

/// A script for pgbench.
pub struct Script {
    /// Statements of a request.
    pub statements: usize,
    /// Round trips to the server.
    pub trips: usize,
    /// The statements as the server logged them, in order.
    pub logged: Vec<Logged>,
    source: (Option<u32>, usize),
    file: PathBuf,
    program: PathBuf,
    /// Values of the script's variables.
    values: Vec<String>,
}

fn pgbench() -> PathBuf {
    let given = std::env::var_os("PG_BINDIR").map(PathBuf::from);
    let mut found: Vec<PathBuf> =
        fs::read_dir("/usr/lib/postgresql").into_iter().flatten().flatten().map(|one| one.path().join("bin")).collect();
    found.sort();
    let places = given.into_iter().chain(found.into_iter().rev());
    places.map(|folder| folder.join("pgbench")).find(|program| program.exists()).unwrap_or_else(|| "pgbench".into())
}

async fn log_statements(conn: &mut PgConnection, which: &str) {
    // The server's log is terse, so that it holds nobody's values; here they are wanted, of invented people.
    let sql = format!(
        "alter role lanewright set log_statement = '{which}'; alter role lanewright set log_error_verbosity = 'default'"
    );
    sqlx::raw_sql(AssertSqlSafe(sql)).execute(conn).await.expect("a superuser may");
}

/// The parameters of a line `$1 = 'a', $2 = NULL`.
fn parameters(mut text: &str) -> Vec<Option<String>> {
    let mut found = Vec::new();
    while let Some((_, rest)) = text.split_once(" = ") {
        let Some(mut quoted) = rest.strip_prefix('\'') else {
            found.push(None);
            text = rest;
            continue;
        };
        let mut value = String::new();
        loop {
            let (part, rest) = quoted.split_once('\'').expect("a closing quote");
            value.push_str(part);
            quoted = rest;
            let Some(more) = rest.strip_prefix('\'') else { break };
            value.push('\'');
            quoted = more;
        }
        found.push(Some(value));
        text = quoted;
    }
    found
}

/// The statements of a part of the server's log.
fn logged(text: &str) -> Vec<Logged> {
    let mut entries: Vec<String> = Vec::new();
    for line in text.lines() {
        match (line.strip_prefix('\t'), entries.last_mut()) {
            (Some(more), Some(last)) => write!(last, "\n{more}").expect("text"),
            _ => entries.push(line.to_owned()),
        }
    }
    let mut found: Vec<Logged> = Vec::new();
    for entry in entries {
        if let Some((_, detail)) = entry.split_once("] DETAIL:  ") {
            let last = found.last_mut().expect("a statement before its detail");
            last.parameters = parameters(detail.split_once(": ").expect("a word").1);
        } else if let Some((head, message)) = entry.split_once("] LOG:  ") {
            let (how, sql) = message.split_once(": ").expect("how it came");
            assert!(how == "statement" || how.starts_with("execute "), "{entry}");
            let backend = head.rsplit('[').next().expect("a process").to_owned();
            let one = Logged { backend, sql: sql.trim().to_owned(), parameters: Vec::new() };
            // A transaction that only read is rolled back while the next one begins on another connection.
            let last = found.iter().rposition(|other| one.sql == "ROLLBACK" && other.backend == one.backend);
            found.insert(last.map_or(found.len(), |last| last + 1), one);
        }
    }
    without_audit(found)
}

/// Without what the service writes of its audit: each row follows from the last, so no script can write the same again. Reads are
/// stored in a transaction of their own, which goes whole; a push has its row among its other writes, and that alone goes.
fn without_audit(statements: Vec<Logged>) -> Vec<Logged> {
    let is = |one: &Logged, words: &str| one.sql.contains(words);
    let mut kept: Vec<Logged> = Vec::new();
    let mut begun = 0;
    for one in statements {
        if one.sql.starts_with("BEGIN") {
            begun = kept.len();
        }
        let ends = one.sql == "COMMIT";
        kept.push(one);
        let its = kept.get(begun..).unwrap_or_default();
        if ends && its.iter().any(|one| is(one, "into audit")) && !its.iter().any(|one| is(one, "into club_change")) {
            kept.truncate(begun);
        }
    }
    kept.retain(|one| !is(one, "into audit"));
    kept
}

/// The types of a statement's parameters.
async fn types(conn: &mut PgConnection, sql: &str) -> Vec<String> {
    let all = format!("prepare one as {sql}");
    sqlx::raw_sql(AssertSqlSafe(all)).execute(&mut *conn).await.expect("a statement of the service");
    let types = sqlx::query_scalar("select parameter_types::text[] from pg_prepared_statements where name = 'one'");
    let types = types.fetch_one(&mut *conn).await.expect("a prepared statement");
    sqlx::raw_sql("deallocate one").execute(conn).await.expect("a prepared statement");
    types
}

impl<'a> Recorder<'a> {
    /// Starts it.
    pub fn start(bench: &'a Bench) -> Self {
        bench.sql(async |conn| log_statements(conn, "all").await);
        Self { bench, service: Service::start(&bench.cluster.url()) }
    }

    /// Stops it, and the logging.
    pub fn stop(self) {
        drop(self.service);
        self.bench.sql(async |conn| log_statements(conn, "none").await);
    }

    /// Writes the script from what the server logs during one request; `ask` carries one out, with the mark or without.
    pub fn script(&self, source: Source<'_>, mut ask: impl FnMut(bool)) -> Script {
        // What a connection does once is no part of a request.
        for _ in 0..20 {
            ask(false);
        }
        std::thread::sleep(Duration::from_millis(200));
        let path = self.bench.folder.join("cluster/postgres.log");
        let before = fs::metadata(&path).expect("the server's log").len();
        ask(true);
        // The last rollback is sent after the answer.
        std::thread::sleep(Duration::from_millis(500));
        let bytes = fs::read(&path).expect("the server's log");
        let from = usize::try_from(before).expect("a length");
        let text = String::from_utf8_lossy(bytes.get(from..).expect("more than before")).into_owned();
        let statements = logged(&text);
        let mut script = Script {
            statements: statements.len(),
            trips: 0,
            logged: Vec::new(),
            source: (source.club, source.changes),
            file: self.bench.folder.join(format!("{}.sql", source.name)),
            program: pgbench(),
            values: Vec::new(),
        };
        let mut sql = "\\set n random(0, 4294967295)\n\\set m random(0, 65535)\n".to_owned();
        if let Some(first) = source.club {
            writeln!(sql, "\\set k {first} + :client_id").expect("text");
        }
        self.bench.sql(async |conn| {
            for one in &statements {
                script.add(&mut sql, one, conn).await;
            }
        });
        fs::write(&script.file, sql).expect("our folder");
        script.logged = statements;
        script
    }
}

impl Script {
    /// Adds a statement, or several that go to the server at once.
    async fn add(&mut self, script: &mut String, one: &Logged, conn: &mut PgConnection) {
        self.trips += 1;
        let parts: Vec<&str> = one.sql.split(';').map(str::trim).filter(|part| !part.is_empty()).collect();
        if let [_] = parts.as_slice() {
            let types = if one.parameters.is_empty() { Vec::new() } else { types(conn, &one.sql).await };
            let mut sql = one.sql.clone();
            // From the last on, so that $1 is not taken for the beginning of $10.
            for (at, value) in one.parameters.iter().enumerate().rev() {
                let kind = types.get(at).expect("a type for each");
                sql = sql.replace(&format!("${}", at + 1), &self.expression(value.as_deref(), kind));
            }
            let end = if sql.ends_with("returning seq") { "\\gset" } else { ";" };
            writeln!(script, "{sql} {end}").expect("text");
            return;
        }
        self.statements += parts.len() - 1;
        script.push_str("\\startpipeline\n");
        for part in parts {
            let club = self.source.0.and_then(|_| part.strip_prefix("SET LOCAL app.club_id = "));
            match club {
                Some(_) => writeln!(script, "select set_config('app.club_id', {CLUB}, true);"),
                None => writeln!(script, "{part};"),
            }
            .expect("text");
        }
        script.push_str("\\endpipeline\n");
    }

    /// A parameter: as it was, or computed where it must differ from request to request.
    fn expression(&mut self, value: Option<&str>, kind: &str) -> String {
        let Some(value) = value else { return format!("null::{kind}") };
        let (club, changes) = self.source;
        if club.is_some_and(|first| value == clubs::club_id(first)) {
            return format!("({CLUB})::{kind}");
        }
        let numbers: HashSet<i64> =
            value.trim_matches(['{', '}']).split(',').filter_map(|one| one.parse().ok()).collect();
        if kind == "bigint[]" && changes > 0 && numbers.len() == changes {
            return format!("(select array_agg(s) from generate_series(:seq - {changes} + 1, :seq) s)");
        }
        let name = format!("p{}", self.values.len());
        self.values.push(format!("{name}={value}"));
        if value.contains(MARK) {
            let chance = "lpad(to_hex(:n::bigint), 8, '0') || '-' || lpad(to_hex(:m::bigint), 4, '0')";
            return format!("replace(:{name}, '{MARK}', {chance})::{kind}");
        }
        format!(":{name}::{kind}")
    }

    /// Requests a second of so many clients, over so many seconds after so many that are not counted.
    pub fn run(&self, bench: &Bench, clients: u32, (warming, seconds): (u32, u32)) -> f64 {
        let mut command = Command::new(&self.program);
        command.args(["--no-vacuum", "--protocol=prepared", "--jobs=2", "--username=lanewright", "--port=5432"]);
        let planning: Vec<String> = PLANNING.iter().map(|(name, value)| format!("-c {name}={value}")).collect();
        command.env("PGOPTIONS", planning.join(" "));
        command.arg("--host").arg(bench.cluster.socket_folder()).arg("--file").arg(&self.file);
        command.args([
            format!("--client={clients}"),
            format!("--time={}", warming + seconds),
            "--progress=1".to_owned(),
        ]);
        for value in &self.values {
            command.arg("--define").arg(value);
        }
        let output = command.arg("lanewright").output().expect("pgbench, which comes with the PostgreSQL server");
        let progress = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success() && !progress.contains("aborted"), "{progress}");
        // `progress: 7.0 s, 812.3 tps, lat ...`, once a second
        let seconds = progress.lines().filter_map(|line| line.strip_prefix("progress: ")?.split_once(" s, "));
        let rates: Vec<f64> = seconds
            .filter(|(at, _)| at.parse::<f64>().is_ok_and(|at| at > f64::from(warming) + 0.5))
            .filter_map(|(_, rest)| rest.split(' ').next()?.parse().ok())
            .collect();
        assert!(!rates.is_empty(), "{progress}");
        #[allow(clippy::cast_precision_loss)] // a few seconds
        let count = rates.len() as f64;
        rates.iter().sum::<f64>() / count
    }
}

/// The club of a client.
const CLUB: &str = "lpad(to_hex(:k::bigint), 8, '0') || '-c10b-7000-8000-000000000000'";
