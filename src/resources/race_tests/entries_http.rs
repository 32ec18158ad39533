//! Entries of race tests over HTTP: who is entered is asked for first.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::entries_store::{self, Entering, Entrant};
use super::http::load;
use super::loading::{Field, Runner};
use super::readiness_shapes::Looked;
use super::shapes::{Entries, View};
use super::store::StoredTest;
use crate::compute::decision::Missing;
use crate::compute::race::MAX_ENTRIES;
use crate::platform::access::{Permit, PlanWrite, SquadRead};
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db};
use crate::platform::fault::Faults;
use crate::platform::grants;
use crate::platform::ids::AthleteId;
use crate::platform::lanes::Lanes;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored::{self, IfMatch};

/// Checks the list itself: each athlete visible and once, at most so many with those of other groups.
async fn check(tx: &mut ClubTx, asked: &Entries, before: &[Entrant]) -> Result<(), Problem> {
    let mut faults = Faults::new();
    let hidden = before.iter().filter(|one| !one.visible()).count();
    if hidden + asked.athlete_ids.len() > MAX_ENTRIES {
        let detail = format!("must be at most {MAX_ENTRIES} with the {hidden} of other groups");
        faults.add("/athlete_ids", "length", detail);
    }
    let ids: Vec<Uuid> = asked.athlete_ids.iter().take(MAX_ENTRIES).map(|id| id.0).collect();
    let visible = grants::visible_athletes(tx, &ids).await?;
    for (at, athlete) in asked.athlete_ids.iter().take(MAX_ENTRIES).enumerate() {
        if !visible.contains_key(&athlete.0) {
            let detail = format!("there is no athlete {athlete} in your groups");
            faults.add(format!("/athlete_ids/{at}"), "unknown_id", detail);
        } else if asked.athlete_ids[..at].contains(athlete) {
            faults.add(format!("/athlete_ids/{at}"), "twice", "is entered twice");
        }
    }
    for (at, athlete) in asked.coach_accepts.iter().take(MAX_ENTRIES).enumerate() {
        if !asked.athlete_ids.contains(athlete) {
            faults.add(format!("/coach_accepts/{at}"), "unknown_id", "is not among athlete_ids");
        }
    }
    Ok(faults.finish(Some(()))?)
}

/// Those who are in, were no longer ready when last looked at, and are accepted now: they are entered anew.
fn accepted_since(before: &[Entrant], asked: &Entries) -> Vec<AthleteId> {
    let open = before.iter().filter(|one| one.visible() && !one.coach_accepts);
    let accepted = open.filter(|one| asked.coach_accepts.contains(&one.athlete));
    accepted.filter(|one| one.readiness.as_ref().is_some_and(|seen| !seen.ready)).map(|one| one.athlete).collect()
}

/// Those who come in, each ready, or accepted by the coach; nobody who may not run at all.
fn entering(
    asked: &Entries,
    test: &StoredTest,
    runners: &[Runner],
    looked_at: DateTime<Utc>,
) -> Result<Vec<Entering>, Problem> {
    let mut faults = Faults::new();
    let mut found = Vec::with_capacity(runners.len());
    for runner in runners {
        let at = asked.athlete_ids.iter().position(|one| *one == runner.athlete).unwrap_or_default();
        let pointer = format!("/athlete_ids/{at}");
        let accepted = asked.coach_accepts.contains(&runner.athlete);
        let readiness = match &runner.readiness {
            Ok(readiness) => readiness,
            Err(unusable) => {
                let detail = format!("is not looked at: {} Or leave the athlete out for now.", unusable.words());
                faults.add(pointer, "unusable_record", detail);
                continue;
            }
        };
        if let Some(wall) = readiness.barred() {
            faults.add(pointer, wall.code(), format!("{} Nobody enters an athlete past this.", wall.text()));
        } else if let Some(most) = runner.barriers_most {
            let detail = format!(
                "may run {most} barriers at most, two more than their race or 8; nobody enters an athlete past this"
            );
            faults.add(pointer, "unsafe", detail);
        } else if let Some(wall) = readiness.wall.filter(|_| !accepted) {
            let missing: Vec<String> = readiness.missing.iter().take(5).map(Missing::text).collect();
            let detail = format!(
                "is not ready for this course: {} {} Send the id in coach_accepts as well to enter them all the same.",
                wall.text(),
                missing.join(" ")
            );
            faults.add(pointer, "not_ready", detail);
        }
        found.push(Entering {
            athlete: runner.athlete,
            coach_accepts: accepted && readiness.wall.is_some(),
            readiness: Looked::new(&runner.readiness, test.value.held_on, looked_at).kept()?,
        });
    }
    Ok(faults.finish(Some(found))?)
}

