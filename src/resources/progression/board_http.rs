//! The board of a squad over HTTP.

use std::collections::BTreeSet;

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{Days, NaiveDate};
use uuid::Uuid;

use super::board::{Computed, SESSIONS, View, recorded};
use super::board_page;
use super::http::{Asked, PeriodParams, broken};
use super::squad::Who;
use super::store::{self, Assessed, LastRated};
use crate::compute::advice::{RATING_DAYS, Setting};
use crate::compute::board::{Measured, Place, SEASON_DAYS, Seen, place};
use crate::compute::decision::Criterion;
use crate::compute::progress::Period;
use crate::paper;
use crate::platform::accept::{Format, choose};
use crate::platform::access::{Permit, SquadRead};
use crate::platform::db::Db;
use crate::platform::ids::GroupId;
use crate::platform::lanes::Lanes;
use crate::platform::params::{Params, path_id};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::resources::advice::{self, Attendance, Person, Unusable};

/// A person with what the board reads beside advice.
struct Member {
    person: Person,
    assessed: Assessed,
    last_rated: LastRated,
    measured: Measured,
    came: Vec<i32>,
}

impl Member {
    fn place<'a>(&self, setting: &'a Setting, period: Period) -> Result<(Who, Place<'a>), Unusable> {
        let seen = Seen {
            record: &self.person.record,
            rated: &self.assessed.1,
            came: &self.came,
            last_rated: self.last_rated,
            measured: self.measured,
        };
        let place = place(&seen, setting, period).map_err(|error| Unusable::new(&self.person, error))?;
        Ok((Who::of(&self.person), place))
    }
}

fn earlier(day: NaiveDate, days: i32) -> NaiveDate {
    day.checked_sub_days(Days::new(u64::from(days.unsigned_abs()))).unwrap_or(day)
}

/// The days of the group's sessions to which an athlete came, ascending.
fn came(attendance: &Attendance, athlete: Uuid) -> Vec<i32> {
    let sessions = attendance.present.get(&athlete).into_iter().flatten();
    let days = sessions.filter_map(|session| attendance.days.get(session)).map(NaiveDate::to_epoch_days);
    days.collect::<BTreeSet<i32>>().into_iter().collect()
}

/// Where everybody of a group stands, what holds them up and since when, and what is due.
///
/// Stages and what is missing are those of the recommendations on the last day; since when something is missing, the same rules
/// say of the last 24 days on which the athlete came, with what was on file then. Whoever stood six sessions or more behind
/// something is named in `behind`; whoever has something on file that cannot be used, in `not_computed` with what is wrong and the
/// remedy. Beside the period stand the same weeks of last season, 364 days before. CSV and XLSX have a row for
/// each athlete; the page shows the same for a phone and for A4.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/groups/{group_id}/board", impl_for = get_group_board, tag = "progression",
    params(("Accept" = Option<String>, Header, description = "application/json (default), text/csv, XLSX, text/html or application/pdf")),
    responses(
        (status = 200, description = "The board", content(
            (View = "application/json"),
            (String = "text/csv"),
            (String = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
            (String = "text/html")
        )),
        (status = 304, description = "Unchanged"),
        (status = 406, description = "None of them is acceptable")
    )
)]
async fn get_group_board(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    params: Params<PeriodParams>,
) -> Result<HttpResponse, Problem> {
    let id = GroupId(path_id(&req, "group_id", "group")?);
    let format = choose(&req, &[Format::Csv, Format::Xlsx])?;
    let turn = permit.turn(&db, &lanes.squads).await?;
    let mut tx = permit.read(&db).await?;
    let name = store::group_name(&mut tx, id).await?.ok_or_else(|| Problem::not_found("group"))?;
    let asked = Asked::of(&mut tx, &params.0, format).await?;
    if let Some(unchanged) = asked.unchanged(&req) {
        return Ok(unchanged);
    }
    let (from, to) = (asked.links.from, asked.links.to);
    let people = advice::load(&mut tx, None, Some(id), to).await?;
    let ids: Vec<Uuid> = people.iter().map(|person| person.id.0).collect();
    let last_rated = store::last_rated(&mut tx, &ids, to).await?;
    let measured = store::last_measured(&mut tx, &ids, to).await?;
    // Far enough back for the ratings that counted when the weeks of last season ended, and for those weeks themselves.
    let mut rated = store::rated(&mut tx, &ids, earlier(to, SEASON_DAYS + RATING_DAYS), to).await?;
    let attendance = advice::attendance(&mut tx, id, &ids, earlier(from, SEASON_DAYS), to).await?;
    let setting = advice::setting(&mut tx).await?;
    let measure = paper::measure(&mut tx, asked.format).await?;
    drop(tx);
    let members: Vec<Member> = people
        .into_iter()
        .map(|person| Member {
            assessed: rated.remove(&person.id.0).unwrap_or_default(),
            last_rated: last_rated.get(&person.id.0).copied().unwrap_or([None; Criterion::ALL.len()]),
            measured: measured.get(&person.id.0).copied().unwrap_or_default(),
            came: came(&attendance, person.id.0),
            person,
        })
        .collect();
    let (period, format, links) = (asked.period, asked.format, asked.links);
    let body = turn.run(move || {
        let (placed, not_computed) = advice::computed(members.iter().map(|one| one.place(&setting, period)));
        let (who, places) = placed.into_iter().unzip();
        let sessions = recorded(&attendance, SESSIONS);
        let of = Computed { group: (id, name), period, who, places, not_computed, attendance, sessions };
        let view = View::new(&of, &links);
        match format {
            Format::Paper(form) => paper::draw(form, measure, board_page::page(&view, measure)),
            Format::Csv => view.table().csv().map_err(broken),
            Format::Xlsx => view.table().xlsx().map_err(broken),
            _ => serde_json::to_vec(&view).map_err(broken),
        }
    });
    Ok(asked.answer("board", body.await??))
}

routes!(get_group_board);
