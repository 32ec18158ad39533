//! Who read, exported, changed, granted, signed in or was refused what: one row a request.
//!
//! What a row says is decided here alone, from the route, whose access token it was and what was answered. A write's row is
//! stored in the transaction of the write; whoever reads writes nothing: their rows wait in the [`Trail`] and are stored
//! together, every second. Rows hold ids and words of ours, never a name or a text of a person.

mod chain;
mod row;
mod store;
mod trail;

use std::cell::{Cell, OnceCell};
use std::collections::BTreeSet;
use std::net::IpAddr;
use std::rc::Rc;

use actix_web::body::MessageBody;
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::http::header::CONTENT_TYPE;
use actix_web::http::{Method, StatusCode};
use actix_web::middleware::Next;
use actix_web::web::Data;
use actix_web::{Error, HttpRequest};
use chrono::{SubsecRound, Utc};
use uuid::Uuid;

use super::client::ClientId;
use super::ids::{AccountId, ClubId, DeviceId};
use super::network;

pub use chain::{Break, Checked, Flaw};
pub use row::{Act, Entry, KEPT_DAYS, Reach, Row, hex};
pub use store::{Stored, append, check, check_all, prune, take_turn};
pub use trail::{Trail, Whose};

tokio::task_local! {
    static REQUEST: Rc<Asked>;
}

/// The path of whoever signs in: of no club, and so told to each club of theirs.
const SIGN_IN: &str = "/v1/auth/sign-in";
/// The page on which somebody signs in for an app, whose token comes afterwards.
const PAGE: &str = "/oauth/authorize";
/// The path of whoever deletes their account, and leaves their clubs with it.
const END: &str = "/v1/me/deletion";
/// Where an app fetches its tokens: the first is a sign-in, the later ones are none.
const TOKEN: &str = "/oauth/token";
/// Where somebody lets an app act for them, and where they end it.
const CONSENT: [&str; 2] = ["/oauth/consent", "/v1/me/apps/{app_id}"];
/// The path of whoever takes an invitation.
const JOIN: &str = "/v1/invitations/accept";
/// The path of whoever leaves a club.
const LEAVE: &str = "/v1/me/clubs/{club_id}";

/// A request at work.
#[derive(Debug)]
struct Asked {
    method: Method,
    path: String,
    address: Option<IpAddr>,
    /// Whose access token or password it is, once that is known.
    by: Cell<Option<(AccountId, Option<DeviceId>)>>,
    /// The app that acts for them.
    app: Cell<Option<ClientId>>,
    /// The club, when the path does not name it.
    club: Cell<Option<ClubId>>,
    route: OnceCell<String>,
    /// The athletes and the other records that path and query name.
    named: OnceCell<(Vec<Uuid>, Vec<Uuid>)>,
    /// An athlete whom the request is about without naming them.
    concerns: Cell<Option<Uuid>>,
    /// Another record that it makes or is about without naming it.
    makes: Cell<Option<Uuid>>,
    /// Whoever asks was never of the club: that somebody asked is noted, and not who.
    stranger: Cell<bool>,
    /// What it is refused with shows the record, as a read does.
    shows: Cell<bool>,
    /// Nothing is left to note when it is answered: its row is stored with its changes, or it handed nothing out.
    noted: Cell<bool>,
}

/// What a route is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum About {
    /// Things: places, barriers, rules. Who reads them is not noted.
    Things,
    /// Those who belong to the club, and what they may.
    Members,
    /// Athletes.
    Athletes,
}

/// The part of a route behind the club.
fn part(route: &str) -> Option<&str> {
    route.strip_prefix("/v1/clubs/{club_id}").map(|rest| rest.trim_start_matches('/'))
}

