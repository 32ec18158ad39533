//! The server: pushes and admins' acts as transactions whose steps any other may interrupt.

use super::club::{Club, JUMP, Tx};
use super::flaw::Flaw;
use super::laws::Ledger;
use super::push::{Case, Who};
use super::words::{Act, Id, Item, OpId, Outcome, follow};

/// Items of one transaction.
const CHUNK: usize = 3;
/// Pushes of a club that are taken on at once.
const AT_WORK: usize = 4;
/// Steps that a transaction waits for a lock before it gives up.
const PATIENCE: u8 = 6;
/// Days that a member who left may still push.
const GRACE: i32 = 30;

/// Why a push failed as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whole {
    NotMember,
    Busy,
}

/// The answer to a push.
pub type Answer = Result<Vec<(OpId, Outcome)>, Whole>;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Lock {
    Clock(usize),
    Record(usize, Id),
    Op(usize, OpId),
    Member(usize, usize),
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    Items,
    Number,
    Commit,
}

/// A push or an act of an admin at work.
#[derive(Clone, Debug)]
pub struct Job {
    id: u32,
    pub club: usize,
    who: Who,
    items: Vec<Item>,
    /// The phone that waits, and the number of its request.
    pub reply: Option<(usize, u32)>,
    start: usize,
    at: usize,
    end: usize,
    pub stage: Stage,
    tx: Tx,
    outcomes: Vec<Outcome>,
    waits: u8,
}

/// Both clubs on one database, and what is at work.
#[derive(Clone, Debug)]
pub struct Server {
    pub clubs: [Club; 2],
    pub jobs: Vec<Job>,
    locks: Vec<(Lock, u32)>,
    /// Which life of the database this is.
    pub life: u32,
    pub day: i32,
    /// The copy from which it may be restored, and its day.
    copy: Option<([Club; 2], i32)>,
    /// Counters outside of transactions, for the flaws that use them.
    counter: [i64; 2],
    next_job: u32,
    restores: u32,
    pub flaw: Option<Flaw>,
    pub ledger: Ledger,
}

impl Server {
    pub fn new(flaw: Option<Flaw>) -> Self {
        Self {
            clubs: [Club::default(), Club::default()],
            jobs: Vec::new(),
            locks: Vec::new(),
            life: 1,
            day: 0,
            copy: None,
            counter: [0; 2],
            next_job: 0,
            restores: 0,
            flaw,
            ledger: Ledger::default(),
        }
    }

    pub fn is(&self, flaw: Flaw) -> bool {
        self.flaw == Some(flaw)
    }

    /// Takes a push on; an answer at once when it is refused as a whole.
    pub fn push(&mut self, club: usize, who: Who, items: Vec<Item>, reply: Option<(usize, u32)>) -> Option<Answer> {
        if let Who::Member(member) = who
            && self.clubs[club].left[member].is_some_and(|day| self.day > day + GRACE)
        {
            return Some(Err(Whole::NotMember));
        }
        if self.jobs.iter().filter(|job| job.club == club).count() >= AT_WORK {
            return Some(Err(Whole::Busy));
        }
        self.next_job += 1;
        let mut job = Job {
            id: self.next_job,
            club,
            who,
            items,
            reply,
            start: 0,
            at: 0,
            end: 0,
            stage: Stage::Items,
            tx: Tx::default(),
            outcomes: Vec::new(),
            waits: 0,
        };
        job.end = job.chunk_end();
        self.jobs.push(job);
        None
    }

    fn take(&mut self, lock: Lock, job: u32) -> bool {
        match self.locks.iter().find(|(held, _)| *held == lock) {
            Some((_, owner)) => *owner == job,
            None => {
                self.locks.push((lock, job));
                true
            }
        }
    }

    /// Ends a job without a commit.
    pub fn abort(&mut self, index: usize) -> Job {
        let job = self.jobs.remove(index);
        self.locks.retain(|(_, owner)| *owner != job.id);
        job
    }

