//! Rows of consents, and what follows from them for the row of the athlete.

use std::collections::HashMap;

use chrono::{NaiveDate, Utc};
use uuid::Uuid;

use super::consent::{Consent, Consenter, Entered, Purpose, Standing};
use crate::platform::db::{Audience, Change, ClubTx, Kind, StoreError};
use crate::platform::exports;
use crate::platform::grants::ids_of;
use crate::platform::ids::{AthleteId, ConsentId, GroupId};
use crate::platform::renewals;

/// A consent as it is stored.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredConsent {
    /// The id.
    pub id: ConsentId,
    /// The athlete.
    pub athlete: AthleteId,
    /// What was said.
    pub consent: Consent,
    /// Who recorded it; none where that was not kept.
    pub recorded_by: Option<Uuid>,
}

struct Row {
    id: Uuid,
    athlete_id: Uuid,
    purpose: String,
    given: bool,
    on_day: NaiveDate,
    by_whom: Option<String>,
    recorded_by: Option<Uuid>,
}

impl TryFrom<Row> for StoredConsent {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let corrupt = |_| StoreError::Corrupt("consent");
        let by = row.by_whom.as_deref().map(Consenter::parse).transpose().map_err(corrupt)?;
        let purpose = Purpose::parse(&row.purpose).map_err(corrupt)?;
        let consent = Consent { purpose, given: row.given, on: row.on_day, by };
        Ok(Self { id: ConsentId(row.id), athlete: AthleteId(row.athlete_id), consent, recorded_by: row.recorded_by })
    }
}

/// What was recorded of an athlete, the latest first, at most 200.
pub async fn of_athlete(tx: &mut ClubTx, athlete: AthleteId) -> Result<Vec<StoredConsent>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select id, athlete_id, purpose, given, on_day, by_whom, recorded_by
        from consents
        where club_id = $1 and athlete_id = $2
        order by created_at desc, id desc
        limit 200
        "#,
        club,
        athlete.0
    )
    .fetch_all(tx.conn())
    .await?
    .into_iter()
    .map(TryInto::try_into)
    .collect()
}

/// A consent, whoever it is about.
pub async fn find(tx: &mut ClubTx, id: ConsentId) -> Result<Option<StoredConsent>, StoreError> {
    let club = tx.club.0;
    sqlx::query_as!(
        Row,
        r#"
        select id, athlete_id, purpose, given, on_day, by_whom, recorded_by
        from consents
        where club_id = $1 and id = $2
        "#,
        club,
        id.0
    )
    .fetch_optional(tx.conn())
    .await?
    .map(TryInto::try_into)
    .transpose()
}

/// The latest word for each purpose, of athletes of whom there is one.
async fn latest(
    tx: &mut ClubTx,
    athletes: &[Uuid],
) -> Result<HashMap<AthleteId, HashMap<Purpose, Standing>>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        r#"
        select distinct on (athlete_id, purpose) athlete_id, purpose, given, on_day
        from consents
        where club_id = $1 and athlete_id = any ((select $2::uuid[])::uuid[])
        order by athlete_id, purpose, created_at desc, id desc
        "#,
        club,
        athletes
    )
    .fetch_all(tx.conn())
    .await?;
    let mut latest: HashMap<AthleteId, HashMap<Purpose, Standing>> = HashMap::new();
    for row in rows {
        let purpose = Purpose::parse(&row.purpose).map_err(|_| StoreError::Corrupt("consent"))?;
        let standing = Standing { given: row.given, on: row.on_day };
        latest.entry(AthleteId(row.athlete_id)).or_default().insert(purpose, standing);
    }
    Ok(latest)
}

/// What stands for each purpose.
pub async fn standing(tx: &mut ClubTx, athlete: AthleteId) -> Result<Vec<(Purpose, Option<Standing>)>, StoreError> {
    let latest = latest(tx, &[athlete.0]).await?.remove(&athlete).unwrap_or_default();
    Ok(Purpose::ALL.map(|purpose| (purpose, latest.get(&purpose).copied())).to_vec())
}

