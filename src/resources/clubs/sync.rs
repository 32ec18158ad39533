//! The club and its settings as phones carry them: read only.

use super::http::View;
use super::model::Settings;
use super::{ending_store, store};
use crate::platform::db::{ClubTx, StoreError};
use crate::platform::problem::Problem;
use crate::platform::record::Record;

/// The club.
///
/// # Errors
/// Database errors.
pub async fn pull(tx: &mut ClubTx) -> Result<Vec<Record>, StoreError> {
    let found = store::find(tx).await?;
    let deletes_at = ending_store::due_at(tx).await?;
    Ok(vec![Record::of(found.id, found.rev, &View::new(&found, deletes_at))?])
}

/// Parses the settings that are stored as if they came with a request.
///
/// # Errors
/// Every broken field; database errors.
pub async fn recheck(tx: &mut ClubTx) -> Result<(), Problem> {
    let Settings { name, time_zone, ruleset, spacing_step, print_units, policy, helper_links } =
        store::find(tx).await?.value;
    let texts = [&*name, time_zone.name(), &ruleset, print_units.as_str()];
    Settings::parse(texts, spacing_step.metres(), policy, helper_links)?;
    Ok(())
}
