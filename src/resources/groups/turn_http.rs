//! Groups turned to a new season: who moves where, what each group trains for, which are archived; previewed or done in one call.

use std::collections::{BTreeSet, HashSet};

use actix_web::HttpResponse;
use actix_web::web::Data;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::http::View;
use super::model::Group;
use super::store;
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db, Kind};
use crate::platform::fault::{Fault, Faults};
use crate::platform::grants;
use crate::platform::ids::{AthleteId, GroupId};
use crate::platform::params::Params;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored::Stored;
use crate::resources::athletes::moves::{self, Move, Moved};

/// Most moves, and most groups, of one call.
const MOST: usize = 50;
/// Most athletes that a move names.
const MOST_NAMED: usize = 500;

/// Whether to turn or only to look.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct TurnParams {
    /// Only report what would happen.
    #[serde(default)]
    dry_run: bool,
}

/// Some athletes, and where they go.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = GroupMove, example = json!({"from_group_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57", "to_group_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e58", "born_to": 2013}))]
struct MoveFields {
    /// The group that they leave; absent, they stay where they are.
    from_group_id: Option<GroupId>,
    /// The group that they come to; absent, they only leave.
    to_group_id: Option<GroupId>,
    /// Only those born in this year or later.
    #[schema(minimum = 1900, maximum = 2100, example = 2012)]
    born_from: Option<i16>,
    /// Only those born in this year or earlier.
    #[schema(minimum = 1900, maximum = 2100, example = 2013)]
    born_to: Option<i16>,
    /// Only these; absent, everybody of `from_group_id` who has not left the squad.
    #[schema(min_items = 1, max_items = 500)]
    athlete_ids: Option<Vec<AthleteId>>,
}

/// What a group is from now on.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = GroupTurnFields, example = json!({"group_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57", "season": "2027 outdoor"}))]
struct GroupFields {
    /// The group.
    group_id: GroupId,
    /// The season it trains for; absent, as before.
    #[schema(min_length = 1, max_length = 40, example = "2027 outdoor")]
    season: Option<String>,
    /// Whether it is archived; absent, as before.
    archived: Option<bool>,
}

/// A turn of the season.
#[derive(Clone, Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = GroupTurn, example = json!({"moves": [{"from_group_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e57", "to_group_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e58", "born_to": 2013}], "groups": [{"group_id": "01936f2e-5d3a-7c41-9b1e-2f6d0c8a4e58", "season": "2027 outdoor"}]}))]
struct TurnFields {
    /// Who moves; all by where everybody was before the call.
    #[serde(default)]
    #[schema(required = false, max_items = 50)]
    moves: Vec<MoveFields>,
    /// What groups are from now on.
    #[serde(default)]
    #[schema(required = false, max_items = 50)]
    groups: Vec<GroupFields>,
}

/// What becomes of an athlete whom a move takes.
///
/// - `changed`: They end up in other groups.
/// - `unchanged`: They end up where they were.
/// - `rejected`: They stay, and so does everybody: see `errors`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = GroupMoveStatus)]
enum MoveStatus {
    /// They end up in other groups.
    Changed,
    /// They end up where they were.
    Unchanged,
    /// They stay, and so does everybody: see `errors`.
    Rejected,
}

/// An athlete whom a move takes.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = MovedAthlete)]
struct MovedView {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    display_name: String,
    /// What becomes of them.
    status: MoveStatus,
    /// Their groups before.
    #[schema(max_items = 20)]
    before: Vec<GroupId>,
    /// Their groups from now on.
    #[schema(max_items = 20)]
    after: Vec<GroupId>,
    /// What stands in the way.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    #[schema(required = false, max_items = 20)]
    errors: Vec<Fault>,
}

/// What a turn of the season does.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = GroupTurnResult)]
struct TurnView {
    /// Whether nothing was written.
    dry_run: bool,
    /// Athletes who end up in other groups.
    #[schema(minimum = 0, example = 12)]
    changed: usize,
    /// Athletes whom a move takes and who end up where they were.
    #[schema(minimum = 0, example = 0)]
    unchanged: usize,
    /// Athletes who cannot move: nothing is written then.
    #[schema(minimum = 0, example = 0)]
    rejected: usize,
    /// Everybody whom a move takes.
    #[schema(max_items = 10_000)]
    athletes: Vec<MovedView>,
    /// The groups of `groups`, as they are from now on.
    #[schema(max_items = 50)]
    groups: Vec<View>,
}

