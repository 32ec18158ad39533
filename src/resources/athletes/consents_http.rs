//! Consents of an athlete over HTTP.

use actix_web::http::header::ETAG;
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::consent::{Consent, Consenter, Purpose, Said};
use super::consent_store::{self as store, StoredConsent};
use super::http::load;
use crate::platform::access::{Permit, RosterWrite, SquadRead};
use crate::platform::asking::InPerson;
use crate::platform::body::Body;
use crate::platform::db::{Audience, Db};
use crate::platform::ids::{AthleteId, ConsentId};
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::stored;
use crate::platform::words::spelt;

/// What was said for a purpose.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewConsent, example = json!({"purpose": "sharing_with_apps", "act": "withdrawn", "on": "2026-11-24", "by": "guardian"}))]
struct New {
    /// Client-made UUID; makes the record repeatable.
    id: Option<ConsentId>,
    /// What for.
    #[schema(value_type = Purpose)]
    purpose: String,
    /// Given or withdrawn.
    #[schema(value_type = Said)]
    act: String,
    /// The day on which it was said.
    #[schema(example = "2026-11-24")]
    #[serde(deserialize_with = "crate::platform::dates::read")]
    on: NaiveDate,
    /// Who said it.
    #[schema(value_type = super::consent::Consenter)]
    by: String,
}

/// What was said for a purpose, as it is kept.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Consent)]
struct View {
    /// The id.
    id: ConsentId,
    /// The athlete.
    athlete_id: AthleteId,
    /// What for.
    #[schema(value_type = Purpose)]
    purpose: &'static str,
    /// Given or withdrawn.
    #[schema(value_type = Said)]
    act: &'static str,
    /// The day on which it was said.
    on: NaiveDate,
    /// Who said it; absent for what was entered with the athlete.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<super::consent::Consenter>)]
    by: Option<&'static str>,
    /// Who recorded it; absent where that was not kept.
    #[serde(skip_serializing_if = "Option::is_none")]
    recorded_by: Option<Uuid>,
}

impl From<&StoredConsent> for View {
    fn from(stored: &StoredConsent) -> Self {
        let consent = stored.consent;
        Self {
            id: stored.id,
            athlete_id: stored.athlete,
            purpose: consent.purpose.as_str(),
            act: consent.said().as_str(),
            on: consent.on,
            by: consent.by.map(Consenter::as_str),
            recorded_by: stored.recorded_by,
        }
    }
}

spelt! {
    /// A type of records about an athlete, as the feed calls it.
    RemainingType {
        "measurement": "Measurements.",
        "run": "Runs.",
        "assessment": "Assessments.",
        "wellbeing_record": "Reports of pain, illness and injury, restrictions and clearances.",
        "decision": "What coaches decided on recommendations.",
        "race_result": "Results of race tests."
    }
}

/// Records of one type that are kept.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RemainingRecords)]
struct Remaining {
    /// The type, as the feed calls it.
    #[serde(rename = "type")]
    #[schema(value_type = RemainingType)]
    kind: &'static str,
    /// How many.
    #[schema(minimum = 0, example = 42)]
    count: i64,
}

/// What stands for a purpose.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ConsentStanding)]
struct StandingView {
    /// What for.
    #[schema(value_type = Purpose)]
    purpose: &'static str,
    /// What was recorded last; absent when nothing was, and then nothing is withheld: the club goes by another basis.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<Said>)]
    act: Option<&'static str>,
    /// The day on which that was said.
    #[serde(skip_serializing_if = "Option::is_none")]
    on: Option<NaiveDate>,
    /// Who no longer sees the athlete because this consent is withdrawn.
    #[schema(value_type = Vec<Audience>, max_items = 2)]
    withheld_from: Vec<&'static str>,
    /// What remains although it was withdrawn, and why; absent otherwise.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(
        max_length = 500,
        example = "Coaches of their groups still see the athlete: that does not rest on this consent."
    )]
    remains: Option<&'static str>,
}

