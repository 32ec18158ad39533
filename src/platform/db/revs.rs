//! The change numbers of a commit.

use std::collections::HashMap;

use uuid::Uuid;

/// That an edit was carried out; its version is filled in at the commit.
#[derive(Clone, Copy, Debug)]
pub struct Receipt {
    /// The edit.
    pub op_id: Uuid,
    /// The record.
    pub entity: Uuid,
    /// The status it was answered with.
    pub status: u16,
    /// The version when the commit does not change the record.
    pub rev: i64,
}

/// The change numbers a commit gave, by record.
#[derive(Debug, Default)]
pub struct Revs(HashMap<Uuid, i64>);

impl Revs {
    pub(super) fn new(revs: HashMap<Uuid, i64>) -> Self {
        Self(revs)
    }

    /// The number of a record; `before` when the commit did not change it.
    pub fn of(&self, id: impl Into<Uuid>, before: i64) -> i64 {
        self.0.get(&id.into()).copied().unwrap_or(before)
    }
}
