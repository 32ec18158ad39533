//! Which specifications apply to whom, over HTTP.

use std::collections::BTreeSet;

use actix_web::HttpResponse;
use actix_web::web::Data;
use chrono::{Datelike, NaiveDate, Utc};
use serde::Deserialize;
use utoipa::IntoParams;

use super::published::{Answer, RulesetList, RulesetView, SpecView};
use crate::compute::day::Day;
use crate::compute::specs::{Birth, Club, Environment, OnFile, Query, lookup, published, published_age_groups};
use crate::compute::units::Sex;
use crate::platform::access::{Permit, SquadRead};
use crate::platform::db::Db;
use crate::platform::fault::Fault;
use crate::platform::ids::AthleteId;
use crate::platform::params::Params;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::resources::advice;
use crate::resources::advice::vocabulary;

/// Public data change with a release only.
const CACHE: (&str, &str) = ("cache-control", "public, max-age=3600");

/// About whom and when.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct PublishedParams {
    /// Rule set; a name without its year follows all editions.
    #[param(min_length = 1, max_length = 40, example = "UKA")]
    ruleset: String,
    /// `F` or `M`; without it every specification of the rule set is listed.
    #[param(value_type = Option<vocabulary::Sex>, inline, example = "F")]
    sex: Option<String>,
    /// Day of birth; send this or `birth_year` with `sex`.
    #[param(example = "2011-09-03")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    birth_date: Option<NaiveDate>,
    /// Year of birth.
    #[param(minimum = 1900, maximum = 2200, example = 2011)]
    birth_year: Option<i32>,
    /// The day of the competition; today when absent.
    #[param(example = "2026-02-01")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    on: Option<NaiveDate>,
    /// Only `indoor` or only `outdoor`.
    #[param(value_type = Option<vocabulary::Environment>, inline, example = "outdoor")]
    environment: Option<String>,
}

/// About whom and when, in a club.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct ClubParams {
    /// An athlete that you see; or send `sex` and a birth.
    athlete_id: Option<AthleteId>,
    /// `F` or `M`.
    #[param(value_type = Option<vocabulary::Sex>, inline, example = "F")]
    sex: Option<String>,
    /// Day of birth.
    #[param(example = "2011-09-03")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    birth_date: Option<NaiveDate>,
    /// Year of birth.
    #[param(minimum = 1900, maximum = 2200, example = 2011)]
    birth_year: Option<i32>,
    /// The day of the competition; today in the club when absent.
    #[param(example = "2026-02-01")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    on: Option<NaiveDate>,
    /// Rule set; the club's when absent.
    #[param(min_length = 1, max_length = 40, example = "UKA")]
    ruleset: Option<String>,
    /// Only `indoor` or only `outdoor`.
    #[param(value_type = Option<vocabulary::Environment>, inline, example = "outdoor")]
    environment: Option<String>,
}

fn bad(parameter: &str, code: &str, detail: &str) -> Problem {
    Problem::malformed(Fault::of(parameter, code, detail))
}

fn day(parameter: &str, date: NaiveDate) -> Result<Day, Problem> {
    Day::from_days(date.to_epoch_days())
        .filter(|_| (1900..=2200).contains(&date.year()))
        .ok_or_else(|| bad(parameter, "out_of_range", "must be from 1900-01-01 to 2200-12-31"))
}

fn ruleset(name: &str) -> Result<&str, Problem> {
    let fits = (1..=40).contains(&name.chars().count());
    fits.then_some(name).ok_or_else(|| bad("ruleset", "length", "must have 1 to 40 characters"))
}

fn sex(word: &str) -> Result<Sex, Problem> {
    Sex::from_word(word).ok_or_else(|| bad("sex", "word", "must be F or M"))
}

fn birth(date: Option<NaiveDate>, year: Option<i32>) -> Result<Birth, Problem> {
    match (date, year) {
        (Some(date), None) => Ok(Birth::Date(day("birth_date", date)?)),
        (None, Some(year)) if (1900..=2200).contains(&year) => Ok(Birth::Year(year)),
        (None, Some(_)) => Err(bad("birth_year", "out_of_range", "must be from 1900 to 2200")),
        _ => Err(bad("birth_date", "one_of", "send either birth_date or birth_year together with sex")),
    }
}

fn environment(word: Option<&str>) -> Result<Option<Environment>, Problem> {
    let parse =
        |word| Environment::from_word(word).ok_or_else(|| bad("environment", "word", "must be indoor or outdoor"));
    word.map(parse).transpose()
}