/// What was agreed to for an athlete.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AthleteConsents)]
struct All {
    /// What stands for each purpose.
    #[schema(min_items = 3, max_items = 3)]
    standing: Vec<StandingView>,
    /// The records of the athlete that the club keeps.
    #[schema(max_items = 10)]
    kept: Vec<Remaining>,
    /// What was recorded, the latest first, at most 200.
    #[schema(max_items = 200)]
    items: Vec<View>,
}

/// Answers a consent that was recorded now, or before.
fn answer(req: &HttpRequest, fresh: bool, stored: &StoredConsent) -> HttpResponse {
    let mut answer = stored::created(req, fresh, stored.id, 1, &View::from(stored));
    // Nobody changes it, so it has no version.
    answer.headers_mut().remove(ETAG);
    answer
}

/// Records that consent was given or withdrawn.
///
/// What was recorded last for a purpose stands. Once consent is withdrawn, whoever it opened the athlete to no longer sees them: apps
/// and links from the next request on, an app's copy with its next pull. Members go on seeing them; `GET` on the same path says what
/// remains and why. Where nothing was recorded nothing is withheld. `consent_on` of the athlete is the day of consent to
/// `training_records` that stands, and entering or clearing it there is recorded here. People record it, in person, also there: an app
/// would say of itself that it may see somebody.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/consents", impl_for = create_consent, tag = "athletes",
    responses((status = 201, description = "Recorded", body = View), (status = 200, description = "Was there already", body = View))
)]
async fn create_consent(
    req: HttpRequest,
    permit: InPerson<RosterWrite>,
    db: Data<Db>,
    body: Body<New>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let athlete = load(&mut tx, &req).await?;
    let New { id, purpose, act, on, by } = body.read()?;
    let consent = Consent::parse((&purpose, &act, &by), on, tx.today().await?)?;
    let id = id.unwrap_or_else(ConsentId::new);
    tx.alone_all([athlete.id.0, id.0]).await?;
    // Read again: somebody may have moved or erased the athlete meanwhile.
    let athlete = load(&mut tx, &req).await?;
    let recorded_by = Some(permit.account.0);
    let new = StoredConsent { id, athlete: athlete.id, consent, recorded_by };
    if store::record(&mut tx, id, (athlete.id, &athlete.value.groups), consent).await? {
        tx.commit().await?;
        return Ok(answer(&req, true, &new));
    }
    let found = store::find(&mut tx, id).await?.ok_or_else(Problem::gone)?;
    stored::same_or_conflict(&(found.athlete, found.consent), &(athlete.id, consent))?;
    Ok(answer(&req, false, &found))
}

/// What was agreed to for an athlete: what stands, what it withholds, what remains, and everything that was recorded.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/consents", impl_for = list_consents, tag = "athletes",
    responses((status = 200, description = "The consents", body = All))
)]
async fn list_consents(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let athlete = load(&mut tx, &req).await?;
    let standing = store::standing(&mut tx, athlete.id).await?;
    let kept = store::remaining(&mut tx, athlete.id).await?;
    let items = store::of_athlete(&mut tx, athlete.id).await?;
    let view = |(purpose, standing): (Purpose, Option<super::consent::Standing>)| {
        let withdrawn = standing.is_some_and(|one| !one.given);
        let withheld_from = purpose.opens().iter().filter(|_| withdrawn).map(|audience| audience.as_str()).collect();
        let act = standing.map(|one| Said::of(one.given).as_str());
        let remains = withdrawn.then(|| purpose.remains());
        StandingView { purpose: purpose.as_str(), act, on: standing.map(|one| one.on), withheld_from, remains }
    };
    let body = All {
        standing: standing.into_iter().map(view).collect(),
        kept: kept.into_iter().map(|(kind, count)| Remaining { kind, count }).collect(),
        items: items.iter().map(View::from).collect(),
    };
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(body))
}

routes!(create_consent, list_consents);
