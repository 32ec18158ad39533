//! What becomes of exports when something that their archives hold is kept no longer. The rest of exports is a resource.

use uuid::Uuid;

use super::db::{ClubTx, StoreError};
use super::ids::AthleteId;

/// Takes back every export that may hold an athlete: their own, and those of the whole club whether made or under way.
///
/// The state comes first: whoever writes an archive at this moment holds its row for each piece, so a piece that is stored
/// before is deleted here, and none is stored afterwards.
///
/// # Errors
/// Database errors.
pub async fn withdraw(tx: &mut ClubTx, athlete: AthleteId) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        update exports
        set state = 'withdrawn', records = 0, bytes = 0, sha256 = null
        where club_id = $1 and id = any (array(
          select x.id from exports x
          where x.club_id = $1 and (x.athlete_id is null or x.athlete_id = $2)
          order by x.id
          for no key update
        ))
        "#,
        club,
        athlete.0
    )
    .execute(tx.conn())
    .await?;
    drop_pieces(tx).await
}

/// Takes back what was read of these athletes, or of anybody, before now: something of theirs went, or is agreed to no longer. An
/// export that waits is made of what is left, so it stays.
///
/// # Errors
/// Database errors.
pub async fn outdate(tx: &mut ClubTx, athletes: Option<&[Uuid]>) -> Result<(), StoreError> {
    let club = tx.club.0;
    let done = sqlx::query!(
        r#"
        update exports
        set state = 'withdrawn', records = 0, bytes = 0, sha256 = null
        where club_id = $1 and id = any (array(
          select x.id from exports x
          where x.club_id = $1 and x.state in ('running', 'ready')
            and ($2::uuid[] is null or x.athlete_id is null or x.athlete_id = any ($2))
          order by x.id
          for no key update
        ))
        "#,
        club,
        athletes
    )
    .execute(tx.conn())
    .await?;
    if done.rows_affected() == 0 { Ok(()) } else { drop_pieces(tx).await }
}

async fn drop_pieces(tx: &mut ClubTx) -> Result<(), StoreError> {
    let club = tx.club.0;
    sqlx::query!(
        r#"
        delete from export_pieces
        where club_id = $1
          and export_id in (select x.id from exports x where x.club_id = $1 and x.state = 'withdrawn')
        "#,
        club
    )
    .execute(tx.conn())
    .await?;
    Ok(())
}
