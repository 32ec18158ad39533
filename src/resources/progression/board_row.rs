//! The JSON of one athlete on the board.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::board::{Computed, stretch};
use super::figures::{ConfigurationView, LoadView, TargetView, date, on, rounded};
use super::links::Links;
use super::squad::Who;
use crate::compute::advice::EVIDENCE_DAYS;
use crate::compute::board::{Obstacle, Place, Stretch, WEEKS_BEFORE, Weeks};
use crate::compute::day::Day;
use crate::compute::decision::{Caution, Governed, Missing, Wall};
use crate::compute::progress::HeldUp;
use crate::platform::ids::{AthleteId, GroupId};
use crate::render::table::Cell;
use crate::resources::advice::{CautionView, NotComputedView, ObstacleCode, vocabulary};

/// Something that stands before the next step, and since when.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = BoardObstacle)]
pub struct ObstacleView {
    /// Stable code: one of what a recommendation says is missing, or of the walls of its region.
    #[schema(value_type = ObstacleCode)]
    code: &'static str,
    /// What it is, and since when.
    #[schema(
        max_length = 500,
        example = "A step up needs the lead leg rated secure (not rated yet). So for 8 sessions, since 2026-09-03."
    )]
    pub text: String,
    /// The first day since when it stands: of sessions that the athlete came to, or of the report or restriction. Absent when
    /// the athlete did not come since.
    #[serde(skip_serializing_if = "Option::is_none")]
    since: Option<NaiveDate>,
    /// Days in that time on which the athlete came or ran.
    #[schema(minimum = 0, example = 8)]
    sessions: u32,
    /// Whether it stood on the first of the 24 days looked at already, so that it may have stood longer.
    at_least: bool,
    /// Where the rows behind it are listed.
    #[schema(max_length = 300)]
    href: String,
}

impl ObstacleView {
    /// The view of an obstacle of an athlete.
    pub fn new(one: &Obstacle, athlete: AthleteId, group: GroupId, links: &Links) -> Self {
        let evidence = || {
            let from = links.to - chrono::Duration::days(i64::from(EVIDENCE_DAYS));
            links.runs_between(athlete, from, links.to)
        };
        let href = match one.what {
            HeldUp::Closed(Wall::Resting | Wall::Left) => links.athlete(athlete),
            HeldUp::Closed(_) | HeldUp::Missing(Missing::SessionsBack { .. }) => links.wellbeing(athlete),
            HeldUp::Missing(Missing::Rating { .. }) => links.assessments_so_far(athlete),
            HeldUp::Missing(Missing::CoachConfirmation) => links.decisions(athlete),
            HeldUp::Missing(Missing::Equipment { .. }) => links.equipment(),
            HeldUp::Missing(Missing::DrySurface) => links.sessions_on(group, links.to),
            HeldUp::Missing(_) => evidence(),
        };
        Self {
            code: one.what.code(),
            text: one.text(),
            since: one.since.map(on),
            sessions: one.sessions,
            at_least: one.at_least,
            href,
        }
    }
}

/// A coach's word that governs what the athlete runs over.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = BoardWord)]
pub struct WordView {
    /// Its day.
    on: NaiveDate,
    /// The last day on which it stands.
    pub until: NaiveDate,
    /// What the athlete runs over.
    pub at: ConfigurationView,
    /// Whether the coach chose otherwise than advised.
    pub overridden: bool,
    /// What the rules alone would do.
    #[schema(value_type = vocabulary::DecisionKind)]
    rules_decision: &'static str,
    /// Where they would send the athlete.
    #[serde(skip_serializing_if = "Option::is_none")]
    rules_to: Option<ConfigurationView>,
    /// Whether the word holds the athlete back from that.
    holds_back: bool,
}

impl WordView {
    fn new(one: &Governed, holds_back: bool) -> Self {
        Self {
            on: on(one.word.on),
            until: on(one.word.until),
            at: one.word.at.into(),
            overridden: one.word.overridden,
            rules_decision: one.kind.as_str(),
            rules_to: one.proposed.map(Into::into),
            holds_back,
        }
    }
}

/// The load of the last seven days beside the four weeks before.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = BoardLoad)]
pub struct WeekView {
    /// The last seven days.
    pub week: LoadView,
    /// The four weeks before, all together.
    four_weeks_before: LoadView,
    /// Number of intervals of a week of these four, on average.
    #[schema(minimum = 0, maximum = 100_000, example = 28.5)]
    pub usual_intervals: f64,
    /// Intervals of the last seven days over that; absent without any before.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 100_000, example = 1.2)]
    pub of_usual: Option<f64>,
    /// Whether the load rose too fast.
    pub jump: bool,
    /// Where the runs of the last seven days are listed.
    #[schema(max_length = 300)]
    week_href: String,
    /// Where those of the four weeks before are listed.
    #[schema(max_length = 300)]
    before_href: String,
}

