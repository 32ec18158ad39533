//! Race results and personal bests over HTTP.

use std::collections::{BTreeSet, HashMap, HashSet};

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use uuid::Uuid;

use super::draw_shapes::seconds;
use super::entries_store::{self, Entrant};
use super::http::load;
use super::outcome::Outcome;
use super::pages::results_page;
use super::record;
use super::results_shapes::{AgainstView, Batch, BestList, BestView, CourseView, Fields, ResultList, ResultView};
use super::results_store::{self, Finish, StoredOutcome};
use super::results_table;
use super::splits::splits;
use crate::compute::decision::Caution;
use crate::compute::race::{Course, Mark, against_best, bests, places};
use crate::compute::rhythm;
use crate::paper;
use crate::platform::accept::{Format, choose};
use crate::platform::access::{Permit, SessionWrite, SquadRead};
use crate::platform::batch::{self, BatchResult};
use crate::platform::body::Body;
use crate::platform::corrections;
use crate::platform::db::{Db, Kind};
use crate::platform::grants;
use crate::platform::ids::{AthleteId, RaceResultId};
use crate::platform::lanes::Lanes;
use crate::platform::params::path_id;
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::resources::advice::CautionView;

const CACHE: (&str, &str) = ("cache-control", "private, no-cache");

/// Records results of a race test, each on its own: a broken one is rejected, the others are stored.
///
/// Results are never changed: a correction is a new result with `supersedes`, a withdrawal has `void` as well; either may
/// follow what it corrects in the same batch. Sending the same batch again is safe. An athlete need not be entered: what was run is recorded.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/race-tests/{race_test_id}/results", impl_for = create_race_results, tag = "race_tests",
    responses((status = 200, description = "One result for each", body = BatchResult))
)]
async fn create_race_results(
    req: HttpRequest,
    permit: Permit<SessionWrite>,
    db: Data<Db>,
    body: Body<Batch>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let test = load(&mut tx, &req).await?;
    let sent = body.read()?;
    batch::check_length("/results", sent.results.len())?;
    let (mut items, mut decisions) = record::file(&mut tx, &test, &sent.results, |at| format!("/results/{at}")).await?;
    let place = [("race_test_id", test.id.0)];
    corrections::hold_second(&mut tx, "race_result", (&mut items, &mut decisions), &sent.results, &place).await?;
    let revs = tx.commit().await?;
    let body = batch::results(items, &decisions, |id| Some(revs.of(Kind::RaceResult, id, 0)).filter(|rev| *rev > 0));
    Ok(HttpResponse::Ok().json(body))
}

/// The result of each athlete that counts: the fastest finish, else the latest.
fn counting(results: &[(StoredOutcome, Option<String>)]) -> HashSet<RaceResultId> {
    let mut best: HashMap<AthleteId, &StoredOutcome> = HashMap::new();
    for (one, _) in results {
        let at = best.entry(one.value.outcome.athlete).or_insert(one);
        let key =
            |one: &StoredOutcome| (one.value.outcome.counting_ms().unwrap_or(u32::MAX), std::cmp::Reverse(one.rev));
        if key(one) < key(at) {
            *at = one;
        }
    }
    best.into_values().map(|one| one.id).collect()
}

/// Everything that ranks and compares the results of one race test.
struct Sheet<'a> {
    course: Course,
    results: &'a [(StoredOutcome, Option<String>)],
    entrants: HashMap<AthleteId, &'a Entrant>,
    finishes: &'a [Finish],
    counts: HashSet<RaceResultId>,
}