    /// Does one step of a job; the job and its answer when it ends.
    pub fn step(&mut self, index: usize) -> Option<(Job, Answer)> {
        let mut job = self.jobs[index].clone();
        let went_on = match job.stage {
            Stage::Items => self.item(&mut job),
            Stage::Number => self.number(&mut job),
            Stage::Commit => {
                self.commit(&mut job);
                true
            }
        };
        job.waits = if went_on { 0 } else { job.waits + 1 };
        let finished = job.stage == Stage::Items && job.start == job.items.len();
        if finished || job.waits > PATIENCE {
            self.abort(index);
            let answer = if finished { Ok(job.results()) } else { Err(Whole::Busy) };
            return Some((job, answer));
        }
        let early = self.is(Flaw::AckBeforeCommit) && job.stage == Stage::Commit && job.end == job.items.len();
        let told = early.then(|| job.clone());
        if early {
            job.reply = None;
        }
        self.jobs[index] = job;
        told.map(|mut told| {
            told.settle();
            let results = told.results();
            (told, Ok(results))
        })
    }

    fn locks_of(&self, job: &Job, item: &Item) -> Vec<Lock> {
        let record = Lock::Record(job.club, item.id);
        match item.act {
            Act::See { member, .. } => vec![Lock::Member(job.club, member)],
            Act::Fact { .. } | Act::Decide { .. } => vec![record],
            _ if self.is(Flaw::CheckBeforeLock) => vec![Lock::Op(job.club, item.op)],
            _ => vec![Lock::Op(job.club, item.op), record],
        }
    }

    /// Carries out the next item; false when it has to wait for a lock.
    fn item(&mut self, job: &mut Job) -> bool {
        if job.at == job.end {
            job.stage = if job.tx.rows.is_empty() { Stage::Commit } else { Stage::Number };
            return true;
        }
        let item = job.items[job.at].clone();
        if job.items[..job.at].iter().any(|other| other.op == item.op) {
            job.outcomes.push(Outcome::of(409));
            job.at += 1;
            return true;
        }
        for lock in self.locks_of(job, &item) {
            if !self.take(lock, job.id) {
                return false;
            }
        }
        if self.is(Flaw::ClockFirst) && job.tx.first.is_none() {
            job.tx.first = Some(self.counter[job.club] + 1);
            self.counter[job.club] += i64::try_from(job.end - job.start).unwrap();
        }
        let foreign =
            self.is(Flaw::ReceiptAcrossClubs).then(|| self.clubs[1 - job.club].receipts.get(&item.op)).flatten();
        let outcome = match foreign {
            Some(receipt) if !item.is_fact() => Outcome { rev: receipt.rev, ..Outcome::of(200) },
            _ => {
                let (club, tx) = (&self.clubs[job.club], &mut job.tx);
                let waits =
                    item.needs().iter().any(|id| job.items.iter().any(|other| other.id == *id && other.creates()));
                let mut case = Case { club, tx, who: job.who, item: &item, day: self.day, waits, flaw: self.flaw };
                case.run()
            }
        };
        self.ledger.answer(&self.clubs[job.club], &item, &outcome);
        if self.is(Flaw::ReceiptApart) {
            let receipts = job.tx.receipts.drain(..).map(|(receipt, _)| (receipt.item.op, receipt));
            self.clubs[job.club].receipts.extend(receipts);
        }
        if self.is(Flaw::PoisonSpreads) && outcome.status == 422 {
            job.tx = Tx::default();
            job.outcomes.truncate(job.start);
            job.outcomes.resize(job.end, Outcome::of(422));
            job.at = job.end;
            return true;
        }
        job.outcomes.push(outcome);
        job.at += 1;
        true
    }