impl MovedView {
    fn new(one: &Moved) -> Self {
        let before = one.before.value.groups.clone();
        let (status, after, errors) = match &one.after {
            Ok(after) if one.changes() => (MoveStatus::Changed, after.groups.clone(), Vec::new()),
            Ok(after) => (MoveStatus::Unchanged, after.groups.clone(), Vec::new()),
            Err(errors) => (MoveStatus::Rejected, before.clone(), errors.clone()),
        };
        let (athlete_id, display_name) = (one.before.id, one.before.value.display_name.clone());
        Self { athlete_id, display_name, status, before, after, errors }
    }
}

/// Checks what can be checked without the club.
fn parse(sent: &TurnFields) -> Result<Vec<Move>, Vec<Fault>> {
    let mut faults = Faults::new();
    for (name, count) in [("/moves", sent.moves.len()), ("/groups", sent.groups.len())] {
        if count > MOST {
            faults.add(name, "length", format!("may have {MOST} entries; make several calls"));
        }
    }
    let mut seen = BTreeSet::new();
    for (at, one) in sent.groups.iter().enumerate() {
        if !seen.insert(one.group_id) {
            faults.add(format!("/groups/{at}/group_id"), "duplicate", "stands twice");
        }
    }
    let one = |(at, one): (usize, &MoveFields)| {
        let named = one.athlete_ids.as_ref();
        if one.from_group_id.is_none() && one.to_group_id.is_none() {
            faults.add(
                format!("/moves/{at}/to_group_id"),
                "missing",
                "must say where they go, or which group they leave",
            );
        } else if one.from_group_id == one.to_group_id {
            faults.add(format!("/moves/{at}/to_group_id"), "same", "is the group that they leave");
        }
        if one.from_group_id.is_none() && named.is_none() {
            let detail = "is needed without from_group_id: the whole club does not move";
            faults.add(format!("/moves/{at}/athlete_ids"), "missing", detail);
        }
        if named.is_some_and(|named| named.is_empty() || named.len() > MOST_NAMED) {
            faults.add(format!("/moves/{at}/athlete_ids"), "length", format!("must name 1 to {MOST_NAMED} athletes"));
        }
        if one.born_from.zip(one.born_to).is_some_and(|(from, to)| from > to) {
            faults.add(format!("/moves/{at}/born_to"), "order", "must not lie before born_from");
        }
        Move {
            from: one.from_group_id,
            to: one.to_group_id,
            born: (one.born_from, one.born_to),
            athletes: named.map(|named| named.iter().copied().collect()),
        }
    };
    let moves = sent.moves.iter().enumerate().map(one).collect();
    faults.finish(Some(moves))
}

/// Checks the groups and athletes that a turn names.
async fn check_ids(tx: &mut ClubTx, sent: &TurnFields, known: &HashSet<AthleteId>) -> Result<(), Problem> {
    for (at, one) in sent.moves.iter().enumerate() {
        for (name, group) in [("from_group_id", one.from_group_id), ("to_group_id", one.to_group_id)] {
            grants::require(tx, group.as_slice(), &format!("/moves/{at}/{name}")).await?;
        }
    }
    let mut faults = Faults::new();
    for (at, one) in sent.moves.iter().enumerate() {
        for (place, id) in one.athlete_ids.iter().flatten().enumerate().filter(|(_, id)| !known.contains(id)) {
            faults.add(format!("/moves/{at}/athlete_ids/{place}"), "unknown_id", format!("there is no athlete {id}"));
        }
    }
    Ok(faults.finish(Some(()))?)
}

