//! Links that show a session's sheets to helpers without an account.

use actix_web::http::header::{CACHE_CONTROL, HeaderName, HeaderValue, VARY};
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{DateTime, Utc};

use super::cards_http::Asked;
use super::session_store;
use super::set_out_page::sheets_page;
use super::sheets::{LinkList, LinkView, MOST_LINKS, NewLink, Secret, SheetsView, for_helpers};
use super::{links_store as store, set_out};
use crate::paper;
use crate::platform::accept::{Format, choose};
use crate::platform::access::{Permit, PlanWrite};
use crate::platform::asking::InPerson;
use crate::platform::body::Body;
use crate::platform::dates;
use crate::platform::db::{ClubTx, Db};
use crate::platform::fault::Fault;
use crate::platform::ids::{SecretLinkId, SessionId};
use crate::platform::lanes::Lanes;
use crate::platform::network::Network;
use crate::platform::params::{Params, path_id};
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::platform::secret_links::{self, Opened, Shows, hidden};
use crate::resources::advice::Memory;

/// The session in the path, when the caller sees it.
async fn session(tx: &mut ClubTx, req: &HttpRequest) -> Result<SessionId, Problem> {
    let id = SessionId(path_id(req, "session_id", "session")?);
    session_store::session(tx, id).await?.ok_or_else(|| Problem::not_found("session"))?;
    Ok(id)
}

/// When today ends in a time zone; none outside the calendar.
fn end_of_day(now: DateTime<Utc>, zone: chrono_tz::Tz) -> Option<DateTime<Utc>> {
    dates::begins(dates::day_of(now, zone).succ_opt()?, zone)
}

/// Makes a link that shows the session's lanes and cards to whoever holds it, read-only, without an account.
///
/// Its secret is shown only this once. It shows what you may see at the moment it is opened, of today's lanes and cards alone: no notes
/// of coaches, no reports. It ends with today in the club's time zone, earlier when you say so, at once when somebody takes it
/// back, and for as long as you have lost the group, the role or this sign-in. 409 when the club does without links, or the session has
/// as many as it may have.
#[utoipa::path(
    post, path = "/v1/clubs/{club_id}/sessions/{session_id}/links", impl_for = create_session_link, tag = "lane_plans",
    responses(
        (status = 201, description = "Made", body = LinkView),
        (status = 409, description = "The club does without links, or the session has as many as it may have")
    )
)]
async fn create_session_link(
    req: HttpRequest,
    // An app that is revoked would still show what it had handed out.
    permit: InPerson<PlanWrite>,
    db: Data<Db>,
    body: Body<NewLink>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.write(&db).await?;
    let id = session(&mut tx, &req).await?;
    let wanted = body.read()?.expires_at;
    // One after the other: they are counted.
    tx.alone(id.0).await?;
    let club = store::club(&mut tx).await?;
    if !club.helper_links {
        return Err(Problem::new(
            Code::Conflict,
            "The club does without links; an admin can allow them (`helper_links`).",
        ));
    }
    if secret_links::of_subject(&mut tx, Shows::SessionSheets, id.0).await?.len() >= MOST_LINKS {
        let detail = format!("The session has {MOST_LINKS} links. Hand on one of them, or take one back first.");
        return Err(Problem::new(Code::Conflict, detail));
    }
    let now = Utc::now();
    let end = end_of_day(now, club.time_zone).ok_or_else(|| Problem::new(Code::Internal, "Today does not end."))?;
    let expires_at = wanted.unwrap_or(end);
    if !(expires_at > now && expires_at <= end) {
        let detail = format!("must lie ahead and be at the latest {}, the end of today", end.to_rfc3339());
        return Err(Problem::invalid(vec![Fault::at("/expires_at", "out_of_range", detail)]));
    }
    let (link, secret) = secret_links::make(&mut tx, &permit, (Shows::SessionSheets, id.0), expires_at).await?;
    let names = store::names(&mut tx, &[link.made_by.0]).await?;
    tx.commit().await?;
    let view = LinkView::new(&link, &names, Some(&secret));
    Ok(HttpResponse::Created().insert_header((CACHE_CONTROL, "no-store")).json(view))
}

/// Lists the links of a session that are not over: who made each, until when it shows anything, when it was opened last.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/sessions/{session_id}/links", impl_for = list_session_links, tag = "lane_plans",
    responses((status = 200, description = "The links, oldest first", body = LinkList))
)]
async fn list_session_links(
    req: HttpRequest,
    permit: Permit<PlanWrite>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    let mut tx = permit.read(&db).await?;
    let id = session(&mut tx, &req).await?;
    let links = secret_links::of_subject(&mut tx, Shows::SessionSheets, id.0).await?;
    let makers: Vec<_> = links.iter().map(|link| link.made_by.0).collect();
    let names = store::names(&mut tx, &makers).await?;
    let items = links.iter().map(|link| LinkView::new(link, &names, None)).collect();
    Ok(HttpResponse::Ok().insert_header((CACHE_CONTROL, "private, no-cache")).json(LinkList { items }))
}

