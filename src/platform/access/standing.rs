//! What the holder of an access token is in a club at this moment: read by the first statement of the transaction that
//! reads or writes the club's rows. So it is decided in one snapshot with them, and what an admin or a sign-out ended
//! counts from the very next request on, whichever instance serves it.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::{Role, carries, ended};
use crate::platform::audit;
use crate::platform::client::ClientId;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::{DeviceId, GroupId};
use crate::platform::problem::{Code, Problem};

/// What somebody is in a club.
#[derive(Debug)]
pub struct Standing {
    /// Their role; none when they are no member.
    pub role: Option<Role>,
    /// When they left.
    pub left_at: Option<DateTime<Utc>>,
    /// The groups that they see; none means every group.
    pub groups: Option<Vec<GroupId>>,
    /// Whether the club asks its admins for a second factor and this sign-in was made without.
    pub lacks_factor: bool,
    /// What the club lets the app have that acts for them; none for their own sign-in.
    granted: Option<Vec<String>>,
}

impl Standing {
    /// The scopes of a token that count now: those that it names, of an app as far as the club lets the app have them.
    pub fn opened(&self, scope: &str) -> String {
        match &self.granted {
            None => scope.to_owned(),
            Some(granted) => {
                granted.iter().map(String::as_str).filter(|one| carries(scope, one)).collect::<Vec<_>>().join(" ")
            }
        }
    }
}

/// What is on file about them.
struct Row {
    role: Option<String>,
    deleted_at: Option<DateTime<Utc>>,
    signed_in: bool,
    proven: bool,
    asks_factor: bool,
    scopes: Vec<Uuid>,
    granted: Option<Vec<String>>,
}

/// The statement: whether the sign-in stands and was made with a second factor, from where that is known, and their bound values.
macro_rules! ask {
    ($tx:expr, $app:expr, $sign_in:tt, $devices:tt, $($bound:expr),+) => {{
        let (club, account) = ($tx.club.0, $tx.actor.account.0);
        sqlx::query_as!(
            Row,
            r#"
            select m.role as "role?", m.deleted_at,
              exists (
                select from club_security s where s.club_id = $1 and s.admins_second_factor
              ) as "asks_factor!",
              array(
                select g.scope_id from scope_grant g
                where g.club_id = $1 and g.member_id = $2 and not g.revoked
              ) as "scopes!",
              (
                select a.scopes
                from apps a
                join app_grants g on g.club_id = $1 and g.app_id = a.id
                where a.club_id = $1 and a.id = $3 and a.revoked_at is null and g.member_id = $2 and g.revoked_at is null
              ) as granted, "# + $sign_in + r#"
            from (values (true)) as one (row)
            left join members m on m.club_id = $1 and m.id = $2 "# + $devices,
            club,
            account,
            $app,
            $($bound),+
        )
        .fetch_one($tx.conn())
        .await
    }};
}

/// In one statement.
async fn together(tx: &mut ClubTx, device: DeviceId, app: Option<Uuid>) -> Result<Row, StoreError> {
    Ok(ask!(
        tx,
        app,
        r#"d.id is not null and d.revoked_at is null as "signed_in!", d.second_factor_at is not null as "proven!""#,
        "left join devices d on d.account_id = $2 and d.id = $4",
        device.0
    )?)
}

/// In two: the sign-in lies with the account, the rest with the club, perhaps on another server.
async fn apart(tx: &mut ClubTx, device: DeviceId, app: Option<Uuid>) -> Result<Row, StoreError> {
    let sign_in = sqlx::query!(
        r#"
        select d.revoked_at is null as "stands!", d.second_factor_at is not null as "proven!"
        from devices d
        where d.account_id = $1 and d.id = $2
        "#,
        tx.actor.account.0,
        device.0
    )
    .fetch_optional(tx.conn())
    .await?;
    let (stands, proven) = sign_in.map_or((false, false), |row| (row.stands, row.proven));
    Ok(ask!(tx, app, r#"$4::boolean as "signed_in!", $5::boolean as "proven!""#, "", stands, proven)?)
}

/// What the actor of a transaction is in its club, with a sign-in that may be that of an app.
///
/// # Errors
/// 401 when the sign-in was ended or the app's access was withdrawn; when the database is away.
pub async fn read(tx: &mut ClubTx, device: DeviceId, client: Option<ClientId>) -> Result<Standing, Problem> {
    let club = tx.club.0;
    let app = client.map(|client| client.app.0);
    let row = if tx.spread { apart(tx, device, app).await } else { together(tx, device, app).await }?;
    // Also when the sign-in was ended with it: the app is to forget, not to ask for another.
    if client.is_some() && row.granted.is_none() {
        return Err(Problem::new(
            Code::AppRevoked,
            "This app may no longer act for you in the club. It has to forget what it keeps of the club.",
        ));
    }
    if !row.signed_in {
        return Err(ended());
    }
    if row.role.is_none() {
        audit::is_stranger();
    }
    let member = row.role.filter(|_| row.deleted_at.is_none());
    tx.found(member.is_some());
    let role = member.map(|word| Role::from_word(&word).ok_or(StoreError::Corrupt("member"))).transpose()?;
    let every = row.scopes.contains(&Uuid::nil());
    let groups =
        (!every).then(|| row.scopes.iter().filter(|scope| **scope != club).map(|scope| GroupId(*scope)).collect());
    Ok(Standing {
        role,
        left_at: row.deleted_at,
        groups,
        lacks_factor: row.asks_factor && !row.proven,
        granted: row.granted,
    })
}