impl Sheet<'_> {
    /// Places by a time over all, of those that count.
    fn places(
        &self,
        takes_part: impl Fn(&Outcome) -> bool,
        time: impl Fn(&Outcome) -> Option<u32>,
    ) -> Vec<Option<usize>> {
        let times: Vec<Option<u32>> = self
            .results
            .iter()
            .map(|(one, _)| {
                time(&one.value.outcome).filter(|_| self.counts.contains(&one.id) && takes_part(&one.value.outcome))
            })
            .collect();
        places(&times)
    }

    /// Places by a time within each heat.
    fn heat_places(&self, time: impl Fn(&Outcome) -> Option<u32>) -> Vec<Option<usize>> {
        let heats: BTreeSet<i16> = self.results.iter().filter_map(|(one, _)| one.value.outcome.heat).collect();
        let mut found = vec![None; self.results.len()];
        for heat in heats {
            for (at, place) in self.places(|one| one.heat == Some(heat), &time).into_iter().enumerate() {
                found[at] = found[at].or(place);
            }
        }
        found
    }

    /// The time from the first start of the heat.
    fn across_line_ms(&self, one: &Outcome) -> Option<u32> {
        let entrant = self.entrants.get(&one.athlete)?;
        let ran_there = one.heat.is_none() || one.heat == entrant.place.map(|(heat, _)| heat);
        let offset = entrant.offset_ms.and_then(|ms| u32::try_from(ms).ok()).filter(|_| ran_there)?;
        Some(one.counting_ms()? + offset)
    }

    fn views(&self) -> Vec<ResultView> {
        let overall = self.places(|_| true, Outcome::counting_ms);
        let in_heat = self.heat_places(Outcome::counting_ms);
        let across_line = self.heat_places(|one| self.across_line_ms(one));
        let mut views: Vec<ResultView> = self
            .results
            .iter()
            .enumerate()
            .filter_map(|(at, (one, name))| {
                let entrant = self.entrants.get(&one.value.outcome.athlete);
                let gap = entrant.and_then(|entrant| entrant.expected).zip(one.value.outcome.counting_ms());
                Some(ResultView {
                    rev: one.rev,
                    display_name: name.clone()?,
                    fields: Fields::from(one),
                    while_restricted: one.value.while_restricted,
                    counts: self.counts.contains(&one.id),
                    place: overall.get(at).copied().flatten(),
                    heat_place: in_heat.get(at).copied().flatten(),
                    handicap_place: across_line.get(at).copied().flatten(),
                    against_best: self.against(one),
                    gap_to_expected_s: gap.map(|(expected, ms)| seconds(gap_ms(ms, expected.time_ms))),
                    splits: splits(&one.value.outcome, &self.course),
                })
            })
            .collect();
        views.sort_by_key(|view| (view.place.is_none(), view.place, view.fields.id));
        views
    }

    fn against(&self, one: &StoredOutcome) -> Option<AgainstView> {
        let of_athlete: Vec<Mark> = self
            .finishes
            .iter()
            .filter(|other| other.athlete == one.value.outcome.athlete)
            .map(|other| other.mark)
            .collect();
        let mark = of_athlete.iter().find(|mark| mark.id == one.id.0.as_u128())?;
        Some(against_best(mark, &of_athlete).into())
    }
}

/// How far a time lies above the expected one, all in milliseconds (ms).
fn gap_ms(ms: u32, expected: u32) -> i32 {
    i32::try_from(i64::from(ms) - i64::from(expected)).unwrap_or(i32::MAX)
}

