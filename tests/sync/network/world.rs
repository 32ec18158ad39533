//! Clubs, people and phones, and the time that passes for them: one scheduler, one thread, one seed.

use std::collections::{HashSet, VecDeque};
use std::rc::Rc;

use serde_json::json;
use tokio::sync::{mpsc, oneshot};
use uuid::Uuid;

use super::faults::{Kept, Late};
use super::figures::Figures;
use super::ledger::Ledger;
use super::service::{Service, SignedIn};
use crate::dice::Dice;
use crate::phone::{Killed, Lost, Outcome, Phone, Reply, Request, Store};

/// What is simulated.
#[derive(Clone, Copy, Debug)]
#[allow(clippy::struct_excessive_bools)] // each is a switch of its own
pub struct Plan {
    pub seed: u64,
    /// Items done on phones and actions of admins.
    pub operations: u64,
    /// Whether the network, the phones and curious people misbehave.
    pub faults: bool,
    /// Whether phones talk to the service at the same time.
    pub interleaved: bool,
    /// Seed of the phones' clocks.
    pub clocks: u64,
    /// Whether some facts claim the time of the phone's clock.
    pub claims: bool,
    /// Items of a push; each phone its own when absent.
    pub batch: Option<usize>,
    /// Whether the first club is under many times the load of the others.
    pub load: bool,
    /// Whether several phones are served at the same time.
    pub parallel: bool,
    /// The most runs that somebody of the loaded club records at a time.
    pub burst: u32,
}

impl Plan {
    pub fn of(seed: u64, operations: u64) -> Self {
        Self {
            seed,
            operations,
            faults: true,
            interleaved: true,
            clocks: seed,
            claims: true,
            batch: None,
            load: true,
            parallel: true,
            burst: 50,
        }
    }
}

/// A person in a club.
pub struct Person {
    pub signed_in: SignedIn,
    /// Whether they are a member now; the first of a club is its admin.
    pub member: bool,
    pub groups: Vec<Uuid>,
}

/// A club.
pub struct Club {
    pub id: Uuid,
    pub people: Vec<Person>,
    pub groups: Vec<Uuid>,
    pub ledger: Ledger,
    /// Facts that may be corrected: type, id, athlete, data.
    pub facts: Vec<(String, Uuid, serde_json::Value)>,
    /// Names given so far.
    pub names: u32,
}

/// What a running phone says.
pub enum Event {
    Asked(Request, oneshot::Sender<Result<Reply, Lost>>),
    Ended(Box<Phone>, Result<Outcome, Killed>),
}

/// A phone that talks to the service.
pub struct Running {
    events: mpsc::UnboundedReceiver<Event>,
    pub asked: Option<(Request, oneshot::Sender<Result<Reply, Lost>>)>,
}

/// What a phone keeps of what its owner sees: from a day on, of some groups.
pub type Keeps = (Option<chrono::NaiveDate>, Option<Vec<Uuid>>);

/// A phone in somebody's hand.
pub struct Device {
    pub club: usize,
    pub person: usize,
    pub token: String,
    store: Store,
    /// Absent while it runs.
    pub phone: Option<Phone>,
    pub running: Option<Running>,
    settings: crate::phone::Settings,
    /// The first day that it keeps, and the groups that it carries.
    pub keeps: Keeps,
    /// How far its clock is ahead, milliseconds.
    pub ahead: i64,
    /// Answers that will come late.
    pub kept: Vec<Kept>,
    /// Tokens it had before, of the copy that it has now.
    pub tokens: Vec<String>,
    /// A token that was put into the phone and is not its own.
    pub planted: Option<String>,
}

/// Everything.
pub struct World {
    pub plan: Plan,
    pub service: Rc<Service>,
    pub dice: Dice,
    pub clubs: Vec<Club>,
    pub devices: Vec<Device>,
    pub late: Vec<Late>,
    /// Running phones in the order they asked.
    pub queue: VecDeque<usize>,
    pub figures: Figures,
    /// Operations that were made broken on purpose.
    pub poisoned: HashSet<Uuid>,
    ids: u64,
    /// Begin of the simulated time.
    pub start: i64,
}

