//! Rows of well-being records.

use std::collections::HashMap;

use chrono::{NaiveDate, Utc};
use uuid::Uuid;

use super::model::{RecordKind, Reporter, WellbeingRecord};
use crate::platform::db::{Change, ClubTx, Kind, StoreError};
use crate::platform::facts::{self, Fact, Wanted};
use crate::platform::grants;
use crate::platform::ids::{AthleteId, WellbeingRecordId};
use crate::platform::people::{People, batched};
use crate::platform::stored::Stored;

/// A well-being record as it is stored.
pub type StoredWellbeing = Stored<WellbeingRecordId, WellbeingRecord>;

#[derive(sqlx::FromRow)]
struct Row {
    id: Uuid,
    rev: i64,
    athlete_id: Uuid,
    kind: String,
    reported_on: NaiveDate,
    reported_by: Option<String>,
    until: Option<NaiveDate>,
    clears: Option<Uuid>,
    supersedes: Option<Uuid>,
    void: bool,
}

fn kind_of(word: &str) -> Result<RecordKind, StoreError> {
    RecordKind::parse(word).map_err(|_| StoreError::Corrupt("well-being record"))
}

impl TryFrom<Row> for StoredWellbeing {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let by = row.reported_by.as_deref().map(Reporter::parse).transpose();
        let value = WellbeingRecord {
            athlete: AthleteId(row.athlete_id),
            kind: kind_of(&row.kind)?,
            reported_on: row.reported_on,
            reported_by: by.map_err(|_| StoreError::Corrupt("well-being record"))?,
            until: row.until,
            clears: row.clears.map(WellbeingRecordId),
            supersedes: row.supersedes.map(WellbeingRecordId),
            void: row.void,
        };
        Ok(Self { id: WellbeingRecordId(row.id), rev: row.rev, value })
    }
}

/// Records with these ids, seen by the actor or not: an id is taken either way.
pub async fn by_ids(tx: &mut ClubTx, ids: &[Uuid]) -> Result<HashMap<Uuid, (WellbeingRecord, i64)>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query_as!(
        Row,
        r#"
        select id, rev, athlete_id, kind, reported_on, reported_by, until, clears, supersedes, void
        from unnest((select $2::uuid[])::uuid[]) as i (one)
        cross join lateral (select * from wellbeing_records r where r.club_id = $1 and r.id = i.one offset 0) x
        "#,
        club,
        ids
    )
    .fetch_all(tx.conn())
    .await?;
    let keyed = |row| StoredWellbeing::try_from(row).map(|one| (one.id.0, (one.value, one.rev)));
    rows.into_iter().map(keyed).collect()
}

batched!("wellbeing_records");

/// Where a record stands in a list.
pub type Place = facts::Place<NaiveDate>;

impl Fact for Row {
    type At = NaiveDate;

    const SELECT: &'static str = "select x.id, x.rev, x.athlete_id, x.kind, x.reported_on, x.reported_by, x.until, x.clears, \
        x.supersedes, x.void, x.at from (select f.*, f.reported_on as at from wellbeing_records f where f.club_id = $1) x \
        where true";
    const STANDING: &'static str = " and not x.void and not exists (select from wellbeing_records later where \
        later.club_id = $1 and later.supersedes = x.id offset 0)";

    fn athlete(&self) -> Uuid {
        self.athlete_id
    }

    fn place(&self) -> Place {
        facts::Place(self.reported_on, self.id)
    }
}

