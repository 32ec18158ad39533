//! A reading statement that is put together from parts, for lists with filters.
//!
//! A filter that is not asked for is no part of the statement. Written as `$2 is null or ...` it would be one for every caller and
//! good for none: the server could plan it only anew each time, once it knows which filters are there. So each shape is a
//! statement of its own, prepared once on a connection and soon planned for good.
//!
//! Parts stand in the code, values are bound. How many rows come is bound twice: the server's plan rests on [`MOST`], which it
//! knows, and the caller's own number, which a sub-select hides from it, ends the reading earlier.

use sqlx::postgres::{PgArguments, PgRow};
use sqlx::{Arguments, AssertSqlSafe, Encode, FromRow, Postgres, Type};

use super::{ClubTx, StoreError};

/// Most rows of a list: the largest page and the row that says whether another follows.
const MOST: &str = "201";

/// The statement so far. `$1` is the club in every part.
#[derive(Debug)]
pub struct Parts {
    text: String,
    values: PgArguments,
}

/// A value that the database does not take.
fn refused(error: sqlx::error::BoxDynError) -> StoreError {
    StoreError::from(sqlx::Error::Encode(error))
}

impl Parts {
    /// The first part of a statement over the club of a transaction.
    ///
    /// # Errors
    /// A value that cannot be written.
    pub fn new(tx: &ClubTx, part: &'static str) -> Result<Self, StoreError> {
        let mut values = PgArguments::default();
        values.add(tx.club.0).map_err(refused)?;
        Ok(Self { text: part.to_owned(), values })
    }

    /// One more part.
    pub fn then(&mut self, part: &'static str) {
        self.text.push_str(part);
    }

    /// One more part, in which `?` is a value.
    ///
    /// # Errors
    /// A value that cannot be written.
    pub fn with<'q, T>(&mut self, part: &'static str, value: T) -> Result<(), StoreError>
    where
        T: Encode<'q, Postgres> + Type<Postgres>,
    {
        self.values.add(value).map_err(refused)?;
        self.text.push_str(&part.replace('?', &format!("${}", self.values.len())));
        Ok(())
    }

    /// Only what is about athletes of `x.athlete_id` who are there and whom the actor sees.
    ///
    /// `offset 0` keeps each question one of its own: it is asked for the rows that are read, never for a whole table first.
    ///
    /// # Errors
    /// A value that cannot be written.
    pub fn of_seen_athletes(&mut self, tx: &ClubTx) -> Result<(), StoreError> {
        self.then(
            " and exists (select from athletes a where a.club_id = $1 and a.id = x.athlete_id and a.deleted_at is null \
             offset 0)",
        );
        let Some(groups) = tx.actor.group_ids() else { return Ok(()) };
        let seen = " and exists (select from athlete_scope v where v.club_id = $1 and v.athlete_id = x.athlete_id and \
                    v.scope_id = any ((select ?::uuid[])::uuid[]) offset 0)";
        self.with(seen, groups)
    }

    /// All rows.
    ///
    /// # Errors
    /// Database errors; a row that does not parse.
    pub async fn all<T>(self, tx: &mut ClubTx) -> Result<Vec<T>, StoreError>
    where
        T: for<'r> FromRow<'r, PgRow> + Send + Unpin,
    {
        Ok(sqlx::query_as_with(AssertSqlSafe(self.text), self.values).fetch_all(tx.conn()).await?)
    }

    /// The first rows in this order, at most `fetch`.
    ///
    /// # Errors
    /// Database errors; a row that does not parse.
    pub async fn first<T>(mut self, tx: &mut ClubTx, order: &'static str, fetch: i64) -> Result<Vec<T>, StoreError>
    where
        T: for<'r> FromRow<'r, PgRow> + Send + Unpin,
    {
        self.values.add(fetch).map_err(refused)?;
        let (inner, count) = (self.text, self.values.len());
        let text = format!(
            "select * from ({inner} order by {order} limit {MOST}) page order by {order} limit (select ${count}::bigint)"
        );
        Ok(sqlx::query_as_with(AssertSqlSafe(text), self.values).fetch_all(tx.conn()).await?)
    }
}
