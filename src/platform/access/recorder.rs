//! Who hands in what a phone recorded.

use std::future::Future;
use std::pin::Pin;

use actix_web::{FromRequest, HttpRequest, dev::Payload};

use super::{Act, Role, Syncing, carries, claims, in_club, in_person, of_admins, part, require_scope, standing};
use crate::platform::client::ClientId;
use crate::platform::db::{Actor, Audience, ClubTx, Db};
use crate::platform::ids::{ClubId, DeviceId};
use crate::platform::lanes::Who;
use crate::platform::problem::Problem;

/// How long somebody who left a club may still hand in what they recorded, days.
pub const HAND_IN_DAYS: i64 = 30;

/// Somebody who hands in what a phone recorded: a member, or one who left a short time ago.
///
/// Decided before the body is taken in, and again by [`Recorder::write`] with the rows.
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
    client: Option<ClientId>,
    scope: String,
    /// Whether the club asks its admins for a second factor and this sign-in was made without.
    lacks_factor: bool,
}

impl Recorder {
    /// Who waits for a turn when this needs one.
    pub fn who(&self) -> Who {
        Who { club: self.club.0, account: self.actor.account.0 }
    }

    /// Whether their role allows an act, as the club asks of it.
    pub fn has_role<A: Act>(&self) -> bool {
        self.role.is_some_and(|role| A::ROLES.contains(&role)) && !(self.lacks_factor && of_admins::<A>())
    }

    /// Whether their token allows an act.
    pub fn has_scope<A: Act>(&self) -> bool {
        carries(&self.scope, A::SCOPE)
    }

    /// Refuses apps, as an [`InPerson`](crate::platform::asking::InPerson) does.
    ///
    /// # Errors
    /// 403 when an app acts for the account.
    pub fn in_person(&self) -> Result<(), Problem> {
        in_person(self.client)
    }

    /// A read-only transaction in the club, and who they are in it now.
    ///
    /// # Errors
    /// 401 after the sign-in was ended, 404 for a stranger, 403 without the scope; when the database is away.
    pub async fn read(&self, db: &Db) -> Result<(ClubTx, Self), Problem> {
        self.decided(db.read(self.club, &Actor::unseeing(self.actor.account)).await?).await
    }

    /// The same for writing.
    ///
    /// # Errors
    /// Those of [`Recorder::read`].
    pub async fn write(&self, db: &Db) -> Result<(ClubTx, Self), Problem> {
        self.decided(db.write(self.club, &Actor::unseeing(self.actor.account)).await?).await
    }

    async fn decided(&self, mut tx: ClubTx) -> Result<(ClubTx, Self), Problem> {
        let standing = standing::read(&mut tx, self.device, self.client).await?;
        let since = chrono::Utc::now() - chrono::Duration::days(HAND_IN_DAYS);
        if standing.role.is_none() && standing.left_at.is_none_or(|left| left <= since) {
            return Err(Problem::not_found("club"));
        }
        let scope = standing.opened(&self.scope);
        require_scope(&scope, Syncing::SCOPE)?;
        tx.opened.clone_from(&scope);
        // Who left sees nothing.
        let groups = if standing.role.is_some() { standing.groups } else { Some(Vec::new()) };
        tx.actor.groups = groups;
        if self.client.is_some() {
            tx.shown_to(Audience::Apps).await?;
        }
        let lacks_factor = standing.lacks_factor;
        let now = Self { actor: tx.actor.clone(), role: standing.role, scope, lacks_factor, ..self.clone() };
        Ok((tx, now))
    }
}

impl FromRequest for Recorder {
    type Error = Problem;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Problem>>>>;

    fn from_request(req: &HttpRequest, _: &mut Payload) -> Self::Future {
        let claims = claims(req).and_then(|claims| Ok((in_club(req, &claims)?, claims)));
        let db = part::<Db>(req).cloned();
        Box::pin(async move {
            let ((club, claims), db) = (claims?, db?);
            let actor = Actor::unseeing(claims.sub);
            let sent = Self {
                club,
                actor,
                role: None,
                device: claims.device,
                client: claims.client_id,
                scope: claims.scope,
                lacks_factor: false,
            };
            Ok(sent.read(&db).await?.1)
        })
    }
}
