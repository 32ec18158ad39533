//! Who may do what: one table of acts, and the extractors that apply it.

mod recorder;
mod standing;

use std::collections::HashSet;
use std::future::{Future, Ready, ready};
use std::marker::PhantomData;
use std::pin::Pin;
use std::sync::Arc;

use actix_web::http::Method;
use actix_web::http::header::AUTHORIZATION;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest, dev::Payload};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::audit;
use super::client::ClientId;
use super::db::{Actor, Audience, ClubTx, Db, StoreError};
use super::document::Listed;
use super::ids::{AccountId, ClubId, DeviceId};
use super::lanes::{Lane, Turn, Who};
use super::params::path_id;
use super::problem::{Code, Problem};
use super::telemetry;
use super::token::{Claims, Keys};

pub use recorder::{HAND_IN_DAYS, Recorder};

/// What a member is in a club.
///
/// - `admin`: Runs the club: members, groups, rosters, settings.
/// - `coach`: Plans and records for the assigned groups.
/// - `viewer`: Reads the assigned groups.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Runs the club: members, groups, rosters, settings.
    Admin,
    /// Plans and records for the assigned groups.
    Coach,
    /// Reads the assigned groups.
    Viewer,
}

impl Role {
    /// The word in JSON and the database.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Admin => "admin",
            Self::Coach => "coach",
            Self::Viewer => "viewer",
        }
    }

    /// The role that a word names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Admin, Self::Coach, Self::Viewer].into_iter().find(|role| role.as_str() == word)
    }
}

/// Every scope that an app can be given.
pub const ALL_SCOPES: &str = "squad.read session.write assessment.write plan.write sync club.admin";
/// What the token of a person's own sign-in says instead: everything that is theirs, in each club as far as their role goes
/// when they ask. No app is given it.
pub const OWN_SCOPE: &str = "account";

/// Something a caller may be allowed to do in a club.
pub trait Act: 'static {
    /// The roles that may.
    const ROLES: &'static [Role];
    /// The scope that a token needs.
    const SCOPE: &'static str;
}

