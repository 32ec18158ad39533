//! What an erasure does to exports: an archive that names somebody must not outlive them. The rest of exports is a resource.

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
