//! The words of a calendar: what groups, venues and the club are called.

use std::collections::HashMap;

use uuid::Uuid;

use crate::platform::db::{ClubTx, Parts, StoreError};

/// What a calendar calls things.
#[derive(Debug, Default)]
pub struct Names {
    /// The club.
    pub club: String,
    /// The groups that the actor sees.
    pub groups: HashMap<Uuid, String>,
    /// The venues.
    pub venues: HashMap<Uuid, String>,
}

/// What the club and what the actor sees of it are called.
pub async fn names(tx: &mut ClubTx) -> Result<Names, StoreError> {
    let club = tx.club.0;
    let name = sqlx::query_scalar!("select name from clubs where id = $1", club).fetch_one(tx.conn()).await?;
    let mut groups = Parts::new(tx, "select id, name from groups where club_id = $1 and deleted_at is null")?;
    if let Some(seen) = tx.actor.group_ids() {
        groups.with(" and id = any ((select ?::uuid[])::uuid[])", seen)?;
    }
    let groups: Vec<(Uuid, String)> = groups.all(tx).await?;
    let venues = Parts::new(tx, "select id, name from venues where club_id = $1 and deleted_at is null")?;
    let venues: Vec<(Uuid, String)> = venues.all(tx).await?;
    Ok(Names { club: name, groups: groups.into_iter().collect(), venues: venues.into_iter().collect() })
}
