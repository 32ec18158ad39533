//! Corrections of recorded facts: which one stands, and what becomes of a second one.

use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value};
use uuid::Uuid;

use super::batch::{Decision, Item};
use super::body;
use super::db::{ClubTx, StoreError};
use super::fault_code::FaultCode;
use super::holding::{CORRECTED, Held, NewHeld, decided, full, held, hold, take_room, taken, words};
use super::ids;
use super::problem::{Code, Problem};

/// A correction that stands.
#[derive(Clone, Copy, Debug)]
pub struct Standing {
    /// The correction.
    pub id: Uuid,
    /// Who recorded it; none when that is not kept.
    pub by: Option<Uuid>,
}

/// The last correction of a fact of a type, one after the other; none when it was not corrected.
///
/// # Errors
/// Database errors.
pub async fn standing(tx: &mut ClubTx, kind: &str, corrected: Uuid) -> Result<Option<Standing>, StoreError> {
    let club = tx.club.0;
    let (mut at, mut last) = (corrected, None);
    loop {
        let next = sqlx::query_as!(
            Standing,
            r#"
            select t.id as "id!", t.by
            from (
              select id, recorded_by as by from runs where $3 = 'run' and club_id = $1 and supersedes = $2
              union all
              select id, recorded_by from assessments where $3 = 'assessment' and club_id = $1 and supersedes = $2
              union all
              select id, recorded_by from race_results where $3 = 'race_result' and club_id = $1 and supersedes = $2
              union all
              select id, recorded_by
              from wellbeing_records where $3 = 'wellbeing_record' and club_id = $1 and supersedes = $2
            ) t
            "#,
            club,
            at,
            kind
        )
        .fetch_optional(tx.conn())
        .await?;
        let Some(next) = next else { return Ok(last) };
        (at, last) = (next.id, Some(next));
    }
}

/// The field that names what somebody else corrected, when a fact is refused for that and nothing worse.
pub fn field(problem: &Problem) -> Option<&'static str> {
    let pointers = || problem.faults().iter().flat_map(|one| &one.pointer);
    let of = |field: &'static str| pointers().any(|pointer| pointer.ends_with(field)).then_some(&field[1..]);
    if !problem.faults().iter().all(|fault| fault.is(FaultCode::Superseded)) {
        return None;
    }
    of("/supersedes").or_else(|| of("/clears"))
}

/// Holds what of a batch corrects or clears a fact that somebody else corrected meanwhile, as a push does: it is refused
/// for nothing else, and what was recorded is kept. What the items say of it follows from it.
///
/// # Errors
/// Database errors.
pub async fn hold_second<T, F: Serialize + DeserializeOwned>(
    tx: &mut ClubTx,
    kind: &'static str,
    (items, decisions): (&mut [Item<T>], &mut [Decision]),
    sent: &[F],
    place: &[(&str, Uuid)],
) -> Result<(), Problem> {
    for ((item, decision), sent) in items.iter_mut().zip(decisions).zip(sent) {
        let field = match &item.value {
            Err(problem) => field(problem),
            // It may have been filed as a correction of what stood then.
            Ok(_) if *decision == Decision::Clash => Some("supersedes"),
            Ok(_) => None,
        };
        let Some(field) = field else { continue };
        let Ok(Value::Object(mut data)) = serde_json::to_value(sent) else { continue };
        data.remove("id");
        data.extend(place.iter().map(|(name, id)| ((*name).to_owned(), Value::String(id.to_string()))));
        let Some(corrected) = ids::named(&data, field) else { continue };
        if let Some(before) = held(tx, kind, &[item.id]).await?.remove(&item.id) {
            let same = is_same::<F>(&before, item.id, &data, place);
            match before.outcome.as_deref() {
                Some("accepted") if same => *decision = Decision::Unchanged(None),
                _ if same => {
                    let faults = item.value.as_ref().err().map(|problem| problem.faults().to_vec());
                    item.value = Err(decided(&before).with_faults(faults.unwrap_or_default()));
                }
                _ => item.value = Err(taken()),
            }
            continue;
        }
        let Err(problem) = &item.value else { continue };
        let Some(stands) = standing(tx, kind, corrected).await? else { continue };
        // A route knows no phone: what it holds is counted for none.
        let device = Uuid::nil();
        if !take_room(tx, device, false).await? {
            item.value = Err(full());
            continue;
        }
        let faults = problem.faults().to_vec();
        let new = NewHeld {
            id: item.id,
            kind,
            op_id: item.id,
            device,
            data: &data,
            reason: CORRECTED,
            faults: &faults,
            taken: false,
            rival: stands.by,
        };
        hold(tx, &new).await?;
        item.value = Err(Problem::new(Code::Held, words(CORRECTED)).with_faults(faults));
    }
    Ok(())
}

/// Whether a batch says of a fact what is held of it, whichever of its defaults were spelt out.
fn is_same<F: Serialize + DeserializeOwned>(
    before: &Held,
    id: Uuid,
    data: &Map<String, Value>,
    place: &[(&str, Uuid)],
) -> bool {
    let id = Value::String(id.to_string());
    let held = before.data.as_object().into_iter().flatten();
    let fields = held.filter(|(name, _)| !place.iter().any(|(other, _)| other == name));
    let fields = fields.map(|(name, value)| (name.as_str(), value)).chain([("id", &id)]);
    let Some(Value::Object(mut same)) =
        body::from_fields::<F>(fields).ok().and_then(|one| serde_json::to_value(one).ok())
    else {
        return false;
    };
    same.remove("id");
    same.extend(place.iter().map(|(name, id)| ((*name).to_owned(), Value::String(id.to_string()))));
    same == *data
}
