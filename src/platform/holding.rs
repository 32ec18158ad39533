//! The holding area: recorded facts that cannot be filed by themselves, kept until somebody decides.

use std::collections::HashMap;

use chrono::Utc;
use serde::Serialize;
use serde_json::{Map, Value};
use utoipa::ToSchema;
use uuid::Uuid;

use super::db::{ClubTx, StoreError};
use super::fault::Fault;
use super::ids;
use super::problem::{Code, Problem};
use super::words::spelt;

spelt! {
    /// Why a fact is held.
    HeldReason {
        "role": "The recorder's role does not record this.",
        "scope": "The access token lacked the scope.",
        "left": "The recorder had left the club.",
        "reference": "What it belongs to is missing or hidden.",
        "clock": "Its time does not fit; the phone's clock may be wrong.",
        "corrected": "What it corrects or clears was corrected by somebody else."
    }
    /// What became of a held fact.
    HeldOutcome {
        "accepted": "It was filed.",
        "rejected": "It was not filed.",
        "withdrawn": "Who recorded it took it back."
    }
}

/// Why a second correction is held.
pub const CORRECTED: &str = "corrected";

/// A fact in the holding area.
#[derive(Clone, Debug)]
pub struct Held {
    /// The id under which it is held and filed.
    pub id: Uuid,
    /// What was sent.
    pub data: Value,
    /// Why it is held.
    pub reason: String,
    /// What was decided.
    pub outcome: Option<String>,
    /// Why, when not filed.
    pub note: Option<String>,
}

/// Why a fact is held, and what became of it.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = HeldState)]
pub struct State {
    /// Why it is held.
    #[schema(value_type = HeldReason)]
    pub reason: String,
    /// What became of it; absent while nobody decided. What was accepted is filed and answered so.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<HeldOutcome>)]
    pub outcome: Option<String>,
    /// Why.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 500, example = "Recorded for the wrong athlete")]
    pub note: Option<String>,
}

impl State {
    /// One that nobody decided on yet.
    pub fn open(reason: &str) -> Self {
        Self { reason: reason.to_owned(), outcome: None, note: None }
    }
}

impl From<&Held> for State {
    fn from(held: &Held) -> Self {
        Self { reason: held.reason.clone(), outcome: held.outcome.clone(), note: held.note.clone() }
    }
}

/// The id under which a fact is held when its own is taken by what its recorder must not learn of: the same each time,
/// and free to be filed under.
fn other_id(member: Uuid, id: Uuid) -> Uuid {
    Uuid::new_v5(&member, id.as_bytes())
}

/// The facts of a type among these ids that are, or were, in the holding area for the actor; what others recorded there is
/// nobody else's to learn of.
///
/// # Errors
/// Database errors.
pub async fn held(tx: &mut ClubTx, kind: &str, ids: &[Uuid]) -> Result<HashMap<Uuid, Held>, StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    let own: HashMap<Uuid, Uuid> = ids.iter().flat_map(|id| [(other_id(member, *id), *id), (*id, *id)]).collect();
    let asked: Vec<Uuid> = own.keys().copied().collect();
    let rows = sqlx::query_as!(
        Held,
        r#"
        select id, data, reason, outcome, note
        from held_item
        where club_id = $1 and member_id = $2 and kind = $3 and id = any ($4)
        "#,
        club,
        member,
        kind,
        &asked
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().filter_map(|row| Some((*own.get(&row.id)?, row))).collect())
}

/// A fact on its way into the holding area.
#[derive(Debug)]
pub struct NewHeld<'a> {
    /// The fact.
    pub id: Uuid,
    /// Its type.
    pub kind: &'static str,
    /// The item.
    pub op_id: Uuid,
    /// The phone's own id.
    pub device: Uuid,
    /// What was sent.
    pub data: &'a Map<String, Value>,
    /// One of those that [`State::reason`] lists.
    pub reason: &'static str,
    /// The broken fields.
    pub faults: &'a [Fault],
    /// Whether its id is taken by a stored fact that its recorder must not learn of.
    pub taken: bool,
    /// Who recorded the correction that stands, when this is a second one.
    pub rival: Option<Uuid>,
}

/// Most facts of one phone that wait for a decision: a coach's whole week without a record to belong to is about 2,000.
pub const HELD_PER_DEVICE: i64 = 2_000;
/// Most facts of one member that wait, from all phones.
pub const HELD_PER_MEMBER: i64 = 10_000;
/// The same for somebody who left the club: what they had recorded until then.
pub const HELD_PER_FORMER: i64 = 2_000;

