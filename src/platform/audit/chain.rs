//! The chain: each row's hash is of the hash before it and of all that the row says for good.

use super::row::{Entry, Row};
use crate::platform::token::sha256;
use crate::platform::words::words;

/// Most flaws that are told.
const MOST: usize = 100;

/// The hash of a row that follows `before`; the first row of a club follows nothing. The address is not part of it, because it is
/// dropped after some weeks; its network is. An app is said where one acted, and nothing where none did, as in rows from before apps were
/// named: a word more or less is another text, so none can be put in or taken out.
pub fn hash(before: &[u8], number: i64, entry: &Entry) -> Vec<u8> {
    let Entry {
        at,
        act,
        operation,
        status,
        account,
        device,
        app,
        network,
        address: _,
        reach,
        athletes,
        records,
        times,
    } = entry;
    let mut said = serde_json::json!([
        number,
        at.timestamp_micros(),
        act.as_str(),
        operation,
        status,
        account,
        device,
        network,
        reach.as_str(),
        athletes,
        records,
        times
    ]);
    if let (Some(list), Some(app)) = (said.as_array_mut(), app) {
        list.push(app.to_string().into());
    }
    sha256(&[before, said.to_string().as_bytes()].concat())
}

words! {
    /// What is wrong with the chain at a row.
    Flaw as AuditFlaw {
        /// Rows between this one and the one before it are missing.
        Gap = "gap",
        /// This row, or the one before it, is not as it was written.
        Changed = "changed",
    }
}

/// A place where the chain is broken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Break {
    /// The row.
    pub number: i64,
    /// What is wrong.
    pub flaw: Flaw,
}

/// What was found when rows were checked in their order.
#[derive(Clone, Debug, Default)]
pub struct Checked {
    /// Rows.
    pub rows: u64,
    /// The first row.
    pub first: Option<i64>,
    /// The last row: whoever wrote number and hash of it down earlier finds it unchanged.
    pub last: i64,
    /// The hash of the last row, or of what was dropped before the first.
    pub hash: Vec<u8>,
    /// Where the chain is broken, at most 100 places.
    pub breaks: Vec<Break>,
}

impl Checked {
    /// Nothing is checked yet; the rows follow this one, which was dropped.
    pub fn after(number: i64, hash: Vec<u8>) -> Self {
        Self { last: number, hash, ..Self::default() }
    }

    /// Checks the next row.
    pub fn row(&mut self, row: Row) {
        let flaw = if row.number == self.last + 1 {
            (hash(&self.hash, row.number, &row.entry) != row.hash).then_some(Flaw::Changed)
        } else {
            Some(Flaw::Gap)
        };
        if let Some(flaw) = flaw.filter(|_| self.breaks.len() < MOST) {
            self.breaks.push(Break { number: row.number, flaw });
        }
        self.rows += 1;
        self.first.get_or_insert(row.number);
        (self.last, self.hash) = (row.number, row.hash);
    }
}

#[cfg(test)]
mod tests {
    use super::super::row::{Act, Reach};
    use super::*;

    fn rows() -> Vec<Row> {
        let mut before = Vec::new();
        let link = |number: i64| {
            let entry = Entry { act: Act::Read, records: vec![uuid::Uuid::from_u128(7)], ..Entry::lost(1) };
            before = hash(&before, number, &entry);
            Row { number, entry, hash: before.clone() }
        };
        (1..=5).map(link).collect()
    }

    fn breaks(rows: Vec<Row>) -> Vec<(i64, Flaw)> {
        let mut checked = Checked::after(0, Vec::new());
        for row in rows {
            checked.row(row);
        }
        checked.breaks.iter().map(|one| (one.number, one.flaw)).collect()
    }

    #[test]
    fn a_gap_and_every_change_show() {
        assert_eq!(breaks(rows()), []);
        let mut one = rows();
        one.remove(2);
        assert_eq!(breaks(one), [(4, Flaw::Gap)]);
        assert_eq!(breaks(rows().split_off(1)), [(2, Flaw::Gap)]);
        let changes: [fn(&mut Entry); 8] = [
            |entry| entry.at += chrono::Duration::microseconds(1),
            |entry| entry.act = Act::Refused,
            |entry| entry.operation.push('x'),
            |entry| entry.account = Some(uuid::Uuid::nil()),
            |entry| entry.app = Some(uuid::Uuid::nil()),
            |entry| entry.reach = Reach::Named,
            |entry| entry.records.clear(),
            |entry| entry.times += 1,
        ];
        for change in changes {
            let mut one = rows();
            change(&mut one[2].entry);
            assert_eq!(breaks(one), [(3, Flaw::Changed)]);
        }
        let mut one = rows();
        one[2].entry.address = Some("192.0.2.1".to_owned());
        assert_eq!(breaks(one), [], "the address goes after some weeks");
    }

    /// Written down before rows named apps: a chain from then is whole, and a row of an app cannot be made one of nobody's.
    #[test]
    fn a_row_without_an_app_has_the_hash_that_it_had() {
        let at = chrono::DateTime::from_timestamp_micros(1_764_000_000_123_456).unwrap();
        let entry = Entry { at, act: Act::Read, records: vec![uuid::Uuid::from_u128(7)], ..Entry::lost(1) };
        let said = r#"[1,1764000000123456,"read","service",null,null,null,"","none",[],["00000000-0000-0000-0000-000000000007"],1]"#;
        assert_eq!(hash(b"before", 1, &entry), sha256(&[b"before", said.as_bytes()].concat()));
        let by_app = Entry { app: Some(uuid::Uuid::nil()), ..entry.clone() };
        assert_ne!(hash(b"before", 1, &by_app), hash(b"before", 1, &entry));
    }

    #[test]
    fn what_follows_a_dropped_row_is_whole() {
        let mut rows = rows();
        let rest = rows.split_off(3);
        let mut checked = Checked::after(3, rows[2].hash.clone());
        for row in rest {
            checked.row(row);
        }
        assert_eq!((checked.rows, checked.first, checked.last, checked.breaks.len()), (2, Some(4), 5, 0));
    }
}
