//! Two clubs on one server, their phones and a bad network; what happens is one list of acts.

use super::flaw::Flaw;
use super::phone::Phone;
use super::pull::{Ask, Page, Refusal};
use super::push::Who;
use super::server::{Answer, Server, Whole};
use super::words::{Act, CLUB, EVERY_TYPE, Item, Kind, MEMBERS, OpId, VIEWER};

/// The member of each phone of a club; the last phone of a club only reads.
pub const PHONES: [&[usize]; 2] = [&[0, 0, 1, VIEWER], &[0, 1]];
/// Days that a request or an answer may be under way.
const DELAY: i32 = 90;

/// Pages after which a feed should have ended.
const ROUNDS: usize = 1_000;

/// Something that happens; `a` and `b` choose among what there is, so that any part of a history is a history.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Event {
    pub what: Happens,
    pub club: u8,
    pub a: u8,
    pub b: u16,
}

#[rustfmt::skip]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Happens {
    // The person at phone `a`.
    Run, Measure, NewAthlete, NewSession, NewPlan, NewVenue, Patch, Replace, Delete, Attend, Leave, Clash, Poison,
    // The phone's program.
    Push, Pull, Sync, Drain, GiveUp, Widen, Clock,
    // The network.
    Deliver, Twice, Drop, Cut, Forge,
    // The server.
    Step, Quiet, Abort, Crash, Backup, Restore, Compact, Days,
    // An admin.
    See, AdminNew, AdminPatch, AdminMove, AdminDelete, Decide,
}

/// A request or an answer under way.
#[derive(Clone, Debug)]
enum Letter {
    AskPull(usize, u32, Ask),
    AskPush(usize, u32, Vec<Item>),
    Page(usize, u32, Result<Page, Refusal>),
    Acks(usize, u32, Answer),
}

#[derive(Clone, Debug)]
pub struct World {
    pub server: Server,
    pub phones: [Vec<Phone>; 2],
    /// What is under way in each club: for the phones that record, and for the one that only reads.
    letters: [[Vec<(Letter, i32)>; 2]; 2],
    pub admin_ops: [OpId; 2],
    /// Whether the clocks of phones are only slow, whatever the history says.
    pub slow_clocks: Option<bool>,
}

impl World {
    pub fn new(flaw: Option<Flaw>) -> Self {
        let phone = |(at, member): (usize, &usize)| {
            // Some carry few types at first.
            let types = if at == 1 { EVERY_TYPE & !Kind::Run.bit() & !Kind::Plan.bit() } else { EVERY_TYPE };
            let mut phone = Phone::new(at + 1, *member, types, flaw);
            phone.history_from = (*member == VIEWER).then_some(-400);
            phone
        };
        let mut world = Self {
            server: Server::new(flaw),
            phones: PHONES.map(|members| members.iter().enumerate().map(phone).collect()),
            letters: Default::default(),
            admin_ops: [0; 2],
            slow_clocks: None,
        };
        for club in 0..2 {
            let sight = [CLUB | 1, CLUB | 1 | 2, CLUB | 2 | 4].into_iter().enumerate();
            let sight = sight.map(|(member, wanted)| (Kind::Venue, Act::See { member, wanted }));
            let athletes = [1, 3].map(|scopes| (Kind::Athlete, Act::Create { root: 0, scopes }));
            let session = (Kind::Session, Act::Create { root: 0, scopes: 3 });
            for (kind, act) in sight.chain(athletes).chain([session]) {
                world.admin(club, kind, 0, act);
                world.quiet(club);
            }
        }
        world
    }

    /// Lets everything at work in a club come to its end.
    pub fn quiet(&mut self, club: usize) {
        while self.server.jobs.iter().any(|job| job.club == club) {
            for index in (0..self.server.jobs.len()).rev() {
                if self.server.jobs[index].club == club {
                    self.step(index);
                }
            }
        }
    }

    fn step(&mut self, index: usize) {
        if let Some((job, answer)) = self.server.step(index)
            && let Some((phone, number)) = job.reply
        {
            self.post(job.club, Letter::Acks(phone, number, answer));
        }
    }

    fn post(&mut self, club: usize, letter: Letter) {
        let (Letter::AskPull(at, ..) | Letter::AskPush(at, ..) | Letter::Page(at, ..) | Letter::Acks(at, ..)) = &letter;
        let reads = usize::from(self.phones[club][*at].member == VIEWER);
        self.letters[club][reads].push((letter, self.server.day));
    }