/// Takes a link back: from now on it shows nothing. Any coach who sees the session can.
#[utoipa::path(
    delete, path = "/v1/clubs/{club_id}/sessions/{session_id}/links/{link_id}", impl_for = delete_session_link, tag = "lane_plans",
    responses((status = 204, description = "Taken back"))
)]
async fn delete_session_link(
    req: HttpRequest,
    permit: Permit<PlanWrite>,
    db: Data<Db>,
) -> Result<HttpResponse, Problem> {
    let link = SecretLinkId(path_id(&req, "link_id", "link")?);
    let mut tx = permit.write(&db).await?;
    let id = session(&mut tx, &req).await?;
    secret_links::end(&mut tx, (Shows::SessionSheets, id.0), link).await?;
    tx.commit().await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The sheets behind a link, as its maker sees them now.
async fn sheets(
    opened: &Opened<PlanWrite>,
    db: &Db,
    (memory, lanes): (Data<Memory>, &Lanes),
    format: Format,
) -> Result<HttpResponse, Problem> {
    let (permit, expires_at) = (&opened.permit, opened.link.expires_at);
    let turn = permit.turn(db, &lanes.squads).await?;
    let mut tx = permit.read(db).await?;
    if !store::club(&mut tx).await?.helper_links {
        return Err(secret_links::closed());
    }
    let asked = Asked::of(&mut tx, SessionId(opened.link.subject)).await?;
    let measure = paper::measure(&mut tx, format).await?;
    drop(tx);
    let drawn = turn.run(move || {
        let content = asked.planned.clone().map(|(_, content)| for_helpers(content));
        let (cards, beside) = (asked.cards(&memory)?.for_helpers(), asked.beside());
        let info = asked.info;
        if let Format::Paper(form) = format {
            let page = sheets_page(info, content.as_ref(), (&cards, &beside), measure)?;
            return Ok((paper::content_type(form), paper::draw(form, measure, page)?));
        }
        let view = SheetsView {
            club: info.club,
            held_on: info.held_on,
            venue: info.venue.map(|(name, ..)| name),
            expires_at,
            set_out: content.as_ref().map(set_out::json).transpose()?,
            cards,
        };
        let body = serde_json::to_vec(&view);
        let body = body.map_err(|_| Problem::new(Code::Internal, "The answer could not be written."))?;
        Ok::<_, Problem>(("application/json", body))
    });
    let (media, body) = drawn.await??;
    Ok(HttpResponse::Ok().content_type(media).body(body))
}

/// The lanes and cards of a session, for helpers who were given a link.
///
/// Read-only, without an account; computed at this moment as whoever made the link, so it shows nobody whom they do not see: those of
/// other groups are counted (`others`). A browser gets a page for phone and paper. Coaches' notes and the reasons why somebody rests are left out. Every link that shows nothing is
/// answered 404 alike: one that never was, is over, was taken back, or whose maker lost the group, the role or the sign-in.
#[utoipa::path(
    get, path = "/v1/session-sheets", impl_for = get_session_sheets, tag = "lane_plans",
    responses(
        (status = 200, description = "The sheets", content((SheetsView = "application/json"), (String = "text/html"))),
        (status = 404, description = "The link shows nothing"),
        (status = 409, description = "A lane of the plan cannot be set out"),
        (status = 429, description = "Opened too often, or too many wrong links; `Retry-After` says how long to wait")
    )
)]
async fn get_session_sheets(
    req: HttpRequest,
    from: Network,
    db: Data<Db>,
    memory: Data<Memory>,
    lanes: Data<Lanes>,
    params: Params<Secret>,
) -> Result<HttpResponse, Problem> {
    let robots = || HeaderName::from_static("x-robots-tag");
    let read = async {
        let format = choose(&req, &[])?;
        let opened = secret_links::open::<PlanWrite>(&db, Shows::SessionSheets, &params.0.link, &from).await?;
        let sheets = sheets(&opened, &db, (memory, &lanes), format).await.map_err(hidden)?;
        opened.note(&db).await?;
        Ok(sheets)
    };
    let unseen = |problem: Problem| problem.with_header(robots(), "noindex").with_header(CACHE_CONTROL, "no-store");
    let mut answer = read.await.map_err(unseen)?;
    let headers = answer.headers_mut();
    headers.insert(robots(), HeaderValue::from_static("noindex"));
    headers.insert(CACHE_CONTROL, HeaderValue::from_static("no-store"));
    headers.insert(VARY, HeaderValue::from_static("accept"));
    Ok(answer)
}

routes!(create_session_link, list_session_links, delete_session_link, get_session_sheets);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_ends_at_the_clubs_midnight_whatever_its_clocks_do() {
        let at = |text: &str| text.parse::<DateTime<Utc>>().unwrap();
        for (now, zone, end) in [
            ("2026-06-01T22:30:00Z", chrono_tz::Europe::London, "2026-06-01T23:00:00Z"),
            ("2026-06-01T23:30:00Z", chrono_tz::Europe::London, "2026-06-02T23:00:00Z"),
            ("2026-10-24T23:30:00Z", chrono_tz::Europe::London, "2026-10-26T00:00:00Z"),
            // Clocks go forward at midnight: the day ends when the next one begins.
            ("2025-09-06T20:00:00Z", chrono_tz::America::Santiago, "2025-09-07T04:00:00Z"),
        ] {
            assert_eq!(end_of_day(at(now), zone), Some(at(end)), "{now}");
        }
    }
}