/// What a route of a club is about; one that is not known here is about athletes.
fn about(route: &str) -> About {
    let Some(part) = part(route) else { return About::Members };
    match part.split('/').next().unwrap_or_default() {
        "" | "venues" | "equipment" | "barrier-configurations" | "age-groups" | "rhythm" => About::Things,
        "competition-specs" if !part.ends_with("/applicable") => About::Things,
        "groups" if part.matches('/').count() < 2 && !part.ends_with("/turn") => About::Things,
        "members" | "invitations" | "calendar-feeds" | "apps" | "audit" | "sync-devices" | "deletion" => About::Members,
        "retention" if !part.ends_with("/preview") => About::Members,
        _ => About::Athletes,
    }
}

/// Whether a change of a route gives or takes somebody a place in the club, or sight of it.
fn grants(route: &str) -> bool {
    let access = |name: &str| ["members", "invitations", "apps", "links", "calendar-feeds"].contains(&name);
    [JOIN, LEAVE, END].contains(&route)
        || CONSENT.contains(&route)
        || part(route).is_some_and(|part| part.split('/').any(access))
}

impl Asked {
    fn of(req: &HttpRequest) -> Self {
        Self {
            method: req.method().clone(),
            path: req.path().to_owned(),
            address: network::address(req).map(|address| address.to_canonical()),
            by: Cell::new(None),
            app: Cell::new(None),
            club: Cell::new(None),
            route: OnceCell::new(),
            named: OnceCell::new(),
            concerns: Cell::new(None),
            makes: Cell::new(None),
            stranger: Cell::new(false),
            shows: Cell::new(false),
            noted: Cell::new(false),
        }
    }

    /// A row of it.
    fn entry(&self, act: Act, route: &str, status: Option<StatusCode>) -> Entry {
        let by = self.by.get().filter(|_| !self.stranger.get());
        Entry {
            // As the database keeps it, so that the row read again has the same hash.
            at: Utc::now().trunc_subsecs(6),
            act,
            operation: format!("{} {route}", self.method),
            status: status.and_then(|status| i16::try_from(status.as_u16()).ok()),
            account: by.map(|(account, _)| account.0),
            device: by.and_then(|(_, device)| device).map(|device| device.0),
            app: by.and(self.app.get()).map(|client| client.app.0),
            network: self.address.map(row::network).unwrap_or_default(),
            address: self.address.map(|address| address.to_string()),
            reach: Reach::None,
            athletes: Vec::new(),
            records: Vec::new(),
            times: 1,
        }
    }

    /// What is to be noted of it now that it is answered.
    fn answered<B>(&self, answer: &ServiceResponse<B>) -> Option<(Whose, Entry)> {
        let (account, _) = self.by.get()?;
        let route = answer.request().match_pattern()?;
        let status = answer.status();
        let refused = matches!(status.as_u16(), 401 | 403 | 404);
        if [SIGN_IN, PAGE, TOKEN].contains(&&*route) {
            let act = if status.is_success() { Act::SignedIn } else { Act::Refused };
            // That of an app opens the club that admitted it, and is no business of the others.
            let whose = self.app.get().map_or(Whose::ClubsOf(account), |client| Whose::Club(client.club));
            return (refused || status.is_success() && route != PAGE)
                .then(|| (whose, self.entry(act, &route, Some(status))));
        }
        let in_path = answer.request().match_info().get("club_id").and_then(|text| Uuid::try_parse(text).ok());
        let club = in_path.map(ClubId).or_else(|| self.club.get())?;
        // What somebody is lent is about athletes: nothing else is.
        let about = if self.club.get().is_some() { About::Athletes } else { about(&route) };
        let act = if refused {
            Act::Refused
        } else if !(status.is_success() || self.shows.get()) || self.noted.get() || about == About::Things {
            return None;
        } else if is_file(answer) {
            Act::Exported
        } else {
            Act::Read
        };
        let (mut athletes, records) = self.named.get().cloned().unwrap_or_else(|| named(answer.request()));
        athletes.extend(self.concerns.get());
        let reach = match about {
            About::Athletes if athletes.is_empty() => Reach::Seen,
            _ if athletes.is_empty() => Reach::None,
            _ => Reach::Named,
        };
        let entry = Entry { reach, athletes, records, ..self.entry(act, &route, Some(status)) };
        Some((Whose::Club(club), entry))
    }
}