/// The results of a race test that stand: places over all and in each heat, personal bests, splits against the schedule.
///
/// Places take in athletes of groups that you do not see; their results are not shown. CSV and XLSX have a row for each result. The page
/// is the result list, with a picture of each athlete's touchdowns against the schedule.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/race-tests/{race_test_id}/results", impl_for = list_race_results, tag = "race_tests",
    params(("Accept" = Option<String>, Header, description = "application/json (default), text/csv, XLSX, text/html or application/pdf")),
    responses(
        (status = 200, description = "The results", content(
            (ResultList = "application/json"),
            (String = "text/csv"),
            (String = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"),
            (String = "text/html")
        )),
        (status = 406, description = "None of them is acceptable")
    )
)]
async fn list_race_results(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    lanes: Data<Lanes>,
) -> Result<HttpResponse, Problem> {
    let format = choose(&req, &[Format::Csv, Format::Xlsx])?;
    // A table is written on a thread of the lane.
    let turn = match format {
        Format::Csv | Format::Xlsx => Some(permit.turn(&db, &lanes.reads).await?),
        _ => None,
    };
    let mut tx = permit.read(&db).await?;
    let test = load(&mut tx, &req).await?;
    let course = test.value.test.specification.course;
    let results = results_store::standing(&mut tx, test.id).await?;
    let entrants = entries_store::entrants(&mut tx, test.id).await?;
    let seen: Vec<AthleteId> =
        results.iter().filter(|(_, name)| name.is_some()).map(|(one, _)| one.value.outcome.athlete).collect();
    let finishes = results_store::finishes(&mut tx, &seen, Some(&course)).await?;
    let measure = paper::measure(&mut tx, format).await?;
    drop(tx);
    let sheet = Sheet {
        course,
        results: &results,
        entrants: entrants.iter().map(|one| (one.athlete, one)).collect(),
        finishes: &finishes,
        counts: counting(&results),
    };
    let results = sheet.views();
    let fell = results.iter().any(|one| one.fields.fell).then_some(Caution::AfterFall);
    let body = ResultList {
        race_test_id: test.id,
        specification: (&test.value.test.specification).into(),
        schedule_source: results
            .iter()
            .flat_map(|one| &one.splits)
            .any(|one| one.scheduled_s.is_some())
            .then_some(rhythm::SOURCE),
        results,
        cautions: Caution::BASE.iter().chain(&fell).map(CautionView::from).collect(),
    };
    if let Some(turn) = turn {
        let table = results_table::table(&body);
        let bytes = turn.run(move || if format == Format::Xlsx { table.xlsx() } else { table.csv() }).await?;
        let bytes = bytes.map_err(|_| Problem::new(Code::Internal, "The results could not be written."))?;
        return Ok(format.file("results", CACHE.1).body(bytes));
    }
    let (name, held_on) = (&test.value.test.name, test.value.held_on);
    Ok(match format {
        Format::Paper(form) => {
            let drawn = results_page(&body, (name, held_on), measure);
            paper::Desk(&permit, &db, &lanes).answer(form, measure, drawn).await?
        }
        _ => HttpResponse::Ok().insert_header(CACHE).json(body),
    })
}

/// The personal bests of an athlete: one for each course and class of timing.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/personal-bests", impl_for = list_personal_bests, tag = "race_tests",
    responses((status = 200, description = "The bests", body = BestList))
)]
async fn list_personal_bests(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    let athlete_id = AthleteId(path_id(&req, "athlete_id", "athlete")?);
    let mut tx = permit.read(&db).await?;
    if grants::visible_athletes(&mut tx, &[athlete_id.0]).await?.is_empty() {
        return Err(Problem::not_found("athlete"));
    }
    let finishes = results_store::finishes(&mut tx, &[athlete_id], None).await?;
    drop(tx);
    let marks: Vec<Mark> = finishes.iter().map(|one| one.mark).collect();
    let view = |best: &Mark| {
        let from = finishes.iter().find(|one| one.mark.id == best.id)?;
        let same = |one: &&Mark| (one.course, one.class) == (best.course, best.class);
        Some(BestView {
            course: CourseView {
                race_distance_m: best.course.race_distance.metres(),
                barriers: best.course.barriers,
                height_m: best.course.height.metres(),
                approach_m: best.course.approach.metres(),
                spacing_m: best.course.spacing.metres(),
            },
            timing_class: best.class.as_str(),
            final_time_s: seconds(best.time_ms),
            held_on: from.held_on,
            result_id: RaceResultId(Uuid::from_u128(best.id)),
            race_test_id: from.test,
            finishes: marks.iter().filter(same).count(),
            while_restricted: from.while_restricted,
        })
    };
    let items = bests(&marks).iter().filter_map(view).collect();
    Ok(HttpResponse::Ok().insert_header(CACHE).json(BestList { athlete_id, items }))
}

routes!(create_race_results, list_race_results, list_personal_bests);
