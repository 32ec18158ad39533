//! Reading a table whose records stand by themselves.

/// `by_ids` and `page` of a table: takes what is read, its columns beside `id` and `rev`, and its name; the rows are the `Row` of
/// the file.
macro_rules! plain_reads {
    ($stored:ty, $columns:tt, $table:tt) => {
        /// Those of these ids that are there.
        pub async fn by_ids(
            tx: &mut $crate::platform::db::ClubTx,
            ids: &[uuid::Uuid],
        ) -> Result<Vec<$stored>, $crate::platform::db::StoreError> {
            let club = tx.club.0;
            sqlx::query_as!(
                Row,
                "select id, rev, "
                    + $columns
                    + " from "
                    + $table
                    + " where club_id = $1 and id = any ((select $2::uuid[])::uuid[]) and deleted_at is null",
                club,
                ids
            )
            .fetch_all(tx.conn())
            .await?
            .into_iter()
            .map(TryInto::try_into)
            .collect()
        }

        /// The records by id, after `after`.
        pub async fn page(
            tx: &mut $crate::platform::db::ClubTx,
            after: Option<uuid::Uuid>,
            fetch: i64,
        ) -> Result<Vec<$stored>, $crate::platform::db::StoreError> {
            let club = tx.club.0;
            sqlx::query_as!(
                Row,
                "select id, rev, "
                    + $columns
                    + " from "
                    + $table
                    + " where club_id = $1 and deleted_at is null and id >= $2 order by id limit $3",
                club,
                $crate::platform::page::from(after),
                fetch
            )
            .fetch_all(tx.conn())
            .await?
            .into_iter()
            .map(TryInto::try_into)
            .collect()
        }
    };
}
pub(crate) use plain_reads;
