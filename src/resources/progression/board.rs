//! The JSON of a squad's board.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::athlete::base_cautions;
use super::board_row::{COLUMNS, ObstacleView, RowView, StretchView, left_out};
use super::figures::{LoadView, TargetView, date, on};
use super::links::Links;
use super::squad::{DueView, ReadyView, Who, due_view, ready};
use crate::compute::board::{Place, SEASON_DAYS, board};
use crate::compute::progress::Period;
use crate::platform::ids::{AthleteId, GroupId};
use crate::render::table::Table;
use crate::resources::advice::{Attendance, CautionView, NotComputedView, vocabulary};

/// How many of the latest sessions an athlete's attendance is counted in: four weeks of two (design choice).
pub const SESSIONS: usize = 8;

/// Days ahead in which a change of the specification is due: half a year, as far as forecasts look (design choice).
const CHANGE_DAYS: i32 = 182;

/// A squad whose board was computed.
#[derive(Debug)]
pub struct Computed<'a> {
    /// The group and its name.
    pub group: (GroupId, String),
    /// The period.
    pub period: Period,
    /// Who they are.
    pub who: Vec<Who>,
    /// Where they stand, in the same order.
    pub places: Vec<Place<'a>>,
    /// Who is not on it.
    pub not_computed: Vec<NotComputedView>,
    /// Who came when.
    pub attendance: Attendance,
    /// The latest sessions with a list of who came, or with runs; latest first.
    pub sessions: Vec<(NaiveDate, Uuid)>,
}

/// The latest sessions of a group with a list of who came, or with runs; latest first. None that was cancelled: nobody missed it.
pub fn recorded(attendance: &Attendance, most: usize) -> Vec<(NaiveDate, Uuid)> {
    let dated = |id: &Uuid| Some((*attendance.days.get(id)?, *id));
    let mut sessions: Vec<(NaiveDate, Uuid)> = attendance.recorded.iter().filter_map(dated).collect();
    sessions.sort_unstable_by(|a, b| b.cmp(a));
    sessions.truncate(most);
    sessions
}

/// One of the sessions that attendance is counted in.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = BoardSession)]
pub struct SessionView {
    /// The session.
    session_id: Uuid,
    /// Its day.
    pub held_on: NaiveDate,
    /// Athletes of the group who came.
    #[schema(minimum = 0, example = 14)]
    pub present: usize,
    /// Where the sessions of that day are listed.
    #[schema(max_length = 300)]
    href: String,
}

/// A rung of the ladder.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = BoardRung)]
pub struct RungView {
    /// The stage.
    #[schema(value_type = vocabulary::Stage)]
    pub stage: &'static str,
    /// How many stand here.
    #[schema(minimum = 0, example = 5)]
    pub athletes: usize,
    /// Who, by name; each stands once in `athletes` of the board, with links to the rows.
    #[schema(max_items = 300)]
    athlete_ids: Vec<AthleteId>,
    /// Their names, in the same order.
    #[schema(max_items = 300)]
    pub names: Vec<String>,
    /// How many of the group stood here in the same weeks of last season.
    #[schema(minimum = 0, example = 3)]
    pub last_season: usize,
}

/// An athlete whom something has held up for six sessions or more.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = BoardBehind)]
pub struct BehindView {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// What.
    pub held_up_by: ObstacleView,
}

/// A measurement that is due.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = BoardMeasurementDue)]
pub struct MeasurementView {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// Which.
    #[schema(value_type = vocabulary::DueMeasurement)]
    pub measurement: &'static str,
    /// Since when the latest is too old; absent if it was never taken.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<NaiveDate>,
    /// Where the measurements are listed.
    #[schema(max_length = 300)]
    measurements_href: String,
}

/// A change of what an athlete trains towards.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = BoardSpecificationChange)]
pub struct ChangeView {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// The first day of the new one.
    pub from: NaiveDate,
    /// Why then.
    #[schema(value_type = vocabulary::ChangeCause)]
    pub cause: &'static str,
    /// The new one.
    pub target: TargetView,
    /// Where it is looked up.
    #[schema(max_length = 300)]
    specs_href: String,
}

/// What is due.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = BoardDue)]
pub struct Dues {
    /// Ratings never given, or more than 84 days old.
    #[schema(max_items = 300)]
    pub assessments: Vec<DueView>,
    /// Measurements never taken, or too old.
    #[schema(max_items = 600)]
    pub measurements: Vec<MeasurementView>,
    /// Changes of the specification within 26 weeks, by birthday or with the season; the next first.
    #[schema(max_items = 300)]
    pub specification_changes: Vec<ChangeView>,
}

/// Where everybody stands, what holds them up and since when, and what is due.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = GroupBoard)]
pub struct View {
    /// The group.
    group_id: GroupId,
    /// Its name.
    #[schema(max_length = 80, example = "Under 14 hurdles")]
    pub name: String,
    /// First day of the period.
    pub from: NaiveDate,
    /// Its last day, of which the board speaks.
    pub to: NaiveDate,
    /// First day of the same weeks of last season.
    pub last_season_from: NaiveDate,
    /// Their last day.
    pub last_season_to: NaiveDate,
    /// The ladder, first stage to last.
    #[schema(max_items = 11)]
    pub ladder: Vec<RungView>,
    /// Who is ready for more: race tests first, then the surest step.
    #[schema(max_items = 300)]
    pub ready: Vec<ReadyView>,
    /// Who stood six sessions or more behind something, longest first.
    #[schema(max_items = 3000)]
    pub behind: Vec<BehindView>,
    /// The latest sessions with a list of who came, or with runs, but for cancelled ones, which nobody missed; at most eight, latest first.
    /// Attendance is counted in them.
    #[schema(max_items = 8)]
    pub sessions: Vec<SessionView>,
    /// Whose load rose too fast: more than half as much again as in a week of the four before, and by more than 16 intervals.
    #[schema(max_items = 300)]
    load_jumps: Vec<AthleteId>,
    /// What is due.
    pub due: Dues,
    /// Everything run in the period.
    pub load: LoadView,
    /// Everything run in the same weeks of last season, by athletes of the group.
    pub last_season_load: LoadView,
    /// One entry for each athlete of the group who has not left, by name; but for those in `not_computed`.
    #[schema(max_items = 300)]
    pub athletes: Vec<RowView>,
    /// Athletes who are not on the board, because something on file about them cannot be used: what, and the remedy. That they came
    /// counts all the same.
    #[schema(max_items = 300)]
    pub not_computed: Vec<NotComputedView>,
    /// Cautions; show them wherever this is shown.
    #[schema(max_items = 30)]
    pub cautions: Vec<CautionView>,
}

