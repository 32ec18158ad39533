//! What offline sync does under a bad network, many seeds of it, as a table.

use std::rc::Rc;
use std::str::FromStr;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::{Duration, Instant};

use lanewright::platform::cluster;
use lanewright::platform::db::MIGRATOR;
use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{AssertSqlSafe, ConnectOptions, Connection, Executor};
use tokio::runtime::Runtime;

use crate::faults::kills;
use crate::model::engine::proof;
use crate::network::{Figures, Plan, Service, figures};

/// Instances of the service before one database.
const INSTANCES: usize = 2;
/// Operations of each seed.
const OPERATIONS: u64 = 100_000;

/// Simulates so many seeds beside a private server, or the one of `DATABASE_URL`; whether all went well.
pub fn run(seeds: u32) -> bool {
    let Ok(url) = std::env::var("DATABASE_URL") else { return runtime().block_on(beside_a_server(seeds)) };
    simulate(&PgConnectOptions::from_str(&url).expect("a database address"), seeds);
    let whole = modelled(seeds);
    killed(seeds) && whole
}

fn runtime() -> Runtime {
    tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime")
}

/// The pure model: fifty thousand histories for each seed; whether none broke an invariant and each built-in fault showed.
fn modelled(seeds: u32) -> bool {
    let (lines, whole) = proof::report(50_000 * u64::from(seeds), 20_000);
    println!("\n## Pure model of server and phones, with faults built in\n");
    println!("{}", lines.join("\n"));
    whole
}

/// Kills a durable server of its own, ten times for each seed; whether nothing was lost.
fn killed(seeds: u32) -> bool {
    let figures = kills::run(kills::Size { seed: 1, kills: 10 * seeds as usize, phones: 8 });
    println!("\n## Real service, real database that is killed: 8 phones, one club\n");
    println!("| figure | value |\n| --- | --- |");
    for row in figures.rows() {
        println!("{row}");
    }
    figures.found.is_whole()
}

/// Runs this program again beside a server that exists only for it.
async fn beside_a_server(seeds: u32) -> bool {
    let program = std::env::current_exe().expect("the path of this program").into_os_string();
    let command = vec![program, "sync".into(), "--seeds".into(), seeds.to_string().into()];
    match cluster::run_with_ephemeral_cluster(command).await {
        Ok(code) => code == std::process::ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error}");
            false
        }
    }
}

/// Runs the seeds, one on each core at a time, each in a database of its own.
fn simulate(server: &PgConnectOptions, seeds: u32) {
    let begun = Instant::now();
    let (next, all) = (AtomicU32::new(1), Mutex::new(Figures::default()));
    let work = || {
        let runtime = runtime();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed > seeds {
                return;
            }
            let one = runtime.block_on(one_seed(server, seed));
            eprintln!("seed {seed}: {} operations, {} s so far", one.operations(), begun.elapsed().as_secs());
            all.lock().expect("no seed failed").add(&one);
        }
    };
    std::thread::scope(|scope| {
        for _ in 0..std::thread::available_parallelism().map_or(1, usize::from) {
            scope.spawn(work);
        }
    });
    println!("\n## Real service, simulated network: 20 phones, 4 clubs, one of them under 100 times the load\n");
    println!("| figure | value |\n| --- | --- |");
    for (name, figure) in all.into_inner().expect("no seed failed").lines() {
        println!("| {name} | {figure} |");
    }
    println!("| Instances of the service before the database of a seed | {INSTANCES} |");
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
    let service = Rc::new(Service::several(options, INSTANCES).await);
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