/// Whether the holding area has room for one more fact of this phone and its member, which it then takes; `former` when they left
/// the club. Counted once a transaction: a push that holds hundreds would read thousands for each of them.
///
/// Two pushes at the same moment may both find the last place.
///
/// # Errors
/// Database errors.
pub async fn take_room(tx: &mut ClubTx, device: Uuid, former: bool) -> Result<bool, StoreError> {
    let left = match tx.room_to_hold {
        Some(left) => left,
        None => room(tx, device, former).await?,
    };
    tx.room_to_hold = Some(left - 1);
    Ok(left > 0)
}

/// How many more facts of this phone and its member may be held.
async fn room(tx: &mut ClubTx, device: Uuid, former: bool) -> Result<i64, StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    let most = if former { HELD_PER_FORMER } else { HELD_PER_MEMBER };
    let room = sqlx::query_scalar!(
        r#"
        select least($4 - count(*) filter (where device_id = $3), $5 - count(*)) as "room!"
        from held_item
        where club_id = $1 and member_id = $2 and outcome is null
        "#,
        club,
        member,
        device,
        HELD_PER_DEVICE,
        most
    );
    Ok(room.fetch_one(tx.conn()).await?)
}

/// That there is no room for more.
pub fn full() -> Problem {
    let detail = "So much from you waits for a decision that there is no room for more. Leave it in the outbox, ask an \
        admin of the club to decide on what is held, and send it again later.";
    Problem::new(Code::TooMany, detail)
}

/// Puts a fact into the holding area, once; under another id when its own is taken there by somebody else's.
///
/// # Errors
/// Database errors.
pub async fn hold(tx: &mut ClubTx, new: &NewHeld<'_>) -> Result<(), StoreError> {
    let (club, member) = (tx.club.0, tx.actor.account.0);
    if !new.taken && insert(tx, new, new.id).await? {
        return Ok(());
    }
    let own = sqlx::query_scalar!(
        r#"select exists (select from held_item where club_id = $1 and member_id = $2 and kind = $3 and id = $4) as "own!""#,
        club,
        member,
        new.kind,
        new.id
    );
    if own.fetch_one(tx.conn()).await? {
        return Ok(());
    }
    insert(tx, new, other_id(member, new.id)).await?;
    Ok(())
}

async fn insert(tx: &mut ClubTx, new: &NewHeld<'_>, id: Uuid) -> Result<bool, StoreError> {
    let (club, member, skew) = (tx.club.0, tx.actor.account.0, tx.skew_ms);
    let done = sqlx::query!(
        r#"
        insert into held_item as x
          (club_id, id, kind, op_id, member_id, device_id, athlete_id, data, reason, detail, skew_ms, received_at, rival)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
        on conflict (club_id, kind, id) do nothing
        "#,
        club,
        id,
        new.kind,
        new.op_id,
        member,
        new.device,
        ids::named(new.data, "athlete_id"),
        Value::Object(new.data.clone()),
        new.reason,
        serde_json::to_value(new.faults).unwrap_or_default(),
        skew,
        Utc::now(),
        new.rival
    )
    .execute(tx.unsynced())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// That an id is taken by a held fact with other content.
pub fn taken() -> Problem {
    let detail = "This id is already used by a fact with other content, which is held for a decision.";
    Problem::new(Code::Conflict, detail)
}

/// What is said of a fact that is held, or was and is not filed.
pub fn decided(held: &Held) -> Problem {
    let note = held.note.as_deref().unwrap_or_default();
    let detail = match held.outcome.as_deref() {
        None if held.reason == CORRECTED => words(CORRECTED),
        None => "An admin will decide.".to_owned(),
        Some("withdrawn") => format!("You took this back: {note}"),
        Some(_) => format!("This was rejected: {note}"),
    };
    Problem::new(Code::Held, detail)
}

/// Why a fact is held, and who decides.
pub fn words(reason: &str) -> String {
    let (why, who) = match reason {
        "left" => ("You are no longer a member of the club.", "an admin of the club decides"),
        "role" => ("Your role in the club does not record this.", "an admin of the club decides"),
        "scope" => ("The access token lacks the scope for this.", "an admin of the club decides"),
        "clock" => ("Its time does not fit; the phone's clock may be wrong.", "an admin of the club decides"),
        CORRECTED => (
            "Somebody else corrected the same before.",
            "you, who recorded the correction that stands, or an admin decide which one stands",
        ),
        _ => ("What it belongs to is missing or not yours to see.", "an admin of the club decides"),
    };
    format!("{why} It is stored in the holding area; {who}.")
}