impl View {
    /// The view of a board.
    pub fn new(of: &Computed<'_>, links: &Links) -> Self {
        let sums = board(&of.places);
        let who = |at: &usize| of.who.get(*at);
        let both = |at: &usize| Some((of.who.get(*at)?, of.places.get(*at)?));
        let behind = |(at, which): &(usize, usize)| {
            let (who, place) = both(at)?;
            let obstacle = place.obstacles.get(*which)?;
            Some(BehindView {
                athlete_id: who.id,
                display_name: who.name.clone(),
                held_up_by: ObstacleView::new(obstacle, who.id, of.group.0, links),
            })
        };
        let all = || of.who.iter().zip(&of.places);
        let day = |days: i32| on(days);
        Self {
            group_id: of.group.0,
            name: of.group.1.clone(),
            from: date(of.period.from()),
            to: date(of.period.to()),
            last_season_from: day(of.period.from().days() - SEASON_DAYS),
            last_season_to: day(of.period.to().days() - SEASON_DAYS),
            ladder: sums
                .ladder
                .iter()
                .map(|(stage, now, then)| RungView {
                    stage: stage.as_str(),
                    athletes: now.len(),
                    athlete_ids: now.iter().filter_map(who).map(|who| who.id).collect(),
                    names: now.iter().filter_map(who).map(|who| who.name.clone()).collect(),
                    last_season: then.len(),
                })
                .collect(),
            ready: sums
                .ready
                .iter()
                .filter_map(both)
                .filter_map(|(who, place)| ready(who, &place.advice.decision, links))
                .collect(),
            behind: sums.behind.iter().filter_map(behind).collect(),
            sessions: of.sessions.iter().map(|one| session(of, *one, links)).collect(),
            load_jumps: sums.jumps.iter().filter_map(who).map(|who| who.id).collect(),
            due: Dues {
                assessments: all().filter_map(|(who, place)| due_view(who, &place.ratings_due)).collect(),
                measurements: all().flat_map(|(who, place)| measurements(who, place, links)).collect(),
                specification_changes: changes(of, links),
            },
            load: sums.load.0.into(),
            last_season_load: sums.load.1.into(),
            athletes: all().map(|(who, place)| RowView::new(who, place, of, links)).collect(),
            not_computed: of.not_computed.clone(),
            cautions: base_cautions(),
        }
    }
}

impl View {
    /// The board as a table: a row for each athlete; of those who are not on it, why in words.
    pub fn table(&self) -> Table {
        let mut table = Table::of(&COLUMNS);
        table.rows.extend(self.athletes.iter().map(RowView::cells));
        table.rows.extend(self.not_computed.iter().map(left_out));
        table
    }
}

fn session(of: &Computed<'_>, (held_on, id): (NaiveDate, Uuid), links: &Links) -> SessionView {
    SessionView {
        session_id: id,
        held_on,
        present: of.attendance.present.values().filter(|sessions| sessions.contains(&id)).count(),
        href: links.sessions_on(of.group.0, held_on),
    }
}

fn measurements(who: &Who, place: &Place<'_>, links: &Links) -> Vec<MeasurementView> {
    let view = |due: &crate::compute::board::MeasurementDue| MeasurementView {
        athlete_id: who.id,
        display_name: who.name.clone(),
        measurement: due.what.as_str(),
        since: due.since.map(on),
        measurements_href: links.measurements(who.id),
    };
    place.measurements_due.iter().map(view).collect()
}

/// The changes that are near, the next first.
fn changes(of: &Computed<'_>, links: &Links) -> Vec<ChangeView> {
    let near = |(who, place): (&Who, &Place<'_>)| {
        let change = place.change.filter(|one| one.on.days() - of.period.to().days() <= CHANGE_DAYS)?;
        let (from, target) = place.advice.next_target.as_ref()?;
        Some(ChangeView {
            athlete_id: who.id,
            display_name: who.name.clone(),
            from: date(change.on),
            cause: change.cause.as_str(),
            target: TargetView::new(target, Some(*from)),
            specs_href: links.specs_on(who.id, date(change.on)),
        })
    };
    let mut found: Vec<ChangeView> = of.who.iter().zip(&of.places).filter_map(near).collect();
    found.sort_by_key(|one| one.from);
    found
}

/// The view of a stretch and of its rows.
pub fn stretch(
    one: &crate::compute::board::Stretch,
    of: &Computed<'_>,
    athlete: AthleteId,
    links: &Links,
) -> StretchView {
    let from = on(one.to.days() - (of.period.to().days() - of.period.from().days()));
    StretchView::new(one, from, links.runs_between(athlete, from, date(one.to)))
}