/// A consent that is new.
type New = (ConsentId, AthleteId, Consent);

fn each<T>(new: &[New], of: impl Fn(&New) -> T) -> Vec<T> {
    new.iter().map(of).collect()
}

/// Stores consents; false, and nothing worth committing, when an id is taken. Whoever does it has the athletes for themselves.
async fn insert(tx: &mut ClubTx, new: &[New]) -> Result<bool, StoreError> {
    let (club, actor) = (tx.club.0, tx.actor.account.0);
    let done = sqlx::query!(
        r#"
        insert into consents as x
          (club_id, id, athlete_id, purpose, given, on_day, by_whom, recorded_by, created_at)
        select c.id, u.id, u.athlete_id, u.purpose, u.given, u.on_day, u.by_whom, $8, $9
        from clubs c
        cross join unnest($2::uuid[], $3::uuid[], $4::text[], $5::boolean[], $6::date[], $7::text[])
          as u (id, athlete_id, purpose, given, on_day, by_whom)
        where c.id = $1
        on conflict (club_id, id) do nothing
        "#,
        club,
        &each(new, |one| one.0.0),
        &each(new, |one| one.1.0),
        &each(new, |one| one.2.purpose.as_str().to_owned()),
        &each(new, |one| one.2.given),
        &each(new, |one| one.2.on),
        &each(new, |one| one.2.by.map(|by| by.as_str().to_owned())) as &[Option<String>],
        actor,
        Utc::now()
    )
    .execute(tx.unsynced())
    .await?;
    Ok(done.rows_affected() == u64::try_from(new.len()).unwrap_or(u64::MAX))
}

/// What was said of an athlete, with the id of its record and the athlete's groups.
pub type Said<'a> = (ConsentId, (AthleteId, &'a [GroupId]), Consent);

/// Records what was said of an athlete, and lets everything that rests on it follow; false when the id is taken.
pub async fn record(
    tx: &mut ClubTx,
    id: ConsentId,
    athlete: (AthleteId, &[GroupId]),
    consent: Consent,
) -> Result<bool, StoreError> {
    record_all(tx, &[(id, athlete, consent)]).await
}

