//! The club over HTTP.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::Settings;
use super::{ending_store, store};
use crate::platform::access::{ClubAdmin, Permit, SquadRead};
use crate::platform::db::{Db, Kind};
use crate::platform::ids::ClubId;
use crate::platform::patch;
use crate::platform::patch::Patch;
use crate::platform::print_units::PrintUnits;
use crate::platform::problem::Problem;
use crate::platform::route::routes;
use crate::platform::secret_links::{self, Shows};
use crate::platform::stored::{self, IfMatch, Stored};
use crate::resources::advice::PolicyFields;

/// A club's settings.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ClubSettings, example = json!({"spacing_step_m": 0.25, "policy": {"min_intervals": 16}}))]
struct Fields {
    /// Name of the club.
    #[schema(min_length = 1, max_length = 100, example = "Harbour Hurdlers")]
    name: String,
    /// IANA time zone; decides what "today" is.
    #[schema(min_length = 1, max_length = 60, example = "Europe/London")]
    time_zone: String,
    /// The rule set its athletes race under, one of `GET /v1/rulesets` or the club's own.
    #[schema(min_length = 1, max_length = 40, example = "UKA")]
    ruleset: String,
    /// Smallest change of spacing that the club sets out, metres.
    #[schema(minimum = 0.05, maximum = 1, example = 0.25)]
    spacing_step_m: f64,
    /// The units of lengths in pages and other documents for people, and in drawings (SVG).
    #[schema(value_type = PrintUnits)]
    print_units: String,
    /// The club's own numbers for the progression rules.
    #[serde(default)]
    policy: PolicyFields,
    /// Whether coaches may show a session's sheets to helpers without an account, by a link that ends with the day. Switching it off
    /// ends every link that there is.
    #[serde(default = "allowed")]
    helper_links: bool,
}

const fn allowed() -> bool {
    true
}

impl From<&Settings> for Fields {
    fn from(value: &Settings) -> Self {
        Self {
            name: value.name.clone(),
            time_zone: value.time_zone.name().to_owned(),
            ruleset: value.ruleset.clone(),
            spacing_step_m: value.spacing_step.metres(),
            print_units: value.print_units.as_str().to_owned(),
            policy: value.policy.clone(),
            helper_links: value.helper_links,
        }
    }
}

/// A club with its settings.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Club)]
pub(super) struct View {
    /// The id.
    id: ClubId,
    /// Number of the last change; the `ETag` begins with it, and `If-Match` takes it alone too.
    #[schema(minimum = 1, example = 42)]
    rev: i64,
    /// When the club is deleted with everything in it, because an admin asked for that; until then every admin can take it back.
    /// Absent when it stays.
    #[serde(skip_serializing_if = "Option::is_none")]
    deletes_at: Option<DateTime<Utc>>,
    /// The settings.
    #[serde(flatten)]
    fields: Fields,
}

impl View {
    /// The club, which may have a last day.
    pub(super) fn new(stored: &Stored<ClubId, Settings>, deletes_at: Option<DateTime<Utc>>) -> Self {
        Self { id: stored.id, rev: stored.rev, deletes_at, fields: (&stored.value).into() }
    }
}

/// Reads the club.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}", impl_for = get_club, tag = "clubs",
    responses((status = 200, description = "The club", body = View), (status = 304, description = "Unchanged"))
)]
async fn get_club(req: HttpRequest, permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let found = store::find(&mut tx).await?;
    let deletes_at = ending_store::due_at(&mut tx).await?;
    Ok(stored::read(&req, found.rev, &View::new(&found, deletes_at)))
}

/// Changes the club's settings (merge patch).
#[utoipa::path(
    patch, path = "/v1/clubs/{club_id}", impl_for = update_club, tag = "clubs",
    responses((status = 200, description = "Changed", body = View))
)]
async fn update_club(
    version: IfMatch,
    permit: Permit<ClubAdmin>,
    db: Data<Db>,
    body: Patch<Fields>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let before = store::find(&mut tx).await?;
    let deletes_at = ending_store::due_at(&mut tx).await?;
    version.require::<SquadRead>(&tx, before.rev, &View::new(&before, deletes_at))?;
    let fields: Fields = patch::merge(&Fields::from(&before.value), &body.read()?)?;
    let texts = [&*fields.name, &fields.time_zone, &fields.ruleset, &fields.print_units];
    let value = Settings::parse(texts, fields.spacing_step_m, fields.policy, fields.helper_links)?;
    store::save(&mut tx, &value).await?;
    if before.value.helper_links && !value.helper_links {
        secret_links::end_all(&mut tx, Shows::SessionSheets).await?;
    }
    let rev = tx.commit().await?.of(Kind::Club, before.id, before.rev);
    Ok(stored::changed(rev, &View::new(&Stored { id: before.id, rev, value }, deletes_at)))
}

routes!(get_club, update_club);
