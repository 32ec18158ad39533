//! Ends sign-ins by the word of whoever runs the service: of somebody who cannot do it themselves, or of everybody.

use uuid::Uuid;

use super::store::{self, find_by_email};
use crate::platform::db::{Db, StoreError};
use crate::platform::fault::normal_email;
use crate::platform::ids::AccountId;
use crate::platform::proof;

/// Accounts of one transaction.
const STEP: i64 = 100;

/// Ends every sign-in of the account of an address, also of apps; false when there is none.
///
/// # Errors
/// Database errors.
pub async fn of(db: &Db, email: &str) -> Result<bool, StoreError> {
    let mut tx = db.account_tx().await?;
    let Some(account) = find_by_email(&mut tx, &normal_email(email).unwrap_or_default()).await? else {
        return Ok(false);
    };
    proof::end_sign_ins(&mut tx, account.id, None).await?;
    tx.commit().await?;
    Ok(true)
}

/// Ends every sign-in of every account; how many accounts there are.
///
/// # Errors
/// Database errors; what was ended stays ended.
pub async fn of_all(db: &Db) -> Result<u64, StoreError> {
    let (mut after, mut accounts) = (Uuid::nil(), 0);
    loop {
        let mut tx = db.account_tx().await?;
        let page = store::after(&mut tx, after, STEP).await?;
        let Some(last) = page.last() else { return Ok(accounts) };
        (after, accounts) = (*last, accounts + page.len() as u64);
        for account in page {
            proof::end_sign_ins(&mut tx, AccountId(account), None).await?;
        }
        tx.commit().await?;
    }
}