/// Sets who of your groups is entered; athletes of other groups stay as they are.
///
/// Whoever comes in is looked at first: the athlete's permitted region on the day of the session is asked for the course. Who
/// rests, is restricted, has left or would race past their target is refused (422 with the code of the wall), and so is who would
/// run over more than 8 barriers and two more than their race (`unsafe`), or has something on file that cannot be used
/// (`unusable_record`, with the remedy). Who is not ready
/// (422 `not_ready`, with what is in the way and missing) is entered when `coach_accepts` has them as well; the cautions then
/// stand with the entry, the heats and the start list. So is who was ready and, by the draw, is no longer. A change takes the heats back: draw them again.
#[utoipa::path(
    put, path = "/v1/clubs/{club_id}/race-tests/{race_test_id}/entries", impl_for = set_race_entries, tag = "race_tests",
    responses(
        (status = 200, description = "Set", body = View)
    )
)]
async fn set_race_entries(
    req: HttpRequest,
    version: IfMatch,
    permit: Permit<PlanWrite>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    body: Body<Entries>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let found = load(&mut tx, &req).await?;
    let asked = body.read()?;
    let before = entries_store::entrants(&mut tx, found.id).await?;
    version.require_list::<SquadRead>(&tx, found.rev, &View::new(&found, &before))?;
    check(&mut tx, &asked, &before).await?;
    drop(tx);
    let seen: Vec<AthleteId> = before.iter().filter(|one| one.visible()).map(|one| one.athlete).collect();
    let missing = |list: &[AthleteId], from: &[AthleteId]| -> Vec<AthleteId> {
        from.iter().copied().filter(|athlete| !list.contains(athlete)).collect()
    };
    let (mut came, mut gone) = (missing(&seen, &asked.athlete_ids), missing(&asked.athlete_ids, &seen));
    let again = accepted_since(&before, &asked);
    came.extend(&again);
    gone.extend(&again);
    if came.is_empty() && gone.is_empty() {
        return Ok(stored::changed(found.rev, &View::new(&found, &before)));
    }
    let came = if came.is_empty() { Vec::new() } else { ask(&permit, &db, &lanes, &found, &asked, came).await? };
    let mut tx = permit.write(&db).await?;
    tx.alone(found.id.0).await?;
    let found = load(&mut tx, &req).await?;
    let before = entries_store::entrants(&mut tx, found.id).await?;
    version.require_list::<SquadRead>(&tx, found.rev, &View::new(&found, &before))?;
    // Somebody may have been moved or erased while they were looked at.
    check(&mut tx, &asked, &before).await?;
    entries_store::set_entries(&mut tx, &found, &before, &came, &gone).await?;
    tx.commit().await?;
    let mut tx = permit.read(&db).await?;
    let found = load(&mut tx, &req).await?;
    let entrants = entries_store::entrants(&mut tx, found.id).await?;
    Ok(stored::changed(found.rev, &View::new(&found, &entrants)))
}

/// Asks for each who comes in whether they may, with no connection in hand while it is computed.
async fn ask(
    permit: &Permit<PlanWrite>,
    db: &Db,
    lanes: &Lanes,
    found: &StoredTest,
    asked: &Entries,
    came: Vec<AthleteId>,
) -> Result<Vec<Entering>, Problem> {
    let turn = lanes.squads.turn(permit.who()).await?;
    let mut tx = permit.read(db).await?;
    let looked_at = Utc::now();
    let field = Field::load(&mut tx, &came, found.value.test.session, found.value.held_on).await?;
    drop(tx);
    let (course, class) = (found.value.test.specification.course, found.value.test.timing.class());
    let runners = turn.run(move || field.runners(&course, class)).await?;
    entering(asked, found, &runners, looked_at)
}

routes!(set_race_entries);
