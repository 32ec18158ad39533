//! Recorded facts of a push: filed, or held for an admin.

use std::collections::HashMap;

use serde_json::{Map, Value};
use uuid::Uuid;

use super::refusals::answered;
use super::{Verdict, Work, waiting};
use crate::platform::corrections;
use crate::platform::db::ClubTx;
use crate::platform::fault::Fault;
use crate::platform::fault_code::FaultCode;
use crate::platform::grants;
use crate::platform::holding::{self, CORRECTED, Held, NewHeld, State};
use crate::platform::ids;
use crate::platform::ops::{self, Done, Fact};
use crate::platform::problem::{Code, Problem};
use crate::resources::sync::admin_store::decide;
use crate::resources::sync::items::{self, Kind, Parsed};
use crate::resources::sync::model::Type;
use crate::resources::sync::push_store as store;
use crate::resources::sync::{bodies, deleted_store};

/// The athlete whom a fact is about, when they were deleted.
async fn about_erased(tx: &mut ClubTx, data: &Map<String, Value>) -> Result<Option<Uuid>, Problem> {
    let Some(athlete) = ids::named(data, "athlete_id") else { return Ok(None) };
    Ok(grants::erased(tx, &[athlete]).await?.pop())
}

impl Work<'_> {
    pub(super) async fn facts(
        &self,
        tx: &mut ClubTx,
        from: usize,
        to: usize,
    ) -> Result<Vec<(usize, Verdict)>, Problem> {
        let items: Vec<(usize, &Parsed)> = self.items.iter().enumerate().take(to).skip(from).collect();
        let ids: Vec<Uuid> = items.iter().map(|(_, item)| item.id).collect();
        // They are of one type.
        let kind = items.first().and_then(|(_, item)| item.parsed.as_ref().ok()).map_or("", |(kind, _)| kind.word());
        let ops: Vec<Uuid> = items.iter().map(|(_, item)| item.op_id).collect();
        let before = store::given(tx, &ops).await?;
        let held = holding::held(tx, kind, &ids).await?;
        let (given, items): (Vec<_>, Vec<_>) =
            items.into_iter().partition(|(_, item)| before.contains_key(&item.op_id));
        let (known, new): (Vec<_>, Vec<_>) = items.into_iter().partition(|(_, item)| held.contains_key(&item.id));
        let mut verdicts = Vec::with_capacity(to - from);
        let filed = items::file(tx, &new).await?;
        for ((at, item), fact) in new.into_iter().zip(filed) {
            verdicts.push((at, self.judge(tx, at, item, fact).await?));
        }
        for (at, item) in known {
            verdicts.push((at, self.known(tx, item, &held).await?));
        }
        for (at, item) in given {
            if let (Some(given), Ok((kind, op))) = (before.get(&item.op_id), &item.parsed) {
                verdicts.push((at, answered(tx, *kind, op, given).await?));
            }
        }
        verdicts.sort_by_key(|(at, _)| *at);
        Ok(verdicts)
    }

    /// One fact that is not filed in bulk.
    pub(super) async fn fact(&self, tx: &mut ClubTx, at: usize, item: &Parsed, kind: Kind) -> Result<Verdict, Problem> {
        let Ok((_, op)) = &item.parsed else { return Ok(Verdict::Refused(Problem::gone())) };
        if let Some(given) = store::given(tx, &[item.op_id]).await?.get(&item.op_id) {
            return answered(tx, kind, op, given).await;
        }
        let held = holding::held(tx, kind.word(), &[item.id]).await?;
        if !held.is_empty() {
            return self.known(tx, item, &held).await;
        }
        let mut barred = kind.barred(&self.who);
        if barred.is_some() && self.knows(tx, kind, item.id).await? {
            barred = None;
        }
        let mark = tx.mark().await?;
        let fact = match items::file(tx, &[(at, item)]).await {
            Err(problem) if problem.status() >= 500 || problem.was_undone() => return Err(problem),
            Err(problem) => {
                tx.back_to(mark).await?;
                return self.refuse_fact(tx, item, problem).await;
            }
            Ok(mut facts) => facts.pop().unwrap_or_else(|| Fact::Refused(Problem::gone())),
        };
        let Some(reason) = barred else {
            // An insert that found its id taken has noted a change that there is not.
            if !matches!(&fact, Fact::Stored(done) if !done.replayed) {
                tx.back_to(mark).await?;
            }
            return self.judge(tx, at, item, fact).await;
        };
        // Only tried: they may not file it. But what is broken is broken, whoever sends it.
        tx.back_to(mark).await?;
        match fact {
            Fact::Refused(problem) if !ops::can_be_held(&problem) => self.refuse_fact(tx, item, problem).await,
            _ => self.hold(tx, item, reason, Problem::new(Code::Forbidden, reason)).await,
        }
    }

    /// Whether an id is that of a stored fact, whoever may learn of it.
    async fn is_taken(&self, tx: &mut ClubTx, kind: Kind, id: Uuid) -> Result<bool, Problem> {
        let Kind::Record(kind) = kind else { return Ok(false) };
        Ok(!bodies::origins(tx, kind, id).await?.is_empty())
    }

    /// Whether a fact is stored that the recorder may learn of.
    async fn knows(&self, tx: &mut ClubTx, kind: Kind, id: Uuid) -> Result<bool, Problem> {
        let Kind::Record(kind) = kind else { return Ok(false) };
        Ok(bodies::knows(tx, kind, id).await?)
    }

    /// A fact that came to the holding area before.
    pub(super) async fn known(
        &self,
        tx: &mut ClubTx,
        item: &Parsed,
        held: &HashMap<Uuid, Held>,
    ) -> Result<Verdict, Problem> {
        let Some(before) = held.get(&item.id) else { return Ok(Verdict::Refused(Problem::gone())) };
        let Ok((kind, op)) = &item.parsed else { return Ok(Verdict::Refused(Problem::gone())) };
        let mut sent = op.data.clone();
        if before.data != Value::Object(sent.clone()) && about_erased(tx, &op.data).await?.is_some() {
            // What was said about a deleted athlete is gone; a repeat of it is still the same fact.
            sent.retain(|name, _| !["note", "reason"].contains(&name.as_str()));
        }
        if before.data != Value::Object(sent) {
            return Ok(Verdict::Refused(holding::taken()));
        }
        if before.outcome.as_deref() == Some("accepted") {
            // Filed, and deleted since.
            let rev = store::rev(tx, kind.word(), before.id).await?;
            return Ok(rev.map_or_else(|| Verdict::Refused(Problem::gone()), |rev| Verdict::Done(Done::before(rev))));
        }
        let mut problem = holding::decided(before);
        if before.outcome.is_none() && before.reason == CORRECTED {
            problem = self.beside(tx, *kind, &op.data, problem).await?.0;
        }
        Ok(Verdict::Held(problem, State::from(before)))
    }

    /// Puts the correction that stands beside a second one, when its recorder may see it; and says who recorded it.
    async fn beside(
        &self,
        tx: &mut ClubTx,
        kind: Kind,
        data: &Map<String, Value>,
        problem: Problem,
    ) -> Result<(Problem, Option<Uuid>), Problem> {
        for field in ["supersedes", "clears"] {
            let Some(corrected) = ids::named(data, field) else { continue };
            let Some(stands) = corrections::standing(tx, kind.word(), corrected).await? else { continue };
            let current = items::current(tx, kind, stands.id).await?;
            return Ok((current.into_iter().fold(problem, Problem::with_current), stands.by));
        }
        Ok((problem, None))
    }

    pub(super) async fn judge(
        &self,
        tx: &mut ClubTx,
        at: usize,
        item: &Parsed,
        fact: Fact,
    ) -> Result<Verdict, Problem> {
        match fact {
            Fact::Stored(done) => Ok(Verdict::Done(done)),
            Fact::Clash => {
                let detail =
                    "This id is already used by a record with other content. Send a correction that supersedes it.";
                let problem = Problem::new(Code::Conflict, detail);
                let Ok((kind, _)) = &item.parsed else { return Ok(Verdict::Refused(problem)) };
                let current = items::current(tx, *kind, item.id).await?;
                Ok(Verdict::Refused(match current {
                    Some(current) => problem.with_current(current),
                    None => problem,
                }))
            }
            // Its recorder must not learn that the id is taken: it waits for an admin, who files it under an id of its own,
            // and is answered in the words of any fact that belongs to what is hidden.
            Fact::Hidden => self.hold(tx, item, "reference", Problem::new(Code::Held, "")).await,
            Fact::Refused(problem) if ops::can_be_held(&problem) && self.too_early(at) => {
                Ok(Verdict::Refused(waiting()))
            }
            Fact::Refused(problem) if ops::can_be_held(&problem) => {
                let reference = problem.faults().iter().any(|fault| fault.is(FaultCode::UnknownId));
                let reason = match corrections::field(&problem) {
                    Some(_) => CORRECTED,
                    None if reference => "reference",
                    None => "clock",
                };
                self.hold(tx, item, reason, problem).await
            }
            Fact::Refused(problem) => self.refuse_fact(tx, item, problem).await,
        }
    }

    /// Files what this phone recorded before the record that it belongs to came, as if it had been sent after it.
    ///
    /// Only what the same member sent from the same phone: they could send it again now and it would be filed. Whatever
    /// else is held waits for an admin.
    pub(super) async fn release(&self, tx: &mut ClubTx, record: (Kind, Uuid)) -> Result<(), Problem> {
        let mut records = vec![record];
        while let Some((kind, id)) = records.pop() {
            for held in store::waiting_for(tx, self.device, kind.word(), id).await? {
                let item = Parsed::held(held.id, &held.kind, held.data);
                let Ok((kind, _)) = &item.parsed else { continue };
                if kind.barred(&self.who).is_some() {
                    continue;
                }
                let skew = std::mem::replace(&mut tx.skew_ms, held.skew_ms);
                let filed = items::file(tx, &[(0, &item)]).await?.pop();
                tx.skew_ms = skew;
                if matches!(filed, Some(Fact::Stored(_))) {
                    decide(tx, (&held.kind, held.id), self.who.actor.account.0, "accepted", None).await?;
                    records.push((*kind, held.id));
                }
            }
        }
        Ok(())
    }

    pub(super) async fn hold(
        &self,
        tx: &mut ClubTx,
        item: &Parsed,
        reason: &'static str,
        problem: Problem,
    ) -> Result<Verdict, Problem> {
        let Ok((kind, op)) = &item.parsed else { return Ok(Verdict::Refused(problem)) };
        // A repeat of what was stored and then deleted is nothing to decide on; of the facts only these can be deleted.
        if *kind == Kind::Record(Type::Measurement) && deleted_store::told(tx, kind.word(), item.id).await? {
            return Ok(Verdict::Refused(Problem::gone()));
        }
        if let Some(athlete) = about_erased(tx, &op.data).await? {
            return self.erased(tx, athlete, reason, &problem).await;
        }
        if !holding::take_room(tx, self.device, self.who.role.is_none()).await? {
            return Ok(Verdict::Refused(holding::full()));
        }
        let held = Problem::new(Code::Held, holding::words(reason)).with_faults(problem.faults().to_vec());
        let (held, rival) =
            if reason == CORRECTED { self.beside(tx, *kind, &op.data, held).await? } else { (held, None) };
        let taken = self.is_taken(tx, *kind, item.id).await?;
        let new = NewHeld {
            id: item.id,
            kind: kind.word(),
            op_id: item.op_id,
            device: self.device,
            data: &op.data,
            reason,
            faults: problem.faults(),
            taken,
            rival,
        };
        holding::hold(tx, &new).await?;
        Ok(Verdict::Held(held, State::open(reason)))
    }

    /// Nothing about an athlete who was deleted is kept. Whoever never heard of them is answered as about anybody whom they do
    /// not see.
    async fn erased(
        &self,
        tx: &mut ClubTx,
        athlete: Uuid,
        reason: &'static str,
        problem: &Problem,
    ) -> Result<Verdict, Problem> {
        if deleted_store::told(tx, Type::Athlete.as_str(), athlete).await? {
            let detail = "was deleted, and nothing about them is kept: drop this, and whatever else names them";
            let fault = Fault::at("/athlete_id", "erased", detail);
            let problem = Problem::new(Code::Gone, "This is about an athlete who was deleted; it was not stored.");
            return Ok(Verdict::Refused(problem.with_faults(vec![fault])));
        }
        let held = Problem::new(Code::Held, holding::words(reason)).with_faults(problem.faults().to_vec());
        Ok(Verdict::Held(held, State::open(reason)))
    }
}