macro_rules! acts {
    ($($(#[doc = $doc:literal])* $name:ident: [$($role:ident),+], $scope:literal;)*) => {
        $(
            $(#[doc = $doc])*
            #[derive(Clone, Copy, Debug)]
            pub struct $name;

            impl Act for $name {
                const ROLES: &'static [Role] = &[$(Role::$role),+];
                const SCOPE: &'static str = $scope;
            }
        )*

        /// Every act.
        pub(super) const ACTS: &[Listed] =
            &[$(Listed { scope: $name::SCOPE, roles: $name::ROLES, means: concat!($($doc),*) }),*];
    };
}

acts! {
    /// Read the club, its groups, athletes, sessions, runs, assessments, well-being, race tests, advice and plans.
    SquadRead: [Admin, Coach, Viewer], "squad.read";
    /// Record sessions, attendance, runs, race results and well-being.
    SessionWrite: [Admin, Coach], "session.write";
    /// Record assessments of technique.
    AssessmentWrite: [Admin, Coach], "assessment.write";
    /// Keep barrier configurations, compute lane plans, plan race tests and draw heats, decide on recommendations.
    PlanWrite: [Admin, Coach], "plan.write";
    /// Read and write the change feed; each edit also needs what its own route needs.
    Syncing: [Admin, Coach, Viewer], "sync";
    /// Keep athletes of one's own groups, their measurements and consents.
    RosterWrite: [Admin, Coach], "session.write";
    /// Keep the club, groups, venues, equipment, competition rules, rosters, and in person its members; read the audit, decide on held facts.
    ClubAdmin: [Admin], "club.admin";
}

/// The scopes of which a role can make any use.
pub fn scopes_of(role: Role) -> Vec<&'static str> {
    let used = |scope: &&str| ACTS.iter().any(|act| act.scope == *scope && act.roles.contains(&role));
    ALL_SCOPES.split(' ').filter(used).collect()
}

/// A signed-in caller, for what concerns the account itself.
#[derive(Clone, Debug)]
pub struct Caller {
    /// The account.
    pub account: AccountId,
    /// The sign-in in use.
    pub device: DeviceId,
    /// The scopes of the token.
    pub scope: String,
}

impl Caller {
    /// Checks that the token carries a scope.
    ///
    /// # Errors
    /// 403 naming the scope.
    pub fn require_scope(&self, scope: &str) -> Result<(), Problem> {
        require_scope(&self.scope, scope)
    }
}

/// Whether the scopes of a token contain this one.
fn carries(granted: &str, scope: &str) -> bool {
    granted == OWN_SCOPE || granted.split(' ').any(|one| one == scope)
}

/// Whether a record may stand beside the refusal of an edit: only for a token that opens it to be read (`A`) where it was asked for, by
/// its own route or the feed.
pub fn shown<A: Act>(tx: &ClubTx) -> bool {
    carries(&tx.opened, A::SCOPE)
}

fn require_scope(granted: &str, scope: &str) -> Result<(), Problem> {
    if carries(granted, scope) {
        return Ok(());
    }
    Err(Problem::new(Code::Forbidden, format!("The access token lacks the scope {scope}.")))
}

/// The access token that a request carries.
pub fn bearer(req: &HttpRequest) -> Option<&str> {
    let value = req.headers().get(AUTHORIZATION)?.to_str().ok()?;
    let (scheme, token) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}

/// The club of the path, for a token that opens it: one of an app opens the club that admitted the app alone.
fn in_club(req: &HttpRequest, claims: &Claims) -> Result<ClubId, Problem> {
    let club = path_id(req, "club_id", "club").map(ClubId)?;
    let opens = claims.client_id.is_none_or(|client| client.club == club);
    if opens { Ok(club) } else { Err(Problem::not_found("club")) }
}

fn ended() -> Problem {
    Problem::new(Code::Unauthenticated, "This sign-in was ended. Sign in again.")
}

/// Those sign-ins that were not ended; `accounts` and `devices` run in parallel.
///
/// # Errors
/// When the database is away.
pub async fn signed_in(db: &Db, accounts: &[Uuid], devices: &[Uuid]) -> Result<HashSet<DeviceId>, StoreError> {
    let tables = db.accounts().await?;
    let ask = async || {
        sqlx::query_scalar!(
            r#"
            select d.id
            from unnest($1::uuid[], $2::uuid[]) as u (account_id, id)
            join devices d on d.account_id = u.account_id and d.id = u.id
            where d.revoked_at is null
            "#,
            accounts,
            devices
        )
        .fetch_all(tables.pool())
        .await
    };
    let live = match ask().await {
        // The pooled connection had died unnoticed.
        Err(sqlx::Error::Io(_)) => ask().await,
        other => other,
    };
    Ok(live?.into_iter().map(DeviceId).collect())
}

/// A part of the application.
///
/// # Errors
/// 500 when it was started without.
pub fn part<T: 'static>(req: &HttpRequest) -> Result<&T, Problem> {
    let part = req.app_data::<Data<T>>().map(Data::get_ref);
    part.ok_or_else(|| Problem::new(Code::Internal, "The service is not set up."))
}

/// What the access token of a request says, verified without the database.
fn claims(req: &HttpRequest) -> Result<Claims, Problem> {
    let token = bearer(req)
        .ok_or_else(|| Problem::new(Code::Unauthenticated, "Send an access token: `Authorization: Bearer ...`."))?;
    let claims = part::<Keys>(req)?.verify(token)?;
    telemetry::acts(req, claims.sub);
    audit::acts(req, claims.sub, claims.device, claims.client_id);
    Ok(claims)
}

fn by_app() -> Problem {
    let detail = "An app acts in the club that admitted it, not on accounts, on members, on apps or on what they may see, and does \
                  nothing that cannot be undone: sign in yourself.";
    Problem::new(Code::Forbidden, detail)
}

/// Refuses apps.
fn in_person(client: Option<ClientId>) -> Result<(), Problem> {
    if client.is_some() { Err(by_app()) } else { Ok(()) }
}

impl FromRequest for Caller {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        let claims = claims(req);
        let db = part::<Db>(req).cloned();
        Box::pin(async move {
            let (claims, db) = (claims?, db?);
            if claims.client_id.is_some() {
                return Err(by_app());
            }
            if signed_in(&db, &[claims.sub.0], &[claims.device.0]).await?.is_empty() {
                return Err(ended());
            }
            Ok(Self { account: claims.sub, device: claims.device, scope: claims.scope })
        })
    }
}

/// Leave to ask for a transaction in the club of the path: what the access token says, no more.
///
/// The rows come from [`Permit::read`] and [`Permit::write`] alone, and they decide first: the first statement of each such
/// transaction proves that the sign-in stands and that the caller is a member who may do `A`.
#[derive(Clone, Debug)]
pub struct Permit<A> {
    /// The club.
    pub club: ClubId,
    /// The account.
    pub account: AccountId,
    /// The sign-in in use.
    pub device: DeviceId,
    /// When the access token expires (seconds since 1970).
    pub expires: i64,
    /// The app that acts for the account; none for their own sign-in.
    pub client: Option<ClientId>,
    scope: String,
    /// The record that the request edits.
    edits: Option<Uuid>,
    /// To whom the rows are shown, when that is not the member.
    audience: Option<Audience>,
    act: PhantomData<A>,
}

/// The record at the end of the path of an edit.
fn edited(req: &HttpRequest) -> Option<Uuid> {
    let edit = [Method::PUT, Method::PATCH, Method::DELETE].contains(req.method());
    let last = req.match_info().iter().last().filter(|_| edit);
    last.and_then(|(_, text)| Uuid::try_parse(text).ok())
}

impl<A: Act> FromRequest for Permit<A> {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(claims(req).and_then(|claims| {
            Ok(Self {
                club: in_club(req, &claims)?,
                account: claims.sub,
                device: claims.device,
                expires: claims.exp,
                client: claims.client_id,
                scope: claims.scope,
                edits: edited(req),
                audience: claims.client_id.map(|_| Audience::Apps),
                act: PhantomData,
            })
        }))
    }
}

