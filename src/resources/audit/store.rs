//! Rows of the audit, the latest first.

use chrono::{Days, NaiveDate, NaiveTime};
use uuid::Uuid;

use crate::platform::audit::{Act, Row, Stored};
use crate::platform::db::{ClubTx, Parts, StoreError};
use crate::platform::ids::{AccountId, AppId, AthleteId};

/// Most rows of one export.
pub const EXPORTED: usize = 20_000;

/// Which rows.
#[derive(Debug, Default)]
pub struct Filter {
    /// From this day on, UTC.
    pub from: Option<NaiveDate>,
    /// Up to this day, UTC.
    pub to: Option<NaiveDate>,
    /// Of this account.
    pub account: Option<AccountId>,
    /// Of this app.
    pub app: Option<AppId>,
    /// About this athlete, or about whoever the caller saw.
    pub athlete: Option<AthleteId>,
    /// Of this kind.
    pub act: Option<Act>,
    /// Before this row.
    pub before: Option<i64>,
}

fn list(tx: &ClubTx, filter: &Filter, withheld: &[Uuid]) -> Result<Parts, StoreError> {
    let mut list = Parts::new(
        tx,
        "select x.number, x.at, x.act, x.operation, x.status, x.account_id, x.device_id, x.app_id, x.network, x.address, \
         x.reach, x.athletes, x.records, x.times, x.hash from audit x where x.club_id = $1",
    )?;
    let begin = |day: NaiveDate| day.and_time(NaiveTime::MIN).and_utc();
    if let Some(day) = filter.from {
        list.with(" and x.at >= ?", begin(day))?;
    }
    if let Some(next) = filter.to.and_then(|day| day.checked_add_days(Days::new(1))) {
        list.with(" and x.at < ?", begin(next))?;
    }
    if let Some(account) = filter.account {
        list.with(" and x.account_id = ?", account.0)?;
    }
    if let Some(app) = filter.app {
        list.with(" and x.app_id = ?", app.0)?;
    }
    if let Some(athlete) = filter.athlete {
        // Of somebody who is withheld as of anybody who is not there.
        if withheld.contains(&athlete.0) {
            list.then(" and x.reach = 'seen'");
        } else {
            list.with(" and (x.reach = 'seen' or x.athletes @> array[?::uuid])", athlete.0)?;
        }
    }
    if let Some(act) = filter.act {
        list.with(" and x.act = ?", act.as_str())?;
    }
    if let Some(before) = filter.before {
        list.with(" and x.number < ?", before)?;
    }
    Ok(list)
}

/// Rows as whoever they are read for may have them. Rows name people without asking for them: of one about somebody who is withheld it is
/// told that it is there, and neither whom it is about nor which records, some of whose ids follow from the athlete's.
fn shown(rows: Vec<Stored>, withheld: &[Uuid]) -> Result<Vec<Row>, StoreError> {
    let one = |stored: Stored| -> Result<Row, StoreError> {
        let mut row = Row::try_from(stored)?;
        let all = row.entry.athletes.len();
        row.entry.athletes.retain(|athlete| !withheld.contains(athlete));
        if row.entry.athletes.len() < all {
            row.entry.records.clear();
        }
        Ok(row)
    };
    rows.into_iter().map(one).collect()
}

/// The latest rows.
pub async fn page(tx: &mut ClubTx, filter: &Filter, fetch: i64) -> Result<Vec<Row>, StoreError> {
    let withheld = tx.withheld().await?;
    shown(list(tx, filter, &withheld)?.first::<Stored>(tx, "number desc", fetch).await?, &withheld)
}

/// The latest rows, as many as an export takes and one more.
pub async fn export(tx: &mut ClubTx, filter: &Filter) -> Result<Vec<Row>, StoreError> {
    let withheld = tx.withheld().await?;
    let mut list = list(tx, filter, &withheld)?;
    list.then(" order by x.number desc limit 20001");
    shown(list.all::<Stored>(tx).await?, &withheld)
}
