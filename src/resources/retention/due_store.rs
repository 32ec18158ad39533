//! Which records of athletes are older than a day (`$2`), and which of them may go: what something newer rests on stays.
//!
//! One text of each kind serves the preview and the deletion, so that what was shown is what goes. Corrections go together
//! with what they correct, or an old fact would count again without its correction.

use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDate;
use uuid::Uuid;

use super::model::Kind;
use crate::platform::db::{ClubTx, StoreError};

/// Chains of corrections, or athletes, that one look takes.
const CHAINS: i64 = 200;

/// Where records of athletes stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Table {
    /// The athletes themselves.
    Athletes,
    /// Well-being records.
    WellbeingRecords,
    /// Measurements.
    Measurements,
    /// Assessments.
    Assessments,
    /// Decisions.
    Recommendations,
    /// Runs.
    Runs,
    /// Results of race tests.
    RaceResults,
}

impl Table {
    /// Where records of a kind stand; sessions are none of an athlete.
    const fn of(kind: Kind) -> &'static [Self] {
        match kind {
            Kind::FormerAthletes => &[Self::Athletes],
            Kind::WellbeingRecords => &[Self::WellbeingRecords],
            Kind::Measurements => &[Self::Measurements],
            Kind::Assessments => &[Self::Assessments],
            Kind::Decisions => &[Self::Recommendations],
            Kind::Runs => &[Self::Runs, Self::RaceResults],
            Kind::Sessions => &[],
        }
    }
}

/// How many records of one athlete are old.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Count {
    /// The athlete.
    pub athlete: Uuid,
    /// Those that may go.
    pub due: i64,
    /// Those that stay, because something rests on them.
    pub kept: i64,
}

/// Makes the two questions about a kind from what it is to be old (`root` groups what goes together).
macro_rules! old {
    ($($due:ident, $count:ident: $old:tt $(+ $more:tt)*;)*) => {$(
        async fn $due(tx: &mut ClubTx, before: NaiveDate, athletes: &[Uuid]) -> Result<Vec<Uuid>, StoreError> {
            let club = tx.club.0;
            let ids = sqlx::query_scalar!(
                r#"select p.id as "id!" from (select o.id, dense_rank() over (order by o.root) as place from ("# + $old $(+ $more)*
                    + r#") o where o.due) p where p.place <= $4 order by p.id"#,
                club,
                before,
                athletes,
                CHAINS
            )
            .fetch_all(tx.conn())
            .await?;
            Ok(ids)
        }

        async fn $count(tx: &mut ClubTx, before: NaiveDate, athletes: &[Uuid]) -> Result<Vec<Count>, StoreError> {
            let club = tx.club.0;
            let counts = sqlx::query_as!(
                Count,
                r#"select o.owner as "athlete!", count(*) filter (where o.due) as "due!",
                  count(*) filter (where not o.due) as "kept!" from ("# + $old $(+ $more)* + r#") o where o.old
                  group by o.owner order by o.owner"#,
                club,
                before,
                athletes
            )
            .fetch_all(tx.conn())
            .await?;
            Ok(counts)
        }
    )*};
}

