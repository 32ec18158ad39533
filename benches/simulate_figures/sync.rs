//! What offline sync does under a bad network, many seeds of it, as a table.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::str::FromStr;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

use lanewright::platform::audit::hex;
use lanewright::platform::cluster;
use lanewright::platform::db::MIGRATOR;
use lanewright::platform::token::sha256;
use serde::{Deserialize, Serialize};
use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, Executor};
use tokio::runtime::Runtime;

use crate::faults::kills;
use crate::model::engine::proof;
use crate::network::{Figures, Plan, Service, figures};

/// Operations of each seed: full copies make what a seed costs grow faster than these.
const OPERATIONS: u64 = 50_000;

/// What a seed that ended left in the folder.
#[derive(Serialize, Deserialize)]
struct Ended {
    /// Of the program that ran it, SHA-256.
    program: String,
    figures: Figures,
}

/// Where seeds that ended are kept, so that a long run may be done in parts.
struct Kept {
    folder: Option<PathBuf>,
    program: String,
}

impl Kept {
    fn of(folder: Option<&Path>) -> Self {
        let program = fs::read(std::env::current_exe().expect("the path of this program")).expect("this program");
        let program = hex(&sha256(&program)[..6]);
        if let Some(folder) = folder {
            fs::create_dir_all(folder).expect("a folder of ours");
        }
        Self { folder: folder.map(Path::to_path_buf), program }
    }

    fn file(&self, seed: u32) -> Option<PathBuf> {
        self.folder.as_ref().map(|folder| folder.join(format!("seed-{seed}.json")))
    }

    fn find(&self, seed: u32) -> Option<Ended> {
        let text = fs::read_to_string(self.file(seed)?).ok()?;
        Some(serde_json::from_str(&text).expect("what this program wrote"))
    }

    fn keep(&self, seed: u32, ended: &Ended) {
        let Some(file) = self.file(seed) else { return };
        fs::write(file, serde_json::to_vec(ended).expect("figures")).expect("a file of ours");
    }
}

/// Simulates so many seeds beside a private server, or the one of `DATABASE_URL`; whether all went well. Seeds whose figures
/// are in the folder are not run again.
pub fn run(seeds: u32, folder: Option<&Path>) -> bool {
    let Ok(url) = std::env::var("DATABASE_URL") else { return runtime().block_on(beside_a_server(seeds, folder)) };
    simulate(&PgConnectOptions::from_str(&url).expect("a database address"), seeds, &Kept::of(folder));
    let whole = modelled(seeds);
    killed(seeds) && whole
}

fn runtime() -> Runtime {
    tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime")
}

/// The pure model: 25,000 histories for each seed; whether none broke an invariant and each built-in fault showed.
fn modelled(seeds: u32) -> bool {
    let (lines, whole) = proof::report(25_000 * u64::from(seeds), 20_000);
    println!("\n## Pure model of server and phones, with faults built in\n");
    println!("{}", lines.join("\n"));
    whole
}

/// Kills a durable server of its own, five times for each seed; whether nothing was lost.
fn killed(seeds: u32) -> bool {
    let figures = kills::run(kills::Size { seed: 1, kills: 5 * seeds as usize, phones: 8 });
    println!("\n## Real service, real database that is killed: 8 phones, one club\n");
    println!("| figure | value |\n| --- | --- |");
    for row in figures.rows() {
        println!("{row}");
    }
    figures.found.is_whole()
}

/// Runs this program again beside a server that exists only for it.
async fn beside_a_server(seeds: u32, folder: Option<&Path>) -> bool {
    let program = std::env::current_exe().expect("the path of this program").into_os_string();
    let mut command = vec![program, "sync".into(), "--seeds".into(), seeds.to_string().into()];
    if let Some(folder) = folder {
        command.extend(["--folder".into(), folder.into()]);
    }
    match cluster::run_with_ephemeral_cluster(command).await {
        Ok(code) => code == std::process::ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            false
        }
    }
}

/// Runs the seeds, one on each core at a time, each in a database of its own.
fn simulate(server: &PgConnectOptions, seeds: u32, kept: &Kept) {
    let begun = Instant::now();
    let (next, all) = (AtomicU32::new(1), Mutex::new((Figures::default(), BTreeMap::<String, u32>::new())));
    let work = || {
        let runtime = runtime();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed > seeds {
                return;
            }
            let ended = kept.find(seed).unwrap_or_else(|| {
                let figures = runtime.block_on(one_seed(server, seed));
                Ended { program: kept.program.clone(), figures }
            });
            kept.keep(seed, &ended);
            eprintln!("seed {seed}: {} operations, {} s so far", ended.figures.operations(), begun.elapsed().as_secs());
            let mut all = all.lock().expect("no seed failed");
            all.0.add(&ended.figures);
            *all.1.entry(ended.program).or_default() += 1;
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(work);
        }
    });
    println!("\n## Real service, simulated network: 20 phones, 4 clubs, one of them under 100 times the load\n");
    println!("| figure | value |\n| --- | --- |");
    let (figures, programs) = all.into_inner().expect("no seed failed");
    for (name, figure) in figures.lines() {
        println!("| {name} | {figure} |");
    }
    assert!(figures.missing().is_empty(), "these faults never happened: {:?}", figures.missing());
    assert!(figures.has_edits(), "fewer than a tenth of the operations are edits");
    let programs: Vec<String> = programs.iter().map(|(program, seeds)| format!("{program}: {seeds}")).collect();
    println!("| Seeds by program (the first of its SHA-256) | {} |", programs.join(", "));
    println!("| Processes of the service before the database of a seed | 2 |");
    println!("| Seconds | {} |", begun.elapsed().as_secs());
}

async fn one_seed(server: &PgConnectOptions, seed: u32) -> Figures {
    let name = format!("lanewright_simulation_{}_{seed}", std::process::id());
    let mut admin: PgConnection = server.connect().await.expect("the database server");
    admin.execute(AssertSqlSafe(format!("create database {name}"))).await.expect("a new database");
    let options = server.clone().database(&name);
    let mut own: PgConnection = options.connect().await.expect("the new database");
    MIGRATOR.run(&mut own).await.expect("the migrations");
    own.close().await.expect("an end");
    let service = Rc::new(Service::beside_another(options).await);
    let figures = figures(Rc::clone(&service), Plan::of(u64::from(seed), OPERATIONS)).await;
    drop(service);
    // A process of the server that tends the tables may be in there, which only a superuser can send away.
    let mut tries = 1;
    while let Err(error) = admin.execute(AssertSqlSafe(format!("drop database {name} with (force)"))).await {
        assert!(tries < 60, "{name} stays: {error}");
        tries += 1;
        tokio::time::sleep(Duration::from_secs(1)).await;
    }
    figures
}
