//! The session of a plan, with what its sheets say of it.

use chrono::NaiveDate;

use crate::compute::decision::Surface;
use crate::compute::units::Length;
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::SessionId;

/// The session of a plan.
#[derive(Clone, Debug)]
pub struct SessionInfo {
    /// The day.
    pub held_on: NaiveDate,
    /// What is wrong with the surface; none when it is dry and even, or nobody said.
    pub surface: Option<Surface>,
    /// Name, straight and lanes of the venue.
    pub venue: Option<(String, Length, u32)>,
    /// Name of the club.
    pub club: String,
}

/// The session, when the actor sees it.
pub async fn session(tx: &mut ClubTx, id: SessionId) -> Result<Option<SessionInfo>, StoreError> {
    let (club, groups) = (tx.club.0, tx.actor.group_ids());
    let row = sqlx::query!(
        r#"
        select x.held_on, x.surface, c.name as club, v.name as "venue?", v.straight_mm as "straight_mm?", v.lanes as "lanes?"
        from sessions x
        join clubs c on c.id = $1
        left join venues v on v.club_id = $1 and v.id = x.venue_id and v.deleted_at is null
        where x.club_id = $1 and x.id = $2 and x.deleted_at is null
          and ($3::uuid[] is null or exists (
            select from session_scope s
            where s.club_id = $1 and s.session_id = x.id and s.scope_id = any ($3)
          ))
        "#,
        club,
        id.0,
        groups.as_deref()
    )
    .fetch_optional(tx.conn())
    .await?;
    let Some(row) = row else { return Ok(None) };
    let venue = match (row.venue, row.straight_mm, row.lanes) {
        (Some(name), Some(mm), Some(lanes)) => {
            let corrupt = |_| StoreError::Corrupt("venue");
            let straight = Length::from_mm(u32::try_from(mm).map_err(corrupt)?);
            Some((name, straight, u32::try_from(lanes).map_err(corrupt)?))
        }
        _ => None,
    };
    let word = |word: &str| Surface::from_word(word).ok_or(StoreError::Corrupt("session"));
    let surface = row.surface.as_deref().map(word).transpose()?;
    Ok(Some(SessionInfo { held_on: row.held_on, surface, venue, club: row.club }))
}
