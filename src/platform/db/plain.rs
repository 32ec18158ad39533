//! The store of a table whose records stand by themselves.

/// `find`, `by_ids` and `page` of a table, and what `plain_writes!` makes. Takes its kind, id, model and name (and the index of its
/// names, where they are unique); its columns beside `id` and `rev`, with as many marks from $4 on; how a row of them is read and
/// written; and what is seen to before a record is written or deleted, where there is anything.
macro_rules! plain_store {
    (
        $kind:ident, $id:ident, $value:ty, $table:tt $(unique $unique:literal)?;
        $columns:tt = $marks:tt;
        $row:ident => $read:expr;
        $($write:tt)+
    ) => {
        /// Those of these ids that are there.
        pub async fn by_ids(
            tx: &mut $crate::platform::db::ClubTx,
            ids: &[uuid::Uuid],
        ) -> Result<Vec<$crate::platform::stored::Stored<$id, $value>>, $crate::platform::db::StoreError> {
            let club = tx.club.0;
            sqlx::query!(
                "select id, rev, "
                    + $columns
                    + " from unnest((select $2::uuid[])::uuid[]) as i (one) cross join lateral (select * from "
                    + $table
                    + " r where r.club_id = $1 and r.id = i.one offset 0) x where x.deleted_at is null",
                club,
                ids
            )
            .fetch_all(tx.conn())
            .await?
            .into_iter()
            .map(|$row| {
                Ok($crate::platform::stored::Stored { id: $id($row.id), rev: $row.rev, value: $read })
            })
            .collect()
        }

        /// The record, when it is there.
        pub async fn find(
            tx: &mut $crate::platform::db::ClubTx,
            id: $id,
        ) -> Result<Option<$crate::platform::stored::Stored<$id, $value>>, $crate::platform::db::StoreError> {
            Ok(by_ids(tx, &[id.0]).await?.pop())
        }

        /// The records by id, after `after`.
        pub async fn page(
            tx: &mut $crate::platform::db::ClubTx,
            after: Option<uuid::Uuid>,
            fetch: i64,
        ) -> Result<Vec<$crate::platform::stored::Stored<$id, $value>>, $crate::platform::db::StoreError> {
            let club = tx.club.0;
            sqlx::query!(
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
            .map(|$row| {
                Ok($crate::platform::stored::Stored { id: $id($row.id), rev: $row.rev, value: $read })
            })
            .collect()
        }

        $crate::platform::db::plain_writes! {
            $kind, $id, $value, $table $(unique $unique)?;
            $columns = $marks;
            $($write)+
        }
    };
}

/// `insert`, `save` and `remove` of a table.
macro_rules! plain_writes {
    (
        $kind:ident, $id:ident, $value:ty, $table:tt $(unique $unique:literal)?;
        $columns:tt = $marks:tt;
        $sent:ident => $($column:expr),+;
        $(writable $writable:ident;)?
        $(made $made:ident;)?
        $(removable $removable:ident;)?
    ) => {
        /// Inserts a record; false when the id is taken already.
        pub async fn insert(
            tx: &mut $crate::platform::db::ClubTx,
            id: $id,
            $sent: &$value,
        ) -> Result<bool, $crate::platform::db::StoreError> {
            let club = tx.club.0;
            $($writable(tx, id, $sent).await?;)?
            let done = sqlx::query!(
                "insert into "
                    + $table
                    + " as x (club_id, id, created_at, updated_at, "
                    + $columns
                    + ") values ($1, $2, $3, $3, "
                    + $marks
                    + ") on conflict (club_id, id) do nothing",
                club,
                id.0,
                chrono::Utc::now(),
                $($column),+
            )
            .execute(tx.changing($crate::platform::db::Change::put($crate::platform::db::Kind::$kind, id)))
            .await
            .map_err(|error| $crate::platform::db::StoreError::from(error)$(.conflict_on($unique))?)?;
            let fresh = done.rows_affected() == 1;
            $(if fresh {
                $made(tx, id);
            })?
            Ok(fresh)
        }

        /// Saves a changed record.
        pub async fn save(
            tx: &mut $crate::platform::db::ClubTx,
            id: $id,
            $sent: &$value,
        ) -> Result<(), $crate::platform::db::StoreError> {
            let club = tx.club.0;
            $($writable(tx, id, $sent).await?;)?
            sqlx::query!(
                "update "
                    + $table
                    + " set updated_at = $3, ("
                    + $columns
                    + ") = ("
                    + $marks
                    + ") where club_id = $1 and id = $2",
                club,
                id.0,
                chrono::Utc::now(),
                $($column),+
            )
            .execute(tx.changing($crate::platform::db::Change::put($crate::platform::db::Kind::$kind, id)))
            .await
            .map_err(|error| $crate::platform::db::StoreError::from(error)$(.conflict_on($unique))?)?;
            Ok(())
        }

        /// Deletes a record.
        pub async fn remove(
            tx: &mut $crate::platform::db::ClubTx,
            id: $id,
        ) -> Result<(), $crate::platform::db::StoreError> {
            let club = tx.club.0;
            $($removable(tx, id).await?;)?
            sqlx::query!(
                "update " + $table + " set deleted_at = $3, updated_at = $3 where club_id = $1 and id = $2",
                club,
                id.0,
                chrono::Utc::now()
            )
            .execute(tx.changing($crate::platform::db::Change::remove($crate::platform::db::Kind::$kind, id)))
            .await?;
            Ok(())
        }
    };
}
pub(crate) use {plain_store, plain_writes};
