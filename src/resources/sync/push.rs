//! Carries out a push: item by item, a hundred to a transaction, each atomic by itself.

mod chain;
mod facts;
mod refusals;

use std::collections::HashSet;

use serde_json::{Map, Value};
use uuid::Uuid;

use super::devices_store;
use super::intake::Push;
use super::items::{self, Brought, Kind, Parsed};
use super::push_store as store;
use super::shapes::Outcome;
use crate::platform::access::Recorder;
use crate::platform::again;
use crate::platform::db::{self, ClubTx, Db, Receipt, Revs};
use crate::platform::holding::State;
use crate::platform::ids;
use crate::platform::lanes::Lanes;
use crate::platform::ops::{Done, Op};
use crate::platform::problem::{Code, Problem};
use crate::resources::{lane_plans, recommendations};
use chain::Chain;
use refusals::answered;

/// Items of one transaction.
const CHUNK: usize = 100;

/// How often a transaction that others undid is tried again, and how long to wait before (ms).
const ATTEMPTS: usize = 3;
const PAUSE_MS: u64 = 20;

/// What became of an item before the commit gave its version.
enum Verdict {
    Done(Done),
    Held(Problem, State),
    Refused(Problem),
    /// Refused before, and again.
    Again(Problem),
}

/// An item whose turn comes with a later push.
fn waiting() -> Problem {
    let detail = "What it belongs to failed or comes later in this push. Leave it in the outbox.";
    Problem::new(Code::Dependency, detail)
}

/// The athlete that a decision is about; nobody when it does not say.
fn advised_athlete(data: &Map<String, Value>) -> Uuid {
    ids::named(data, "athlete_id").unwrap_or_default()
}

/// The outcomes so far, and what the rest must know of them.
struct Work<'a> {
    db: &'a Db,
    lanes: &'a Lanes,
    who: Recorder,
    device: Uuid,
    skew_ms: i64,
    items: Vec<Parsed>,
    outcomes: Vec<Option<Outcome>>,
    /// What the phone calls itself.
    name: &'a str,
    chain: Chain,
}

/// Carries out a push; one outcome for each item, in order.
///
/// # Errors
/// 503 when the database is busy or away: what was stored is stored, and sending the same items again is safe.
pub async fn push((db, lanes): (&Db, &Lanes), who: Recorder, name: &str, sent: Push) -> Result<Vec<Outcome>, Problem> {
    let count = sent.items.len();
    let items = sent.items.into_iter().map(|(op_id, item)| Parsed::of(op_id, item)).collect();
    let mut work = Work {
        db,
        lanes,
        who,
        device: sent.device_id,
        skew_ms: sent.skew_ms,
        items,
        outcomes: vec![None; count],
        name,
        chain: Chain::default(),
    };
    let mut from = 0;
    while from < count {
        let to = work.chunk_end(from);
        work.chunk(from, to).await?;
        from = to;
    }
    work.repeats();
    Ok(work.outcomes.into_iter().flatten().collect())
}

