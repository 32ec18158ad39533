//! Phones push and pull while the database under the service is killed, again and again.

use std::cell::Cell;
use std::collections::BTreeMap;
use std::rc::Rc;
use std::time::{Duration, Instant};

use lanewright::platform::cluster::Durability;
use sqlx::{ConnectOptions, PgConnection};
use tokio::task::LocalSet;

use super::ground::{Ground, kill};
use super::squad::{Found, Handset, Squad};
use crate::dice::Dice;
use crate::support::{TestApp, eventually};

/// How much is done.
#[derive(Clone, Copy, Debug)]
pub struct Size {
    pub seed: u64,
    /// kill -9 of the server or of one of its processes; connections are terminated half as often besides.
    pub kills: usize,
    pub phones: usize,
}

/// What is killed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
enum Victim {
    /// kill -9 of the postmaster and of everything that it started.
    Server,
    /// kill -9 of a connection's process, upon which the server restarts itself.
    Backend,
    /// `pg_terminate_backend` of all connections of the service.
    Connections,
}

impl Victim {
    const fn name(self) -> &'static str {
        match self {
            Self::Server => "kill -9 of Postgres with all processes",
            Self::Backend => "kill -9 of one backend",
            Self::Connections => "pg_terminate_backend of all connections",
        }
    }
}

/// What came of it.
#[derive(Clone, Debug, Default)]
pub struct Figures {
    kills: BTreeMap<Victim, usize>,
    pub found: Found,
    /// Answers to the phones by status.
    pub answers: BTreeMap<u16, usize>,
    /// From each kill until the service answers again.
    recovery: Vec<Duration>,
}

impl Figures {
    /// Rows of a Markdown table: figure and value.
    pub fn rows(&self) -> Vec<String> {
        let row = |name: &str, value: String| format!("| {name} | {value} |");
        let mut rows: Vec<String> =
            self.kills.iter().map(|(victim, count)| row(victim.name(), count.to_string())).collect();
        let Found { operations, lost, duplicated, diverged } = self.found;
        rows.push(row("operations on phones", operations.to_string()));
        rows.push(row("lost / duplicated / diverged", format!("{lost} / {duplicated} / {diverged}")));
        let answers: Vec<String> = self.answers.iter().map(|(status, count)| format!("{count} x {status}")).collect();
        rows.push(row("answers to phones", answers.join(", ")));
        let mut times = self.recovery.clone();
        times.sort_unstable();
        let share =
            |share: usize| times.get((times.len().saturating_sub(1)) * share / 100).copied().unwrap_or_default();
        let seconds = format!("{:.2} / {:.2}", share(50).as_secs_f64(), share(99).as_secs_f64());
        rows.push(row("seconds from the kill until the service answers, p50 / p99", seconds));
        rows
    }
}

/// Runs it on a private, durable server.
pub fn run(size: Size) -> Figures {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build().unwrap();
    LocalSet::new().block_on(&runtime, simulate(size))
}

async fn simulate(size: Size) -> Figures {
    let mut ground = Ground::new(Durability::On).await;
    let app = TestApp::spawn_on(ground.pool(), ground.options(), 4).await;
    let squad = Rc::new(Squad::make(&app).await);
    let pace = Rc::new(Pace::default());
    let phones = squad.phones(size.seed, size.phones).await;
    let work: Vec<_> = phones
        .into_iter()
        .map(|handset| tokio::task::spawn_local(work(handset, Rc::clone(&squad), Rc::clone(&pace))))
        .collect();
    let mut figures = Figures::default();
    let mut dice = Dice::of(&[size.seed, 8]);
    for at in 0..size.kills + size.kills / 2 {
        let next = pace.rounds.get() + size.phones;
        eventually("the phones go on", async || pace.rounds.get() >= next).await;
        // Somewhere in what they do, each time elsewhere.
        tokio::time::sleep(Duration::from_secs_f64(dice.between(0.02, 0.4))).await;
        let victim = match at % 3 {
            2 => Victim::Connections,
            _ if at == 0 || dice.chance(0.5) => Victim::Server,
            _ => Victim::Backend,
        };
        let start = Instant::now();
        strike(victim, &mut ground, &mut dice, &pace).await;
        recovered(&app).await;
        figures.recovery.push(start.elapsed());
        *figures.kills.entry(victim).or_default() += 1;
    }
    pace.stop.set(true);
    let mut phones = Vec::new();
    for one in work {
        phones.push(one.await.unwrap());
    }
    figures.found = squad.check(&ground.pool(), &mut phones).await;
    for handset in &phones {
        for (status, count) in &handset.answers {
            *figures.answers.entry(*status).or_default() += count;
        }
    }
    figures
}

/// How far the phones are.
#[derive(Debug, Default)]
struct Pace {
    rounds: Cell<usize>,
    /// Whether somebody was told that the database is away.
    refused: Cell<bool>,
    stop: Cell<bool>,
}

/// Records and syncs until told to stop.
async fn work(mut handset: Handset, squad: Rc<Squad>, pace: Rc<Pace>) -> Handset {
    while !pace.stop.get() {
        for _ in 0..3 {
            squad.record(&mut handset);
        }
        handset.round().await;
        pace.rounds.update(|rounds| rounds + 1);
        pace.refused.set(pace.refused.get() || handset.answers.contains_key(&503));
        tokio::time::sleep(Duration::from_millis(10)).await;
    }
    handset
}

/// A connection of the proof itself; the server may still be getting up from the last strike.
async fn probe(ground: &Ground) -> PgConnection {
    let mut probe = None;
    eventually("the server is back", async || {
        probe = ground.options().connect().await.ok();
        probe.is_some()
    })
    .await;
    probe.unwrap()
}

async fn strike(victim: Victim, ground: &mut Ground, dice: &mut Dice, pace: &Pace) {
    if victim == Victim::Server {
        ground.kill_server().await;
        eventually("a phone is told that the database is away", async || pace.refused.get()).await;
        return ground.start().await;
    }
    let mut probe = probe(ground).await;
    if victim == Victim::Connections {
        let all = "select pg_terminate_backend(pid) from pg_stat_activity where application_name = 'lanewright'";
        sqlx::query(all).execute(&mut probe).await.unwrap();
        return;
    }
    let all = "select pid from pg_stat_activity where application_name = 'lanewright' or pid = pg_backend_pid()";
    // The server ends every other connection before it begins anew; one that ended by itself meanwhile ends none.
    eventually("the server begins anew", async || {
        let Ok(pids) = sqlx::query_scalar::<_, i32>(all).fetch_all(&mut probe).await else { return true };
        let chosen = pids[dice.pick(u32::try_from(pids.len()).unwrap()) as usize];
        kill(u32::try_from(chosen).unwrap());
        false
    })
    .await;
}

/// Waits until the service answers; until then it says that it cannot.
async fn recovered(app: &TestApp) {
    eventually("the service answers", async || {
        let status = app.get("/readyz").await.status;
        assert!(matches!(status, 200 | 503), "{status}");
        status == 200
    })
    .await;
}

#[cfg(test)]
#[test]
fn nothing_is_lost_or_doubled_when_the_database_is_killed() {
    let figures = run(Size { seed: 1, kills: 8, phones: 6 });
    eprintln!("{}", figures.rows().join("\n"));
    assert!(figures.found.is_whole(), "{figures:?}");
    assert!(figures.found.operations > 100 && figures.answers.contains_key(&503), "{figures:?}");
}