/// The published specifications that apply to somebody on a day, and from when others do.
///
/// Each names its sources and how well they support it. Where none is on file the answer says so; it never guesses.
#[utoipa::path(
    get, path = "/v1/competition-specs", impl_for = list_published_specs, tag = "competition_specs",
    responses((status = 200, description = "The specifications", body = Answer))
)]
async fn list_published_specs(params: Params<PublishedParams>) -> Result<HttpResponse, Problem> {
    let asked = params.0;
    let ruleset = ruleset(&asked.ruleset)?;
    let environment = environment(asked.environment.as_deref())?;
    let on = day("on", asked.on.unwrap_or_else(|| Utc::now().date_naive()))?;
    let body = if let Some(word) = asked.sex.as_deref() {
        let (sex, birth) = (sex(word)?, birth(asked.birth_date, asked.birth_year)?);
        let none = Club { specs: &[], age_groups: &[] };
        Answer::new(&lookup(&Query { ruleset, sex, birth, on, environment }, &none))
    } else if asked.birth_date.is_some() || asked.birth_year.is_some() {
        return Err(bad("sex", "missing", "is needed with a birth: F or M"));
    } else {
        every_spec(ruleset, environment)
    };
    Ok(HttpResponse::Ok().insert_header(CACHE).json(body))
}

/// Everything on file of a rule set, of all its editions when its year is left out.
fn every_spec(ruleset: &str, environment: Option<Environment>) -> Answer {
    let current: Vec<SpecView> = published()
        .filter(|spec| spec.is_under(ruleset) && environment.is_none_or(|wanted| wanted == spec.environment))
        .map(SpecView::alone)
        .collect();
    let note = current.is_empty().then(|| {
        "No specification of this rule set is on file; GET /v1/rulesets lists those that are. A club admin can add its own \
         with POST /v1/clubs/{club_id}/competition-specs."
            .to_owned()
    });
    Answer { current, next: Vec::new(), provisional: Vec::new(), note }
}

/// The published rule sets with their age groups, by name.
#[utoipa::path(
    get, path = "/v1/rulesets", impl_for = list_rulesets, tag = "competition_specs",
    responses((status = 200, description = "The rule sets", body = RulesetList))
)]
async fn list_rulesets() -> Result<HttpResponse, Problem> {
    let today = day("on", Utc::now().date_naive())?;
    let names: BTreeSet<&str> = published()
        .map(|spec| &*spec.ruleset)
        .chain(published_age_groups().iter().map(|group| &*group.ruleset))
        .collect();
    let items = names
        .into_iter()
        .map(|name| {
            let on_file = OnFile::of(name, &Club::default(), today);
            RulesetView {
                ruleset: name.to_owned(),
                age_groups: published_age_groups()
                    .iter()
                    .filter(|group| group.ruleset == name)
                    .map(Into::into)
                    .collect(),
                specifications: published().filter(|spec| spec.ruleset == name).count(),
                on_file: on_file.as_str(),
                note: on_file.sentence(),
            }
        })
        .collect();
    Ok(HttpResponse::Ok().insert_header(CACHE).json(RulesetList { items }))
}

/// The specifications that apply to an athlete or a birth on a day, the club's own included.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/competition-specs/applicable", impl_for = list_applicable_specs, tag = "competition_specs",
    responses((status = 200, description = "The specifications", body = Answer))
)]
async fn list_applicable_specs(
    permit: Permit<SquadRead>,
    db: Data<Db>,
    params: Params<ClubParams>,
) -> Result<HttpResponse, Problem> {
    let asked = params.0;
    let own_ruleset = asked.ruleset.as_deref().map(ruleset).transpose()?;
    let environment = environment(asked.environment.as_deref())?;
    let mut tx = permit.read(&db).await?;
    let date = match asked.on {
        Some(date) => date,
        None => tx.today().await?,
    };
    let on = day("on", date)?;
    let (sex, birth) = match asked.athlete_id {
        Some(id) => {
            let people = advice::load(&mut tx, Some(&[id]), None, date).await?;
            let person = people.into_iter().next().ok_or_else(|| Problem::not_found("athlete"))?;
            (person.record.sex, person.record.birth)
        }
        None => {
            let word =
                asked.sex.as_deref().ok_or_else(|| bad("sex", "missing", "send athlete_id, or sex with a birth"))?;
            (sex(word)?, birth(asked.birth_date, asked.birth_year)?)
        }
    };
    let setting = advice::setting(&mut tx).await?;
    let club = Club { specs: &setting.specs, age_groups: &setting.age_groups };
    let ruleset = own_ruleset.unwrap_or(&setting.ruleset);
    let body = Answer::new(&lookup(&Query { ruleset, sex, birth, on, environment }, &club));
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(body))
}

routes!(list_published_specs, list_rulesets, list_applicable_specs);