impl Work<'_> {
    /// Where the chunk that begins at `from` ends: before it would hold two items of one record, a decision or lane plan whose
    /// advice may rest on what the chunk stores, or what changes plans and race tests beside those. A change of an athlete
    /// also raises the version of what names them, a report, a session, a decision or a fall that of plans, and versions are
    /// given by the commit: before it, an edit made on the older one fits.
    fn chunk_end(&self, from: usize) -> usize {
        let (mut records, mut ops, mut advised) = (HashSet::new(), HashSet::new(), HashSet::new());
        let (mut stored, mut renewing, mut naming) = (false, false, false);
        let room = self.items.iter().skip(from).take(CHUNK);
        let fits = |item: &&Parsed| {
            let fresh = if let Some(data) = item.advised() {
                !stored && advised.insert(advised_athlete(data))
            } else if item.planned().is_some() {
                !stored && advised.is_empty()
            } else {
                stored = true;
                true
            };
            let kind = item.record().map(|record| record.kind);
            renewing |= item.renews();
            naming |= matches!(kind, Some(db::Kind::LanePlan | db::Kind::RaceTest));
            let apart = !(renewing && naming);
            fresh && apart && item.record().is_none_or(|record| records.insert(record)) && ops.insert(item.op_id)
        };
        from + room.take_while(fits).count().max(1)
    }

    /// Carries out a chunk; item by item when it fails as a whole.
    async fn chunk(&mut self, from: usize, to: usize) -> Result<(), Problem> {
        match self.attempts(from, to).await {
            Ok(()) => return Ok(()),
            Err(problem) if to - from == 1 && !matches!(problem.code(), Code::Internal | Code::Conflict) => {
                return Err(problem);
            }
            Err(_) => {}
        }
        for at in from..to {
            match self.attempts(at, at + 1).await {
                Ok(()) => {}
                Err(problem) if matches!(problem.code(), Code::Internal | Code::Conflict) => {
                    self.settle(at, &Verdict::Refused(problem), None);
                }
                Err(problem) => return Err(problem),
            }
        }
        Ok(())
    }

    /// A transaction; again, a few times, when others at the same moment undid it. Nothing of it is answered before.
    async fn attempts(&mut self, from: usize, to: usize) -> Result<(), Problem> {
        for _ in 0..ATTEMPTS {
            match self.transaction(from, to).await {
                Err(problem) if problem.was_undone() => tokio::time::sleep(again::pause(PAUSE_MS)).await,
                other => return other,
            }
        }
        self.transaction(from, to).await
    }

    async fn transaction(&mut self, from: usize, to: usize) -> Result<(), Problem> {
        let items = self.items.get(from..to).unwrap_or_default();
        let decisions: Vec<_> = items.iter().filter_map(|item| Some((item.id, item.advised()?))).collect();
        let plans: Vec<_> = items.iter().filter_map(Parsed::planned).collect();
        let mut prepared = recommendations::sync::prepare(self.db, &self.who, self.lanes, &decisions).await?;
        prepared.extend(lane_plans::sync::prepare(self.db, &self.who, self.lanes, &plans).await?);
        let (mut tx, who) = self.who.write(self.db).await?;
        // What they may now, not when the push came.
        self.who = who;
        tx.skew_ms = Some(self.skew_ms);
        tx.prepared = prepared;
        self.alone(&mut tx, from, to).await?;
        let mut verdicts: Vec<(usize, Verdict)> = Vec::with_capacity(to - from);
        let mut failed = self.failed();
        let mut at = from;
        while at < to {
            let alike = self.facts_from(at, to, &failed);
            if alike > at {
                verdicts.extend(self.facts(&mut tx, at, alike).await?);
                at = alike;
                continue;
            }
            let verdict = self.one(&mut tx, at, &failed).await?;
            if let (Verdict::Refused(problem) | Verdict::Again(problem), Some(item)) = (&verdict, self.items.get(at))
                && problem.code() != Code::Conflict
            {
                failed.extend(item.brings());
            }
            verdicts.push((at, verdict));
            at += 1;
        }
        if to == self.items.len() {
            devices_store::note_push(&mut tx, self.who.device, self.name).await?;
        }
        let revs = tx.commit().await?;
        for (at, verdict) in verdicts {
            self.settle(at, &verdict, Some(&revs));
        }
        Ok(())
    }

    /// Takes all that the items write, before anything is read, in the order of DEVELOPERS.md ("Locks"). The phone comes
    /// first: what it recorded earlier may be released on the way. Only who may erase keeps the whole club waiting for it.
    async fn alone(&self, tx: &mut ClubTx, from: usize, to: usize) -> Result<(), Problem> {
        let items = || self.items.iter().take(to).skip(from);
        if items().any(|item| item.erases(&self.who)) {
            tx.alone_with_all().await?;
        }
        tx.alone(self.device).await?;
        tx.alone_all(items().flat_map(Parsed::writes)).await?;
        tx.alone_all(items().filter_map(Parsed::attends)).await?;
        if items().any(Parsed::takes_the_club) {
            tx.alone_in_club().await?;
        }
        Ok(())
    }

    /// Records that earlier items should have created, but did not.
    fn failed(&self) -> HashSet<Brought> {
        let outcomes = self.items.iter().zip(&self.outcomes);
        outcomes
            .filter(|(_, outcome)| outcome.as_ref().is_some_and(|one| one.status >= 400 && one.status != 409))
            .filter_map(|(item, _)| item.brings())
            .collect()
    }

    /// Whether an item needs something that failed.
    fn blocked(&self, at: usize, failed: &HashSet<Brought>) -> bool {
        let item = self.items.get(at).filter(|_| !failed.is_empty());
        item.is_some_and(|item| item.needs().into_iter().any(|record| Brought::is_among(failed, record)))
    }

    /// Whether an item needs something that comes later in the push.
    fn too_early(&self, at: usize) -> bool {
        let needs = self.items.get(at).map(Parsed::needs).unwrap_or_default();
        let mut later = self.items.iter().skip(at + 1).filter_map(Parsed::brings);
        later.any(|brought| needs.iter().any(|record| brought.may_be(*record)))
    }

    /// Whether an earlier item has the same operation.
    fn repeated(&self, at: usize) -> bool {
        self.items.get(at).is_some_and(|item| self.items.iter().take(at).any(|other| other.op_id == item.op_id))
    }

    /// The end of the facts of one type that begin at `at` and can be filed together.
    fn facts_from(&self, at: usize, to: usize, failed: &HashSet<Brought>) -> usize {
        let kind = |at: usize| self.items.get(at).and_then(|item| item.bulk(&self.who));
        let Some(first) = kind(at) else { return at };
        let fits = |at: &usize| kind(*at) == Some(first) && !self.blocked(*at, failed) && !self.repeated(*at);
        (at..to).take_while(fits).last().map_or(at, |last| last + 1)
    }

    /// One item that is not filed in bulk.
    async fn one(&self, tx: &mut ClubTx, at: usize, failed: &HashSet<Brought>) -> Result<Verdict, Problem> {
        let Some(item) = self.items.get(at) else { return Ok(Verdict::Refused(Problem::gone())) };
        let (kind, op) = match &item.parsed {
            Ok((kind, op)) => (*kind, op),
            Err(problem) => return Ok(Verdict::Refused(problem.again())),
        };
        if self.repeated(at) {
            // Answered with the first of the two, or refused, once all is done.
            let detail = "This op_id stands twice in the push, with other content. Give each item its own.";
            return Ok(Verdict::Refused(Problem::new(Code::Conflict, detail)));
        }
        if self.blocked(at, failed) {
            return Ok(Verdict::Refused(waiting()));
        }
        if kind.is_fact(op) {
            return self.fact(tx, at, item, kind).await;
        }
        self.edit(tx, at, kind, op).await
    }

    /// An edit, under a receipt.
    async fn edit(&self, tx: &mut ClubTx, at: usize, kind: Kind, op: &Op) -> Result<Verdict, Problem> {
        let Some(item) = self.items.get(at) else { return Ok(Verdict::Refused(Problem::gone())) };
        let claimed = store::claim(tx, item.op_id, &items::digest(kind, op), items::record(kind, op)).await?;
        if let Some(given) = claimed {
            return answered(tx, kind, op, &given).await;
        }
        if let Some(problem) = kind.refusal(op, &self.who) {
            return self.refused(tx, item.op_id, problem).await;
        }
        let mark = tx.mark().await?;
        let mut op = op.clone();
        self.chain.follow(kind, item.id, &mut op);
        match items::edit(tx, kind, &op).await {
            Ok(done) => {
                if done.conflicts.is_empty() {
                    let receipt = Receipt {
                        op_id: item.op_id,
                        record: items::record(kind, &op),
                        status: done.status,
                        rev: done.rev,
                    };
                    tx.receipt(receipt);
                    if done.status == 201 {
                        self.release(tx, (kind, item.id)).await?;
                    }
                } else {
                    store::unclaim(tx, item.op_id).await?;
                    let fields = done.conflicts.iter().filter_map(|one| one.yours.as_object()).flatten();
                    let lost = Value::Object(fields.map(|(name, value)| (name.clone(), value.clone())).collect());
                    let about = (item.op_id, kind.word(), item.id);
                    store::keep_refused(tx, about, ("conflict", op.base_rev), lost).await?;
                }
                Ok(Verdict::Done(done))
            }
            Err(problem) if problem.status() >= 500 || problem.was_undone() => Err(problem),
            Err(problem) => {
                tx.back_to(mark).await?;
                if matches!(problem.code(), Code::NotFound | Code::Invalid) && self.too_early(at) {
                    store::unclaim(tx, item.op_id).await?;
                    return Ok(Verdict::Refused(waiting()));
                }
                self.refuse(tx, item, kind, &op, problem).await
            }
        }
    }

    /// Writes down what became of an item.
    fn settle(&mut self, at: usize, verdict: &Verdict, revs: Option<&Revs>) {
        let Some(item) = self.items.get(at) else { return };
        let mut outcome = Outcome {
            op_id: item.op_id,
            status: 200,
            rev: None,
            replayed: false,
            applied: Vec::new(),
            conflicts: Vec::new(),
            current: None,
            held: None,
            problem: None,
        };
        match verdict {
            Verdict::Done(done) => {
                // What this very transaction changed has its version from the commit, also for a repeat in the same push.
                let given = revs.zip(item.record()).filter(|_| !done.answered);
                let rev = given.map_or(done.rev, |(revs, record)| revs.of(record.kind, record.id, done.rev));
                outcome.status = done.status;
                outcome.rev = Some(rev);
                outcome.replayed = done.replayed;
                outcome.applied.clone_from(&done.applied);
                outcome.conflicts.clone_from(&done.conflicts);
                if let Ok((kind, op)) = &item.parsed {
                    self.chain.note(*kind, item.id, op, done, rev);
                }
            }
            Verdict::Held(problem, state) => {
                let mut problem = problem.again();
                outcome.current = problem.take_current();
                outcome.status = 202;
                outcome.held = Some(state.clone());
                outcome.problem = Some(problem.body());
            }
            Verdict::Refused(problem) | Verdict::Again(problem) => {
                let mut problem = problem.again();
                outcome.current = problem.take_current();
                outcome.replayed = matches!(verdict, Verdict::Again(_));
                outcome.status = problem.status();
                outcome.problem = Some(problem.body());
            }
        }
        if let Some(place) = self.outcomes.get_mut(at) {
            *place = Some(outcome);
        }
    }

    /// Answers an item that stands twice in the push like the first time.
    fn repeats(&mut self) {
        for at in 0..self.items.len() {
            let Some(item) = self.items.get(at) else { continue };
            let first = self.items.iter().take(at).position(|other| other.op_id == item.op_id);
            let Some(first) = first.filter(|first| self.items.get(*first).is_some_and(|one| one.says_the_same(item)))
            else {
                continue;
            };
            let answer = self.outcomes.get(first).cloned().flatten();
            if let (Some(mut answer), Some(place)) = (answer, self.outcomes.get_mut(at)) {
                answer.replayed = answer.status < 400 && answer.status != 202;
                *place = Some(answer);
            }
        }
    }
}
