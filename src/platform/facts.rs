//! Pages of what was recorded about athletes, by when it was and by id: along one index for whoever sees everybody, for an
//! athlete or a session; along that of each athlete at once for whoever sees some.

use serde::{Deserialize, Serialize};
use sqlx::postgres::PgRow;
use sqlx::{Encode, FromRow, Postgres, Type};
use uuid::Uuid;

use super::db::{ClubTx, Parts, StoreError};
use super::{grants, people};

/// Where a list goes on: when the last one was, and its id.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Place<At>(pub At, pub Uuid);

/// A row of a list.
pub trait Fact: for<'r> FromRow<'r, PgRow> + Send + Unpin {
    /// When a fact was: an instant or a day.
    type At: Copy + Ord + for<'q> Encode<'q, Postgres> + Type<Postgres>;

    /// The columns, from `(select f.*, f.COLUMN as at from TABLE f where f.club_id = $1) x where true`.
    const SELECT: &'static str;
    /// What lets only those through that were neither withdrawn nor corrected.
    const STANDING: &'static str;

    /// About whom it is.
    fn athlete(&self) -> Uuid;

    /// Where it stands.
    fn place(&self) -> Place<Self::At>;
}

/// Which facts a list shows.
#[derive(Clone, Copy, Debug)]
pub struct Wanted<At> {
    /// Only of this athlete.
    pub athlete: Option<Uuid>,
    /// Only of this session.
    pub session: Option<Uuid>,
    /// From then on.
    pub from: Option<At>,
    /// Before then.
    pub before: Option<At>,
    /// Also those that were corrected or withdrawn.
    pub all: bool,
    /// Behind this place.
    pub after: Option<Place<At>>,
    /// At most so many.
    pub fetch: i64,
}

/// The facts that the actor sees: along the whole list for whoever sees everybody, else along that of each athlete.
///
/// # Errors
/// Database errors.
pub async fn page<R: Fact>(tx: &mut ClubTx, wanted: Wanted<R::At>) -> Result<Vec<R>, StoreError> {
    let athletes = match wanted.athlete {
        Some(athlete) => Some(grants::visible_athletes(tx, &[athlete]).await?.into_keys().collect()),
        None if tx.actor.groups.is_some() => Some(grants::seen_athletes(tx).await?),
        None => None,
    };
    if let Some(athletes) = athletes {
        return of_athletes(tx, wanted, &athletes).await;
    }
    let mut list = Parts::new(tx, R::SELECT)?;
    list.of_seen_athletes(tx)?;
    if let Some(session) = wanted.session {
        list.with(" and x.session_id = ?", session)?;
    }
    narrow::<R>(&mut list, &wanted, PLAIN)?;
    list.first(tx, "at, id", wanted.fetch).await
}

/// Narrows a list to its days, what stands, and what is behind its place; `bounds` are the beginnings of the first day, the last
/// and the place, in the columns of the index that is gone along.
///
/// Bounds have the type of the column: what the server would have to convert it looks at only after it has read the row,
/// because of row security.
fn narrow<R: Fact>(list: &mut Parts, wanted: &Wanted<R::At>, bounds: [&'static str; 3]) -> Result<(), StoreError> {
    let [from, before, after] = bounds;
    for (bound, at) in [(from, wanted.from), (before, wanted.before)] {
        if let Some(at) = at {
            list.then(bound);
            list.with("?)", at)?;
        }
    }
    if let Some(Place(at, id)) = wanted.after {
        list.then(after);
        list.with("?", at)?;
        list.with(", ?)", id)?;
    }
    if !wanted.all {
        list.then(R::STANDING);
    }
    Ok(())
}

/// The bounds of a list that is gone along as a whole.
const PLAIN: [&str; 3] = [" and x.at >= (", " and x.at < (", " and (x.at, x.id) > ("];
/// The bounds of one athlete of many: said with the athlete, they lead along the index of athletes and no other, whatever the
/// server knows of its tables.
const EACH: [&str; 3] = [
    " and (x.athlete_id, x.at) >= (a.id, ",
    " and (x.athlete_id, x.at) < (a.id, ",
    " and (x.athlete_id, x.at, x.id) > (a.id, ",
];

/// Along the facts of each of these athletes at once.
async fn of_athletes<R: Fact>(tx: &mut ClubTx, wanted: Wanted<R::At>, athletes: &[Uuid]) -> Result<Vec<R>, StoreError> {
    let mut each = people::each(athletes.len(), wanted.fetch);
    loop {
        let mut list = Parts::new(tx, "select x.* from ")?;
        list.with("unnest((select ?::uuid[])::uuid[]) as a (id) cross join lateral (select * from (", athletes)?;
        list.then(R::SELECT);
        list.then(" and x.athlete_id = a.id");
        match wanted.session {
            None => narrow::<R>(&mut list, &wanted, EACH)?,
            // Between bounds over the columns of the index of sessions and athletes, for the same reason.
            Some(session) => {
                list.with(" and x.session_id = ? and (x.session_id, x.athlete_id) >= (?, a.id)", session)?;
                list.with(" and (x.session_id, x.athlete_id) <= (?, a.id)", session)?;
                narrow::<R>(&mut list, &wanted, PLAIN)?;
            }
        }
        list.with(" order by x.at, x.id limit 201) first limit (select ?::bigint)) x", each)?;
        let mut found: Vec<R> = list.all(tx).await?;
        let places = found.iter().map(|row| (row.athlete(), row.place())).collect();
        if let Some(sure) = people::merged(places, each, wanted.fetch) {
            found.sort_unstable_by_key(Fact::place);
            found.truncate(sure.len());
            return Ok(found);
        }
        each = (2 * each).min(wanted.fetch);
    }
}
