//! Who may do what: one table of acts, and the extractors that apply it.

use std::collections::HashSet;
use std::future::Future;
use std::marker::PhantomData;
use std::pin::Pin;

use actix_web::http::Method;
use actix_web::http::header::AUTHORIZATION;
use actix_web::web::Data;
use actix_web::{FromRequest, HttpRequest, dev::Payload};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::db::{Actor, ClubTx, Db, StoreError};
use super::document::Listed;
use super::ids::{AccountId, ClubId, DeviceId, GroupId};
use super::lanes::Who;
use super::params::path_id;
use super::problem::{Code, Problem};
use super::telemetry;
use super::token::{Claims, Keys};

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

/// Every scope a token can carry; a person's own sign-in carries all.
pub const ALL_SCOPES: &str = "squad.read session.write assessment.write plan.write sync club.admin";

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
    /// Read the club, its groups, athletes, sessions, runs, assessments, well-being, advice and plans.
    SquadRead: [Admin, Coach, Viewer], "squad.read";
    /// Record sessions, attendance, runs and well-being.
    SessionWrite: [Admin, Coach], "session.write";
    /// Record assessments of technique.
    AssessmentWrite: [Admin, Coach], "assessment.write";
    /// Keep barrier configurations, compute lane plans, decide on recommendations.
    PlanWrite: [Admin, Coach], "plan.write";
    /// Read and write the change feed; each edit also needs what its own route needs.
    Syncing: [Admin, Coach, Viewer], "sync";
    /// Keep athletes of one's own groups.
    RosterWrite: [Admin, Coach], "session.write";
    /// Keep the club, members, groups, venues, equipment, competition rules; import rosters.
    ClubAdmin: [Admin], "club.admin";
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
    /// When the token expires (seconds since 1970).
    pub expires: i64,
}

impl Caller {
    /// Checks that the token carries a scope.
    ///
    /// # Errors
    /// 403 naming the scope.
    pub fn require_scope(&self, scope: &str) -> Result<(), Problem> {
        if self.scope.split(' ').any(|granted| granted == scope) {
            return Ok(());
        }
        Err(Problem::new(Code::Forbidden, format!("The access token lacks the scope {scope}.")))
    }
}

/// The access token that a request carries.
pub fn bearer(req: &HttpRequest) -> Option<&str> {
    let value = req.headers().get(AUTHORIZATION)?.to_str().ok()?;
    let (scheme, token) = value.split_once(' ')?;
    scheme.eq_ignore_ascii_case("bearer").then(|| token.trim())
}

async fn authenticate(db: &Db, claims: Claims) -> Result<Caller, Problem> {
    if signed_in(db, &[claims.sub.0], &[claims.device.0]).await?.is_empty() {
        return Err(Problem::new(Code::Unauthenticated, "This sign-in was ended. Sign in again."));
    }
    Ok(Caller { account: claims.sub, device: claims.device, scope: claims.scope, expires: claims.exp })
}

/// Those sign-ins that were not ended; `accounts` and `devices` run in parallel.
///
/// # Errors
/// When the database is away.
pub async fn signed_in(db: &Db, accounts: &[Uuid], devices: &[Uuid]) -> Result<HashSet<DeviceId>, StoreError> {
    let tables = db.accounts()?;
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

/// The parts of the application every extractor needs.
fn parts(req: &HttpRequest) -> Result<(Db, Claims), Problem> {
    let broken = || Problem::new(Code::Internal, "The service is not set up.");
    let db = req.app_data::<Data<Db>>().ok_or_else(broken)?;
    let keys = req.app_data::<Data<Keys>>().ok_or_else(broken)?;
    let token = bearer(req)
        .ok_or_else(|| Problem::new(Code::Unauthenticated, "Send an access token: `Authorization: Bearer ...`."))?;
    let claims = keys.verify(token)?;
    telemetry::acts(req, claims.sub);
    Ok((db.get_ref().clone(), claims))
}

impl FromRequest for Caller {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        let parts = parts(req);
        Box::pin(async move {
            let (db, claims) = parts?;
            authenticate(&db, claims).await
        })
    }
}

/// Proof that the caller is a member of the club in the path and may do `A`.
#[derive(Clone, Debug)]
pub struct Permit<A> {
    /// The club.
    pub club: ClubId,
    /// Who acts and what they see.
    pub actor: Actor,
    /// Their role.
    pub role: Role,
    /// The sign-in in use.
    pub device: DeviceId,
    /// When the access token expires (seconds since 1970).
    pub expires: i64,
    /// The record that the request edits.
    edits: Option<Uuid>,
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
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        let parts = parts(req);
        let club = path_id(req, "club_id", "club").map(ClubId);
        let edits = edited(req);
        Box::pin(async move {
            let (db, claims) = parts?;
            let caller = authenticate(&db, claims).await?;
            permit(&db, club?, &caller, A::ROLES, A::SCOPE).await.map(|(club, actor, role)| Self {
                club,
                actor,
                role,
                device: caller.device,
                expires: caller.expires,
                edits,
                act: PhantomData,
            })
        })
    }
}

/// How long somebody who left a club may still hand in what they recorded, days.
pub const HAND_IN_DAYS: i64 = 30;