/// Whether something else than JSON was handed out.
fn is_file<B>(answer: &ServiceResponse<B>) -> bool {
    let kind = answer.headers().get(CONTENT_TYPE).and_then(|value| value.to_str().ok());
    kind.is_some_and(|kind| !kind.contains("json"))
}

/// The athletes and the other records that path and query name.
fn named(req: &HttpRequest) -> (Vec<Uuid>, Vec<Uuid>) {
    let (mut athletes, mut records) = (Vec::new(), Vec::new());
    let path = req.match_info().iter().map(|(name, text)| (name.to_owned().into(), text.to_owned().into()));
    for (name, text) in path.chain(form_urlencoded::parse(req.query_string().as_bytes())) {
        let Ok(id) = Uuid::try_parse(&text) else { continue };
        match name.as_ref() {
            "club_id" => {}
            "athlete_id" => athletes.push(id),
            name if name.ends_with("_id") => records.push(id),
            _ => {}
        }
    }
    (athletes, records)
}

/// Notes each request once it is answered.
///
/// # Errors
/// Those of the inner service.
pub async fn keep<B: MessageBody>(req: ServiceRequest, next: Next<B>) -> Result<ServiceResponse<B>, Error> {
    let asked = Rc::new(Asked::of(req.request()));
    let answer = REQUEST.scope(Rc::clone(&asked), next.call(req)).await?;
    if let (Some(trail), Some((whose, entry))) = (answer.request().app_data::<Data<Trail>>(), asked.answered(&answer)) {
        trail.note(whose, entry);
    }
    Ok(answer)
}

/// Work that goes on beside its request: what it writes is noted as what the request did.
pub fn going_on<F: Future>(work: F) -> impl Future<Output = F::Output> {
    let asked = REQUEST.try_with(Rc::clone).ok();
    async move {
        match asked {
            Some(asked) => REQUEST.scope(asked, work).await,
            None => work.await,
        }
    }
}

/// Notes whose access token a request carries, and which app's.
pub fn acts(req: &HttpRequest, account: AccountId, device: DeviceId, client: Option<ClientId>) {
    // Outside the service nothing is noted.
    let _ = REQUEST.try_with(|asked| {
        asked.by.set(Some((account, Some(device))));
        asked.app.set(client);
        if let Some(route) = req.match_pattern() {
            let _ = asked.route.set(route);
            let _ = asked.named.set(named(req));
        }
    });
}

/// Notes that whoever asks was never of the club: its admins do not learn ids of others.
pub fn is_stranger() {
    let _ = REQUEST.try_with(|asked| asked.stranger.set(true));
}

/// Notes that a refusal shows the record as it is now: that is read like any other.
pub fn shows() {
    let _ = REQUEST.try_with(|asked| asked.shows.set(true));
}

/// Notes whose password a request tries, and the sign-in that it made.
pub fn signs_in(account: AccountId, device: Option<DeviceId>) {
    let _ = REQUEST.try_with(|asked| asked.by.set(Some((account, device))));
}

/// Notes the sign-in that an app made for somebody.
pub fn signs_in_app(account: AccountId, device: DeviceId, client: ClientId) {
    signs_in(account, Some(device));
    let _ = REQUEST.try_with(|asked| asked.app.set(Some(client)));
}

/// Notes with whose leave somebody without an account reads, and by which address which record.
pub fn lends(club: ClubId, account: AccountId, device: DeviceId, records: Vec<Uuid>) {
    let _ = REQUEST.try_with(|asked| {
        asked.by.set(Some((account, Some(device))));
        asked.club.set(Some(club));
        let _ = asked.named.set((Vec::new(), records));
    });
}