    /// Raises the counter; false when another transaction holds it.
    fn number(&mut self, job: &mut Job) -> bool {
        let club = &self.clubs[job.club];
        let count = i64::try_from(job.tx.rows.len()).unwrap();
        if self.is(Flaw::Sequence) || self.is(Flaw::ClockFirst) {
            let first = job.tx.first.unwrap_or(self.counter[job.club] + 1);
            self.counter[job.club] = self.counter[job.club].max(first + count - 1);
            job.tx.number(first);
            job.stage = Stage::Commit;
            return true;
        }
        let (epoch, seq) = (club.epoch, club.seq);
        if !self.take(Lock::Clock(job.club), job.id) {
            return false;
        }
        job.tx.fork = (epoch < self.life).then_some((self.life, seq));
        // As many holes as lives, so that a copy which is restored twice gives other numbers each time.
        let holes = if self.is(Flaw::SameJump) { 1 } else { i64::from(self.life) };
        let jump = if job.tx.fork.is_some() && !self.is(Flaw::NoJump) { JUMP * holes } else { 0 };
        job.tx.number(seq + jump + 1);
        job.stage = Stage::Commit;
        true
    }

    fn commit(&mut self, job: &mut Job) {
        job.settle();
        let tx = std::mem::take(&mut job.tx);
        self.ledger.commit(job.club, &self.clubs[job.club], &tx);
        tx.commit(&mut self.clubs[job.club], self.day);
        self.ledger.committed(job.club, &self.clubs[job.club]);
        self.locks.retain(|(_, owner)| *owner != job.id);
        for at in job.start..job.end {
            let (items, later) = job.items.split_at_mut(at + 1);
            let later = later.iter_mut().filter(|other| other.op != items[at].op);
            follow(later, &items[at], &job.outcomes[at], self.flaw == Some(Flaw::ChainAllGroups));
        }
        job.start = job.end;
        job.end = job.chunk_end();
        job.stage = Stage::Items;
    }

    /// The counters outside of transactions start where the restored ones are.
    fn reset_counters(&mut self) {
        self.counter = [self.clubs[0].seq, self.clubs[1].seq];
    }

    /// Whether an older copy took the place of what was there.
    pub fn restored(&self) -> bool {
        self.restores > 0
    }

    pub fn crash(&mut self) {
        self.jobs.clear();
        self.locks.clear();
    }

    pub fn backup(&mut self) {
        self.copy = Some((self.clubs.clone(), self.day));
    }

    /// Comes back with an older copy; not with one that is older than the phones' journals.
    pub fn restore(&mut self) {
        let Some((clubs, day)) = &self.copy else { return };
        if self.day > day + GRACE {
            return;
        }
        self.clubs.clone_from(clubs);
        self.crash();
        self.life += u32::from(!self.is(Flaw::NoEpoch));
        self.reset_counters();
        self.restores += 1;
    }
}

impl Job {
    /// Where the transaction that begins here ends: before it would hold two items of one record or operation.
    fn chunk_end(&self) -> usize {
        let mut end = self.start;
        while end < self.items.len() && end < self.start + CHUNK {
            let item = &self.items[end];
            if self.items[self.start..end].iter().any(|other| other.id == item.id || other.op == item.op) {
                break;
            }
            end += 1;
        }
        end
    }

    /// Writes the numbers of the transaction into the answers.
    fn settle(&mut self) {
        for (item, outcome) in self.items.iter().zip(&mut self.outcomes).skip(self.start) {
            outcome.rev = self.tx.rev(item.id, outcome.rev);
        }
    }

    /// One answer for each item; one that stands twice is answered like the first.
    fn results(&self) -> Vec<(OpId, Outcome)> {
        let answer = |(item, outcome): (&Item, &Outcome)| {
            let first =
                self.items.iter().position(|other| other.op == item.op && other.digest(false) == item.digest(false));
            (item.op, first.and_then(|at| self.outcomes.get(at)).unwrap_or(outcome).clone())
        };
        self.items.iter().zip(&self.outcomes).map(answer).collect()
    }
}