/// Whether an act is of admins alone.
fn of_admins<A: Act>() -> bool {
    A::ROLES == [Role::Admin]
}

impl<A: Act> Permit<A> {
    /// Leave of somebody who is not the caller, for what they themselves handed out: whether they still may is decided when it is
    /// used, from their sign-in, role and groups at that moment. It shows nobody who is withheld from helpers.
    pub fn lent(club: ClubId, account: AccountId, device: DeviceId) -> Self {
        let (scope, audience) = (A::SCOPE.to_owned(), Some(Audience::Helpers));
        Self { club, account, device, client: None, expires: 0, scope, edits: None, audience, act: PhantomData }
    }

    /// Who waits for a turn when this needs one.
    pub fn who(&self) -> Who {
        Who { club: self.club.0, account: self.account.0 }
    }

    /// The one place where access to a club is decided.
    async fn decided(&self, mut tx: ClubTx) -> Result<ClubTx, Problem> {
        let standing = standing::read(&mut tx, self.device, self.client).await?;
        let role = standing.role.ok_or_else(|| Problem::not_found("club"))?;
        if !A::ROLES.contains(&role) {
            let needed: Vec<&str> = A::ROLES.iter().map(|role| role.as_str()).collect();
            return Err(Problem::new(
                Code::Forbidden,
                format!("This needs the role {} in the club; yours is {}.", needed.join(" or "), role.as_str()),
            ));
        }
        tx.opened = standing.opened(&self.scope);
        require_scope(&tx.opened, A::SCOPE)?;
        if standing.lacks_factor && of_admins::<A>() {
            let says = if self.client.is_some() {
                "The club asks its admins for a second factor: connect the app again, and show a code on the page where you sign in."
            } else {
                "The club asks its admins for a second factor: show a code with POST /v1/me/second-factor/check."
            };
            return Err(Problem::new(Code::SecondFactor, says));
        }
        tx.actor.groups = standing.groups;
        if let Some(audience) = self.audience {
            tx.shown_to(audience).await?;
        }
        Ok(tx)
    }

    /// Refuses apps; a handler says so by taking an [`InPerson`](super::asking::InPerson).
    ///
    /// # Errors
    /// 403 when an app acts for the account.
    pub(super) fn in_person(&self) -> Result<(), Problem> {
        in_person(self.client)
    }

    /// Whether the caller may at this moment, for what comes before the rows are read.
    ///
    /// # Errors
    /// Those of [`Permit::read`].
    pub async fn admit(&self, db: &Db) -> Result<(), Problem> {
        self.read(db).await.map(drop)
    }

    /// A turn in a lane. Whoever has to wait for it is asked who they are before, so that strangers fill no club's queue.
    ///
    /// # Errors
    /// Those of [`Permit::read`] and of [`Lane::turn`].
    pub async fn turn(&self, db: &Db, lane: &Arc<Lane>) -> Result<Turn, Problem> {
        if let Some(turn) = lane.free(self.club.0) {
            return Ok(turn);
        }
        self.admit(db).await?;
        lane.turn(self.who()).await
    }

    /// A read-only transaction in the club, whose first statement decides whether the caller may do `A`.
    ///
    /// # Errors
    /// 401 after the sign-in was ended, 404 for a stranger, 403 without the role or scope; when the database is away.
    pub async fn read(&self, db: &Db) -> Result<ClubTx, Problem> {
        self.decided(db.read(self.club, &Actor::unseeing(self.account)).await?).await
    }

    /// A writing transaction that makes this record, for itself: a create that was sent twice meets what the first stored.
    ///
    /// # Errors
    /// Those of [`Permit::read`], and when somebody else writes the record for too long.
    pub async fn create(&self, db: &Db, record: impl Into<Uuid>) -> Result<ClubTx, Problem> {
        let mut tx = self.write(db).await?;
        tx.alone(record.into()).await?;
        Ok(tx)
    }

    /// A writing transaction in the club, decided like one that reads; one of an edit has the record for itself.
    ///
    /// # Errors
    /// Those of [`Permit::read`], and when somebody else edits the record for too long.
    pub async fn write(&self, db: &Db) -> Result<ClubTx, Problem> {
        let mut tx = self.decided(db.write(self.club, &Actor::unseeing(self.account)).await?).await?;
        if let Some(record) = self.edits {
            tx.alone(record).await?;
        }
        Ok(tx)
    }

    /// A writing transaction that has the whole club to itself, decided like one that reads.
    ///
    /// # Errors
    /// Those of [`Permit::read`], and when somebody else writes in the club for too long.
    pub async fn write_alone(&self, db: &Db) -> Result<ClubTx, Problem> {
        let mut tx = self.decided(db.write(self.club, &Actor::unseeing(self.account)).await?).await?;
        tx.alone_with_all().await?;
        Ok(tx)
    }
}