/// The groups of a turn as they are from now on, with what they were.
async fn groups(tx: &mut ClubTx, sent: &[GroupFields]) -> Result<Vec<(Stored<GroupId, Group>, Group)>, Problem> {
    let ids: Vec<Uuid> = sent.iter().map(|one| one.group_id.0).collect();
    let found = store::by_ids(tx, &ids).await?;
    let (mut faults, mut turned) = (Faults::new(), Vec::with_capacity(sent.len()));
    for (at, one) in sent.iter().enumerate() {
        let Some(before) = found.iter().find(|group| group.id == one.group_id) else {
            faults.add(format!("/groups/{at}/group_id"), "unknown_id", format!("there is no group {}", one.group_id));
            continue;
        };
        let season = one.season.as_deref().or(before.value.season.as_deref());
        match Group::parse(&before.value.name, season, one.archived.unwrap_or(before.value.archived)) {
            Ok(after) => turned.push((before.clone(), after)),
            Err(list) => faults.add_all(&format!("/groups/{at}"), list),
        }
    }
    Ok(faults.finish(Some(turned))?)
}

/// Turns groups to a new season, all or nothing: athletes move up, groups take a new season or are archived. With `dry_run`
/// nothing is written, and the answer is the same.
///
/// Every move is judged by where everybody was before the call: who moves from the under twelves to the under fourteens is not moved
/// on by the move of the under fourteens. A group that takes somebody in keeps them, whatever other moves take them out
/// of. Who has left the squad moves only when named. Nobody may be left without a group, or be in more than 20.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/groups/turn", impl_for = turn_groups, tag = "groups",
    responses((status = 200, description = "What was, or would be, done", body = TurnView))
)]
async fn turn_groups(
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    params: Params<TurnParams>,
    body: Body<TurnFields>,
) -> Result<HttpResponse, Problem> {
    let dry_run = params.0.dry_run;
    let mut tx = if dry_run { permit.read(&db).await? } else { permit.write(&db).await? };
    let sent = body.read()?;
    let moves = parse(&sent)?;
    let (today, everyone) = (tx.today().await?, moves::everyone(&mut tx).await?);
    check_ids(&mut tx, &sent, &everyone.iter().map(|one| one.id).collect()).await?;
    let mut moved = moves::plan(everyone, &moves, today);
    if !dry_run {
        // Of those who are taken now; read again once nobody else writes them.
        let ids: Vec<AthleteId> = moved.iter().map(|one| one.before.id).collect();
        let records = ids.iter().map(|id| id.0).chain(sent.groups.iter().map(|one| one.group_id.0));
        tx.alone_all(records.collect::<Vec<Uuid>>()).await?;
        moved = moves::plan(moves::those(&mut tx, &ids).await?, &moves, today);
    }
    let turned = groups(&mut tx, &sent.groups).await?;
    let athletes: Vec<MovedView> = moved.iter().map(MovedView::new).collect();
    let count = |status: MoveStatus| athletes.iter().filter(|one| one.status == status).count();
    let [changed, unchanged, rejected] = [MoveStatus::Changed, MoveStatus::Unchanged, MoveStatus::Rejected].map(count);
    let mut revs = None;
    if !dry_run {
        if rejected > 0 {
            let mut faults = Faults::new();
            for one in athletes.into_iter().filter(|one| !one.errors.is_empty()) {
                let named = |fault: Fault| Fault { detail: format!("{}: {}", one.display_name, fault.detail), ..fault };
                faults.add_all("/moves", one.errors.into_iter().map(named).collect());
            }
            return Err(Problem::invalid(faults.finish::<()>(None).err().unwrap_or_default()));
        }
        moves::save(&mut tx, &moved).await?;
        let mut edited: Vec<&(Stored<GroupId, Group>, Group)> =
            turned.iter().filter(|(before, after)| before.value != *after).collect();
        edited.sort_unstable_by_key(|(before, _)| before.id.0);
        for (before, after) in &edited {
            store::save(&mut tx, before.id, after).await?;
        }
        if changed > 0 || !edited.is_empty() {
            revs = Some(tx.commit().await?);
        }
    }
    let group = |(before, after): &(Stored<GroupId, Group>, Group)| {
        let rev = revs.as_ref().map_or(before.rev, |revs| revs.of(Kind::Group, before.id, before.rev));
        View::from(&Stored { id: before.id, rev, value: after.clone() })
    };
    let groups = turned.iter().map(group).collect();
    Ok(HttpResponse::Ok().json(TurnView { dry_run, changed, unchanged, rejected, athletes, groups }))
}

routes!(turn_groups);
