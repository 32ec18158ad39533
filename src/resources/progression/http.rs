//! Progress over HTTP: JSON, CSV, SVG or a document for people.

use actix_web::http::header::{CACHE_CONTROL, ETAG, VARY};
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::athlete::{Subject, View as AthleteView};
use super::figures::date;
use super::links::Links;
use super::squad::{Computed, View as SquadView, Who};
use super::words::outcomes;
use super::{athlete_page, model, pictures, squad_page, store};
use crate::compute::decision::Criterion;
use crate::compute::progress::{Member, Period};
use crate::paper;
use crate::platform::accept::{Format, choose};
use crate::platform::access::{Permit, SquadRead};
use crate::platform::db::{ClubTx, Db};
use crate::platform::ids::{AthleteId, GroupId};
use crate::platform::lanes::Lanes;
use crate::platform::params::{Params, path_id};
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::platform::stored;
use crate::render::chart;
use crate::resources::advice::{self, Memory, Person, Unusable};

/// Which period.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
pub(super) struct PeriodParams {
    /// First day; twelve weeks up to `to` when absent. At most 731 days up to `to`, both included.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    from: Option<NaiveDate>,
    /// Last day, at most a year ahead; today in the club when absent. Runs after it are left out.
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    to: Option<NaiveDate>,
}

/// What is asked for: the period, the representation and its entity tag.
pub(super) struct Asked {
    pub period: Period,
    pub format: Format,
    pub links: Links,
    tag: String,
}

impl Asked {
    async fn read(req: &HttpRequest, tx: &mut ClubTx, params: &PeriodParams) -> Result<Self, Problem> {
        Self::of(tx, params, choose(req, &[Format::Csv, Format::Svg])?).await
    }

    /// The same in a representation that was chosen.
    pub async fn of(tx: &mut ClubTx, params: &PeriodParams, format: Format) -> Result<Self, Problem> {
        let period = model::period(tx.today().await?, params.from, params.to).map_err(Problem::malformed)?;
        let links = Links { club: tx.club, from: date(period.from()), to: date(period.to()) };
        // The answer follows from the club's rows, the dates and the program: nothing is computed to find it unchanged.
        let tag = format!(
            "\"{}-{}-{}-{format:?}-{}\"",
            store::version(tx).await?,
            links.from,
            links.to,
            env!("CARGO_PKG_VERSION")
        );
        Ok(Self { period, format, links, tag })
    }

    pub fn unchanged(&self, req: &HttpRequest) -> Option<HttpResponse> {
        stored::has(req, &self.tag).then(|| {
            HttpResponse::NotModified().insert_header((ETAG, self.tag.clone())).insert_header((VARY, "accept")).finish()
        })
    }

    /// The answer in the representation that was chosen; `name` is that of a table.
    pub fn answer(self, name: &str, body: Vec<u8>) -> HttpResponse {
        const CACHE: &str = "private, no-cache";
        let mut answer = match self.format {
            Format::Csv | Format::Xlsx => self.format.file(name, CACHE),
            _ => HttpResponse::Ok(),
        };
        match self.format {
            Format::Csv | Format::Xlsx => &mut answer,
            Format::Paper(form) => answer.content_type(paper::content_type(form)),
            Format::Json | Format::Svg => answer.content_type(self.format.media()),
        };
        answer.insert_header((ETAG, self.tag)).insert_header((VARY, "accept")).insert_header((CACHE_CONTROL, CACHE));
        answer.body(body)
    }
}

pub(super) fn broken<E>(_: E) -> Problem {
    Problem::new(Code::Internal, "The answer could not be written.")
}