/// Records what was said of several athletes, each as [`record`] does.
pub async fn record_all(tx: &mut ClubTx, said: &[Said<'_>]) -> Result<bool, StoreError> {
    if said.is_empty() {
        return Ok(true);
    }
    let new: Vec<New> = said.iter().map(|(id, (athlete, _), consent)| (*id, *athlete, *consent)).collect();
    if !insert(tx, &new).await? {
        return Ok(false);
    }
    settle(tx, &said.iter().map(|(_, athlete, _)| *athlete).collect()).await?;
    // An archive would carry the consent that was withdrawn to wherever it is imported.
    let withdrawn: Vec<Uuid> = new.iter().filter(|one| !one.2.given).map(|one| one.1.0).collect();
    if !withdrawn.is_empty() {
        exports::outdate(tx, Some(&withdrawn)).await?;
    }
    Ok(true)
}

/// Records what was entered with new athletes, who are withheld from nobody: the day of consent to keep their records.
pub async fn entered(tx: &mut ClubTx, athletes: &[(AthleteId, NaiveDate)]) -> Result<(), StoreError> {
    if athletes.is_empty() {
        return Ok(());
    }
    let said = |(athlete, day): &(AthleteId, NaiveDate)| (ConsentId::new(), *athlete, Entered(Some(*day)).said(*day));
    let new: Vec<_> = athletes.iter().map(said).collect();
    insert(tx, &new).await.map(drop)
}

/// Brings the rows of athletes in line with what stands: the day of consent, and from whom they are withheld.
#[allow(clippy::too_many_lines)] // one read, one write, and what follows from it
async fn settle(tx: &mut ClubTx, athletes: &HashMap<AthleteId, &[GroupId]>) -> Result<(), StoreError> {
    let ids: Vec<Uuid> = athletes.keys().map(|id| id.0).collect();
    let mut latest = latest(tx, &ids).await?;
    let (club, audience) = (tx.club.0, tx.audience());
    tx.see_as(None).await?;
    let rows = sqlx::query!(
        r#"
        select id, consent_on, withheld
        from athletes
        where club_id = $1 and id = any ((select $2::uuid[])::uuid[])
        order by id
        "#,
        club,
        &ids
    )
    .fetch_all(tx.conn())
    .await?;
    let (mut changes, mut hidden) = (Vec::new(), Vec::new());
    let (mut changed, mut days, mut from): (Vec<Uuid>, Vec<Option<NaiveDate>>, Vec<String>) = Default::default();
    for row in rows {
        let id = AthleteId(row.id);
        let stands = latest.remove(&id).unwrap_or_default();
        let training = stands.get(&Purpose::TrainingRecords);
        let consent_on = training.filter(|one| one.given).map(|one| one.on);
        let withheld: Vec<&str> = Purpose::withheld(&stands).map(Audience::as_str).collect();
        if row.consent_on == consent_on && row.withheld == withheld {
            continue;
        }
        let mut change = Change::put(Kind::Athlete, id);
        if row.withheld.iter().any(|audience| !withheld.contains(&audience.as_str())) {
            // Whoever may see them again has nothing of them: everything is sent anew.
            change = change.scopes(Vec::new(), ids_of(athletes.get(&id).copied().unwrap_or_default()));
        }
        changes.push(change);
        if row.withheld != withheld {
            hidden.push(row.id);
        }
        changed.push(row.id);
        days.push(consent_on);
        from.push(withheld.join(","));
    }
    if !changes.is_empty() {
        sqlx::query!(
            r#"
            update athletes x
            set consent_on = u.consent_on, withheld = string_to_array(u.withheld, ','), updated_at = $5,
                contact_rev = case when x.consent_on is distinct from u.consent_on then -1 else x.contact_rev end
            from unnest((select $2::uuid[])::uuid[], $3::date[], $4::text[]) as u (id, consent_on, withheld)
            where x.club_id = $1 and x.id = u.id
            "#,
            club,
            &changed,
            &days as &[Option<NaiveDate>],
            &from,
            Utc::now()
        )
        .execute(tx.changing_all(changes))
        .await?;
    }
    if !hidden.is_empty() {
        // What is seen of them in plans that others share.
        renewals::plans(tx, Some(&hidden), None).await?;
    }
    tx.see_as(audience).await
}

/// How many records of an athlete there are, by what they are called.
pub async fn remaining(tx: &mut ClubTx, athlete: AthleteId) -> Result<Vec<(&'static str, i64)>, StoreError> {
    let club = tx.club.0;
    let row = sqlx::query!(
        r#"
        select
          (select count(*) from measurements x where x.club_id = $1 and x.athlete_id = $2 and x.deleted_at is null)
            as "measurements!",
          (select count(*) from runs x where x.club_id = $1 and x.athlete_id = $2) as "runs!",
          (select count(*) from assessments x where x.club_id = $1 and x.athlete_id = $2) as "assessments!",
          (select count(*) from wellbeing_records x where x.club_id = $1 and x.athlete_id = $2) as "wellbeing!",
          (select count(*) from recommendations x where x.club_id = $1 and x.athlete_id = $2) as "decisions!",
          (select count(*) from race_results x where x.club_id = $1 and x.athlete_id = $2) as "results!"
        "#,
        club,
        athlete.0
    )
    .fetch_one(tx.conn())
    .await?;
    Ok(vec![
        ("measurement", row.measurements),
        ("run", row.runs),
        ("assessment", row.assessments),
        ("wellbeing_record", row.wellbeing),
        ("decision", row.decisions),
        ("race_result", row.results),
    ])
}