/// The records that the actor sees, by their day and by id.
pub async fn page(tx: &mut ClubTx, wanted: Wanted<NaiveDate>) -> Result<Vec<StoredWellbeing>, StoreError> {
    let rows: Vec<Row> = facts::page(tx, wanted).await?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// A record, when the actor sees its athlete.
pub async fn find(tx: &mut ClubTx, id: WellbeingRecordId) -> Result<Option<StoredWellbeing>, StoreError> {
    let found = by_ids(tx, &[id.0]).await?.remove(&id.0);
    // Nobody is looked for when nothing was found, so that the answer takes as long as for one that is hidden.
    let athlete = found.as_ref().map_or(AthleteId(Uuid::nil()), |(one, _)| one.athlete);
    let seen = People::of(tx, [athlete]).await?.sees(athlete);
    Ok(found.filter(|_| seen).map(|(value, rev)| Stored { id, rev, value }))
}

/// A record that another one clears or corrects.
#[derive(Debug)]
pub struct Earlier {
    /// About whom.
    pub athlete: Uuid,
    /// What it says.
    pub kind: RecordKind,
    /// Its day.
    pub reported_on: NaiveDate,
    /// Whether it only withdraws another.
    pub void: bool,
    /// By what it was corrected.
    pub later: Option<Uuid>,
}

/// What the records of a batch refer to.
#[derive(Debug)]
pub struct Known {
    /// Visible athletes.
    pub athletes: Vec<Uuid>,
    /// The records that others clear or correct.
    pub earlier: HashMap<Uuid, Earlier>,
}

/// Looks up what the records of a batch refer to.
pub async fn known(tx: &mut ClubTx, athletes: &[Uuid], earlier: &[Uuid]) -> Result<Known, StoreError> {
    let club = tx.club.0;
    let athletes = grants::visible_athletes(tx, athletes).await?.into_keys().collect();
    let rows = sqlx::query!(
        r#"
        select x.id, x.athlete_id, x.kind, x.reported_on, x.void, later.id as "later?"
        from wellbeing_records x
        left join wellbeing_records later on later.club_id = $1 and later.supersedes = x.id
        where x.club_id = $1 and x.id = any ((select $2::uuid[])::uuid[])
        "#,
        club,
        earlier
    )
    .fetch_all(tx.conn())
    .await?;
    // A record that is hidden is none.
    let people = People::of(tx, rows.iter().map(|row| AthleteId(row.athlete_id))).await?;
    let mut earlier = HashMap::with_capacity(rows.len());
    for row in rows.into_iter().filter(|row| people.sees(AthleteId(row.athlete_id))) {
        let kind = kind_of(&row.kind)?;
        let (athlete, reported_on, void, later) = (row.athlete_id, row.reported_on, row.void, row.later);
        earlier.insert(row.id, Earlier { athlete, kind, reported_on, void, later });
    }
    Ok(Known { athletes, earlier })
}

/// Inserts records whose ids are free, in one statement.
pub async fn insert(tx: &mut ClubTx, new: &[(WellbeingRecordId, &WellbeingRecord)]) -> Result<(), StoreError> {
    if new.is_empty() {
        return Ok(());
    }
    let (club, actor, skew) = (tx.club.0, tx.actor.account.0, tx.skew_ms);
    let columns = |(id, one): &(WellbeingRecordId, &WellbeingRecord)| {
        serde_json::json!({
            "id": id,
            "athlete_id": one.athlete,
            "kind": one.kind.as_str(),
            "reported_on": one.reported_on,
            "reported_by": one.reported_by.map(Reporter::as_str),
            "until": one.until,
            "clears": one.clears,
            "supersedes": one.supersedes,
            "void": one.void,
        })
    };
    let rows: Vec<serde_json::Value> = new.iter().map(columns).collect();
    let changes: Vec<Change> =
        new.iter().map(|(id, one)| Change::put(Kind::WellbeingRecord, *id).under(one.athlete)).collect();
    sqlx::query!(
        r#"
        insert into wellbeing_records as x
          (club_id, id, athlete_id, kind, reported_on, reported_by, until, clears, supersedes, void, recorded_by,
           created_at, skew_ms)
        select c.id, u.id, u.athlete_id, u.kind, u.reported_on, u.reported_by, u.until, u.clears, u.supersedes, u.void,
          $3, $4, $5
        from clubs c
        cross join jsonb_to_recordset($2::jsonb) as u (
          id uuid, athlete_id uuid, kind text, reported_on date, reported_by text, until date, clears uuid,
          supersedes uuid, void boolean)
        where c.id = $1
        "#,
        club,
        serde_json::Value::Array(rows),
        actor,
        Utc::now(),
        skew
    )
    .execute(tx.changing_all(changes))
    .await?;
    Ok(())
}