impl WeekView {
    fn new(weeks: &Weeks, athlete: AthleteId, links: &Links) -> Self {
        let back = |days: i32| links.to - chrono::Duration::days(i64::from(days));
        let before = 7 * WEEKS_BEFORE;
        Self {
            week: weeks.week.into(),
            four_weeks_before: weeks.before.into(),
            usual_intervals: rounded(weeks.usual_intervals()),
            of_usual: weeks.ratio().map(rounded),
            jump: weeks.jumps(),
            week_href: links.runs_between(athlete, back(6), links.to),
            before_href: links.runs_between(athlete, back(6 + before), back(7)),
        }
    }
}

/// What an athlete did over some weeks, and where that led.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = BoardStretch)]
pub struct StretchView {
    /// First day.
    from: NaiveDate,
    /// Last day.
    to: NaiveDate,
    /// Everything run.
    pub load: LoadView,
    /// Days on which the athlete came or ran.
    #[schema(minimum = 0, example = 18)]
    pub days: u32,
    /// The stage on the last day.
    #[schema(value_type = vocabulary::Stage)]
    pub stage: &'static str,
    /// What was run over then; absent before six intervals at one configuration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub current: Option<ConfigurationView>,
    /// Estimated limit over a wicket of 0.30 m on the last day, mean, metres.
    #[schema(minimum = 3.5, maximum = 10, example = 6.62)]
    comfortable_limit_m: f64,
    /// Where the runs are listed.
    #[schema(max_length = 300)]
    runs_href: String,
}

impl StretchView {
    /// The view of a stretch from its first day on.
    pub fn new(one: &Stretch, from: NaiveDate, runs_href: String) -> Self {
        Self {
            from,
            to: date(one.to),
            load: one.load.into(),
            days: one.days,
            stage: one.stage.as_str(),
            current: one.current.map(Into::into),
            comfortable_limit_m: rounded(one.limit_m),
            runs_href,
        }
    }
}

/// One athlete on the board.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = BoardAthlete)]
pub struct RowView {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// The rung.
    #[schema(value_type = vocabulary::Stage)]
    pub stage: &'static str,
    /// What is next.
    #[schema(value_type = vocabulary::DecisionKind)]
    pub decision: &'static str,
    /// What is run over now; absent before six intervals at one configuration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub current: Option<ConfigurationView>,
    /// What is run over next; absent for rest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub proposed: Option<ConfigurationView>,
    /// What stands before the next step, what closes every lane first; empty when nothing does.
    #[schema(max_items = 20)]
    pub held_up_by: Vec<ObstacleView>,
    /// The coach's word that governs, if one does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub coach_word: Option<WordView>,
    /// The last day on which the athlete came or ran, in the sessions of the group up to a season back, whatever became of them, or in
    /// any run.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_seen: Option<NaiveDate>,
    /// How many of the board's `sessions` the athlete came to.
    #[schema(minimum = 0, maximum = 8, example = 5)]
    pub sessions_came: usize,
    /// Which, latest first.
    #[schema(max_items = 8)]
    session_ids: Vec<Uuid>,
    /// The load of the last week beside the weeks before.
    pub load: WeekView,
    /// What the athlete trains towards, when it is on file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub target: Option<TargetView>,
    /// What comes after it: next season's, or that of the next birthday.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_target: Option<TargetView>,
    /// The period.
    pub now: StretchView,
    /// The same weeks of last season; absent when nothing is on file up to then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_season: Option<StretchView>,
    /// Where the recommendation explains all this.
    #[schema(max_length = 300)]
    recommendation_href: String,
    /// What to heed with this athlete, beside the board's own cautions.
    #[schema(max_items = 30)]
    pub cautions: Vec<CautionView>,
}

