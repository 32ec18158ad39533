//! The change feed over HTTP.

use std::time::Duration;

use actix_web::http::header::{CACHE_CONTROL, USER_AGENT};
use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{NaiveDate, Utc};
use serde::Deserialize;
use tokio::time::Instant;
use utoipa::IntoParams;
use uuid::Uuid;

use super::clock_store::{self, Clock};
use super::devices_store::{self, Head, Phone};
use super::model::{Type, Types};
use super::pager::{self, Limits, Wanted};
use super::places::{Position, Walk};
use super::polls::{self, Polls};
use super::shapes::Page;
use super::store::{self, Log};
use super::token::Token;
use super::{bodies, wait};
use crate::platform::access::{Permit, Syncing, bearer};
use crate::platform::asking::Later;
use crate::platform::audit;
use crate::platform::db::{ClubTx, Db};
use crate::platform::fault::Fault;
use crate::platform::ids::ClubId;
use crate::platform::lanes::Lanes;
use crate::platform::news::{self, Waiting};
use crate::platform::params::{Params, path_id};
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::platform::token::Keys;
use crate::platform::{telemetry, text};

/// The version of the records' shapes that this service speaks.
pub const SCHEMA: u16 = 1;
/// Changes on a page when `limit` is absent.
pub const DEFAULT_LIMIT: u16 = 500;
/// Changes on a page at most.
pub const MAX_LIMIT: u16 = 2_000;
/// Most groups of `groups`; at most 32, one bit for each in the token.
pub const MAX_GROUPS: usize = 20;
/// Rows that one page may read.
const ROWS: usize = 5_000;
/// How often a device's progress is noted while nothing changes, seconds.
const NOTE_SECONDS: i64 = 60;

/// What to send.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct FeedParams {
    /// The types to carry, separated by commas; all when absent.
    #[param(max_length = 300, example = "athlete,session,run,assessment")]
    types: Option<String>,
    /// The ids of the groups whose records to carry, separated by commas, beside what belongs to the whole club; everything
    /// that you see when absent.
    #[param(max_length = 750)]
    groups: Option<String>,
    /// The version of the records' shapes: 1.
    #[param(minimum = 1, maximum = 1, default = 1, example = 1)]
    schema: Option<u16>,
    /// The token of the page before; absent for a full copy.
    #[param(max_length = 1000)]
    sync_token: Option<String>,
    /// Another name of `sync_token`.
    #[param(max_length = 1000)]
    since: Option<String>,
    /// Changes on the page.
    #[param(minimum = 1, maximum = 2000, default = 500, example = 500)]
    limit: Option<u16>,
    /// Leaves out runs, attendances, lane plans, assessments, decisions and race tests with their entries and results that are
    /// about a day before this one, also those that arrive later; said with a full copy, the token remembers it.
    #[param(example = "2026-09-01")]
    #[serde(default, deserialize_with = "crate::platform::dates::read")]
    history_from: Option<NaiveDate>,
}

/// A request for changes, checked.
#[derive(Clone)]
struct Asked {
    wanted: Wanted,
    text: Option<String>,
    limit: usize,
    history_from: Option<NaiveDate>,
}

fn parse_types(text: Option<&str>) -> Result<Types, Problem> {
    let Some(text) = text else { return Ok(Types::all()) };
    let one = |word: &str| {
        Type::parse(word).map_err(|detail| Problem::malformed(Fault::of("types", "word", format!("{word:?} {detail}"))))
    };
    text.split(',').map(|word| one(word.trim())).collect()
}

fn parse_groups(text: Option<&str>) -> Result<Option<Vec<Uuid>>, Problem> {
    let Some(text) = text else { return Ok(None) };
    let fault = |detail: String| Problem::malformed(Fault::of("groups", "word", detail));
    let one =
        |word: &str| Uuid::try_parse(word.trim()).map_err(|_| fault(format!("{word:?} is not the id of a group")));
    let mut groups: Vec<Uuid> = text.split(',').map(one).collect::<Result<_, _>>()?;
    groups.sort_unstable();
    groups.dedup();
    if groups.len() > MAX_GROUPS {
        return Err(fault(format!("names more than {MAX_GROUPS} groups; without groups, everything is sent")));
    }
    Ok(Some(groups))
}

impl Asked {
    fn parse(params: FeedParams) -> Result<Self, Problem> {
        let refuse = |name: &str, detail: &str| Err(Problem::malformed(Fault::of(name, "out_of_range", detail)));
        if params.schema.unwrap_or(SCHEMA) != SCHEMA {
            return refuse("schema", "must be 1, the only version so far");
        }
        let limit = params.limit.unwrap_or(DEFAULT_LIMIT);
        if !(1..=MAX_LIMIT).contains(&limit) {
            return refuse("limit", "must be from 1 to 2000");
        }
        if params.sync_token.is_some() && params.since.is_some() {
            return refuse("since", "is another name of sync_token: send one of the two");
        }
        Ok(Self {
            wanted: Wanted {
                types: parse_types(params.types.as_deref())?,
                groups: parse_groups(params.groups.as_deref())?,
            },
            text: params.sync_token.or(params.since),
            limit: usize::from(limit),
            history_from: params.history_from,
        })
    }
}

