//! What a row of the roster changes of an athlete, and whether somebody else changed that meanwhile.

use std::collections::HashMap;

use super::measured_store::StoredMeasurement;
use super::merge::touched;
use super::model::{Athlete, Measurement};
use super::roster::{COLUMNS, Known};
use super::roster_file::fields;
use crate::platform::fault::Fault;
use crate::platform::ids::{AthleteId, GroupId};
use crate::render::table::Cell;

/// What a row changes.
#[derive(Debug)]
pub struct Change {
    /// The athlete.
    pub id: AthleteId,
    /// As they were.
    pub before: Athlete,
    /// As they are from now on.
    pub after: Athlete,
    /// What was measured besides.
    pub added: Vec<Measurement>,
    /// What the file has another figure of for the same day.
    pub replaced: Vec<StoredMeasurement>,
    /// The columns in which the file differs from what is known.
    pub columns: Vec<&'static str>,
}

/// The field group of each column of an athlete, as [`super::merge::GROUPS`] has them.
fn group_of(column: &str) -> Option<usize> {
    match column {
        "display_name" => Some(0),
        "sex" | "birth_date" | "birth_year" => Some(1),
        "consent_on" => Some(2),
        "preferred_lead_leg" | "approach_strides" | "experience" => Some(3),
        "status" => Some(4),
        "groups" => Some(5),
        _ => None,
    }
}

/// What differs between somebody and a row; `dated` says whether the row names the day of its measurements.
pub fn of(
    known: &Known,
    after: Athlete,
    sent: &[Measurement],
    dated: bool,
    names: &HashMap<GroupId, String>,
) -> Change {
    let before = known.stored.value.clone();
    let (then, now) = (fields(&before, names), fields(&after, names));
    let mut columns: Vec<&'static str> =
        then.iter().zip(&now).filter(|(one, other)| one != other).map(|((column, _), _)| *column).collect();
    let (mut added, mut replaced) = (Vec::new(), Vec::new());
    for one in sent {
        // What advice leaves out stays for whoever looks into it.
        let mut those = known.measured.iter().filter(|had| {
            let had = &had.value;
            !had.implausible && had.measurement.kind == one.kind
        });
        let there = if dated {
            those.find(|had| had.value.measurement.measured_on == one.measured_on)
        } else {
            those.next().filter(|had| {
                had.value.measurement.milli == one.milli || had.value.measurement.measured_on == one.measured_on
            })
        };
        if there.is_some_and(|had| had.value.measurement.milli == one.milli) {
            continue;
        }
        replaced.extend(there.cloned());
        added.push(*one);
        columns.push(one.kind.as_str());
    }
    Change { id: known.stored.id, before, after, added, replaced, columns }
}

impl Change {
    /// Whether nothing changes.
    pub fn is_empty(&self) -> bool {
        self.columns.is_empty()
    }

    /// The columns that somebody changed since the file was written, whose number is `rev`.
    pub fn conflicts(&self, known: &Known, rev: i64, names: &HashMap<GroupId, String>) -> Vec<Fault> {
        let touched = touched(&self.before, &self.after);
        let newer = |group: usize| {
            touched.get(group).copied().unwrap_or(false) && known.revs.get(group).is_some_and(|last| *last > rev)
        };
        let is_now = |column: &str| match fields(&self.before, names).into_iter().find(|(name, _)| *name == column) {
            Some((_, Cell::Text(text))) => format!("{text:?}"),
            Some((_, Cell::Number(number))) => number.to_string(),
            Some((_, Cell::Day(day))) => day.to_string(),
            _ => "empty".to_owned(),
        };
        let mut found: Vec<Fault> = self
            .columns
            .iter()
            .filter(|column| group_of(column).is_some_and(newer))
            .map(|column| conflict(column, &is_now(column)))
            .collect();
        let measured = self.replaced.iter().filter(|had| had.rev > rev);
        found.extend(measured.map(|had| {
            let one = had.value.measurement;
            conflict(one.kind.as_str(), &format!("{} on {}", one.value(), one.measured_on))
        }));
        found
            .sort_by_key(|fault| COLUMNS.iter().position(|name| fault.pointer.as_deref() == Some(&format!("/{name}"))));
        found
    }
}

fn conflict(column: &str, is_now: &str) -> Fault {
    let detail = format!(
        "was changed since the file was written, and is {is_now} now: export again and repeat the edit, or empty `rev` in this row to \
         overwrite it"
    );
    Fault::at(format!("/{column}"), "conflict", detail)
}
