//! Lane plans as phones carry them.

use std::collections::HashSet;

use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::http::view;
use super::shapes::{Content, Request};
use super::store::{self, Plan};
use crate::compute::decision::Caution;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::fault::Faults;
use crate::platform::grants;
use crate::platform::ids::{EquipmentId, LanePlanId, SessionId};
use crate::platform::ops::Editable;
use crate::platform::problem::Problem;
use crate::platform::record::Record;
use crate::resources::advice::CautionView;

/// The records of these ids that are there.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx, ids: &[Uuid]) -> Result<Vec<Record>, StoreError> {
    let found = store::by_ids(tx, ids).await?;
    found.iter().map(|one| Record::of(one.id, one.rev, &view(one)?)).collect()
}

/// A lane plan as phones send it: a computed one, with athletes moved by hand.
#[derive(Debug, Deserialize, Serialize)]
pub struct Fields {
    session_id: SessionId,
    request: Request,
    #[serde(flatten)]
    content: Content,
}

/// Edits of lane plans.
#[derive(Debug)]
pub struct Edits;

impl Editable for Edits {
    type Value = Plan;
    type Fields = Fields;
    const WHAT: &'static str = "lane plan";

    async fn find(tx: &mut ClubTx, id: Uuid) -> Result<Option<(i64, Plan)>, Problem> {
        let Some(found) = store::by_ids(tx, &[id]).await?.pop() else { return Ok(None) };
        let seen = store::session(tx, found.value.session).await?.is_some();
        Ok(seen.then_some((found.rev, found.value)))
    }

    fn fields(value: &Plan) -> Result<Fields, Problem> {
        let corrupt = |_| StoreError::Corrupt("lane plan");
        Ok(Fields {
            session_id: value.session,
            request: serde_json::from_value(value.request.clone()).map_err(corrupt)?,
            content: serde_json::from_value(value.content.clone()).map_err(corrupt)?,
        })
    }

    async fn parse(tx: &mut ClubTx, fields: Fields, before: Option<&Plan>) -> Result<Plan, Problem> {
        let Fields { session_id, mut request, mut content } = fields;
        let mut faults = Faults::new();
        if store::session(tx, session_id).await?.is_none() {
            faults.add("/session_id", "unknown_id", "there is no such session for your groups");
        }
        if before.is_some_and(|plan| plan.session != session_id) {
            faults.add("/session_id", "other_session", "a plan stays with its session");
        }
        if !(1..=12).contains(&content.lanes.len()) {
            faults.add("/lanes", "length", "must have 1 to 12 lanes");
        }
        let everybody: Vec<Uuid> = content
            .lanes
            .iter()
            .flat_map(|lane| lane.athletes.iter().map(|one| one.athlete_id.0))
            .chain(content.resting.iter().map(|one| one.athlete_id.0))
            .collect();
        let seen = grants::visible_athletes(tx, &everybody).await?;
        for id in everybody.iter().filter(|id| !seen.contains_key(id)) {
            faults.add("/lanes", "unknown_id", format!("there is no athlete {id} in your groups"));
        }
        unknown_equipment(tx, &content, before, &mut faults).await?;
        faults.finish(Some(()))?;
        let name = |id: Uuid| seen.get(&id).map(|one| one.display_name.clone()).unwrap_or_default();
        for one in content.lanes.iter_mut().flat_map(|lane| &mut lane.athletes) {
            one.display_name = name(one.athlete_id.0);
            one.standing = None;
        }
        for one in &mut content.resting {
            one.display_name = name(one.athlete_id.0);
        }
        // Whoever moved athletes by hand has proved nothing; and the cautions stand beside every plan.
        content.proven_optimal = false;
        content.alternatives.clear();
        content.cautions = Caution::BASE.iter().map(CautionView::from).collect();
        request.id = None;
        let corrupt = |_| StoreError::Corrupt("lane plan");
        Ok(Plan {
            session: session_id,
            request: serde_json::to_value(request).map_err(corrupt)?,
            content: serde_json::to_value(content).map_err(corrupt)?,
        })
    }

    async fn insert(tx: &mut ClubTx, id: Uuid, value: &Plan) -> Result<bool, Problem> {
        Ok(store::insert(tx, LanePlanId(id), value).await?)
    }

    async fn save(tx: &mut ClubTx, id: Uuid, value: &Plan, _: &Plan) -> Result<(), Problem> {
        Ok(store::save(tx, LanePlanId(id), value).await?)
    }

    async fn remove(tx: &mut ClubTx, id: Uuid, before: &Plan) -> Result<(), Problem> {
        Ok(store::remove(tx, before.session, LanePlanId(id)).await?)
    }
}

/// Names barriers that the club does not have; those that the plan already took may have been given away since.
async fn unknown_equipment(
    tx: &mut ClubTx,
    content: &Content,
    before: Option<&Plan>,
    faults: &mut Faults,
) -> Result<(), StoreError> {
    let mut known: HashSet<EquipmentId> = store::equipment(tx).await?.iter().map(|one| EquipmentId(one.id)).collect();
    let earlier = before.and_then(|plan| serde_json::from_value::<Content>(plan.content.clone()).ok());
    known.extend(earlier.iter().flat_map(|content| &content.stock_used).map(|one| one.equipment_id));
    for (at, one) in content.stock_used.iter().enumerate().filter(|(_, one)| !known.contains(&one.equipment_id)) {
        let pointer = format!("/stock_used/{at}/equipment_id");
        faults.add(pointer, "unknown_id", format!("there is no equipment {} in the club", one.equipment_id));
    }
    Ok(())
}