/// Notes which athlete a request is about whose path does not name them.
pub fn concerns(athlete: Option<Uuid>) {
    let _ = REQUEST.try_with(|asked| asked.concerns.set(athlete));
}

/// Notes which record, that is no athlete, a request makes or is about without its path naming it. One whose changes phones learn of is
/// named without this.
pub fn makes(record: impl Into<Uuid>) {
    let record = record.into();
    let _ = REQUEST.try_with(|asked| asked.makes.set(Some(record)));
}

/// Notes that a request handed out nothing.
pub fn hands_out_nothing() {
    let _ = REQUEST.try_with(|asked| asked.noted.set(true));
}

/// What is stored with a write: these records, of these athletes. None when the request only read, or the service tidied up.
pub fn written(account: AccountId, chore: Option<&str>, records: Vec<Uuid>, athletes: Vec<Uuid>) -> Option<Entry> {
    let asked = REQUEST.try_with(|asked| {
        // That an app fetched a token is noted as a sign-in, or not at all.
        if asked.method.is_safe() || asked.path == TOKEN {
            return None;
        }
        asked.noted.set(true);
        let route = asked.route.get().unwrap_or(&asked.path);
        let act = if grants(route) { Act::Granted } else { Act::Changed };
        let own = asked.entry(act, route, None);
        let (mut athletes, mut records) = asked.named.get().cloned().unwrap_or_default();
        athletes.extend(asked.concerns.get());
        records.extend(asked.makes.get());
        let reach = if about(route) == About::Athletes { Reach::Seen } else { Reach::None };
        Some(Entry { account: own.account.or(Some(account.0)), reach, athletes, records, ..own })
    });
    let changed = !records.is_empty() || !athletes.is_empty();
    let entry = asked.unwrap_or_else(|_| changed.then(|| Entry::of_service(chore)))?;
    let athletes = both(entry.athletes, athletes);
    let mut records = both(entry.records, records);
    records.retain(|record| athletes.binary_search(record).is_err());
    let reach = if athletes.is_empty() { entry.reach } else { Reach::Named };
    Some(Entry { reach, athletes, records, ..entry })
}

/// All of two lists, each once and in order.
fn both(one: Vec<Uuid>, other: Vec<Uuid>) -> Vec<Uuid> {
    let all: BTreeSet<Uuid> = one.into_iter().chain(other).collect();
    all.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_route_is_about_athletes_unless_it_is_known_to_be_about_something_else() {
        let of = |part: &str| about(&format!("/v1/clubs/{{club_id}}{part}"));
        for things in ["", "/venues", "/venues/{venue_id}", "/groups", "/groups/{group_id}", "/competition-specs"] {
            assert_eq!(of(things), About::Things, "{things}");
        }
        for members in ["/members/{member_id}", "/audit", "/invitations", "/calendar-feeds", "/retention", "/deletion"]
        {
            assert_eq!(of(members), About::Members, "{members}");
        }
        for athletes in [
            "/athletes",
            "/changes",
            "/athletes/import.xlsx",
            "/groups/{group_id}/board",
            "/groups/turn",
            "/retention/preview",
            "/competition-specs/applicable",
            "/sessions/{session_id}",
            "/something-new",
        ] {
            assert_eq!(of(athletes), About::Athletes, "{athletes}");
        }
        assert!(CONSENT.into_iter().all(grants));
        assert!(grants(JOIN) && grants("/v1/clubs/{club_id}/members/{member_id}"));
        assert!(grants("/v1/clubs/{club_id}/sessions/{session_id}/links") && grants(LEAVE) && grants(END));
        assert!(grants("/v1/clubs/{club_id}/calendar-feeds/{feed_id}"));
        assert!(!grants("/v1/clubs/{club_id}/athletes") && !grants("/v1/clubs/{club_id}/groups/turn"));
    }
}
