//! The cards of a session over HTTP.

use std::collections::HashMap;

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use uuid::Uuid;

use super::answer::From;
use super::cards::{Planned, View, card, cautions};
use super::cards_page::page;
use super::cards_store::{self, Note};
use super::http::{Beside, who_comes};
use super::session_store::{self, SessionInfo};
use super::shapes::NotExpectedView;
use super::sight;
use super::store;
use crate::compute::advice::{Advice, Setting};
use crate::compute::day::Day;
use crate::paper;
use crate::platform::accept::{Format, choose};
use crate::platform::access::{Permit, SquadRead};
use crate::platform::db::{ClubTx, Db};
use crate::platform::ids::{AthleteId, ClubId, SessionId};
use crate::platform::lanes::Lanes;
use crate::platform::params::path_id;
use crate::platform::people::People;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::resources::advice::{self, Block, BlockFields, Memory, Person};

/// The latest plan of a session, as the caller sees it.
pub(super) async fn latest_plan(tx: &mut ClubTx, session: SessionId) -> Result<Option<Planned>, Problem> {
    let Some(id) = cards_store::latest_plan(tx, session).await? else { return Ok(None) };
    let found = store::find(tx, session, id).await?;
    let seen = sight::seen(tx, found.into_iter().collect()).await?.pop();
    Ok(seen.map(|plan| plan.value.shown()).transpose()?.map(|(_, content)| (id, content)))
}

/// What the cards of a session are made of, as the actor of one transaction sees it.
pub(super) struct Asked {
    session: SessionId,
    /// The session.
    pub info: SessionInfo,
    /// Its latest plan.
    pub planned: Option<Planned>,
    from: From,
    people: Vec<Person>,
    not_expected: Vec<NotExpectedView>,
    notes: HashMap<Uuid, Vec<Note>>,
    note: Option<String>,
    blocks: Vec<Block>,
    setting: Setting,
    club: ClubId,
    on: Day,
}

impl Asked {
    /// Reads it.
    pub(super) async fn of(tx: &mut ClubTx, session: SessionId) -> Result<Self, Problem> {
        let info = session_store::session(tx, session).await?.ok_or_else(|| Problem::not_found("session"))?;
        let (from, coming, mut not_expected) = who_comes(tx, session, info.held_on).await?;
        let names = People::of(tx, not_expected.iter().map(|one| one.athlete_id)).await?;
        for one in &mut not_expected {
            names.name(one.athlete_id).unwrap_or_default().clone_into(&mut one.display_name);
        }
        let people = advice::load_for_session(tx, &coming, session, info.held_on).await?;
        let (note, blocks) = cards_store::kept(tx, session).await?;
        let ids: Vec<Uuid> = people.iter().map(|person| person.id.0).collect();
        Ok(Self {
            session,
            from,
            people,
            not_expected,
            notes: cards_store::notes(tx, &ids, info.held_on).await?,
            planned: latest_plan(tx, session).await?,
            note,
            blocks,
            setting: advice::setting(tx).await?,
            club: tx.club,
            on: advice::day(info.held_on)?,
            info,
        })
    }

    /// Who of the plan is not noted as present, where anybody is.
    pub(super) fn beside(&self) -> Beside {
        let comes =
            |athlete: AthleteId| self.from != From::Attendance || self.people.iter().any(|one| one.id == athlete);
        let placed = self.planned.iter().flat_map(|(_, plan)| &plan.lanes).flat_map(|lane| &lane.athletes);
        let gone = placed.map(|one| one.athlete_id).filter(|athlete| !comes(*athlete)).collect();
        Beside { gone, ..Beside::default() }
    }

    /// Computes the cards.
    pub(super) fn cards(&self, memory: &Memory) -> Result<View, Problem> {
        let advise = |person| Ok((person, memory.advise(self.club, person, &self.setting, self.on)?));
        let (advised, not_computed) = advice::computed::<(&Person, Advice<'_>)>(self.people.iter().map(advise));
        let card = |(person, advised): &(&Person, Advice<'_>)| {
            let of = (self.club, self.on.days(), self.setting.policy.arms_count);
            let notes = self.notes.get(&person.id.0).map_or(&[][..], Vec::as_slice);
            card(of, person, advised, self.planned.as_ref(), notes)
        };
        let cards = advised.iter().map(card).collect::<Result<_, _>>()?;
        Ok(View {
            session_id: self.session,
            held_on: self.info.held_on,
            note: self.note.clone(),
            blocks: self.blocks.iter().map(BlockFields::from).collect(),
            people_from: self.from.word(),
            cards,
            not_expected: self.not_expected.clone(),
            not_computed,
            cautions: cautions(self.info.surface),
        })
    }
}

/// The card of everybody who comes to a session: last time, today's lane, what to watch, the next step and what to heed.
///
/// The cards are for those of your groups who are noted as present; before anybody was, for whoever is expected, as in a lane plan.
/// Lanes come from the session's latest plan. What to watch is the weakest rated criterion with its usual correction, which is
/// common practice and says where it is written. Whoever has something on file that cannot be used has no card, and stands in
/// `not_computed` with what is wrong and the remedy. `blocks` is what is done in the session. The page begins with it and has four cards
/// to a side of A4, one below the other on a phone.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/sessions/{session_id}/cards", impl_for = get_session_cards, tag = "lane_plans",
    responses(
        (status = 200, description = "The cards", content((View = "application/json"), (String = "text/html")))
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
    let asked = Asked::of(&mut tx, session).await?;
    let measure = paper::measure(&mut tx, format).await?;
    drop(tx);
    let club = asked.info.club.clone();
    let body = turn.run(move || asked.cards(&memory)).await??;
    Ok(match format {
        Format::Paper(form) => {
            paper::Desk(&permit, &db, &lanes).answer(form, measure, page(&body, club, measure)).await?
        }
        _ => HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(body),
    })
}

routes!(get_session_cards);
