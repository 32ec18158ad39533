//! Refused edits of a push: each is written down, so that it is answered alike when it comes again.

use serde_json::{Map, Value};
use uuid::Uuid;

use super::{Verdict, Work};
use crate::platform::db::ClubTx;
use crate::platform::ops::Op;
use crate::platform::problem::{Code, Problem};
use crate::resources::sync::deleted_store;
use crate::resources::sync::items::{self, Kind, Parsed};
use crate::resources::sync::push_store as store;

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

    /// Refuses an edit and writes it down: the same is answered alike however late it comes, and never carried out then.
    pub(super) async fn refused(&self, tx: &mut ClubTx, op_id: Uuid, problem: Problem) -> Result<Verdict, Problem> {
        if self.who.role.is_none() {
            // All edits of somebody who left are refused: nothing grows with what they send.
            store::unclaim(tx, op_id).await?;
        } else {
            store::refuse(tx, op_id, problem.status(), problem.to_keep()).await?;
        }
        Ok(Verdict::Refused(problem))
    }
}
