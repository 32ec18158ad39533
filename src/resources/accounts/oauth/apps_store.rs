//! Rows of apps, and of what members let them do.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::model::{App, MAX_APPS, both};
use crate::platform::access::{Role, scopes_of};
use crate::platform::audit;
use crate::platform::client::ClientId;
use crate::platform::db::{Actor, ClubTx, Db, StoreError};
use crate::platform::ids::{AccountId, AppId, ClubId};
use crate::platform::stored::Stored;

/// An app as the club's admins see it.
#[derive(Clone, Debug)]
pub struct Listed {
    /// The app.
    pub app: Stored<AppId, App>,
    /// When it was registered.
    pub created_at: DateTime<Utc>,
    /// How many members let it act for them.
    pub people: i64,
    /// When it last fetched a token for one of them.
    pub last_used_at: Option<DateTime<Utc>>,
}

/// An app that a member lets act for them.
#[derive(Clone, Debug)]
pub struct Granted {
    /// The app.
    pub client: ClientId,
    /// What it is called.
    pub name: String,
    /// The club's name.
    pub club_name: String,
    /// What the member let it do, as far as the club lets it now.
    pub scopes: Vec<String>,
    /// When they said so.
    pub granted_at: DateTime<Utc>,
    /// When it last fetched a token.
    pub last_used_at: Option<DateTime<Utc>>,
}

struct Row {
    id: Uuid,
    rev: i64,
    name: String,
    redirect_uris: Vec<String>,
    scopes: Vec<String>,
    created_at: DateTime<Utc>,
    people: i64,
    last_used_at: Option<DateTime<Utc>>,
}

impl From<Row> for Listed {
    fn from(row: Row) -> Self {
        let value = App { name: row.name, redirect_uris: row.redirect_uris, scopes: row.scopes };
        let app = Stored { id: AppId(row.id), rev: row.rev, value };
        Self { app, created_at: row.created_at, people: row.people, last_used_at: row.last_used_at }
    }
}

/// The apps of the club that were not revoked, oldest first.
pub async fn list(tx: &mut ClubTx) -> Result<Vec<Listed>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query_as!(
        Row,
        r#"
        select a.id, a.rev, a.name, a.redirect_uris, a.scopes, a.created_at,
          (
            select count(*) from app_grants g join members m on m.club_id = $1 and m.id = g.member_id
            where g.club_id = $1 and g.app_id = a.id and g.revoked_at is null and m.deleted_at is null
          ) as "people!",
          (select max(g.last_used_at) from app_grants g where g.club_id = $1 and g.app_id = a.id) as last_used_at
        from apps a
        where a.club_id = $1 and a.revoked_at is null
        order by a.id
        limit $2
        "#,
        club,
        MAX_APPS
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(Into::into).collect())
}

/// One of them.
pub async fn find(tx: &mut ClubTx, id: AppId) -> Result<Listed, StoreError> {
    list(tx).await?.into_iter().find(|one| one.app.id == id).ok_or(StoreError::NotFound("app"))
}

/// Registers an app; the caller has the club to themself.
///
/// # Errors
/// A conflict when the club has as many as it may have.
pub async fn insert(tx: &mut ClubTx, id: AppId, app: &App, now: DateTime<Utc>) -> Result<(), StoreError> {
    let (club, admin) = (tx.club.0, tx.actor.account.0);
    let many = i64::try_from(list(tx).await?.len()).unwrap_or(i64::MAX);
    if many >= MAX_APPS {
        return Err(StoreError::Conflict(format!(
            "The club has {MAX_APPS} apps already. Revoke one that nobody uses."
        )));
    }
    sqlx::query!(
        r#"
        insert into apps as x (club_id, id, name, redirect_uris, scopes, created_by, created_at, updated_at)
        values ($1, $2, $3, $4, $5, $6, $7, $7)
        "#,
        club,
        id.0,
        app.name,
        &app.redirect_uris,
        &app.scopes,
        admin,
        now
    )
    .execute(tx.unsynced())
    .await?;
    Ok(())
}

/// Saves a changed app; answers its new version.
pub async fn save(tx: &mut ClubTx, id: AppId, app: &App) -> Result<i64, StoreError> {
    let club = tx.club.0;
    let rev = sqlx::query_scalar!(
        r#"
        update apps
        set name = $3, redirect_uris = $4, scopes = $5, updated_at = $6, rev = rev + 1
        where club_id = $1 and id = $2
        returning rev
        "#,
        club,
        id.0,
        app.name,
        &app.redirect_uris,
        &app.scopes,
        Utc::now()
    )
    .fetch_one(tx.unsynced())
    .await?;
    Ok(rev)
}

