//! What came after a lane plan or an entry in a race test that it does not heed: reports and restrictions, another status, falls, and for
//! lanes a coach's decision. The one place that says what overtakes a plan or an entry; the surface is beside this, because it is everybody's.

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::fall_store::{self, Fall};
use super::shapes::WallView;
use super::wellbeing_store::{recorded, standings};
use super::word_store::configuration;
use crate::compute::decision::{Configuration, Status, Wall};
use crate::compute::wellbeing::{Break, standing};
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::ids::{AthleteId, RaceTestId};

/// Who was to run on a day, by what was known at a moment.
#[derive(Clone, Copy, Debug)]
pub struct Planned<'a> {
    /// The plan, or the entry.
    pub id: Uuid,
    /// Everybody in it.
    pub people: &'a [AthleteId],
    /// Its day.
    pub on: NaiveDate,
    /// The moment.
    pub known_at: DateTime<Utc>,
    /// The race test of an entry: a fall in that very race is none that came before it.
    pub race: Option<RaceTestId>,
}

/// What is known by now of somebody in a plan or an entry, beside what it was made with.
#[derive(Clone, Copy, Debug)]
pub struct Since {
    /// Their status on its day; none where it was set on a later day, or nobody knows when.
    status: Option<Status>,
    /// What reports and restrictions come to on its day.
    rest: Option<Wall>,
    /// Whether one of these was recorded since that stands on its day, or ended by then.
    reported: bool,
    /// The fall that was recorded last, of those recorded since, in a run or a race of a day up to its own.
    fell: Option<Fall>,
    /// What a coach decided last that stands on its day.
    said: Option<Said>,
}

/// A decision since.
#[derive(Clone, Copy, Debug)]
struct Said {
    decided_at: DateTime<Utc>,
    /// The configuration; none where the decision names none.
    at: Option<Configuration>,
}

impl Since {
    /// Why they run nowhere on its day by what is known now; `told` is the wall that the plan or entry names.
    pub fn closed(&self, told: Option<&WallView>) -> Option<WallView> {
        let of_status = match self.status {
            Some(status) => Wall::of_status(status).as_ref().map(WallView::from),
            None => told.filter(|wall| wall.is_of_status()).cloned(),
        };
        of_status.or_else(|| self.rest.as_ref().map(WallView::from))
    }

    /// Whether they rest who did not, no longer rest who did, or rest for another reason than `told`.
    pub fn rests_otherwise(&self, told: Option<&WallView>) -> bool {
        let told_closed = told.filter(|wall| wall.is_closed());
        self.closed(told).as_ref().map(WallView::code) != told_closed.map(WallView::code)
    }

    /// Whether the plan or entry no longer holds for them, with the wall that it tells and the advice that it was made with.
    ///
    /// A fall does not matter any more once a coach has cleared it and has said what they run on the day: then that decides.
    pub fn overtakes(&self, told: Option<&WallView>, advised: Option<Configuration>) -> bool {
        // As in the advice: a fall takes away what was said before it.
        let said = self.said.filter(|said| self.fell.is_none_or(|fell| said.decided_at > fell.recorded_at));
        let heeded = match said {
            Some(said) => said.at.is_some() && said.at == advised,
            None => self.fell.is_none(),
        };
        self.reported || self.rests_otherwise(told) || self.fell.is_some_and(|fell| !fell.cleared) || !heeded
    }
}

/// The status of each of these athletes with the day on which it was set; none for a day that nobody noted.
async fn statuses(
    tx: &mut ClubTx,
    athletes: &[Uuid],
) -> Result<HashMap<Uuid, (Status, Option<NaiveDate>)>, StoreError> {
    let club = tx.club.0;
    let rows = sqlx::query!(
        "select id, status, status_on from athletes where club_id = $1 and id = any ((select $2::uuid[])::uuid[])",
        club,
        athletes
    )
    .fetch_all(tx.conn())
    .await?;
    let parsed = |word: &str| Status::from_word(word).ok_or(StoreError::Corrupt("athlete"));
    rows.into_iter().map(|row| Ok((row.id, (parsed(&row.status)?, row.status_on)))).collect()
}

/// Why these athletes run nowhere on a day, as advice says it; nothing for whoever may run.
///
/// # Errors
/// Database errors; a row that does not parse.
pub async fn closed(tx: &mut ClubTx, athletes: &[Uuid], on: NaiveDate) -> Result<HashMap<Uuid, Wall>, StoreError> {
    if athletes.is_empty() {
        return Ok(HashMap::new());
    }
    let (statuses, standings) = (statuses(tx, athletes).await?, standings(tx, athletes, on).await?);
    let wall = |athlete: &Uuid| {
        let (status, _) = statuses.get(athlete)?;
        let standing = standings.get(athlete).copied().unwrap_or_default();
        Some((*athlete, Wall::of_record(*status, &standing)?))
    };
    Ok(athletes.iter().filter_map(wall).collect())
}

