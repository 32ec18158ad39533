//! What growth costs: the routes of `http` in a database of a hundredth of the size and in the whole one, and what a run
//! takes of the disk.
//!
//! The whole is 2,000 clubs, 100,000 athletes and 20 million runs with their change logs; a tenth of it unless another
//! percentage is given. One club in a hundred is a hundred times as large as the others. The clubs are written straight into
//! the tables, one after the other, so that a folder that is named goes on where it was left.

#![allow(clippy::expect_used, clippy::print_stdout)] // prints figures, inputs are its own
#![allow(clippy::cast_precision_loss)] // bytes and rows

use std::path::PathBuf;
use std::time::Instant;

use sqlx::PgConnection;

use crate::http_figures::load;
use crate::http_figures::meter::Whose;
use crate::http_figures::postmaster;
use crate::http_figures::routes::{Ground, Route};
use crate::sync_figures::pushes::wal;
use crate::sync_figures::service::Service;
use crate::sync_figures::{Bench, clubs};

/// Clubs of the whole.
const CLUBS: u32 = 2_000;
/// One in so many is so many times as large.
const LARGE: u32 = 100;
/// Athletes and changes of an ordinary club: 25 athletes, 5,000 runs and what comes with them.
const ATHLETES: u32 = 25;
const CHANGES: u32 = 5_900;
/// Per cent of the whole that are filled unless another is given.
const PERCENT: u32 = 10;
/// The number of the first club; those that are asked about come after all.
const FIRST: u32 = 10_000;
const GROUND: u32 = 1_000_000;
/// Seconds that a route is asked for, after so many that are not counted.
const TIME: (u32, u32) = (1, 4);
/// A time in the whole may be so many times that in the hundredth.
const BAR: f64 = 1.25;

