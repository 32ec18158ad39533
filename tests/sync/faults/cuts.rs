//! The connection to the database is cut before, after and inside the answer of every statement of every push.

use std::collections::BTreeMap;

use serde_json::Value;
use sqlx::PgPool;

use super::cases::{Act, Case, World};
use super::data::batch;
use super::knife::{Count, Cut, Knife, Place, Statement, places};
use super::state::{Rows, State, differences};
use crate::support::{Answer, TestApp, eventually};

/// A service behind the knife, and a club in it.
struct Bench {
    pool: PgPool,
    app: TestApp,
    knife: Knife,
    world: World,
}

/// What somebody is answered when nothing is cut, and the rows afterwards.
struct Whole {
    answer: Answer,
    state: State,
}

impl Case {
    /// The status of each item when nothing is cut; a mixed batch has several.
    fn wanted(&self) -> Option<u64> {
        match self.name.as_str() {
            "mixed batch" | "record, correct and correct again" => None,
            "change what was deleted" => Some(410),
            "merge in part" => Some(409),
            name if name.starts_with("hold") => Some(202),
            _ => Some(200),
        }
    }

    pub async fn answer(&self) -> Answer {
        match &self.act {
            Act::Push(items) => self.who.post("/changes", batch(items)).await,
            Act::Post(path, body) => self.who.post(path, body.clone()).await,
        }
    }

    /// What is answered in the end: a phone that is told to come again does.
    pub async fn insist(&self) -> Answer {
        let mut last = self.answer().await;
        eventually("the service takes it", async || {
            if last.status == 503 {
                last = self.answer().await;
            }
            last.status != 503
        })
        .await;
        last
    }
}

/// Status and version of each item; 200 and 201 are the same, because a repeat is answered with 200.
pub fn results(answer: &Answer) -> Vec<(String, u64, Option<i64>)> {
    let one = |result: &Value| {
        let status = result["status"].as_u64().unwrap();
        let status = if status == 201 { 200 } else { status };
        (result["op_id"].as_str().unwrap().to_owned(), status, result["rev"].as_i64())
    };
    answer.body["results"].as_array().into_iter().flatten().map(one).collect()
}

impl Bench {
    /// One connection, so that the same push is always the same statements; `kept` of them stay prepared.
    async fn set_up(pool: PgPool, kept: usize) -> Self {
        let options = (*pool.connect_options()).clone();
        let knife = Knife::before(&options);
        let through = knife.through(options).statement_cache_capacity(kept);
        let app = TestApp::spawn_on(pool.clone(), through, 1).await;
        let world = World::make(&app).await;
        Self { pool, app, knife, world }
    }

    /// Waits until the service has one whole connection, with nothing under way on it.
    async fn settle(&self) {
        self.knife.watch();
        eventually("the service recovers", async || self.app.get("/readyz").await.status == 200).await;
        self.knife.rest().await;
    }

    /// Does it uncut: the outcome, and everything that was asked of the database.
    async fn uncut(&self, rows: &Rows, case: &Case, count: Count) -> (Whole, Vec<Statement>) {
        self.settle().await;
        self.ready(count);
        self.knife.watch();
        let answer = case.answer().await;
        let (asked, _) = self.knife.rest().await;
        assert!(matches!(answer.status, 200 | 204), "{}: {}", case.name, answer.body);
        if let Act::Push(_) = case.act {
            let whole = results(&answer);
            if let Some(status) = case.wanted() {
                assert!(whole.iter().all(|one| one.1 == status), "{}: {}", case.name, answer.body);
            }
            assert_eq!(results(&case.answer().await), whole, "{}", case.name);
        }
        let state = rows.read().await;
        once(case, &state);
        rows.put_back(&state).await;
        (Whole { answer, state }, asked)
    }

    /// The outcome when nothing is cut, and the places at which it can be cut.
    async fn whole(&self, rows: &Rows, case: &Case, count: Count) -> (Whole, Vec<Place>) {
        let (_, before) = self.uncut(rows, case, count).await;
        let (whole, asked) = self.uncut(rows, case, count).await;
        // Else a place of one run would be none of the next.
        let other = before.iter().zip(&asked).find(|(one, other)| one != other);
        assert!(before.len() == asked.len() && other.is_none(), "{}: once more asks otherwise: {other:#?}", case.name);
        (whole, places(&asked, count))
    }

    /// Where also opening a connection counts, it is opened anew.
    fn ready(&self, count: Count) {
        if count == Count::Everything {
            self.knife.end_all();
        }
    }

