//! One seed from its first item to the last check.

use std::rc::Rc;

use tokio::task::LocalSet;

use super::figures::Figures;
use super::service::Service;
use super::world::{Plan, World};
use crate::phone::Request;

/// Rounds after which every outbox must be empty and every copy complete.
const ROUNDS: u32 = 4;

/// Names the seed when the proof fails.
struct Seed(Plan);

impl Drop for Seed {
    fn drop(&mut self) {
        if std::thread::panicking() {
            eprintln!("the simulated network fails with {:?}", self.0);
        }
    }
}

/// Runs a plan on a service; what was counted, and the world as it is at the end.
pub async fn run(service: Rc<Service>, plan: Plan) -> World {
    let named = Seed(plan);
    let mut world = World::new(service, plan).await;
    world.figures.seeds = 1;
    // Somebody else's transaction stays open all the while: nothing may wait for it, nothing may be held back by it.
    let mut foreign = world.service.pool.begin().await.unwrap();
    sqlx::raw_sql("set transaction isolation level repeatable read; select pg_current_xact_id()")
        .execute(&mut *foreign)
        .await
        .unwrap();
    world.figures.fault("long foreign transaction");
    let mut analysed = 0;
    while world.figures.operations() < plan.operations {
        world.tick().await;
        // A server analyses its tables by itself; the throw-away one does not, and its plans stay those of empty tables.
        if world.figures.operations() >= analysed + 2_000 {
            analysed = world.figures.operations();
            sqlx::raw_sql("analyze").execute(&world.service.pool).await.unwrap();
        }
    }
    world.drain().await;
    world.check_replicas().await;
    world.check_ledgers().await;
    foreign.rollback().await.unwrap();
    drop(named);
    world
}

/// The same in a runtime of its own.
pub async fn figures(service: Rc<Service>, plan: Plan) -> Figures {
    LocalSet::new().run_until(async { run(service, plan).await.figures }).await
}

impl World {
    /// Something happens somewhere.
    async fn tick(&mut self) {
        let pause = if self.dice.chance(0.01) { 3 * 86_400 } else { 600 };
        self.service.date.set(self.service.date.get() + i64::from(self.dice.pick(pause)));
        self.deliver_late(false).await;
        let waiting = u32::try_from(self.queue.len()).unwrap();
        if waiting > 1 && self.plan.parallel && self.dice.chance(0.3) {
            return self.serve_together().await;
        }
        if waiting > 0 && self.dice.chance(0.75) {
            let at = if self.dice.chance(0.3) { self.dice.pick(waiting) as usize } else { 0 };
            return self.serve(at).await;
        }
        let load = if self.plan.load && self.dice.chance(0.6) { 5 } else { u32::try_from(self.devices.len()).unwrap() };
        let device = self.dice.pick(load) as usize;
        match self.dice.pick(100) {
            0..5 => {
                let club = self.devices[device].club;
                self.act(club).await;
            }
            5..9 if self.plan.faults => self.prank(device).await,
            9..11 => {
                self.figures.fault("clock jumped");
                self.jump(device);
            }
            11..13 if self.plan.faults => self.carry_other_types(device),
            13 if self.plan.faults && self.plan.load && self.dice.chance(self.rarely()) => self.forget_history().await,
            _ if self.devices[device].running.is_some() => {}
            13..40 => self.work(device),
            _ => {
                self.look_at_parked(device, true);
                let kill = self.plan.faults && self.dice.chance(0.08);
                let steps = kill.then(|| self.dice.pick(60));
                self.start_sync(device, steps).await;
                while !self.plan.interleaved && !self.queue.is_empty() {
                    self.serve(0).await;
                }
            }
        }
    }

    /// How often what costs much happens, when its turn comes: a short form lasts only a few hundred turns.
    fn rarely(&self) -> f64 {
        if self.plan.operations < 10_000 { 0.5 } else { 0.1 }
    }