impl World {
    /// Four clubs of four people and five phones each.
    pub async fn new(service: Rc<Service>, plan: Plan) -> Self {
        let start = service.date.get();
        let mut world = Self {
            plan,
            service,
            dice: Dice::of(&[plan.seed, 1]),
            clubs: Vec::new(),
            devices: Vec::new(),
            late: Vec::new(),
            queue: VecDeque::new(),
            figures: Figures::default(),
            poisoned: HashSet::new(),
            ids: 0,
            start,
        };
        // Everybody is in all four clubs, so that only the club can keep their records apart.
        let key = Uuid::now_v7().simple().to_string();
        let mut people = Vec::new();
        for name in ["admin", "coach0", "coach1", "coach2"] {
            people.push(world.service.person(name, &key).await);
        }
        let second = world.service.sign_in(&people[2]).await;
        for club in 0..4 {
            world.found(club, &people, &second).await;
        }
        world
    }

    /// An id that is the same for the same seed.
    pub fn id(&mut self) -> Uuid {
        self.ids += 1;
        let mut dice = Dice::of(&[self.plan.seed, 2, self.ids]);
        let random = (u128::from(dice.pick(u32::MAX)) << 32) | u128::from(dice.pick(u32::MAX));
        // The time of version 7 is that of the simulation, counted by its ids.
        let millis = 1_700_000_000_000_u128 + u128::from(self.ids) * 1_000;
        Uuid::from_u128((millis << 80) | (0x7 << 76) | (0b10 << 62) | (random & ((1 << 62) - 1)))
    }

    async fn found(&mut self, number: usize, people: &[SignedIn], second: &SignedIn) {
        let service = Rc::clone(&self.service);
        let id = service.found(&people[0], &format!("Club {number}")).await;
        let groups: Vec<Uuid> = (0..3).map(|_| self.id()).collect();
        let person = |signed_in: &SignedIn, groups| Person { signed_in: signed_in.clone(), member: true, groups };
        let admin = vec![person(&people[0], Vec::new())];
        self.clubs.push(Club {
            id,
            people: admin,
            groups: groups.clone(),
            ledger: Ledger::default(),
            facts: Vec::new(),
            names: 0,
        });
        self.device(number, 0, people[0].token.clone());
        self.stock(number, &groups).await;
        let assigned = [vec![groups[0]], vec![groups[0], groups[1]], vec![groups[1], groups[2]]];
        for (coach, groups) in people[1..].iter().zip(assigned) {
            service.join(id, &people[0], coach, "coach", &groups).await;
            self.clubs[number].people.push(person(coach, groups));
            let at = self.clubs[number].people.len() - 1;
            self.device(number, at, coach.token.clone());
            if coach.account == second.account {
                self.device(number, at, second.token.clone());
            }
        }
    }

    fn device(&mut self, club: usize, person: usize, token: String) {
        let number = self.devices.len() as u64;
        let mut own = Dice::of(&[self.plan.seed, 3, number]);
        let busy = self.plan.load && club == 0;
        let limits: &[usize] = if busy { &[300, 500, 2_000] } else { &[3, 50, 500, 2_000] };
        let batches: &[usize] = if busy { &[200, 500] } else { &[1, 7, 100, 500] };
        let mut one = |of: &[usize]| of[own.pick(u32::try_from(of.len()).unwrap()) as usize];
        let settings = crate::phone::Settings {
            limit: one(limits),
            batch: self.plan.batch.unwrap_or_else(|| one(batches)),
            gzip: one(&[0, 1]) == 1,
        };
        let store = Store::memory(&Uuid::now_v7().to_string());
        let mut phone = Phone::open(&store);
        phone.settings = settings.clone();
        // Some keep what is recent alone; the phones of admins are what others are judged by.
        let history_from = (person > 0 && number % 3 == 1).then(|| self.today() - chrono::Duration::days(8));
        if let Some(day) = history_from {
            phone.keep_from(day);
        }
        let ahead = clock_of(self.plan.clocks, number, 0);
        self.devices.push(Device {
            club,
            person,
            token,
            store,
            phone: Some(phone),
            running: None,
            settings,
            keeps: (history_from, None),
            ahead,
            kept: Vec::new(),
            tokens: Vec::new(),
            planted: None,
        });
    }