const fn whole(types: Types) -> Walk {
    Walk { types, groups: 0, after: None }
}

/// What is to be copied before the log is read on: what is under way, and what the phone has not carried so far.
fn widened(token: &Token, wanted: &Wanted) -> Option<Walk> {
    let types = wanted.types.without(token.types);
    let groups = match (&token.groups, &wanted.groups) {
        (None, _) => Some(0),
        (Some(_), None) => None,
        (Some(before), Some(now)) => {
            let added = (0..).zip(now).filter(|(_, group)| !before.contains(group));
            Some(added.fold(0, |bits, (at, _)| bits | 1_u32 << at))
        }
    };
    match (token.position.walk, groups) {
        // Its groups are named by their places among those of the token.
        (Some(walk), Some(0)) if types.is_empty() && (walk.groups == 0 || token.groups == wanted.groups) => {
            Some(Walk { types: walk.types.and(wanted.types), ..walk })
        }
        // A copy under way begins again with what is new; what was sent of it comes twice, which is harmless.
        (Some(walk), Some(0)) if walk.groups == 0 => Some(whole(walk.types.or(types).and(wanted.types))),
        (None, Some(0)) => Some(whole(types)).filter(|_| !types.is_empty()),
        (None, Some(groups)) if types.is_empty() => Some(Walk { groups, ..whole(wanted.types) }),
        _ => Some(whole(wanted.types)),
    }
}

/// How far the phone has read by its token, checked against the log.
fn position(tx: &ClubTx, clock: &Clock, asked: &Asked, keys: &Keys) -> Result<Token, Problem> {
    let wanted = &asked.wanted;
    let Some(text) = &asked.text else {
        return Ok(Token {
            epoch: clock.epoch,
            generation: clock.generation,
            types: wanted.types,
            groups: wanted.groups.clone(),
            schema: SCHEMA,
            history_from: asked.history_from,
            position: Position { seq: clock.seq, sub: None, walk: Some(whole(wanted.types)) },
        });
    };
    let mut token = Token::read(text, keys, tx.club, tx.actor.account).ok_or_else(|| {
        let detail = "Send the sync_token of your last page, unchanged, as the member of the club who got it. Without \
                      one, pull from the start.";
        Problem::new(Code::SyncTokenInvalid, detail)
    })?;
    // Also a token from before the fork: its phone may hold records newer than that place, and a journal.
    if token.epoch != clock.epoch || token.position.seq > clock.seq {
        let detail = "The service was restored from an older copy. Put the journal of the last 30 days back into the \
                      outbox, forget the token and pull from the start.";
        return Err(Problem::new(Code::HistoryDiverged, detail));
    }
    if token.position.seq + 1 < clock.oldest || token.generation < clock.generation {
        let detail = "Forget the token, mark every record stale, pull from the start, then delete what is still stale. \
                      Keep the outbox.";
        let current = serde_json::json!({"retained_since": clock.oldest_at, "restart": true});
        return Err(Problem::new(Code::SyncTokenExpired, detail).with_current(current));
    }
    token.generation = token.generation.max(clock.generation);
    token.position.walk = widened(&token, wanted);
    token.groups.clone_from(&wanted.groups);
    token.types = wanted.types;
    Ok(token)
}

/// A page with what it was read from.
struct Read {
    page: Page,
    clock: Clock,
    /// The last change that was read whole.
    seq: i64,
    /// Count of forced full copies of the device.
    generation: i32,
}

/// One page, read in one snapshot.
async fn read_page(
    permit: &Permit<Syncing>,
    (db, lanes): (&Db, &Lanes),
    keys: &Keys,
    asked: &Asked,
) -> Result<Read, Problem> {
    let _turn = permit.turn(db, &lanes.reads).await?;
    let mut tx = permit.read(db).await?;
    let clock = clock_store::clock(&mut tx, permit.device).await?;
    let mut token = position(&tx, &clock, asked, keys)?;
    let mut sight = store::sight(&mut tx).await?;
    if sight.now().is_empty() {
        return Err(Problem::not_found("club"));
    }
    let groups = asked.wanted.groups.clone();
    if let Some(groups) = &groups {
        sight = sight.of_groups(groups, permit.club.0);
    }
    let limits = Limits { items: asked.limit, rows: ROWS };
    let (history_from, scopes) = (token.history_from, sight.now());
    let mut log = Log { tx: &mut tx, history_from, groups, scopes, head: clock.seq };
    let mut page = pager::page(&mut log, &sight, &asked.wanted, token.position, clock.seq, limits).await?;
    let (changes, cut) = bodies::fill(&mut tx, &page.items, clock.seq).await?;
    if let Some(cut) = cut {
        page.next = cut;
        page.more = true;
    }
    token.position = page.next;
    let sync_token = token.write(keys, permit.club, permit.account);
    let page = Page { from: asked.text.clone(), sync_token, more: page.more, changes };
    Ok(Read { page, clock, seq: token.position.seq, generation: token.generation })
}