/// Somebody who hands in what a phone recorded: a member, or one who left a short time ago.
#[derive(Clone, Debug)]
pub struct Recorder {
    /// The club.
    pub club: ClubId,
    /// Who acts and what they see.
    pub actor: Actor,
    /// Their role; none after they left.
    pub role: Option<Role>,
    /// The sign-in in use.
    pub device: DeviceId,
    caller: Caller,
}

impl Recorder {
    /// Who waits for a turn when this needs one.
    pub fn who(&self) -> Who {
        Who { club: self.club.0, account: self.actor.account.0 }
    }

    /// Whether their role allows an act.
    pub fn has_role<A: Act>(&self) -> bool {
        self.role.is_some_and(|role| A::ROLES.contains(&role))
    }

    /// Whether their token allows an act.
    pub fn has_scope<A: Act>(&self) -> bool {
        self.caller.require_scope(A::SCOPE).is_ok()
    }
}

impl FromRequest for Recorder {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        let parts = parts(req);
        let club = path_id(req, "club_id", "club").map(ClubId);
        Box::pin(async move {
            let (db, claims) = parts?;
            let caller = authenticate(&db, claims).await?;
            let club = club?;
            match permit(&db, club, &caller, Syncing::ROLES, Syncing::SCOPE).await {
                Ok((club, actor, role)) => Ok(Self { club, actor, role: Some(role), device: caller.device, caller }),
                Err(problem) if problem.code() == Code::NotFound => left(&db, club, caller).await?.ok_or(problem),
                Err(problem) => Err(problem),
            }
        })
    }
}

/// Somebody who left the club a short time ago: they see nothing, but may hand in.
async fn left(db: &Db, club: ClubId, caller: Caller) -> Result<Option<Recorder>, Problem> {
    let actor = Actor { account: caller.account, groups: Some(Vec::new()) };
    let mut tx = db.read(club, &actor).await?;
    let since = chrono::Utc::now() - chrono::Duration::days(HAND_IN_DAYS);
    let found = sqlx::query_scalar!(
        r#"select true as "found!" from members where club_id = $1 and id = $2 and deleted_at > $3"#,
        club.0,
        caller.account.0,
        since
    )
    .fetch_optional(tx.conn())
    .await?;
    if found.is_none() {
        return Ok(None);
    }
    caller.require_scope(Syncing::SCOPE)?;
    Ok(Some(Recorder { club, actor, role: None, device: caller.device, caller }))
}

/// The one place where access to a club is decided.
async fn permit(
    db: &Db,
    club: ClubId,
    caller: &Caller,
    roles: &[Role],
    scope: &str,
) -> Result<(ClubId, Actor, Role), Problem> {
    let everyone = Actor { account: caller.account, groups: None };
    let mut tx = db.read(club, &everyone).await?;
    let row = sqlx::query!(
        r#"
        select m.role,
          array(
            select g.scope_id from scope_grant g
            where g.club_id = $1 and g.member_id = $2 and not g.revoked
          ) as "scopes!"
        from members m
        where m.club_id = $1 and m.id = $2 and m.deleted_at is null
        "#,
        club.0,
        caller.account.0
    )
    .fetch_optional(tx.conn())
    .await?
    .ok_or_else(|| Problem::not_found("club"))?;
    let role = Role::from_word(&row.role).ok_or(StoreError::Corrupt("member"))?;
    if !roles.contains(&role) {
        let needed: Vec<&str> = roles.iter().map(|role| role.as_str()).collect();
        return Err(Problem::new(
            Code::Forbidden,
            format!("This needs the role {} in the club; yours is {}.", needed.join(" or "), role.as_str()),
        ));
    }
    caller.require_scope(scope)?;
    let groups = (!row.scopes.contains(&Uuid::nil()))
        .then(|| row.scopes.iter().filter(|scope| **scope != club.0).map(|scope| GroupId(*scope)).collect());
    Ok((club, Actor { account: caller.account, groups }, role))
}

impl<A: Act> Permit<A> {
    /// Who waits for a turn when this needs one.
    pub fn who(&self) -> Who {
        Who { club: self.club.0, account: self.actor.account.0 }
    }

    /// A read-only transaction in the club.
    ///
    /// # Errors
    /// When the database is away.
    pub async fn read(&self, db: &Db) -> Result<ClubTx, Problem> {
        Ok(db.read(self.club, &self.actor).await?)
    }

    /// A writing transaction that makes this record, for itself: a create that was sent twice meets what the first stored.
    ///
    /// # Errors
    /// When the database is away, or somebody else writes the record for too long.
    pub async fn create(&self, db: &Db, record: impl Into<Uuid>) -> Result<ClubTx, Problem> {
        let mut tx = self.write(db).await?;
        tx.alone(record.into()).await?;
        Ok(tx)
    }

    /// A writing transaction in the club; one of an edit has the record for itself.
    ///
    /// # Errors
    /// When the database is away, or somebody else edits the record for too long.
    pub async fn write(&self, db: &Db) -> Result<ClubTx, Problem> {
        let mut tx = db.write(self.club, &self.actor).await?;
        if let Some(record) = self.edits {
            tx.alone(record).await?;
        }
        Ok(tx)
    }
}
