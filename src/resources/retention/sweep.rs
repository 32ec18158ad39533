//! Deletes what clubs no longer keep: club by club, athlete by athlete, some records in each transaction.

use std::collections::BTreeSet;

use chrono::{Days, NaiveDate, Utc};
use uuid::Uuid;

use super::due_store::{self as due, Count, Table};
use super::model::{Kind, Settings};
use super::{drop_store, store};
use crate::compute::advice::is_settled;
use crate::platform::db::{Actor, ClubTx, Db, StoreError};
use crate::platform::exports;
use crate::platform::ids::{AthleteId, ClubId};
use crate::resources::advice;
use crate::resources::athletes::erasures;

/// Athletes that are asked about together.
pub const ATHLETES: i64 = 100;

/// The kinds that a club does not keep for good, each with the first day of what it keeps.
pub fn bounds(settings: &Settings, today: NaiveDate) -> Vec<(Kind, NaiveDate)> {
    let first = |days: u16| today.checked_sub_days(Days::new(u64::from(days)));
    Kind::ALL.into_iter().filter_map(|kind| Some((kind, first(*settings.periods.get(&kind)?)?))).collect()
}

/// Those of these athletes for whom reports and restrictions mean nothing any more: none stands, each return lies behind.
async fn settled(tx: &mut ClubTx, athletes: &[Uuid], today: NaiveDate) -> Result<BTreeSet<Uuid>, StoreError> {
    if athletes.is_empty() {
        return Ok(BTreeSet::new());
    }
    let ids: Vec<AthleteId> = athletes.iter().copied().map(AthleteId).collect();
    let on = advice::day(today)?.days();
    let people = advice::load(tx, Some(&ids), None, today).await?;
    Ok(people.into_iter().filter(|one| is_settled(&one.record, on)).map(|one| one.id.0).collect())
}

/// How many records of a kind go, and how many old ones stay, of each of these athletes who has any.
pub async fn counts(
    tx: &mut ClubTx,
    (kind, before): (Kind, NaiveDate),
    athletes: &[Uuid],
    today: NaiveDate,
) -> Result<Vec<Count>, StoreError> {
    let mut counts = due::counts(tx, (kind, before), athletes).await?;
    if kind == Kind::WellbeingRecords {
        let some: Vec<Uuid> = counts.iter().filter(|one| one.due > 0).map(|one| one.athlete).collect();
        let settled = settled(tx, &some, today).await?;
        for one in counts.iter_mut().filter(|one| !settled.contains(&one.athlete)) {
            *one = Count { athlete: one.athlete, due: 0, kept: one.due + one.kept };
        }
    }
    Ok(counts)
}

/// Deletes what every club no longer keeps; how many records.
///
/// # Errors
/// Database errors; what was deleted stays deleted.
pub async fn sweep(db: &Db) -> Result<u64, StoreError> {
    let mut dropped = 0;
    for club in db.clubs().await? {
        let mut tx = db.read(club, &Actor::SERVICE).await?;
        let said = store::find(&mut tx).await?;
        if !said.counts(Utc::now()) {
            continue;
        }
        let today = tx.today().await?;
        let bounds = bounds(&said.settings, today);
        drop(tx);
        for (kind, before) in bounds {
            dropped += match kind {
                Kind::Sessions => sweep_sessions(db, club, before).await?,
                _ => sweep_athletes(db, club, (kind, before), today).await?,
            };
        }
    }
    Ok(dropped)
}

async fn sweep_athletes(db: &Db, club: ClubId, bound: (Kind, NaiveDate), today: NaiveDate) -> Result<u64, StoreError> {
    let (mut dropped, mut after) = (0, Uuid::nil());
    loop {
        let mut tx = db.read(club, &Actor::SERVICE).await?;
        let page = due::athletes(&mut tx, after, ATHLETES).await?;
        let Some(last) = page.last() else { return Ok(dropped) };
        after = *last;
        let some = counts(&mut tx, bound, &page, today).await?.into_iter().filter(|one| one.due > 0);
        let some: Vec<Uuid> = some.map(|one| one.athlete).collect();
        drop(tx);
        for athlete in some {
            loop {
                let mut tx = db.write(club, &Actor::SERVICE).await?;
                tx.chore = Some("retention");
                // Without an answer somebody changed what was about to go: it is looked at again.
                let Some(gone) = step(&mut tx, bound, athlete, today).await? else { continue };
                tx.commit().await?;
                dropped += gone;
                if gone == 0 {
                    break;
                }
            }
        }
    }
}

/// Deletes some records of a kind about one athlete; how many, and none when they changed while this waited for them.
async fn step(
    tx: &mut ClubTx,
    bound: (Kind, NaiveDate),
    athlete: Uuid,
    today: NaiveDate,
) -> Result<Option<u64>, StoreError> {
    let wanted = due::due(tx, bound, &[athlete]).await?;
    if wanted.is_empty() {
        return Ok(Some(0));
    }
    if bound.0 == Kind::FormerAthletes {
        tx.alone_with_all().await?;
    }
    tx.alone_all(wanted.iter().map(|(_, id)| *id)).await?;
    // Whoever had one of them first may have corrected it.
    let found = due::due(tx, bound, &[athlete]).await?;
    if found != wanted {
        return Ok(None);
    }
    if bound.0 == Kind::WellbeingRecords && settled(tx, &[athlete], today).await?.is_empty() {
        return Ok(Some(0));
    }
    let id = AthleteId(athlete);
    for chunk in found.chunk_by(|one, next| one.0 == next.0) {
        let Some((table, _)) = chunk.first() else { continue };
        if *table == Table::Athletes {
            erasures::erase(tx, id).await?;
        } else {
            let ids: Vec<Uuid> = chunk.iter().map(|(_, id)| *id).collect();
            drop_store::delete(tx, *table, id, &ids).await?;
        }
    }
    exports::outdate(tx, Some(&[athlete])).await?;
    Ok(Some(found.len() as u64))
}

async fn sweep_sessions(db: &Db, club: ClubId, before: NaiveDate) -> Result<u64, StoreError> {
    let mut dropped = 0;
    loop {
        let mut tx = db.write(club, &Actor::SERVICE).await?;
        tx.chore = Some("retention");
        let gone = drop_store::delete_sessions(&mut tx, before).await?;
        if gone > 0 {
            exports::outdate(&mut tx, None).await?;
        }
        tx.commit().await?;
        if gone == 0 {
            return Ok(dropped);
        }
        dropped += gone;
    }
}