old! {
    former_athletes, count_former_athletes: r#"
        select a.id as root, a.id, a.id as owner,
          not exists (
            select from runs r where r.club_id = $1 and r.athlete_id = a.id and r.created_at >= $2::date
          ) and not exists (
            select from race_results x where x.club_id = $1 and x.athlete_id = a.id and x.created_at >= $2::date
          ) and not exists (
            select from assessments x where x.club_id = $1 and x.athlete_id = a.id and x.created_at >= $2::date
          ) and not exists (
            select from measurements m where m.club_id = $1 and m.athlete_id = a.id and m.created_at >= $2::date
          ) and not exists (
            select from wellbeing_records w where w.club_id = $1 and w.athlete_id = a.id and w.created_at >= $2::date
          ) and not exists (
            select from consents c where c.club_id = $1 and c.athlete_id = a.id and c.created_at >= $2::date
          ) as due, true as old
        from athletes a
        where a.club_id = $1 and a.id = any ((select $3::uuid[])::uuid[]) and a.status = 'left' and a.deleted_at is null
          and a.updated_at < $2::date
        "#;
    // No link between an old record and a newer one may break: a clearance without its report would be nothing, and the
    // report without it would stand again.
    wellbeing_records, count_wellbeing_records: r#"
        select w.athlete_id as root, w.id, w.athlete_id as owner,
          not exists (
            select from wellbeing_records n
            join wellbeing_records o on o.club_id = $1 and o.id in (n.clears, n.supersedes)
            where n.club_id = $1 and n.athlete_id = w.athlete_id and (n.reported_on < $2) <> (o.reported_on < $2)
          ) as due, true as old
        from wellbeing_records w
        where w.club_id = $1 and w.athlete_id = any ((select $3::uuid[])::uuid[]) and w.reported_on < $2
        "#;
    measurements, count_measurements: r#"
        select m.id as root, m.id, m.athlete_id as owner,
          m.deleted_at is not null or exists (
            select from measurements n
            where n.club_id = $1 and n.athlete_id = m.athlete_id and n.kind = m.kind and n.deleted_at is null
              and not n.implausible and n.measured_on > m.measured_on
          ) as due, true as old
        from measurements m
        where m.club_id = $1 and m.athlete_id = any ((select $3::uuid[])::uuid[]) and m.measured_on < $2
        "#;
    assessments, count_assessments: r#"
        with recursive chain as (
          select x.id as root, x.id, x.athlete_id, x.session_id, x.assessed_at
          from assessments x
          where x.club_id = $1 and x.athlete_id = any ((select $3::uuid[])::uuid[]) and x.supersedes is null
          union all
          select c.root, x.id, x.athlete_id, x.session_id, x.assessed_at
          from chain c
          join assessments x on x.club_id = $1 and x.supersedes = c.id
        )
        select y.root, y.id, y.owner, bool_and(y.old) over (partition by y.root) as due, y.old
        from (
          select c.root, c.id, c.athlete_id as owner,
            coalesce(s.held_on, (c.assessed_at at time zone 'UTC')::date) < $2 as old
          from chain c
          left join sessions s on s.club_id = $1 and s.id = c.session_id
        ) y
        "#;
    decisions, count_decisions: r#"
        select d.id as root, d.id, d.athlete_id as owner,
          not d.clears_return or not (exists (
            select from wellbeing_records w
            where w.club_id = $1 and w.athlete_id = d.athlete_id and w.created_at < d.decided_at
          ) or exists (
            select from runs r
            where r.club_id = $1 and r.athlete_id = d.athlete_id and r.fell and r.created_at < d.decided_at
          ) or exists (
            select from race_results x
            where x.club_id = $1 and x.athlete_id = d.athlete_id and x.fell and x.created_at < d.decided_at
          )) as due, true as old
        from recommendations d
        where d.club_id = $1 and d.athlete_id = any ((select $3::uuid[])::uuid[]) and greatest(d.on_date, d.until_date) < $2
        "#;
}

/// The two questions about runs, corrected or not: where they stand, by what they hang from a session, and how.
macro_rules! old_runs {
    ($($due:ident, $count:ident: $table:tt, $of:tt, $session:tt;)*) => {
        old! {$(
            $due, $count: "with recursive chain as (select r.id as root, r.id, r.athlete_id, r." + $of
                + ", r.fell and not r.void as fell, r.created_at from " + $table
                + r#" r where r.club_id = $1 and r.athlete_id = any ((select $3::uuid[])::uuid[]) and r.supersedes is null
                  union all
                  select c.root, r.id, r.athlete_id, r."# + $of + ", r.fell and not r.void, r.created_at from chain c join " + $table
                + r#" r on r.club_id = $1 and r.supersedes = c.id
                )
                select y.root, y.id, y.owner, bool_and(y.old and not y.waits) over (partition by y.root) as due, y.old
                from (
                  select c.root, c.id, c.athlete_id as owner, s.held_on < $2 as old,
                    c.fell and not exists (
                      select from "# + $table + r#" later where later.club_id = $1 and later.supersedes = c.id
                    ) and exists (
                      select from athletes a
                      where a.club_id = $1 and a.id = c.athlete_id and a.deleted_at is null and a.status <> 'left'
                    ) and not exists (
                      select from recommendations d
                      where d.club_id = $1 and d.athlete_id = c.athlete_id and d.clears_return and d.decided_at > c.created_at
                    ) as waits
                  from chain c "# + $session + ") y";
        )*}
    };
}