    /// Everything under way is lost; phones give up.
    pub fn cut_all(&mut self) {
        self.letters = Default::default();
        self.phones.iter_mut().flatten().for_each(Phone::give_up);
    }

    /// Makes it happen.
    pub fn happen(&mut self, event: Event) {
        use Happens as H;
        let club = usize::from(event.club);
        match event.what {
            H::Run | H::Measure | H::NewAthlete | H::NewSession | H::NewPlan | H::NewVenue | H::Clash | H::Poison => {
                self.record(club, event);
            }
            H::Patch | H::Replace | H::Delete | H::Attend | H::Leave => self.edit(club, event),
            H::Push | H::Pull | H::GiveUp | H::Widen | H::Clock => self.program(club, event),
            H::Deliver | H::Twice | H::Drop | H::Cut => self.network(club, event),
            H::Forge => self.forge(event),
            H::Step | H::Abort => self.work(club, event),
            H::Quiet => self.quiet(club),
            H::Sync => self.sync(club, event),
            H::Drain => {
                self.exchange(club, self.phone_at(club, event.a), 5, 50);
            }
            H::Crash => self.server.crash(),
            H::Backup => self.server.backup(),
            H::Restore => self.server.restore(),
            H::Compact => self.server.clubs[club].compact(self.server.day),
            H::Days => {
                self.server.day += i32::from(event.b % 40) + 1;
                let day = self.server.day;
                self.letters.iter_mut().flatten().for_each(|letters| letters.retain(|(_, sent)| day - sent <= DELAY));
            }
            _ => self.admins(club, event),
        }
    }

    fn phone_at(&self, club: usize, a: u8) -> usize {
        usize::from(a) % self.phones[club].len()
    }

    fn program(&mut self, club: usize, event: Event) {
        let at = self.phone_at(club, event.a);
        let size = usize::from(event.b % 6) + 1;
        let phone = &mut self.phones[club][at];
        match event.what {
            Happens::Push => {
                if let Some((number, mut items)) = phone.ask_push(size) {
                    if event.b.is_multiple_of(5) {
                        items.push(items[0].clone());
                    }
                    self.post(club, Letter::AskPush(at, number, items));
                }
            }
            Happens::Pull => {
                let (number, ask) = phone.ask_pull(size);
                self.post(club, Letter::AskPull(at, number, ask));
            }
            Happens::GiveUp => phone.give_up(),
            Happens::Widen => phone.widen(),
            _ => {
                let days = i32::from(event.b % 7300) - 3650;
                phone.clock = match self.slow_clocks {
                    None => days,
                    Some(true) => -days.abs(),
                    Some(false) => 0,
                };
            }
        }
    }

    fn network(&mut self, club: usize, event: Event) {
        let letters = &mut self.letters[club][usize::from(event.a.is_multiple_of(6))];
        if letters.is_empty() {
            return;
        }
        // Mostly the oldest, sometimes any.
        let index = if event.b.is_multiple_of(3) { usize::from(event.a) % letters.len() } else { 0 };
        let letter = match event.what {
            Happens::Twice => letters[index].0.clone(),
            _ => letters.remove(index).0,
        };
        match event.what {
            Happens::Drop => {}
            Happens::Cut => self.deliver(club, letter, Some(usize::from(event.b) / 3 % 4)),
            _ => self.deliver(club, letter, None),
        }
    }

    /// A letter arrives; with `cut` the phone stops after so many results, or before a page is stored.
    fn deliver(&mut self, club: usize, letter: Letter, cut: Option<usize>) {
        match letter {
            Letter::AskPull(at, number, ask) => {
                let page = self.server.pull(club, self.phones[club][at].member, &ask);
                self.post(club, Letter::Page(at, number, page));
            }
            Letter::AskPush(at, number, items) => {
                let who = Who::Member(self.phones[club][at].member);
                if let Some(answer) = self.server.push(club, who, items, Some((at, number))) {
                    self.post(club, Letter::Acks(at, number, answer));
                }
            }
            Letter::Page(at, number, page) => {
                let phone = &mut self.phones[club][at];
                phone.apply(number, page, cut.is_some(), &mut self.server.ledger);
                if cut.is_some() {
                    phone.give_up();
                }
            }
            Letter::Acks(at, number, answer) => {
                let phone = &mut self.phones[club][at];
                phone.file(number, answer, self.server.day, cut.unwrap_or(usize::MAX));
                if cut.is_some() {
                    phone.give_up();
                }
            }
        }
    }

