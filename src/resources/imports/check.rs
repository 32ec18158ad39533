//! What an import wrote is read back and parsed as requests are: there is no second door into the tables.

use uuid::Uuid;

use crate::platform::db::ClubTx;
use crate::platform::ops::Editable;
use crate::platform::problem::Problem;
use crate::resources::{
    age_groups, assessments, athletes, barrier_configurations, clubs, competition_specs, equipment, groups, lane_plans,
    race_tests, recommendations, runs, sessions, venues, wellbeing_records,
};

/// Records that can be edited: each is parsed as an edit that changes nothing.
async fn editable<E: Editable>(tx: &mut ClubTx, ids: &[Uuid]) -> Result<(), Problem> {
    for id in ids {
        if let Some((_, value)) = E::find(tx, *id).await? {
            let fields = E::fields(&value)?;
            E::parse(tx, fields, Some(&value)).await?;
        }
    }
    Ok(())
}

/// Parses the records of a table that are there.
///
/// # Errors
/// Whatever a request would be told of them.
pub async fn check(tx: &mut ClubTx, table: &str, ids: &[Uuid]) -> Result<(), Problem> {
    match table {
        "clubs" => clubs::sync::recheck(tx).await,
        "groups" => editable::<groups::sync::Edits>(tx, ids).await,
        "venues" => editable::<venues::sync::Edits>(tx, ids).await,
        "equipment" => editable::<equipment::sync::Edits>(tx, ids).await,
        "barrier_configurations" => editable::<barrier_configurations::sync::Edits>(tx, ids).await,
        "age_groups" => editable::<age_groups::sync::Edits>(tx, ids).await,
        "competition_specs" => editable::<competition_specs::sync::Edits>(tx, ids).await,
        "sessions" => editable::<sessions::sync::Edits>(tx, ids).await,
        "lane_plans" => lane_plans::sync::recheck(tx, ids).await,
        "race_tests" => editable::<race_tests::sync::Edits>(tx, ids).await,
        "athletes" => athletes::sync::recheck(tx, ids).await,
        "measurements" => athletes::sync::recheck_measurements(tx, ids).await,
        "wellbeing_records" => wellbeing_records::sync::recheck(tx, ids).await,
        "runs" => runs::sync::recheck(tx, ids).await,
        "assessments" => assessments::sync::recheck(tx, ids).await,
        "recommendations" => recommendations::sync::recheck(tx, ids).await,
        "race_results" => race_tests::sync::recheck_results(tx, ids).await,
        // No text of anybody; what is JSON in it parses or is refused.
        "race_entries" => race_tests::sync::pull_entries(tx, ids).await.map(drop).map_err(Into::into),
        // Closed words and days, which the table itself holds to.
        _ => Ok(()),
    }
}