old_runs! {
    runs, count_runs: "runs", "session_id", "join sessions s on s.club_id = $1 and s.id = c.session_id";
    race_results, count_race_results: "race_results", "race_test_id",
        "join race_tests t on t.club_id = $1 and t.id = c.race_test_id join sessions s on s.club_id = $1 and s.id = t.session_id";
}

/// Those of these athletes' records of a kind that may go, some of them at a time. Of runs first the runs, then the results of
/// race tests.
pub async fn due(
    tx: &mut ClubTx,
    (kind, before): (Kind, NaiveDate),
    athletes: &[Uuid],
) -> Result<Vec<(Table, Uuid)>, StoreError> {
    let mut all = Vec::new();
    for table in Table::of(kind) {
        let ids = match table {
            Table::Athletes => former_athletes(tx, before, athletes).await?,
            Table::WellbeingRecords => wellbeing_records(tx, before, athletes).await?,
            Table::Measurements => measurements(tx, before, athletes).await?,
            Table::Assessments => assessments(tx, before, athletes).await?,
            Table::Recommendations => decisions(tx, before, athletes).await?,
            Table::Runs => runs(tx, before, athletes).await?,
            Table::RaceResults => race_results(tx, before, athletes).await?,
        };
        all.extend(ids.into_iter().map(|id| (*table, id)));
    }
    Ok(all)
}

/// How many old records of a kind each of these athletes has; nothing for whoever has none.
pub async fn counts(
    tx: &mut ClubTx,
    (kind, before): (Kind, NaiveDate),
    athletes: &[Uuid],
) -> Result<Vec<Count>, StoreError> {
    let mut all: BTreeMap<Uuid, Count> = BTreeMap::new();
    for table in Table::of(kind) {
        let counts = match table {
            Table::Athletes => count_former_athletes(tx, before, athletes).await?,
            Table::WellbeingRecords => count_wellbeing_records(tx, before, athletes).await?,
            Table::Measurements => count_measurements(tx, before, athletes).await?,
            Table::Assessments => count_assessments(tx, before, athletes).await?,
            Table::Recommendations => count_decisions(tx, before, athletes).await?,
            Table::Runs => count_runs(tx, before, athletes).await?,
            Table::RaceResults => count_race_results(tx, before, athletes).await?,
        };
        for one in counts {
            let sum = all.entry(one.athlete).or_insert(Count { due: 0, kept: 0, ..one });
            sum.due += one.due;
            sum.kept += one.kept;
        }
    }
    Ok(all.into_values().collect())
}

/// Athletes of the club by id after one, erased ones too: runs of nobody grow old as well.
pub async fn athletes(tx: &mut ClubTx, after: Uuid, limit: i64) -> Result<Vec<Uuid>, StoreError> {
    let club = tx.club.0;
    let ids = sqlx::query_scalar!(
        "select id from athletes where club_id = $1 and id > $2 order by id limit $3",
        club,
        after,
        limit
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(ids)
}

/// How these athletes are called, who are not erased.
pub async fn names(tx: &mut ClubTx, athletes: &[Uuid]) -> Result<HashMap<Uuid, String>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        "select id, display_name from athletes where club_id = $1 and id = any ($2) and deleted_at is null",
        club,
        athletes
    )
    .fetch_all(tx.conn())
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.display_name)).collect())
}