/// What is known by now of everybody in each of these plans or entries, but for coaches' decisions.
///
/// # Errors
/// Database errors; a row that does not parse.
pub async fn since(
    tx: &mut ClubTx,
    plans: &[Planned<'_>],
) -> Result<HashMap<Uuid, HashMap<AthleteId, Since>>, StoreError> {
    let people: HashSet<Uuid> = plans.iter().flat_map(|plan| plan.people).map(|athlete| athlete.0).collect();
    let last = plans.iter().map(|plan| plan.on).max().filter(|_| !people.is_empty());
    let Some(last) = last else { return Ok(HashMap::new()) };
    let athletes: Vec<Uuid> = people.into_iter().collect();
    let breaks = recorded(tx, &athletes, last).await?;
    let falls = fall_store::falls(tx, &athletes, last).await?;
    let statuses = statuses(tx, &athletes).await?;
    let of = |plan: &Planned<'_>, athlete: Uuid| {
        let on = plan.on.to_epoch_days();
        let all = || breaks.get(&athlete).into_iter().flatten();
        let news: Vec<Break> = all().filter(|(_, at)| *at > plan.known_at).map(|(one, _)| *one).collect();
        let (stands, came) = (standing(&all().map(|(one, _)| *one).collect::<Vec<_>>(), on), standing(&news, on));
        let elsewhere = |fall: &&Fall| fall.race.is_none() || fall.race != plan.race;
        let fell = falls.get(&athlete).into_iter().flatten().filter(elsewhere);
        let status = statuses.get(&athlete).filter(|(_, since)| since.is_some_and(|since| since <= plan.on));
        Since {
            status: status.map(|(status, _)| *status),
            rest: Wall::of_standing(&stands),
            reported: came.rests() || came.back.is_some(),
            fell: fall_store::last(fell.filter(|fall| fall.on <= plan.on && fall.recorded_at > plan.known_at)),
            said: None,
        }
    };
    let of_plan = |plan: &Planned<'_>| {
        let people = plan.people.iter().map(|athlete| (*athlete, of(plan, athlete.0)));
        (plan.id, people.collect())
    };
    Ok(plans.iter().map(of_plan).collect())
}

/// The same of lane plans, with what coaches decided.
///
/// # Errors
/// Database errors; a row that does not parse.
pub async fn since_planned(
    tx: &mut ClubTx,
    plans: &[Planned<'_>],
) -> Result<HashMap<Uuid, HashMap<AthleteId, Since>>, StoreError> {
    let mut found = since(tx, plans).await?;
    if found.is_empty() {
        return Ok(found);
    }
    let ids: Vec<Uuid> = plans.iter().map(|plan| plan.id).collect();
    // Eight weeks are the longest that a word stands.
    let rows = sqlx::query!(
        r#"
        select p.id as plan, d.athlete_id, d.decided_at, d.outcome, d.barrier_kind, d.height_mm, d.spacing_mm,
          d.advice #>> '{decision,barrier_kind}' as advised_kind,
          round((d.advice #>> '{decision,height_m}')::numeric * 1000)::integer as advised_height_mm,
          round((d.advice #>> '{decision,spacing_m}')::numeric * 1000)::integer as advised_spacing_mm
        from lane_plans p
        join sessions s on s.club_id = $1 and s.id = p.session_id
        join recommendations d on d.club_id = $1 and d.athlete_id = any (p.people)
          and d.on_date between s.held_on - 56 and s.held_on and d.decided_at > coalesce(p.known_at, p.created_at)
        where p.club_id = $1 and p.id = any ((select $2::uuid[])::uuid[])
          and coalesce(d.until_date, (d.advice #>> '{decision,valid_until}')::date, d.on_date) >= s.held_on
        order by p.id, d.athlete_id, d.on_date, d.decided_at, d.id
        "#,
        tx.club.0,
        &ids
    )
    .fetch_all(tx.conn())
    .await?;
    for row in rows {
        let advised = configuration(row.advised_kind.as_deref(), row.advised_height_mm, row.advised_spacing_mm)?;
        let own = configuration(row.barrier_kind.as_deref(), row.height_mm, row.spacing_mm)?;
        let at = if row.outcome == "accepted" { advised } else { own };
        // The latest governs, and stands last.
        if let Some(since) = found.get_mut(&row.plan).and_then(|people| people.get_mut(&AthleteId(row.athlete_id))) {
            since.said = Some(Said { decided_at: row.decided_at, at });
        }
    }
    Ok(found)
}