    /// The groups, athletes, sessions and things that a club begins with, from the admin's phone.
    async fn stock(&mut self, club: usize, groups: &[Uuid]) {
        let device = self.devices.len() - 1;
        let today = self.today();
        let mut phone = self.devices[device].phone.take().unwrap();
        for (at, group) in groups.iter().enumerate() {
            phone.record("group", *group, json!({"name": format!("Group {at}")}));
        }
        let athletes = if self.plan.load && club == 0 { 30 } else { 12 };
        for at in 0..athletes {
            let id = self.id();
            phone.record("athlete", id, super::work::athlete(&format!("Athlete {at}"), &[groups[at % 3]]));
        }
        for at in 0..6_u32 {
            let id = self.id();
            let day = today - chrono::Duration::days(i64::from(at) * 3);
            let of = [groups[at as usize % 3], groups[(at as usize + 1) % 3]];
            phone.record("session", id, json!({"held_on": day, "state": "held", "group_ids": of}));
        }
        let venue = self.id();
        phone.record("venue", venue, super::work::venue("Park", 4));
        self.devices[device].phone = Some(phone);
        self.run_alone(device).await;
    }

    pub fn today(&self) -> chrono::NaiveDate {
        // The service's own clock decides which days are ahead, so records stay on real days.
        chrono::DateTime::from_timestamp(self.start, 0).unwrap().date_naive()
    }

    /// The clock of a phone, milliseconds since 1970.
    pub fn clock(&self, device: usize) -> i64 {
        self.service.date.get() * 1_000 + self.devices[device].ahead
    }

    /// A phone's clock jumps.
    pub fn jump(&mut self, device: usize) {
        self.ids += 1;
        self.devices[device].ahead = clock_of(self.plan.clocks, device as u64, self.ids);
    }

    /// A phone begins its loop; it stops at its first request.
    pub async fn start_sync(&mut self, device: usize, kill_after: Option<u32>) {
        let now = self.clock(device);
        let Some(mut phone) = self.devices[device].phone.take() else { return };
        let Device { tokens, planted, .. } = &mut self.devices[device];
        match phone.token() {
            Some(token) if tokens.last() == Some(&token) || *planted == Some(token.clone()) => {}
            Some(token) => tokens.push(token),
            None => tokens.clear(),
        }
        if let Some(steps) = kill_after {
            phone.kill_after(steps);
        }
        let (say, events) = mpsc::unbounded_channel();
        tokio::task::spawn_local(async move {
            let mut link = async |request: Request| -> Result<Reply, Lost> {
                let (answer, wait) = oneshot::channel();
                say.send(Event::Asked(request, answer)).ok();
                wait.await.unwrap_or(Err(Lost))
            };
            let outcome = phone.sync(&mut link, now).await;
            say.send(Event::Ended(Box::new(phone), outcome)).ok();
        });
        self.devices[device].running = Some(Running { events, asked: None });
        self.next(device).await;
    }

    /// Waits until a running phone asks again or ends.
    pub async fn next(&mut self, device: usize) {
        let Some(running) = &mut self.devices[device].running else { return };
        match running.events.recv().await.unwrap() {
            Event::Asked(request, answer) => {
                running.asked = Some((request, answer));
                self.queue.push_back(device);
            }
            Event::Ended(phone, outcome) => {
                let device = &mut self.devices[device];
                device.running = None;
                device.phone = Some(match outcome {
                    Ok(_) => *phone,
                    Err(Killed) => {
                        self.figures.fault("killed");
                        drop(phone);
                        let mut phone = Phone::open(&device.store);
                        phone.settings = device.settings.clone();
                        phone
                    }
                });
            }
        }
    }

    /// A round of one phone over a good network, with nobody in between.
    pub async fn run_alone(&mut self, device: usize) {
        self.start_sync(device, None).await;
        while let Some(running) = &mut self.devices[device].running {
            let (request, answer) = running.asked.take().unwrap();
            self.queue.retain(|one| *one != device);
            let reply = self.ask(device, &request).await;
            answer.send(Ok(reply)).ok();
            self.next(device).await;
        }
    }
}

/// How far a phone's clock is ahead, milliseconds: right, a little wrong, or up to ten years.
#[allow(clippy::cast_possible_truncation)] // ten years
fn clock_of(clocks: u64, device: u64, jump: u64) -> i64 {
    let mut dice = Dice::of(&[clocks, 4, device, jump]);
    let years = 10.0 * 365.0 * 86_400_000.0;
    let ahead = match dice.pick(3) {
        0 => 0.0,
        1 => dice.between(-90_000.0, 90_000.0),
        _ => dice.between(-years, years),
    };
    ahead as i64
}
