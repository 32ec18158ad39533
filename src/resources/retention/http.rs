//! Retention over HTTP: for admins.

use std::cmp::Reverse;

use actix_web::http::header::CACHE_CONTROL;
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{NaiveDate, SubsecRound, Utc};
use uuid::Uuid;

use super::drop_store;
use super::due_store as due;
use super::model::{Kind, begins};
use super::shapes::{Fields, Part, Person, Preview, View};
use super::store::{self, Said};
use super::sweep::{self, ATHLETES};
use crate::platform::access::{ClubAdmin, Permit};
use crate::platform::asking::InPerson;
use crate::platform::db::{ClubTx, Db, StoreError};
use crate::platform::ids::AthleteId;
use crate::platform::lanes::Lanes;
use crate::platform::patch::{self, Patch};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored::{self, IfMatch};

/// Most athletes that a preview names of each kind.
const NAMED: usize = 200;

/// How long the club keeps what it knows about people.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/retention", impl_for = get_retention, tag = "clubs",
    responses((status = 200, description = "What it says", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_retention(req: HttpRequest, permit: Permit<ClubAdmin>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let said = store::find(&mut tx).await?;
    Ok(stored::read(&req, said.rev, &View::from(&said)))
}

/// Decides how long the club keeps what it knows about people (merge patch). Look at the preview first: what went does not come back.
///
/// Whatever lets more go than before counts a week later, so that a slip can be set right. From then on the service deletes
/// what is too old every few hours, some records in each transaction; phones are told as of any deletion, and each transaction
/// is a row of the audit (`service retention`).
#[utoipa::path(
    patch, path = "/v1/clubs/{club_id}/retention", impl_for = update_retention, tag = "clubs",
    responses((status = 200, description = "Changed", body = View))
)]
async fn update_retention(
    version: IfMatch,
    permit: InPerson<ClubAdmin>,
    db: Data<Db>,
    body: Patch<Fields>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let before = store::find(&mut tx).await?;
    version.require::<ClubAdmin>(&tx, before.rev, &View::from(&before))?;
    let fields: Fields = patch::merge(&Fields::from(&before.settings), &body.read()?)?;
    let settings = fields.parse()?;
    // As the database keeps it, so that it is the same wherever it is read.
    let now = Utc::now().trunc_subsecs(6);
    let begins_at = begins((&before.settings, before.begins_at), &settings, now);
    let said = Said { rev: before.rev + 1, settings, begins_at };
    store::save(&mut tx, &said).await?;
    tx.commit().await?;
    Ok(stored::changed(said.rev, &View::from(&said)))
}

/// What would go today: how many records of each kind and whose, and how many stay although they are as old. By the periods as they
/// are set, also while nothing goes by itself.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/retention/preview", impl_for = preview_retention, tag = "clubs",
    responses((status = 200, description = "What would go", body = Preview))
)]
async fn preview_retention(
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    lanes: Data<Lanes>,
) -> Result<HttpResponse, Problem> {
    let _turn = permit.turn(&db, &lanes.reads).await?;
    let mut tx = permit.read(&db).await?;
    let said = store::find(&mut tx).await?;
    let on = tx.today().await?;
    let mut items = Vec::new();
    for (kind, before) in sweep::bounds(&said.settings, on) {
        let days = said.settings.periods.get(&kind).copied().unwrap_or_default();
        let (records, kept, people) = match kind {
            Kind::Sessions => {
                let (due, kept) = drop_store::count_sessions(&mut tx, before).await?;
                (due, kept, Vec::new())
            }
            _ => of_athletes(&mut tx, (kind, before), on).await?,
        };
        let more_people = people.len().saturating_sub(NAMED);
        let people = people.into_iter().take(NAMED).collect();
        items.push(Part { kind: kind.as_str(), days, before, records, kept, people, more_people });
    }
    let body = Preview { on, enabled: said.settings.enabled, begins_at: said.begins_at, items };
    Ok(HttpResponse::Ok().insert_header((CACHE_CONTROL, "private, no-store")).json(body))
}

/// How many records of a kind go, how many stay, and whose go.
async fn of_athletes(
    tx: &mut ClubTx,
    bound: (Kind, NaiveDate),
    today: NaiveDate,
) -> Result<(i64, i64, Vec<Person>), StoreError> {
    let (mut records, mut kept, mut people, mut after) = (0, 0, Vec::new(), Uuid::nil());
    loop {
        let page = due::athletes(tx, after, ATHLETES).await?;
        let Some(last) = page.last() else { break };
        after = *last;
        let counts = sweep::counts(tx, bound, &page, today).await?;
        records += counts.iter().map(|one| one.due).sum::<i64>();
        kept += counts.iter().map(|one| one.kept).sum::<i64>();
        let mut names = due::names(tx, &page).await?;
        people.extend(counts.into_iter().filter(|one| one.due > 0).filter_map(|one| {
            let display_name = names.remove(&one.athlete)?;
            Some(Person { athlete_id: AthleteId(one.athlete), display_name, records: one.due })
        }));
    }
    people.sort_by(|one, other| {
        (Reverse(one.records), &one.display_name).cmp(&(Reverse(other.records), &other.display_name))
    });
    Ok((records, kept, people))
}

routes!(get_retention, update_retention, preview_retention);
