//! For whom a transaction reads, when that is not a member: whom consent was withdrawn for is not there then.
//!
//! The wall is in the database, on the row of the athlete (`athletes.withheld`), and everything about people asks for that row. So
//! whatever reads for an app or a helper calls [`ClubTx::shown_to`] once, and decides nothing by itself. What is no record of
//! the athlete yet asks [`ClubTx::withheld`].

use sqlx::AssertSqlSafe;
use uuid::Uuid;

use super::{ClubTx, StoreError};
use crate::platform::ids::GroupId;
use crate::platform::words::words;

words! {
    /// Who is no member and may be shown athletes.
    Audience {
        /// Apps of others that act for a member.
        Apps = "apps",
        /// Helpers without an account, who hold the address of a link.
        Helpers = "helpers",
    }
}

impl ClubTx {
    /// From here on the transaction reads for an audience: athletes who are withheld from it are not there.
    ///
    /// Called after the groups of the actor are known. Who sees every group sees each of them from here on, because what is seen
    /// without asking for a group is seen without asking for the athlete.
    ///
    /// # Errors
    /// Database errors.
    pub async fn shown_to(&mut self, audience: Audience) -> Result<(), StoreError> {
        self.see_as(Some(audience)).await?;
        if self.actor.groups.is_none() {
            let groups = sqlx::query_scalar!("select id from groups where club_id = $1", self.club.0)
                .fetch_all(&mut *self.tx)
                .await?;
            self.actor.groups = Some(groups.into_iter().map(GroupId).collect());
        }
        Ok(())
    }

    /// The audience that is read for; none for a member.
    pub const fn audience(&self) -> Option<Audience> {
        self.audience
    }

    /// From here on the transaction sees as this audience does, or as a member: what is decided about an audience is not decided by
    /// what it sees.
    ///
    /// # Errors
    /// Database errors.
    pub async fn see_as(&mut self, audience: Option<Audience>) -> Result<(), StoreError> {
        if self.audience != audience {
            // The word is one of ours, so the text is safe.
            let set = format!("SET LOCAL app.audience = '{}'", audience.map_or("", Audience::as_str));
            sqlx::raw_sql(AssertSqlSafe(set)).execute(&mut *self.tx).await?;
            self.audience = audience;
        }
        Ok(())
    }

    /// The athletes who are withheld from whom the transaction reads for, for what names people without asking for their rows: what
    /// phones sent and nobody filed. Nobody for a member.
    ///
    /// # Errors
    /// Database errors.
    pub async fn withheld(&mut self) -> Result<Vec<Uuid>, StoreError> {
        let Some(audience) = self.audience else { return Ok(Vec::new()) };
        self.see_as(None).await?;
        let club = self.club.0;
        let ids = sqlx::query_scalar!(
            "select id from athletes where club_id = $1 and $2 = any (withheld) order by id",
            club,
            audience.as_str()
        )
        .fetch_all(&mut *self.tx)
        .await?;
        self.see_as(Some(audience)).await?;
        Ok(ids)
    }
}
