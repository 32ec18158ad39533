//! The cards of a session over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use uuid::Uuid;

use super::cards::{Planned, View, card, cautions};
use super::cards_page::page;
use super::cards_store;
use super::http::who_comes;
use super::sight;
use super::store;
use crate::paper;
use crate::platform::accept::{Format, choose};
use crate::platform::access::{Permit, SquadRead};
use crate::platform::db::{ClubTx, Db};
use crate::platform::ids::SessionId;
use crate::platform::lanes::Lanes;
use crate::platform::params::path_id;
use crate::platform::people::People;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::resources::advice::{self, Memory};

/// The latest plan of a session, as the caller sees it.
pub(super) async fn latest_plan(tx: &mut ClubTx, session: SessionId) -> Result<Option<Planned>, Problem> {
    let Some(id) = cards_store::latest_plan(tx, session).await? else { return Ok(None) };
    let found = store::find(tx, session, id).await?;
    let seen = sight::seen(tx, found.into_iter().collect()).await?.pop();
    Ok(seen.map(|plan| plan.value.shown()).transpose()?.map(|(_, content)| (id, content)))
}

/// The card of everybody who comes to a session: last time, today's lane, what to watch, the next step and what to heed.
///
/// The cards are for those of your groups who are noted as present; before anybody was, for whoever is expected, as in a lane plan.
/// Lanes come from the session's latest plan. What to watch is the weakest rated criterion with its usual correction, which is
/// common practice and says where it is written. The page has four cards to a side of A4, one below the other on a phone.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/sessions/{session_id}/cards", impl_for = get_session_cards, tag = "lane_plans",
    responses(
        (status = 200, description = "The cards", content((View = "application/json"), (String = "text/html"))),
        (status = 409, description = "A measurement or run on record cannot be used; `detail` says which")
    )
)]
async fn get_session_cards(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    memory: Data<Memory>,
    lanes: Data<Lanes>,
) -> Result<HttpResponse, Problem> {
    let session = SessionId(path_id(&req, "session_id", "session")?);
    let format = choose(&req, &[])?;
    let turn = permit.turn(&db, &lanes.squads).await?;
    let mut tx = permit.read(&db).await?;
    let info = store::session(&mut tx, session).await?.ok_or_else(|| Problem::not_found("session"))?;
    let (from, coming, mut not_expected) = who_comes(&mut tx, session, info.held_on).await?;
    let names = People::of(&mut tx, not_expected.iter().map(|one| one.athlete_id)).await?;
    for one in &mut not_expected {
        names.name(one.athlete_id).unwrap_or_default().clone_into(&mut one.display_name);
    }
    let people = advice::load_for_session(&mut tx, &coming, session, info.held_on).await?;
    let ids: Vec<Uuid> = people.iter().map(|person| person.id.0).collect();
    let notes = cards_store::notes(&mut tx, &ids, info.held_on).await?;
    let planned = latest_plan(&mut tx, session).await?;
    let note = cards_store::session_note(&mut tx, session).await?;
    let setting = advice::setting(&mut tx).await?;
    let (club, held_on, on) = (tx.club, info.held_on, advice::day(info.held_on)?);
    let measure = paper::measure(&mut tx, format).await?;
    drop(tx);
    let body = turn.run(move || {
        let mut cards = Vec::with_capacity(people.len());
        for person in &people {
            let advised = memory.advise(club, person, &setting, on)?;
            let of = (club, on.days(), setting.policy.arms_count);
            let notes = notes.get(&person.id.0).map_or(&[][..], Vec::as_slice);
            cards.push(card(of, person, &advised, planned.as_ref(), notes)?);
        }
        let cautions = cautions(&people);
        let people_from = from.word();
        Ok::<_, Problem>(View { session_id: session, held_on, note, people_from, cards, not_expected, cautions })
    });
    let body = body.await??;
    Ok(match format {
        Format::Paper(form) => paper::answer(form, &page(&body, info.club, measure)),
        _ => HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(body),
    })
}

routes!(get_session_cards);