/// How an athlete came along over a period, and when the target is likely to be reached.
///
/// Estimates, runs and technique day by day; slopes with their intervals; whether the athlete stands still; the dates by
/// which the rhythm is likely to hold over the target and over the one after it. Every figure says where its rows are.
/// The CSV has a row for each point, the SVG is a printable chart. The page shows the charts with what is said of them, for a phone
/// and for A4. Chart and page are in the units that the club prints (`print_units`).
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/progression", impl_for = get_athlete_progression, tag = "progression",
    params(("Accept" = Option<String>, Header, description = "application/json (default), text/csv, image/svg+xml, text/html or application/pdf")),
    responses(
        (status = 200, description = "The progress", content(
            (AthleteView = "application/json"),
            (String = "text/csv"),
            (String = "image/svg+xml"),
            (String = "text/html")
        )),
        (status = 304, description = "Unchanged"),
        (status = 406, description = "None of them is acceptable"),
        (status = 409, description = "A measurement or run on record cannot be used; `detail` says which")
    )
)]
async fn get_athlete_progression(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    memory: Data<Memory>,
    lanes: Data<Lanes>,
    params: Params<PeriodParams>,
) -> Result<HttpResponse, Problem> {
    let id = AthleteId(path_id(&req, "athlete_id", "athlete")?);
    let turn = permit.turn(&db, &lanes.athletes).await?;
    let mut tx = permit.read(&db).await?;
    let asked = Asked::read(&req, &mut tx, &params.0).await?;
    let people = advice::load(&mut tx, Some(&[id]), None, asked.links.to).await?;
    let person = people.into_iter().next().ok_or_else(|| Problem::not_found("athlete"))?;
    if let Some(unchanged) = asked.unchanged(&req) {
        return Ok(unchanged);
    }
    let mut rated = store::rated(&mut tx, &[id.0], asked.links.from, asked.links.to).await?;
    let (assessments, rated) = rated.remove(&id.0).unwrap_or_default();
    let said = advice::decisions(&mut tx, &[id.0], asked.links.from, asked.links.to).await?;
    let setting = advice::setting(&mut tx).await?;
    let measure = paper::measure(&mut tx, asked.format).await?;
    drop(tx);
    let (period, format, links) = (asked.period, asked.format, asked.links);
    let body = turn.run(move || {
        let found = memory.follow(links.club, &person, &setting, period)?;
        let subject = Subject { id, name: person.display_name.clone(), assessments, rated };
        match format {
            Format::Paper(form) => {
                let view = AthleteView::new(&subject, &found, &[], &links);
                let chart = pictures::athlete_chart(&subject, &found);
                paper::draw(form, measure, athlete_page::page(&view, &chart, measure))
            }
            Format::Csv => pictures::athlete_table(&subject, &found).map_err(broken),
            Format::Svg => Ok(chart::athlete(&pictures::athlete_chart(&subject, &found), measure).into_bytes()),
            _ => {
                let height_cost = found.advice.estimate.height_cost;
                let words = outcomes(id, &said, &person.record.runs, height_cost, period);
                serde_json::to_vec(&AthleteView::new(&subject, &found, &words, &links)).map_err(broken)
            }
        }
    });
    Ok(asked.answer("progression", body.await??))
}

/// How a squad came along over a period: stages, decisions, load, attendance, who is ready and what is due.
///
/// Whoever has something on file that cannot be used is named in `not_computed` with what is wrong and the remedy, and is in no other
/// figure but attendance. The CSV has a row for each athlete, the SVG is a printable chart, the page shows the same for a phone and for A4.
/// Chart and page are in the units that the club prints (`print_units`).
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/groups/{group_id}/progression", impl_for = get_group_progression, tag = "progression",
    params(("Accept" = Option<String>, Header, description = "application/json (default), text/csv, image/svg+xml, text/html or application/pdf")),
    responses(
        (status = 200, description = "The progress", content(
            (SquadView = "application/json"),
            (String = "text/csv"),
            (String = "image/svg+xml"),
            (String = "text/html")
        )),
        (status = 304, description = "Unchanged"),
        (status = 406, description = "None of them is acceptable")
    )
)]
async fn get_group_progression(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    memory: Data<Memory>,
    lanes: Data<Lanes>,
    params: Params<PeriodParams>,
) -> Result<HttpResponse, Problem> {
    let id = GroupId(path_id(&req, "group_id", "group")?);
    let turn = permit.turn(&db, &lanes.squads).await?;
    let mut tx = permit.read(&db).await?;
    let name = store::group_name(&mut tx, id).await?.ok_or_else(|| Problem::not_found("group"))?;
    let asked = Asked::read(&req, &mut tx, &params.0).await?;
    if let Some(unchanged) = asked.unchanged(&req) {
        return Ok(unchanged);
    }
    let (from, to) = (asked.links.from, asked.links.to);
    let people = advice::load(&mut tx, None, Some(id), to).await?;
    let ids: Vec<uuid::Uuid> = people.iter().map(|person| person.id.0).collect();
    let rated = store::last_rated(&mut tx, &ids, to).await?;
    let attendance = advice::attendance(&mut tx, id, &ids, from, to).await?;
    let said = advice::decisions(&mut tx, &ids, from, to).await?;
    let setting = advice::setting(&mut tx).await?;
    let measure = paper::measure(&mut tx, asked.format).await?;
    drop(tx);
    let (period, format, links) = (asked.period, asked.format, asked.links);
    let body = turn.run_with(move |turn| {
        let follow = |person: &Person| {
            let progress = memory.follow(links.club, person, &setting, period)?;
            let height_cost = progress.advice.estimate.height_cost;
            let words = outcomes(person.id, &said, &person.record.runs, height_cost, period);
            let last_rated = rated.get(&person.id.0).copied().unwrap_or([None; Criterion::ALL.len()]);
            Ok::<_, Unusable>((Who::of(person), Member { progress, last_rated }, words))
        };
        let (followed, not_computed) = advice::computed(turn.each(&people, follow));
        let (who, members, words): (Vec<_>, Vec<_>, Vec<_>) = followed.into_iter().collect();
        let (words, arms_count) = (words.concat(), setting.policy.arms_count);
        let of = Computed { group: (id, name), period, who, members, not_computed, attendance, words, arms_count };
        let view = SquadView::new(&of, &links);
        match format {
            Format::Csv => pictures::squad_table(&view).map_err(broken),
            Format::Svg => Ok(chart::squad(&pictures::squad_chart(&view, period), measure).into_bytes()),
            Format::Paper(form) => paper::draw(form, measure, squad_page::page(&view, measure)),
            _ => serde_json::to_vec(&view).map_err(broken),
        }
    });
    Ok(asked.answer("progression", body.await??))
}

routes!(get_athlete_progression, get_group_progression);