/// Reads what changed since the token; without one, a full copy.
///
/// With `Prefer: wait=N` (RFC 7240, at most 25 seconds) the answer waits until there is something to send to this caller. The
/// page and
/// its token belong into one local transaction of the phone. How to write a client: `/docs/sync`.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/changes", impl_for = list_changes, tag = "sync",
    params(("Prefer" = Option<String>, Header, description = "`wait=N`: seconds to wait for something to send")),
    responses(
        (status = 200, description = "A page", body = Page),
        (status = 410, description = "The token is too old, or from another history")
    )
)]
async fn list_changes(
    req: HttpRequest,
    db: Data<Db>,
    keys: Data<Keys>,
    polls: Data<Polls>,
    lanes: Data<Lanes>,
    asking: Later<Syncing>,
    params: Result<Params<FeedParams>, Problem>,
) -> Result<HttpResponse, Problem> {
    let asked = params.and_then(|params| Asked::parse(params.0));
    let seconds = wait::preferred(&req);
    if let Ok(Asked { wanted, text: Some(text), .. }) = &asked
        && let (0, Some(access), Ok(club)) = (seconds, bearer(&req), path_id(&req, "club_id", "club"))
        && let Some(account) = polls.nothing_new(&db, ClubId(club), &polls::request(access, text, wanted)).await
    {
        telemetry::acts(&req, account);
        audit::hands_out_nothing();
        let page = Page { from: Some(text.clone()), sync_token: text.clone(), more: false, changes: Vec::new() };
        return Ok(answer(0, &page));
    }
    let mut permit = asking.ask().await?;
    let asked = asked?;
    let club = polls.club(permit.club);
    let until = Instant::now() + Duration::from_secs(seconds);
    if seconds > 0 {
        // Nobody else has a place among those who wait.
        permit.admit(&db).await?;
    }
    let news = (seconds > 0).then(|| {
        let waiting = Waiting::begin(permit.club, permit.account, permit.device);
        (news::watch(&db, permit.club, permit.account), waiting)
    });
    let mut read = read_page(&permit, (&db, &lanes), &keys, &asked).await?;
    if let Some((mut news, waiting)) = news {
        let mut from = Instant::now();
        // What others do and this caller is not sent does not end the wait.
        while read.page.changes.is_empty() && (read.page.more || Instant::now() < until) {
            let doubted =
                !read.page.more && wait::until_news((&mut news, &waiting), read.clock.seq, (from, until)).await;
            // Their sign-in, or some of what they see, may have ended meanwhile.
            permit = asking.ask().await?;
            if doubted {
                permit.admit(&db).await?;
                continue;
            }
            let next = Asked { text: Some(read.page.sync_token), ..asked.clone() };
            read = read_page(&permit, (&db, &lanes), &keys, &next).await?;
            from = wait::later();
        }
        read.page.from.clone_from(&asked.text);
    }
    if read.page.changes.is_empty() {
        audit::hands_out_nothing();
    }
    note(&req, &permit, &db, &read).await?;
    // What is remembered is asked only for the sign-in: an app may have lost its access, or some of it.
    if let (false, Some(access), None) = (read.page.more, bearer(&req), permit.client) {
        let request = polls::request(access, &read.page.sync_token, &asked.wanted);
        let phone = Phone { account: permit.account, device: permit.device, generation: read.generation };
        let head = Head { epoch: read.clock.epoch, seq: read.clock.seq };
        club.remember(request, phone, head, permit.expires);
    }
    Ok(answer(seconds, &read.page))
}

fn answer(seconds: u64, page: &Page) -> HttpResponse {
    let mut answer = HttpResponse::Ok();
    answer.insert_header((CACHE_CONTROL, "private, no-store"));
    if seconds > 0 {
        answer.insert_header(("preference-applied", format!("wait={seconds}")));
    }
    answer.json(page)
}

/// Notes how far the device has read: when it has reached the head, and from time to time.
async fn note(req: &HttpRequest, permit: &Permit<Syncing>, db: &Db, read: &Read) -> Result<(), Problem> {
    let due = |(seq, at): (i64, chrono::DateTime<Utc>)| {
        (!read.page.more && seq != read.seq) || (Utc::now() - at).num_seconds() > NOTE_SECONDS
    };
    if !read.clock.device.is_none_or(due) {
        return Ok(());
    }
    let agent = req.headers().get(USER_AGENT).and_then(|value| value.to_str().ok()).unwrap_or("unnamed");
    let name = text::kept(agent, 100);
    let mut tx = permit.write(db).await?;
    devices_store::note_pull(&mut tx, permit.device, &name, (read.clock.epoch, read.seq)).await?;
    tx.commit().await?;
    Ok(())
}

routes!(list_changes);