/// A route's name, its p50 (ms) and the processor time of service and database a request (ms).
type Figure = (&'static str, f64, [f64; 2]);

/// Prints the table. Words: a percentage of the whole, a folder that stays.
pub fn run(words: &[String]) {
    let percent = words.iter().find_map(|word| word.parse().ok()).unwrap_or(PERCENT);
    let folder = words.iter().find(|word| word.parse::<u32>().is_err()).map(PathBuf::from);
    let whole = CLUBS * percent / 100;
    let small = {
        let bench = Bench::open();
        fill(&bench, whole.div_ceil(100));
        let figures = measure(&bench);
        bench.close();
        figures
    };
    let bench = folder.map_or_else(Bench::open, Bench::kept);
    let begun = Instant::now();
    let new = fill(&bench, whole);
    let seconds = begun.elapsed().as_secs_f64();
    let figures = measure(&bench);
    println!(
        "scale: {}, {percent} % of {CLUBS} clubs: {new} clubs filled in {seconds:.0} s, asked by one client",
        chrono::Utc::now().format("%Y-%m-%d")
    );
    println!("  {:<34} {:>10} {:>10} {:>7}  {:>20}", "route", "p50 at 1 %", "p50 at all", "ratio", "CPU ms, of db ms");
    for ((name, before, _), (_, after, [cpu, database])) in small.iter().zip(&figures) {
        let ratio = after / before;
        let verdict = if ratio <= BAR { "pass" } else { "MISS" };
        println!(
            "  {name:<34} {before:>7.2} ms {after:>7.2} ms {ratio:>7.2}  {cpu:>10.2} {database:>9.2}  (bar {BAR}) {verdict}"
        );
    }
    bench.sql(print_sizes);
    bench.close();
}

/// Founds and fills the clubs that are missing, up to so many; how many were new.
fn fill(bench: &Bench, clubs: u32) -> u32 {
    bench.sql(async |conn| {
        let mut new = 0;
        for number in FIRST..FIRST + clubs {
            // The last that is written of a club is how far its log goes.
            let sql = "select coalesce(max(seq), 0) > 1000 from club_clock where club_id = $1::uuid";
            let there: bool =
                sqlx::query_scalar(sql).bind(clubs::club_id(number)).fetch_one(&mut *conn).await.expect("a count");
            if there {
                continue;
            }
            let times = if number % LARGE == LARGE - 1 { LARGE } else { 1 };
            sqlx::raw_sql("begin").execute(&mut *conn).await.expect("a transaction");
            clubs::found(conn, number, number, 1).await;
            clubs::fill(conn, number, ATHLETES * times, CHANGES * times).await;
            sqlx::raw_sql("commit").execute(&mut *conn).await.expect("a club");
            new += 1;
        }
        new
    })
}

/// Each route by one client, with clubs of its own beside those that were filled.
fn measure(bench: &Bench) -> Vec<Figure> {
    let asked = bench.sql(async |conn| {
        let sql = "select count(*) from accounts where email like '%@season-%'";
        sqlx::query_scalar::<_, i64>(sql).fetch_one(conn).await.expect("a count")
    });
    let first = GROUND + 100 * u32::try_from(asked).expect("a few");
    let service = Service::start(&bench.cluster.url());
    let ground = Ground::fill(bench, &service.address, first);
    let whose = [Whose::Process(service.id()), Whose::Family(postmaster(bench))];
    let keys = ground.routes(bench).into_iter().map(|route| route.key).collect::<Vec<_>>();
    let mut figures = Vec::new();
    for key in keys {
        let fresh = ground.routes(bench).into_iter().find(|route| route.key == key).expect("the same routes");
        let route = Route { clients: 1, ..fresh };
        let mut counted = load::run(&service.address, &route, whose, TIME, 0);
        figures.push((route.name, counted.quantile(0.5), counted.cpu()));
        if key == "push" {
            print_writing(bench, &service, &route);
        }
    }
    figures
}

/// What pushes write: bytes of the write-ahead log a run, the images of pages after a checkpoint among them.
fn print_writing(bench: &Bench, service: &Service, route: &Route) {
    const PUSHES: u32 = 100;
    bench.settle();
    let mut wire = crate::sync_figures::wire::Wire::open(&service.address);
    let before = bench.sql(wal);
    for _ in 0..PUSHES {
        load::send(&mut wire, route, &(route.call)(0, load::once()));
    }
    let runs = i64::from(PUSHES * crate::sync_figures::pushes::ITEMS);
    println!("scale: {} bytes of WAL a run pushed, after a checkpoint", (bench.sql(wal) - before) / runs);
}

/// The largest tables and indexes, and what all of it is a run.
async fn print_sizes(conn: &mut PgConnection) {
    let runs: i64 = sqlx::query_scalar("select count(*) from runs").fetch_one(&mut *conn).await.expect("a count");
    let sql = "select c.relname::text, pg_relation_size(c.oid), pg_indexes_size(c.oid), c.reltuples::float8
        from pg_class c join pg_namespace n on n.oid = c.relnamespace
        where n.nspname = 'public' and c.relkind = 'r'
        order by pg_total_relation_size(c.oid) desc limit 6";
    let rows: Vec<(String, i64, i64, f64)> = sqlx::query_as(sql).fetch_all(&mut *conn).await.expect("sizes");
    println!("  {:<24} {:>9} {:>11} {:>15}", "table", "MB", "indexes MB", "bytes a row");
    for (name, table, indexes, tuples) in rows {
        let (mb, all) = (|bytes: i64| bytes as f64 / 1e6, (table + indexes) as f64);
        println!("  {name:<24} {:>9.0} {:>11.0} {:>15.0}", mb(table), mb(indexes), all / tuples.max(1.0));
    }
    let all: i64 =
        sqlx::query_scalar("select pg_database_size(current_database())").fetch_one(conn).await.expect("a size");
    println!(
        "scale: {runs} runs, {:.2} GB in all, {:.0} bytes a run with all that comes with it",
        all as f64 / 1e9,
        all as f64 / runs as f64
    );
}