impl RowView {
    /// The view of one athlete.
    pub fn new(who: &Who, place: &Place<'_>, of: &Computed<'_>, links: &Links) -> Self {
        let (id, decision) = (who.id, &place.advice.decision);
        let came = |session: &Uuid| of.attendance.present.get(&id.0).is_some_and(|there| there.contains(session));
        let session_ids: Vec<Uuid> = of.sessions.iter().map(|(_, session)| *session).filter(came).collect();
        let jump = place.weeks.jumps().then_some(&Caution::LoadJump);
        Self {
            athlete_id: id,
            display_name: who.name.clone(),
            stage: decision.stage.as_str(),
            decision: decision.kind.as_str(),
            current: decision.current.map(Into::into),
            proposed: decision.proposed.map(Into::into),
            held_up_by: place.obstacles.iter().map(|one| ObstacleView::new(one, id, of.group.0, links)).collect(),
            coach_word: decision.governed.as_ref().map(|one| WordView::new(one, place.held_back())),
            last_seen: place.last_seen.map(on),
            sessions_came: session_ids.len(),
            session_ids,
            load: WeekView::new(&place.weeks, id, links),
            target: place.advice.target.as_ref().map(|one| TargetView::new(one, None)),
            next_target: place.advice.next_target.as_ref().map(|(from, one)| TargetView::new(one, Some(*from))),
            now: stretch(&place.now, of, id, links),
            last_season: place.last_season.as_ref().map(|one| stretch(one, of, id, links)),
            recommendation_href: links.recommendation(id),
            cautions: decision.own_cautions().chain(jump).map(CautionView::from).collect(),
        }
    }
}

/// The columns of the board as a table.
pub const COLUMNS: [&str; 26] = [
    "display_name",
    "stage",
    "decision",
    "now_barrier_kind",
    "now_height_m",
    "now_spacing_m",
    "next_barrier_kind",
    "next_height_m",
    "next_spacing_m",
    "held_up_by",
    "held_up_since",
    "held_up_sessions",
    "held_up_in_words",
    "coach_word_until",
    "last_seen",
    "sessions_came",
    "week_intervals",
    "usual_intervals",
    "load_jump",
    "comfortable_limit_m",
    "days",
    "last_season_stage",
    "last_season_limit_m",
    "last_season_days",
    "cautions",
    "athlete_id",
];

/// The row of somebody who is not on the board: what is wrong and the remedy stand where others read what holds them up.
pub fn left_out(one: &NotComputedView) -> Vec<Cell> {
    let cell = |column: &&str| match *column {
        "display_name" => one.display_name.as_str().into(),
        "held_up_in_words" => one.unusable.words().into(),
        "athlete_id" => one.athlete_id.to_string().into(),
        _ => Cell::Empty,
    };
    COLUMNS.iter().map(cell).collect()
}

impl RowView {
    /// The row of the table; what holds the athlete up first stands for all of it, the others are in its words.
    pub fn cells(&self) -> Vec<Cell> {
        let day = |date: NaiveDate| Cell::from(Day::from_days(date.to_epoch_days()));
        let dated = |date: Option<NaiveDate>| date.map_or(Cell::Empty, day);
        let configuration = |one: Option<&ConfigurationView>| -> [Cell; 3] {
            let kind = one.map(|one| one.barrier_kind);
            [kind.into(), one.map(|one| one.height_m).into(), one.map(|one| one.spacing_m).into()]
        };
        let (first, season) = (self.held_up_by.first(), self.last_season.as_ref());
        let codes: Vec<&str> = self.held_up_by.iter().map(|one| one.code).collect();
        let words: Vec<&str> = self.held_up_by.iter().map(|one| one.text.as_str()).collect();
        let cautions: Vec<&str> = self.cautions.iter().map(|one| one.text.as_str()).collect();
        let said =
            |words: &[&str], between: &str| if words.is_empty() { Cell::Empty } else { words.join(between).into() };
        let mut row: Vec<Cell> = vec![self.display_name.as_str().into(), self.stage.into(), self.decision.into()];
        row.extend(configuration(self.current.as_ref()));
        row.extend(configuration(self.proposed.as_ref()));
        row.extend([
            said(&codes, "+"),
            dated(first.and_then(|one| one.since)),
            first.map(|one| one.sessions).into(),
            said(&words, " "),
            dated(self.coach_word.as_ref().map(|one| one.until)),
            dated(self.last_seen),
            u32::try_from(self.sessions_came).ok().into(),
            self.load.week.intervals.into(),
            self.load.usual_intervals.into(),
            Cell::flag(self.load.jump),
            self.now.comfortable_limit_m.into(),
            self.now.days.into(),
            season.map(|one| one.stage).into(),
            season.map(|one| one.comfortable_limit_m).into(),
            season.map(|one| one.days).into(),
            said(&cautions, " "),
            self.athlete_id.to_string().into(),
        ]);
        row
    }
}
