//! The roster as a file: athletes to rows.

use std::collections::HashMap;
use std::hash::BuildHasher;

use super::model::{Athlete, Birth, Experience, Leg, Measurement};
use super::roster::{COLUMNS, KINDS};
use crate::compute::day::Day;
use crate::platform::ids::{AthleteId, GroupId};
use crate::render::table::{Cell, Table};

/// An athlete as the export shows them.
#[derive(Debug)]
pub struct Shown {
    /// The id.
    pub id: AthleteId,
    /// Number of the last change of the athlete or of what was measured.
    pub rev: i64,
    /// The athlete.
    pub athlete: Athlete,
    /// What was measured, latest first, without what advice leaves out.
    pub measured: Vec<Measurement>,
}

fn day(date: chrono::NaiveDate) -> Cell {
    Day::from_days(date.to_epoch_days()).into()
}

/// The name of a group, or its id when the name would not be read back.
fn group_cell(id: GroupId, names: &HashMap<GroupId, String, impl BuildHasher>) -> String {
    names.get(&id).filter(|name| !name.contains('|')).map_or_else(|| id.to_string(), Clone::clone)
}

/// The fields of an athlete with their columns.
pub fn fields(athlete: &Athlete, names: &HashMap<GroupId, String, impl BuildHasher>) -> [(&'static str, Cell); 10] {
    let groups: Vec<String> = athlete.groups.iter().map(|id| group_cell(*id, names)).collect();
    let (date, year) = match athlete.birth {
        Birth::Date(date) => (day(date), Cell::Empty),
        Birth::Year(year) => (Cell::Empty, year.into()),
    };
    [
        ("display_name", athlete.display_name.as_str().into()),
        ("sex", athlete.sex.as_str().into()),
        ("birth_date", date),
        ("birth_year", year),
        ("groups", groups.join("|").into()),
        ("preferred_lead_leg", athlete.preferred_lead_leg.map(Leg::as_str).into()),
        ("approach_strides", athlete.approach_strides.map(i16::from).into()),
        ("experience", Experience::as_str(athlete.experience).into()),
        ("status", athlete.status.as_str().into()),
        ("consent_on", athlete.consent_on.map_or(Cell::Empty, day)),
    ]
}

/// A roster; each athlete with the latest measurement of each kind.
pub fn table(athletes: &[Shown], names: &HashMap<GroupId, String, impl BuildHasher>) -> Table {
    let mut table = Table::of(&COLUMNS);
    for one in athletes {
        // One row has one date: the day of the latest measurement, and only what was measured that day.
        let latest = one.measured.iter().map(|one| one.measured_on).max();
        let mut row = vec![one.id.to_string().into(), Cell::count(one.rev)];
        row.extend(fields(&one.athlete, names).map(|(_, cell)| cell));
        row.extend(KINDS.map(|kind| {
            let found = one.measured.iter().find(|one| one.kind == kind && Some(one.measured_on) == latest);
            Cell::from(found.map(|one| one.value()))
        }));
        row.push(latest.map_or(Cell::Empty, day));
        table.rows.push(row);
    }
    table
}