    /// A phone pushes and pulls once, with nothing in the way.
    fn sync(&mut self, club: usize, event: Event) {
        let at = self.phone_at(club, event.a);
        // Short pages cut between rows that belong together.
        let size = [1, 1, 1, 2, 3, 6][usize::from(event.b % 6)];
        let member = self.phones[club][at].member;
        if !event.b.is_multiple_of(4)
            && let Some((number, items)) = self.phones[club][at].ask_push(size)
        {
            self.deliver(club, Letter::AskPush(at, number, items), None);
            self.quiet(club);
            let reads = usize::from(member == VIEWER);
            let mine =
                |(letter, _): &(Letter, i32)| matches!(letter, Letter::Acks(one, of, _) if (*one, *of) == (at, number));
            if let Some(index) = self.letters[club][reads].iter().rposition(mine) {
                let (letter, _) = self.letters[club][reads].remove(index);
                self.deliver(club, letter, None);
            }
        }
        let (number, ask) = self.phones[club][at].ask_pull(size);
        let page = self.server.pull(club, member, &ask);
        self.phones[club][at].apply(number, page, false, &mut self.server.ledger);
    }

    /// Somebody sends a token that is not theirs or was edited: never a page.
    fn forge(&mut self, event: Event) {
        let from = &self.phones[usize::from(event.b % 2)];
        let owner = &from[usize::from(event.a) % from.len()];
        let Some(mut token) = owner.token else { return };
        let (other, member) = (usize::from(event.b / 2 % 2), usize::from(event.b / 4) % MEMBERS);
        let edited = other == usize::from(event.b % 2) && member == owner.member;
        if edited {
            token.position.seq -= i64::from(event.b % 5) + 1;
        }
        let ask = Ask { token: Some(token), types: token.types, history_from: None, limit: 5 };
        if self.server.pull(other, member, &ask).is_ok() {
            self.server
                .ledger
                .found("I6", || format!("a page for a token that is {}", if edited { "edited" } else { "foreign" }));
        }
    }

    fn work(&mut self, club: usize, event: Event) {
        let mine: Vec<usize> = (0..self.server.jobs.len()).filter(|at| self.server.jobs[*at].club == club).collect();
        let Some(&index) = mine.get(usize::from(event.a) % mine.len().max(1)) else { return };
        if event.what == Happens::Abort {
            let job = self.server.abort(index);
            if let Some((phone, number)) = job.reply {
                self.post(club, Letter::Acks(phone, number, Err(Whole::Busy)));
            }
            return;
        }
        let before = self.server.jobs.len();
        for _ in 0..=event.b % 6 {
            if self.server.jobs.len() == before {
                self.step(index);
            }
        }
    }

    /// A phone does its loop once, with nothing in the way; how many items and pages it took.
    pub fn exchange(&mut self, club: usize, at: usize, push: usize, limit: usize) -> usize {
        let mut moved = 0;
        while let Some((number, items)) = self.phones[club][at].ask_push(push) {
            let sent: Vec<OpId> = items.iter().map(|item| item.op).collect();
            self.deliver(club, Letter::AskPush(at, number, items), None);
            self.quiet(club);
            self.deliver_all(club);
            let outbox = &self.phones[club][at].outbox;
            let filed = sent.iter().filter(|op| outbox.iter().all(|item| item.op != **op)).count();
            if filed == 0 {
                break;
            }
            moved += filed;
        }
        let left = self.phones[club][at].outbox.len();
        for _ in 0..ROUNDS {
            let (number, ask) = self.phones[club][at].ask_pull(limit);
            let page = self.server.pull(club, self.phones[club][at].member, &ask);
            let (done, some) = match &page {
                Ok(page) => (!page.more, !page.changes.is_empty()),
                Err(refusal) => (*refusal == Refusal::NotMember, *refusal != Refusal::NotMember),
            };
            self.deliver(club, Letter::Page(at, number, page), None);
            moved += usize::from(some);
            if done {
                // A full copy puts the journal back.
                moved += self.phones[club][at].outbox.len().abs_diff(left);
                return moved;
            }
        }
        self.server.ledger.found("I11", || format!("the feed of phone {at} of club {club} never ends"));
        0
    }

    fn deliver_all(&mut self, club: usize) {
        while let Some((letter, _)) = self.letters[club].iter_mut().find_map(Vec::pop) {
            self.deliver(club, letter, None);
        }
    }
}
