//! A member's calendar of sessions behind a secret address.

use actix_web::http::header::{CACHE_CONTROL, HeaderName};
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Days, Duration, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::store::{self, Filter, StoredSession};
use super::{feed, feed_store};
use crate::platform::access::{Permit, SquadRead};
use crate::platform::asking::InPerson;
use crate::platform::body::Body;
use crate::platform::db::{ClubTx, Db};
use crate::platform::ids::SecretLinkId;
use crate::platform::lanes::Lanes;
use crate::platform::network::Network;
use crate::platform::page::{self, PageParams};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::platform::secret_links::{self, SecretLink, Shows, hidden};

/// Where feeds are read.
const PATH: &str = "/v1/calendar.ics";
/// How long a feed stands: longer than a season, so that nobody has to renew one within it (design choice).
const STANDS: Duration = Duration::days(400);
/// Most feeds of a member: one for each place where they keep a calendar (design choice).
const MOST: usize = 10;
/// How far back and ahead a feed shows sessions, days (design choice).
const SHOWN: (u64, u64) = (60, 366);
/// Most sessions of a feed.
const MOST_SESSIONS: usize = 2_000;

/// A new feed; there is nothing to say about it.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = NewCalendarFeed, example = json!({}))]
struct NewFeed {}

/// A calendar feed.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CalendarFeed)]
struct FeedView {
    /// The id.
    id: SecretLinkId,
    /// When it was made.
    made_at: DateTime<Utc>,
    /// Until when it shows anything.
    expires_at: DateTime<Utc>,
    /// When it was read last, to the minute; absent before the first time.
    #[serde(skip_serializing_if = "Option::is_none")]
    opened_at: Option<DateTime<Utc>>,
    /// The address for the calendar program, behind that of the service; shown only once. Whoever has it can read.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(
        max_length = 200,
        example = "/v1/calendar.ics?link=AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"
    )]
    href: Option<String>,
}

/// The calendar feeds of a member.
type FeedList = page::List<FeedView, MOST>;

impl FeedView {
    fn new(link: &SecretLink, secret: Option<&str>) -> Self {
        Self {
            id: link.id,
            made_at: link.made_at,
            expires_at: link.expires_at,
            opened_at: link.opened_at,
            href: secret.map(|secret| format!("{PATH}?link={secret}")),
        }
    }
}

/// A secret that opens something.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct Secret {
    /// The secret, as it stands in the address.
    #[param(
        min_length = 1,
        max_length = 200,
        example = "AZNvLl06fEGbHi9tDIpOV3nS8cU1b0sYkqW2rJm5xZ4tQeVg7hLwPaDfTyGuIoBn"
    )]
    link: String,
}

/// Makes a calendar feed (RFC 5545) of the sessions that you see, for a calendar program that cannot sign in.
///
/// The address is shown only this once; whoever has it can read. It shows the sessions of your groups as they are when it is read:
/// days, groups, venue and drills, nobody's name and no notes. It ends after 400 days, at once when you take it back,
/// and shows nothing for as long as you have no place in the club or have ended the sign-in with which you made it. 409 when you have ten.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/calendar-feeds", impl_for = create_calendar_feed, tag = "sessions",
    responses(
        (status = 201, description = "Made", body = FeedView),
        (status = 409, description = "You have as many feeds as you may have")
    )
)]
async fn create_calendar_feed(
    // An app that is revoked would still show what it had handed out.
    permit: InPerson<SquadRead>,
    db: Data<Db>,
    body: Body<NewFeed>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let NewFeed {} = body.read()?;
    let own = (Shows::CalendarFeed, permit.account.0);
    // One after the other: they are counted.
    tx.alone(permit.account.0).await?;
    if secret_links::of_subject(&mut tx, own.0, own.1).await?.len() >= MOST {
        return Err(Problem::new(Code::Conflict, format!("You have {MOST} feeds. Take one back first.")));
    }
    let (link, secret) = secret_links::make(&mut tx, &permit, own, Utc::now() + STANDS).await?;
    tx.commit().await?;
    Ok(HttpResponse::Created().insert_header((CACHE_CONTROL, "no-store")).json(FeedView::new(&link, Some(&secret))))
}