    /// A token that is edited, somebody else's, or old, or shapes of a version that there is not.
    async fn prank(&mut self, device: usize) {
        // Full copies of the busy club are dear.
        if self.plan.load && self.devices[device].club == 0 && !self.dice.chance(self.rarely()) {
            return;
        }
        let member = |one: usize| (self.devices[one].club, self.devices[one].person);
        let Some(phone) = &self.devices[device].phone else { return };
        let Some(token) = phone.token() else { return };
        let others = (0..self.devices.len()).filter(|other| member(*other) != member(device));
        let others: Vec<String> = others.filter_map(|other| self.devices[other].tokens.last().cloned()).collect();
        let old = self.devices[device].tokens.first().cloned();
        if self.dice.chance(0.25) {
            self.figures.fault("other schema");
            let reply = self.ask(device, &Request::Pull { query: "schema=2".to_owned() }).await;
            assert!((400..500).contains(&reply.status), "a page of a schema that there is not");
            return;
        }
        let (fault, wrong) = match (self.dice.pick(3), old) {
            (0, _) if !others.is_empty() => {
                let at = self.dice.pick(u32::try_from(others.len()).unwrap()) as usize;
                ("foreign token", others[at].clone())
            }
            (1, Some(old)) => ("old token", old),
            _ => {
                let at = 4 + self.dice.pick(u32::try_from(token.len() - 5).unwrap()) as usize;
                let mut bytes = token.into_bytes();
                bytes[at] = if bytes[at] == b'A' { b'Q' } else { b'A' };
                ("edited token", String::from_utf8(bytes).unwrap())
            }
        };
        self.figures.fault(fault);
        if fault != "old token" {
            // I6: never a page.
            let reply = self.ask(device, &Request::Pull { query: format!("sync_token={wrong}") }).await;
            assert!((400..500).contains(&reply.status), "a {fault} gave a page");
        }
        let device = &mut self.devices[device];
        if let Some(phone) = &mut device.phone {
            phone.set_token(&wrong);
            device.planted = Some(wrong);
        }
    }

    /// A phone carries fewer types, or all again.
    fn carry_other_types(&mut self, device: usize) {
        if self.devices[device].person > 0 && self.dice.chance(0.4) {
            return self.carry_other_groups(device);
        }
        self.figures.fault("other types");
        let all = self.dice.chance(0.5);
        // A token from before says of another copy what is in it.
        self.devices[device].tokens.clear();
        if let Some(phone) = &mut self.devices[device].phone {
            phone.carry((!all).then_some(&["group", "athlete", "session", "attendance"]));
        }
    }

    fn carry_other_groups(&mut self, device: usize) {
        self.figures.fault("other groups");
        let chosen = self.dice.pick(8) as usize;
        let device = &mut self.devices[device];
        let Some(phone) = &mut device.phone else { return };
        device.tokens.clear();
        let all = &self.clubs[device.club].groups;
        let some: Vec<_> = (0..3).filter(|at| chosen >> at & 1 == 1).map(|at| all[at]).collect();
        let groups = Some(some).filter(|groups| !groups.is_empty());
        phone.carry_groups(groups.as_deref());
        device.keeps.1 = groups;
    }

    /// A hundred days pass for the busy club's log: what is too old goes, and phones that are behind must copy afresh.
    async fn forget_history(&mut self) {
        self.figures.fault("log compacted");
        let club = self.clubs[0].id;
        let mut tx = self.service.look(club).await;
        sqlx::query("update club_change set at = (at at time zone 'UTC' - interval '100 days') at time zone 'UTC' where club_id = $1")
            .bind(club)
            .execute(&mut *tx)
            .await
            .unwrap();
        tx.commit().await.unwrap();
        lanewright::resources::sync::compact(&self.service.db).await.unwrap();
    }

    /// Admins go through the holding areas: a full one lets phones keep what they have.
    async fn work_off_the_held(&self) {
        for club in &self.clubs {
            let mut tx = self.service.look(club.id).await;
            sqlx::query(
                "update held_item set outcome = 'rejected', decided_at = now(), note = 'late' where club_id = $1 and outcome is null",
            )
            .bind(club.id)
            .execute(&mut *tx)
            .await
            .unwrap();
            tx.commit().await.unwrap();
        }
    }

    /// Faults stop, the last writer returns, and the phones go on until nothing changes.
    async fn drain(&mut self) {
        self.plan.faults = false;
        while !self.queue.is_empty() {
            self.serve(0).await;
        }
        self.deliver_late(true).await;
        for device in &mut self.devices {
            device.kept.clear();
            device.phone.as_mut().unwrap().carry(None);
        }
        let mut rounds = vec![0; self.devices.len()];
        for round in 1..=ROUNDS {
            let mut changed = false;
            self.work_off_the_held().await;
            if self.plan.parallel {
                // A page without changes may be up to a second old.
                tokio::time::sleep(std::time::Duration::from_millis(1_100)).await;
            }
            for (device, last) in rounds.iter_mut().enumerate() {
                self.look_at_parked(device, false);
                let state = |world: &Self| {
                    let phone = world.devices[device].phone.as_ref().unwrap();
                    (phone.waiting(), phone.token())
                };
                let before = state(self);
                self.run_alone(device).await;
                if state(self) != before {
                    (*last, changed) = (round, true);
                }
            }
            if !changed {
                break;
            }
            assert!(round < ROUNDS, "phones do not come to rest");
        }
        for (at, device) in self.devices.iter().enumerate() {
            let phone = device.phone.as_ref().unwrap();
            assert_eq!(phone.waiting(), 0, "phone {at} still has items to hand in");
            self.figures.notes += phone.notes().len() as u64;
        }
        self.figures.rounds = rounds;
    }
}