    /// Cuts at one place and repeats.
    async fn cut(&self, rows: &Rows, case: &Case, whole: &Whole, (place, cut, count): (&Place, Cut, Count)) {
        self.settle().await;
        self.ready(count);
        self.knife.arm(place.clone(), cut);
        let answer = case.answer().await;
        let (seen, fired) = self.knife.rest().await;
        let place = format!("{}, {cut:?} {place:?}", case.name);
        assert!(fired, "{place}: never cut in {seen:#?}");
        check(case, whole, &answer, &place);
        self.settle().await;
        let again = case.insist().await;
        match &case.act {
            Act::Push(_) => assert_eq!(results(&again), results(&whole.answer), "{place}: {}", again.body),
            // An admin who was not answered sees that it was decided.
            Act::Post(..) => assert!(matches!(again.status, 200 | 204 | 409), "{place}: {}", again.body),
        }
        let state = rows.read().await;
        let wrong = differences(&whole.state, &state);
        assert!(wrong.is_empty(), "{place}: {wrong:#?}");
        rows.put_back(&state).await;
    }

    /// Cuts of every case; how many there were. The deep form cuts in each way at each place, the usual one at each place
    /// in one way: the ways go round, and begin with another one for each case, so that neighbours of a statement and the
    /// same statement of another push are cut otherwise.
    async fn all(&self, cases: &[Case], cuts: &[Cut], count: Count) -> BTreeMap<String, usize> {
        let rows = Rows::keep(&self.pool, &self.world.admin.club).await;
        let mut made = BTreeMap::new();
        for (number, case) in cases.iter().enumerate() {
            let (whole, places) = self.whole(&rows, case, count).await;
            assert!(places.iter().any(|place| place.statement.label == "COMMIT"), "{}: {places:#?}", case.name);
            let mut cut_here = 0;
            for (at, place) in places.iter().enumerate() {
                for (way, cut) in cuts.iter().enumerate() {
                    // A commit is where before and after differ most.
                    let always = place.statement.label == "COMMIT" && count == Count::Statements;
                    if super::deep() || always || (at + number) % cuts.len() == way {
                        self.cut(&rows, case, &whole, (place, *cut, count)).await;
                        cut_here += 1;
                    }
                }
            }
            assert!(cut_here >= places.len(), "{}: a statement was never cut", case.name);
            made.insert(case.name.clone(), cut_here);
        }
        made
    }
}

/// An answer is an error that asks for a repeat, or whole.
fn check(case: &Case, whole: &Whole, answer: &Answer, place: &str) {
    if answer.status == 503 {
        assert_eq!(answer.body["type"], "/problems/unavailable", "{place}");
        assert!(!answer.header("retry-after").is_empty(), "{place}");
        return;
    }
    assert_eq!(answer.status, whole.answer.status, "{place}: {}", answer.body);
    if let Act::Push(_) = case.act {
        assert_eq!(results(answer), results(&whole.answer), "{place}: {}", answer.body);
    }
}

/// The log has no gap, and no operation has two receipts or two effects.
fn once(case: &Case, state: &State) {
    let seqs = numbers(state, "club_change", "seq");
    let (lowest, highest) = (seqs.iter().min().unwrap(), seqs.iter().max().unwrap());
    assert_eq!(i64::try_from(seqs.len()).unwrap(), highest - lowest + 1, "{}: gaps in the log", case.name);
    assert_eq!(numbers(state, "club_clock", "seq"), [*highest], "{}", case.name);
}

fn numbers(state: &State, table: &str, column: &str) -> Vec<i64> {
    let value = |row: &String| serde_json::from_str::<Value>(row).unwrap()[column].as_i64().unwrap();
    state[table].iter().map(value).collect()
}

fn report(made: &BTreeMap<String, usize>) {
    for (name, cuts) in made {
        eprintln!("{cuts:5} cuts  {name}");
    }
    eprintln!("{:5} cuts", made.values().sum::<usize>());
}

const BOTH: [Cut; 2] = [Cut::Before, Cut::After];

#[sqlx::test]
async fn a_new_record_of_every_type_survives_a_cut_at_every_statement(pool: PgPool) {
    let bench = Bench::set_up(pool, 0).await;
    let cases = bench.world.creates();
    assert_eq!(cases.len(), 18);
    report(&bench.all(&cases, &BOTH, Count::Statements).await);
}

#[sqlx::test]
async fn edits_and_removals_survive_a_cut_at_every_statement(pool: PgPool) {
    let bench = Bench::set_up(pool, 0).await;
    let cases = bench.world.edits().await;
    report(&bench.all(&cases, &BOTH, Count::Statements).await);
}

#[sqlx::test]
async fn held_facts_batches_and_decisions_survive_a_cut_at_every_statement(pool: PgPool) {
    let bench = Bench::set_up(pool, 0).await;
    let cases = bench.world.others().await;
    report(&bench.all(&cases, &BOTH, Count::Statements).await);
}

/// Also while the connection is opened and statements are prepared, and inside an answer.
#[sqlx::test]
async fn a_push_over_a_new_connection_survives_every_cut(pool: PgPool) {
    let bench = Bench::set_up(pool, 100).await;
    let mut cases = bench.world.others().await;
    cases.retain(|case| matches!(case.name.as_str(), "correct run" | "two transactions"));
    assert_eq!(cases.len(), 2);
    report(&bench.all(&cases, &[Cut::Before, Cut::After, Cut::Torn], Count::Everything).await);
}
