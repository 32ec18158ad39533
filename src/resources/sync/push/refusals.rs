//! Refused items of a push: each is written down, so that it is answered alike when it comes again.

use serde_json::{Map, Value};
use uuid::Uuid;

use super::{Verdict, Work};
use crate::platform::db::ClubTx;
use crate::platform::ids;
use crate::platform::ops::{Done, Op};
use crate::platform::problem::{Code, Problem};
use crate::resources::sync::deleted_store;
use crate::resources::sync::items::{self, Kind, Parsed};
use crate::resources::sync::push_store::{self as store, Given, Refusal};

/// Puts what is stored beside a refusal that it is the reason of, the first time and whenever the edit comes again.
///
/// # Errors
/// Database errors.
pub(super) async fn beside_stored(tx: &mut ClubTx, kind: Kind, op: &Op, problem: Problem) -> Result<Problem, Problem> {
    let stands_against_it = match problem.code() {
        Code::Stale => true,
        // An id that is taken; what is in use says its problem.
        Code::Conflict => op.if_none_match,
        _ => false,
    };
    if !stands_against_it {
        return Ok(problem);
    }
    let current = items::current(tx, kind, items::record(kind, op).id).await?;
    Ok(current.into_iter().fold(problem, Problem::with_current))
}

/// What an item is answered whose operation came before.
///
/// # Errors
/// Database errors.
pub(super) async fn answered(tx: &mut ClubTx, kind: Kind, op: &Op, given: &Given) -> Result<Verdict, Problem> {
    if given.digest != items::digest(kind, op) {
        let detail = "This op_id was used for another item. Give each item its own.";
        return Ok(Verdict::Refused(Problem::new(Code::Conflict, detail)));
    }
    let Some(answer) = &given.answer else {
        return Ok(Verdict::Done(Done::answered(given.status, given.rev)));
    };
    Ok(Verdict::Again(beside_stored(tx, kind, op, Problem::kept(answer)).await?))
}

impl Work<'_> {
    /// Refuses an edit; the values of one of a deleted record are kept.
    pub(super) async fn refuse(
        &self,
        tx: &mut ClubTx,
        item: &Parsed,
        kind: Kind,
        op: &Op,
        problem: Problem,
    ) -> Result<Verdict, Problem> {
        if problem.code() == Code::NotFound && deleted_store::told(tx, kind.word(), item.id).await? {
            // What was said about a person goes with the person.
            let data = if kind.is_personal() { Value::Object(Map::new()) } else { Value::Object(op.data.clone()) };
            let about = (item.op_id, kind.word(), item.id);
            store::keep_refused(tx, about, ("deleted", op.base_rev.or(op.if_match)), data).await?;
            return self.refused(tx, item.op_id, Problem::gone()).await;
        }
        let problem = beside_stored(tx, kind, op, problem).await?;
        self.refused(tx, item.op_id, problem).await
    }

    /// Refuses a fact that is broken as things stand: what stands against it may be gone when the push is delivered once more.
    pub(super) async fn refuse_fact(
        &self,
        tx: &mut ClubTx,
        item: &Parsed,
        problem: Problem,
    ) -> Result<Verdict, Problem> {
        let Ok((kind, op)) = &item.parsed else { return Ok(Verdict::Refused(problem)) };
        // What is gone stays gone by itself.
        if problem.code() != Code::Invalid {
            return Ok(Verdict::Refused(problem));
        }
        store::claim(tx, item.op_id, &items::digest(*kind, op), items::record(*kind, op)).await?;
        self.keep(tx, item.op_id, problem, ids::named(&op.data, "athlete_id")).await
    }

    /// Refuses an edit and writes it down: the same is answered alike however late it comes, and never carried out then.
    pub(super) async fn refused(&self, tx: &mut ClubTx, op_id: Uuid, problem: Problem) -> Result<Verdict, Problem> {
        self.keep(tx, op_id, problem, None).await
    }

    /// Writes a refusal down. Of somebody who left no more than a number: nothing grows without end with what they send.
    async fn keep(
        &self,
        tx: &mut ClubTx,
        op_id: Uuid,
        problem: Problem,
        athlete: Option<Uuid>,
    ) -> Result<Verdict, Problem> {
        let former = self.who.role.is_none();
        if former && !store::take_room(tx).await? {
            store::unclaim(tx, op_id).await?;
        } else {
            let refusal = Refusal { status: problem.status(), answer: problem.to_keep(), athlete, former };
            store::refuse(tx, op_id, refusal).await?;
        }
        Ok(Verdict::Refused(problem))
    }
}
