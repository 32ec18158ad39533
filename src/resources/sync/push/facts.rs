//! Recorded facts of a push: filed, or held for an admin.

use std::collections::HashMap;

use serde_json::Value;
use uuid::Uuid;

use super::{Verdict, Work, waiting};
use crate::platform::db::ClubTx;
use crate::platform::ops::{self, Done, Fact};
use crate::platform::problem::{Code, Problem};
use crate::resources::sync::admin_store::decide;
use crate::resources::sync::items::{self, Kind, Parsed};
use crate::resources::sync::model::Type;
use crate::resources::sync::push_store::{self as store, NewHeld};

impl Work<'_> {
    pub(super) async fn facts(
        &self,
        tx: &mut ClubTx,
        from: usize,
        to: usize,
    ) -> Result<Vec<(usize, Verdict)>, Problem> {
        let items: Vec<(usize, &Parsed)> = self.items.iter().enumerate().take(to).skip(from).collect();
        let ids: Vec<Uuid> = items.iter().map(|(_, item)| item.id).collect();
        let held = store::held(tx, &ids).await?;
        let (known, new): (Vec<_>, Vec<_>) = items.into_iter().partition(|(_, item)| held.contains_key(&item.id));
        let mut verdicts = Vec::with_capacity(to - from);
        let filed = items::file(tx, &new).await?;
        for ((at, item), fact) in new.into_iter().zip(filed) {
            verdicts.push((at, self.judge(tx, at, item, fact).await?));
        }
        for (at, item) in known {
            verdicts.push((at, self.known(tx, item, &held).await?));
        }
        verdicts.sort_by_key(|(at, _)| *at);
        Ok(verdicts)
    }

    /// One fact that is not filed in bulk.
    pub(super) async fn fact(&self, tx: &mut ClubTx, at: usize, item: &Parsed, kind: Kind) -> Result<Verdict, Problem> {
        let held = store::held(tx, &[item.id]).await?;
        if !held.is_empty() {
            return self.known(tx, item, &held).await;
        }
        let mut barred = kind.barred(self.who);
        if barred.is_some() && items::current(tx, kind, item.id).await?.is_some() {
            barred = None;
        }
        let mark = tx.mark().await?;
        let fact = match items::file(tx, &[(at, item)]).await {
            Err(problem) if problem.status() >= 500 || problem.was_undone() => return Err(problem),
            Err(problem) => {
                tx.back_to(mark).await?;
                return Ok(Verdict::Refused(problem));
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
            Fact::Refused(problem) if !ops::can_be_held(&problem) => Ok(Verdict::Refused(problem)),
            _ => self.hold(tx, item, reason, Problem::new(Code::Forbidden, reason)).await,
        }
    }

    /// A fact that came to the holding area before.
    pub(super) async fn known(
        &self,
        tx: &mut ClubTx,
        item: &Parsed,
        held: &HashMap<Uuid, store::Held>,
    ) -> Result<Verdict, Problem> {
        let Some(before) = held.get(&item.id) else { return Ok(Verdict::Refused(Problem::gone())) };
        let Ok((kind, op)) = &item.parsed else { return Ok(Verdict::Refused(Problem::gone())) };
        if before.kind != kind.word() || before.data != Value::Object(op.data.clone()) {
            let detail = "This id is already used by a fact with other content, which is held for an admin.";
            return Ok(Verdict::Refused(Problem::new(Code::Conflict, detail)));
        }
        Ok(match before.outcome.as_deref() {
            Some("accepted") => {
                // Filed, and deleted since.
                let rev = store::rev(tx, item.id).await?;
                rev.map_or_else(|| Verdict::Refused(Problem::gone()), |rev| Verdict::Done(Done::before(rev)))
            }
            Some(_) => {
                let note = before.note.clone().unwrap_or_default();
                Verdict::Held(Problem::new(Code::Held, format!("An admin rejected this: {note}")))
            }
            None => Verdict::Held(Problem::new(Code::Held, "An admin will decide.")),
        })
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
            Fact::Refused(problem) if ops::can_be_held(&problem) && self.too_early(at) => {
                Ok(Verdict::Refused(waiting()))
            }
            Fact::Refused(problem) if ops::can_be_held(&problem) => {
                let clock = problem.faults().iter().all(|fault| fault.code != "unknown_id");
                let reason = if clock { "clock" } else { "reference" };
                self.hold(tx, item, reason, problem).await
            }
            Fact::Refused(problem) => Ok(Verdict::Refused(problem)),
        }
    }

    /// Files what this phone recorded before the record that it belongs to came, as if it had been sent after it.
    ///
    /// Only what the same member sent from the same phone: they could send it again now and it would be filed. Whatever
    /// else is held waits for an admin.
    pub(super) async fn release(&self, tx: &mut ClubTx, record: Uuid) -> Result<(), Problem> {
        let mut records = vec![record];
        while let Some(record) = records.pop() {
            for held in store::waiting_for(tx, self.device, record).await? {
                let item = Parsed::held(held.id, &held.kind, held.data);
                let Ok((kind, _)) = &item.parsed else { continue };
                if kind.barred(self.who).is_some() {
                    continue;
                }
                let skew = std::mem::replace(&mut tx.skew_ms, held.skew_ms);
                let filed = items::file(tx, &[(0, &item)]).await?.pop();
                tx.skew_ms = skew;
                if matches!(filed, Some(Fact::Stored(_))) {
                    decide(tx, held.id, self.who.actor.account.0, "accepted", None).await?;
                    records.push(held.id);
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
        if *kind == Kind::Record(Type::Measurement) && store::is_deleted(tx, item.id).await? {
            return Ok(Verdict::Refused(Problem::gone()));
        }
        let detail = serde_json::to_value(problem.faults()).unwrap_or_default();
        let new = NewHeld {
            id: item.id,
            kind: kind.word(),
            op_id: item.op_id,
            device: self.device,
            data: &op.data,
            reason,
            detail,
        };
        store::hold(tx, &new).await?;
        let words = match reason {
            "left" => "You are no longer a member of the club.",
            "role" => "Your role in the club does not record this.",
            "scope" => "The access token lacks the scope for this.",
            "clock" => "Its time does not fit; the phone's clock may be wrong.",
            _ => "What it belongs to is missing or not yours to see.",
        };
        let detail = format!("{words} It is stored in the holding area; an admin of the club decides.");
        Ok(Verdict::Held(Problem::new(Code::Held, detail).with_faults(problem.faults().to_vec())))
    }
}