/// Revokes an app for the whole club; false when there is none.
pub async fn revoke(tx: &mut ClubTx, id: AppId) -> Result<bool, StoreError> {
    let club = tx.club.0;
    let done = sqlx::query!(
        "update apps set revoked_at = $3, updated_at = $3 where club_id = $1 and id = $2 and revoked_at is null",
        club,
        id.0,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(done.rows_affected() == 1)
}

/// An app that may ask for people's consent, and the name of its club.
pub async fn admitted(db: &Db, client: ClientId) -> Result<Option<(App, String)>, StoreError> {
    let mut tx = db.read(client.club, &Actor::NOBODY).await?;
    let row = sqlx::query!(
        r#"
        select a.name, a.redirect_uris, a.scopes, c.name as club_name
        from apps a
        join clubs c on c.id = $1
        where a.club_id = $1 and a.id = $2 and a.revoked_at is null
        "#,
        client.club.0,
        client.app.0
    )
    .fetch_optional(tx.conn())
    .await?;
    Ok(row.map(|row| (App { name: row.name, redirect_uris: row.redirect_uris, scopes: row.scopes }, row.club_name)))
}

/// The scopes of which somebody's role in a club can make use; none when they are no member.
pub async fn usable(db: &Db, client: ClientId, account: AccountId) -> Result<Option<Vec<&'static str>>, StoreError> {
    let mut tx = db.read(client.club, &Actor::unseeing(account)).await?;
    let word = sqlx::query_scalar!(
        "select role from members where club_id = $1 and id = $2 and deleted_at is null",
        client.club.0,
        account.0
    )
    .fetch_optional(tx.conn())
    .await?;
    let role = word.map(|word| Role::from_word(&word).ok_or(StoreError::Corrupt("member"))).transpose()?;
    Ok(role.map(scopes_of))
}

/// Notes that a member lets an app act for them, beside what they let it do before; false when the app was revoked or they
/// left meanwhile.
pub async fn grant(db: &Db, client: ClientId, account: AccountId, scopes: &[String]) -> Result<bool, StoreError> {
    let mut tx = db.write(client.club, &Actor::unseeing(account)).await?;
    tx.alone(client.app.0).await?;
    let row = sqlx::query!(
        r#"
        select g.scopes as "scopes?"
        from apps a
        join members m on m.club_id = $1 and m.id = $3 and m.deleted_at is null
        left join app_grants g on g.club_id = $1 and g.app_id = a.id and g.member_id = $3 and g.revoked_at is null
        where a.club_id = $1 and a.id = $2 and a.revoked_at is null
        "#,
        client.club.0,
        client.app.0,
        account.0
    )
    .fetch_optional(tx.conn())
    .await?;
    let Some(row) = row else { return Ok(false) };
    let mut all = scopes.to_vec();
    all.extend(row.scopes.into_iter().flatten().filter(|one| !scopes.contains(one)));
    sqlx::query!(
        r#"
        insert into app_grants as x (club_id, app_id, member_id, scopes, granted_at)
        values ($1, $2, $3, $4, $5)
        on conflict (club_id, app_id, member_id) do update
        set scopes = excluded.scopes, granted_at = excluded.granted_at, revoked_at = null
        "#,
        client.club.0,
        client.app.0,
        account.0,
        &all,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    audit::makes(client.app);
    tx.commit().await?;
    Ok(true)
}

/// Notes that an app fetches a token for somebody: those of these scopes that it may have now, by what the club lets it and
/// by their role. None when it may not act for them any more.
pub async fn fetch(
    db: &Db,
    client: ClientId,
    account: AccountId,
    scopes: &[String],
) -> Result<Option<Vec<String>>, StoreError> {
    let mut tx = db.write(client.club, &Actor::unseeing(account)).await?;
    let row = sqlx::query!(
        r#"
        select a.scopes, m.role
        from apps a
        join app_grants g on g.club_id = $1 and g.app_id = a.id and g.member_id = $3 and g.revoked_at is null
        join members m on m.club_id = $1 and m.id = $3
        where a.club_id = $1 and a.id = $2 and a.revoked_at is null
        "#,
        client.club.0,
        client.app.0,
        account.0
    )
    .fetch_optional(tx.conn())
    .await?;
    let Some(row) = row else { return Ok(None) };
    sqlx::query!(
        "update app_grants set last_used_at = $4 where club_id = $1 and app_id = $2 and member_id = $3",
        client.club.0,
        client.app.0,
        account.0,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    tx.commit().await?;
    let role = Role::from_word(&row.role).ok_or(StoreError::Corrupt("member"))?;
    Ok(Some(both(&both(scopes, &row.scopes), &scopes_of(role))))
}

/// The apps that act for somebody in a club, whether they are still a member or not.
pub async fn granted(db: &Db, club: ClubId, account: AccountId) -> Result<Vec<Granted>, StoreError> {
    let mut tx = db.read(club, &Actor::unseeing(account)).await?;
    let rows = sqlx::query!(
        r#"
        select a.id, a.name, c.name as club_name, a.scopes as club_scopes, g.scopes, g.granted_at, g.last_used_at
        from app_grants g
        join apps a on a.club_id = $1 and a.id = g.app_id
        join clubs c on c.id = $1
        where g.club_id = $1 and g.member_id = $2 and g.revoked_at is null and a.revoked_at is null
        order by a.id
        "#,
        club.0,
        account.0
    )
    .fetch_all(tx.conn())
    .await?;
    let rows = rows.into_iter().map(|row| Granted {
        client: ClientId { club, app: AppId(row.id) },
        name: row.name,
        club_name: row.club_name,
        scopes: both(&row.scopes, &row.club_scopes),
        granted_at: row.granted_at,
        last_used_at: row.last_used_at,
    });
    Ok(rows.collect())
}

/// Ends that an app acts for somebody in a club; false when it does not.
pub async fn withdraw(db: &Db, client: ClientId, account: AccountId) -> Result<bool, StoreError> {
    let mut tx = db.write(client.club, &Actor::unseeing(account)).await?;
    let done = sqlx::query!(
        r#"
        update app_grants
        set revoked_at = $4
        where club_id = $1 and app_id = $2 and member_id = $3 and revoked_at is null
        "#,
        client.club.0,
        client.app.0,
        account.0,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    tx.commit().await?;
    Ok(done.rows_affected() == 1)
}