/// Lists your calendar feeds that are not over, oldest first.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/calendar-feeds", impl_for = list_calendar_feeds, tag = "sessions",
    responses((status = 200, description = "Your feeds", body = FeedList))
)]
async fn list_calendar_feeds(permit: Permit<SquadRead>, db: Data<Db>) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let links = secret_links::of_subject(&mut tx, Shows::CalendarFeed, permit.account.0).await?;
    let items = links.iter().map(|link| FeedView::new(link, None)).collect();
    Ok(HttpResponse::Ok().insert_header((CACHE_CONTROL, "private, no-cache")).json(FeedList { items }))
}

/// Takes a calendar feed of yours back: from now on it shows nothing.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/calendar-feeds/{feed_id}", impl_for = delete_calendar_feed, tag = "sessions",
    responses((status = 204, description = "Taken back"))
)]
async fn delete_calendar_feed(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    let feed = SecretLinkId(path_id(&req, "feed_id", "calendar feed")?);
    let mut tx = permit.write(&db).await?;
    secret_links::end(&mut tx, (Shows::CalendarFeed, permit.account.0), feed).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The sessions that the actor sees around today, latest first.
async fn sessions(tx: &mut ClubTx, today: NaiveDate) -> Result<Vec<StoredSession>, Problem> {
    let (from, to) = (today.checked_sub_days(Days::new(SHOWN.0)), today.checked_add_days(Days::new(SHOWN.1)));
    let filter = Filter { group: None, state: None, from, to };
    let all = PageParams { limit: Some(page::MAX_LIMIT), cursor: None }.parse::<(NaiveDate, Uuid)>()?;
    let (mut found, mut after): (Vec<StoredSession>, _) = (Vec::new(), None);
    loop {
        let rows = store::page(tx, &filter, after, all.fetch()).await?;
        let (rows, next) = all.cut(rows, |row| (row.value.held_on, row.id.0));
        after = rows.last().map(|row| (row.value.held_on, row.id.0));
        found.extend(rows);
        if next.is_none() || found.len() >= MOST_SESSIONS {
            return Ok(found);
        }
    }
}

/// The sessions behind a calendar feed, from 60 days ago to a year ahead, as whole days.
///
/// Without an account; read at this moment as whoever made the feed, so it shows no session of a group that they do not see. Every
/// feed that shows nothing is answered 404 alike: one that never was, is over, was taken back, or whose maker left the club or
/// ended that sign-in.
#[utoipa::path(
    get, path = "/v1/calendar.ics", impl_for = get_calendar, tag = "sessions",
    responses(
        (status = 200, description = "The calendar", body = String, content_type = "text/calendar"),
        (status = 404, description = "The feed shows nothing"),
        (status = 429, description = "Read too often, or too many wrong addresses; `Retry-After` says how long to wait")
    )
)]
async fn get_calendar(
    from: Network,
    db: Data<Db>,
    lanes: Data<Lanes>,
    params: Params<Secret>,
) -> Result<HttpResponse, Problem> {
    let robots = || HeaderName::from_static("x-robots-tag");
    let read = async {
        let opened = secret_links::open::<SquadRead>(&db, Shows::CalendarFeed, &params.0.link, &from).await?;
        let shown = async {
            let turn = opened.permit.turn(&db, &lanes.reads).await?;
            let mut tx = opened.permit.read(&db).await?;
            let today = tx.today().await?;
            let (found, names) = (sessions(&mut tx, today).await?, feed_store::names(&mut tx).await?);
            drop(tx);
            turn.run(move || feed::calendar(&found, &names, Utc::now())).await
        };
        let calendar = shown.await.map_err(hidden)?;
        opened.note(&db).await?;
        Ok(calendar)
    };
    let unseen = |problem: Problem| problem.with_header(robots(), "noindex").with_header(CACHE_CONTROL, "no-store");
    let calendar = read.await.map_err(unseen)?;
    let mut answer = HttpResponse::Ok();
    answer.insert_header((robots(), "noindex")).insert_header((CACHE_CONTROL, "no-store"));
    Ok(answer.content_type("text/calendar; charset=utf-8").body(calendar))
}

routes!(create_calendar_feed, list_calendar_feeds, delete_calendar_feed, get_calendar);
