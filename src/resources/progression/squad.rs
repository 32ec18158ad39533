//! The JSON of a squad's progress.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::ahead::{ForecastView, HeldUpView, StepView};
use super::athlete::base_cautions;
use super::figures::{
    ConfigurationView, CountView, DistributionView, LoadView, NoteView, PlateauView, TargetView, date, on, rounded,
};
use super::links::Links;
use super::words::{Outcome, WordsView};
use crate::compute::decision::Decision;
use crate::compute::progress::{AthleteWeeks, Due, Member, Period, squad};
use crate::platform::ids::{AthleteId, GroupId};
use crate::resources::advice::{Attendance, CautionView, NotComputedView, Person, vocabulary};

/// Most sessions listed for one athlete; the count tells all.
const SESSIONS_MAX: usize = 200;

/// Who they are, in the order of the members.
#[derive(Clone, Debug)]
pub struct Who {
    /// The id.
    pub id: AthleteId,
    /// How the squad calls them.
    pub name: String,
}

impl Who {
    /// Who somebody is.
    pub fn of(person: &Person) -> Self {
        Self { id: person.id, name: person.display_name.clone() }
    }
}

/// Attendance of the group's sessions.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = SquadAttendance)]
pub struct AttendanceView {
    /// Sessions of the period that are marked as held.
    #[schema(minimum = 0, example = 20)]
    pub sessions_held: usize,
    /// Sessions with a list of who was there, or with runs, marked as held or not; but for cancelled ones, which nobody missed.
    #[schema(minimum = 0, example = 19)]
    pub sessions_recorded: usize,
    /// Athletes present, summed over the recorded sessions.
    #[schema(minimum = 0, example = 210)]
    present: usize,
    /// Present over athletes times recorded sessions; everybody now in the group counts for the whole period.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1, example = 0.85)]
    pub share: Option<f64>,
    /// Where the sessions held are listed.
    #[schema(max_length = 300)]
    sessions_href: String,
}

/// Load for each athlete and week, counted.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
#[schema(as = LoadPerAthleteWeek)]
pub struct WeeklyView {
    /// Athletes times weeks.
    #[schema(minimum = 0, maximum = 1_000_000, example = 192)]
    athlete_weeks: f64,
    /// Runs.
    #[schema(minimum = 0, maximum = 100_000, example = 7.2)]
    runs: f64,
    /// Intervals.
    #[schema(minimum = 0, maximum = 100_000, example = 28.8)]
    intervals: f64,
    /// Barriers run over.
    #[schema(minimum = 0, maximum = 100_000, example = 36)]
    barriers: f64,
    /// Barriers hit.
    #[schema(minimum = 0, maximum = 100_000, example = 1.4)]
    hits: f64,
}

impl From<AthleteWeeks> for WeeklyView {
    fn from(load: AthleteWeeks) -> Self {
        Self {
            athlete_weeks: rounded(load.athlete_weeks),
            runs: rounded(load.runs),
            intervals: rounded(load.intervals),
            barriers: rounded(load.barriers),
            hits: rounded(load.hits),
        }
    }
}

/// A criterion whose rating is due.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
#[schema(as = DueCriterion)]
pub struct DueCriterionView {
    /// The criterion.
    #[schema(value_type = vocabulary::Criterion)]
    pub criterion: &'static str,
    /// Since when the latest rating no longer counts; absent if it was never rated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub since: Option<NaiveDate>,
}

/// An athlete with ratings that are due: never given, or more than 84 days old.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = AssessmentDue)]
pub struct DueView {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// The criteria, in the order in which they are taught.
    #[schema(max_items = 8)]
    pub criteria: Vec<DueCriterionView>,
}

/// An athlete who is ready for more.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = ReadyAthlete)]
pub struct ReadyView {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// What for: `race_test`, `step_up_spacing`, `step_up_height` or `change_barrier_kind`.
    #[schema(value_type = vocabulary::DecisionKind)]
    pub decision: &'static str,
    /// The probability of holding an interval after it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 1, example = 0.79)]
    pub hold_probability: Option<f64>,
    /// Why, and what to do.
    #[schema(
        max_length = 3000,
        example = "All 16 intervals held at 6.25 m. Move the low barriers from 6.25 m to 6.50 m apart."
    )]
    pub why: String,
    /// Where it is explained.
    #[schema(max_length = 300)]
    recommendation_href: String,
}

/// How one athlete of a squad came along, in short.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = SquadAthlete)]
pub struct RowView {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// Stage of the progression on the last day.
    #[schema(value_type = vocabulary::Stage)]
    pub stage: &'static str,
    /// What is next.
    #[schema(value_type = vocabulary::DecisionKind)]
    pub decision: &'static str,
    /// What is run over now; absent before six intervals at one configuration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub current: Option<ConfigurationView>,
    /// The specification to train towards, when one is on file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub target: Option<TargetView>,
    /// Spacing run now over that of the target.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 20, example = 0.86)]
    pub spacing_of_target: Option<f64>,
    /// Estimated limit over a wicket of 0.30 m on the last day, mean, metres.
    #[schema(minimum = 3.5, maximum = 10, example = 6.62)]
    pub comfortable_limit_m: f64,
    /// Its change over the period, metres; absent without training days.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -6.5, maximum = 6.5, example = 0.31)]
    pub limit_change_m: Option<f64>,
    /// Whether the athlete stands still.
    pub plateau: PlateauView,
    /// When the target is likely to be reached.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub forecast: Option<ForecastView>,
    /// The next two steps up, in order, with their dates.
    #[schema(max_items = 2)]
    pub next_steps: Vec<StepView>,
    /// What stands before every step up and no training brings; empty when nothing does.
    #[schema(max_items = 20)]
    pub held_up_by: Vec<HeldUpView>,
    /// What the forecast rests on and what weakens it.
    #[schema(max_items = 10)]
    pub forecast_notes: Vec<NoteView>,
    /// Everything run in the period.
    pub load: LoadView,
    /// Sessions of the group to which the athlete came, on the list or with a run; cancelled ones too.
    #[schema(minimum = 0, example = 18)]
    pub sessions_present: usize,
    /// These sessions, at most 200.
    #[schema(max_items = 200)]
    pub session_ids: Vec<Uuid>,
    /// Where the runs of the period are listed.
    #[schema(max_length = 300)]
    pub runs_href: String,
    /// Where the assessments of the period are listed.
    #[schema(max_length = 300)]
    pub assessments_href: String,
    /// The same in full.
    #[schema(max_length = 300)]
    pub progression_href: String,
}

/// How a squad came along over a period. Every sum is that of its athletes, who each say where their rows are.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = SquadProgression)]
pub struct View {
    /// The group.
    group_id: GroupId,
    /// Its name.
    #[schema(max_length = 80, example = "Under 14 hurdles")]
    pub name: String,
    /// First day.
    pub from: NaiveDate,
    /// Last day; runs after it are left out.
    pub to: NaiveDate,
    /// One entry for each athlete of the group who has not left, by name; but for those in `not_computed`.
    #[schema(max_items = 300)]
    pub athletes: Vec<RowView>,
    /// Athletes whose progress is not computed, because something on file about them cannot be used: what, and the remedy.
    #[schema(max_items = 300)]
    pub not_computed: Vec<NotComputedView>,
    /// Athletes at each stage.
    #[schema(max_items = 11)]
    pub stages: Vec<CountView>,
    /// Athletes with each decision.
    #[schema(max_items = 8)]
    pub decisions: Vec<CountView>,
    /// Spacing run over that of the target; absent when nobody has both.
    #[serde(skip_serializing_if = "Option::is_none")]
    spacing_of_target: Option<DistributionView>,
    /// Change of the estimated limit, metres, of those who trained.
    #[serde(skip_serializing_if = "Option::is_none")]
    limit_change_m: Option<DistributionView>,
    /// Attendance.
    pub attendance: AttendanceView,
    /// Everything run in the period.
    pub load: LoadView,
    /// The same for each athlete and week; absent for a group without athletes.
    #[serde(skip_serializing_if = "Option::is_none")]
    load_per_athlete_week: Option<WeeklyView>,
    /// Ratings that are due.
    #[schema(max_items = 300)]
    pub assessments_due: Vec<DueView>,
    /// Athletes without a run so far.
    #[schema(max_items = 300)]
    without_data: Vec<AthleteId>,
    /// Who is ready for more: race tests first, then the surest step.
    #[schema(max_items = 300)]
    pub ready: Vec<ReadyView>,
    /// Who stands still, longest first.
    #[schema(max_items = 300)]
    plateaus: Vec<AthleteId>,
    /// How what coaches decided in the period turned out.
    coaches_words: WordsView,
    /// Cautions; show them wherever this is shown.
    #[schema(max_items = 30)]
    pub cautions: Vec<CautionView>,
}

/// A squad whose progress was computed.
#[derive(Debug)]
pub struct Computed<'a> {
    /// The group and its name.
    pub group: (GroupId, String),
    /// The period.
    pub period: Period,
    /// Who they are.
    pub who: Vec<Who>,
    /// How they came along, in the same order.
    pub members: Vec<Member<'a>>,
    /// Whom it leaves out.
    pub not_computed: Vec<NotComputedView>,
    /// Who was there.
    pub attendance: Attendance,
    /// What coaches decided.
    pub words: Vec<Outcome>,
    /// Whether the club asks for ratings of the arms.
    pub arms_count: bool,
}

impl View {
    /// The view of a squad.
    pub fn new(of: &Computed<'_>, links: &Links) -> Self {
        let sums = squad(&of.members, of.period, of.arms_count);
        let ids = |places: &[usize]| -> Vec<AthleteId> {
            places.iter().filter_map(|at| of.who.get(*at)).map(|who| who.id).collect()
        };
        let count =
            |what: &'static str, places: &[usize]| CountView { what, athletes: places.len(), athlete_ids: ids(places) };
        Self {
            group_id: of.group.0,
            name: of.group.1.clone(),
            from: date(of.period.from()),
            to: date(of.period.to()),
            athletes: of.who.iter().zip(&of.members).map(|(who, one)| row(who, one, of, links)).collect(),
            not_computed: of.not_computed.clone(),
            stages: sums.stages.iter().map(|(stage, places)| count(stage.as_str(), places)).collect(),
            decisions: sums.decisions.iter().map(|(kind, places)| count(kind.as_str(), places)).collect(),
            spacing_of_target: sums.spacing_of_target.map(Into::into),
            limit_change_m: sums.limit_change_m.map(Into::into),
            attendance: attendance(of, links),
            load: sums.load.into(),
            load_per_athlete_week: sums.athlete_weeks.map(Into::into),
            assessments_due: sums.due.iter().filter_map(|(at, due)| due_view(of.who.get(*at)?, due)).collect(),
            without_data: ids(&sums.without_data),
            ready: sums
                .ready
                .iter()
                .filter_map(|at| ready(of.who.get(*at)?, &of.members.get(*at)?.progress.advice.decision, links))
                .collect(),
            plateaus: ids(&sums.plateaus),
            coaches_words: WordsView::new(&of.words, links),
            cautions: base_cautions(),
        }
    }
}

fn row(who: &Who, member: &Member<'_>, of: &Computed<'_>, links: &Links) -> RowView {
    let progress = &member.progress;
    let present = of.attendance.present.get(&who.id.0);
    RowView {
        athlete_id: who.id,
        display_name: who.name.clone(),
        stage: progress.advice.decision.stage.as_str(),
        decision: progress.advice.decision.kind.as_str(),
        current: progress.advice.decision.current.map(Into::into),
        target: progress.advice.target.as_ref().map(|one| TargetView::new(one, None)),
        spacing_of_target: progress.spacing_of_target().map(rounded),
        comfortable_limit_m: rounded(progress.advice.estimate.limit_m.mean),
        limit_change_m: progress.limit_change_m().map(rounded),
        plateau: (&progress.plateau).into(),
        forecast: progress.outlook.target.as_ref().map(Into::into),
        next_steps: progress.outlook.steps.iter().map(Into::into).collect(),
        held_up_by: progress.outlook.held_up.iter().map(Into::into).collect(),
        forecast_notes: progress.outlook.notes.iter().map(Into::into).collect(),
        load: progress.load.into(),
        sessions_present: present.map_or(0, std::collections::BTreeSet::len),
        session_ids: present.into_iter().flatten().take(SESSIONS_MAX).copied().collect(),
        runs_href: links.runs(who.id),
        assessments_href: links.assessments(who.id),
        progression_href: links.progression(who.id),
    }
}

fn attendance(of: &Computed<'_>, links: &Links) -> AttendanceView {
    let recorded = &of.attendance.recorded;
    let present = of.attendance.present.values().map(|came| came.intersection(recorded).count()).sum();
    // Nothing needs to be computed of somebody to know that they came.
    let places = (of.members.len() + of.not_computed.len()) * recorded.len();
    #[allow(clippy::cast_precision_loss)] // a squad's sessions
    let share = (places > 0).then(|| rounded(present as f64 / places as f64));
    AttendanceView {
        sessions_held: of.attendance.held.len(),
        sessions_recorded: recorded.len(),
        present,
        share,
        sessions_href: links.sessions(of.group.0),
    }
}

/// The ratings that are due of an athlete; none when none are.
pub fn due_view(who: &Who, due: &[Due]) -> Option<DueView> {
    let criteria: Vec<DueCriterionView> = due
        .iter()
        .map(|one| DueCriterionView { criterion: one.criterion.as_str(), since: one.since.map(on) })
        .collect();
    let display_name = who.name.clone();
    (!criteria.is_empty()).then_some(DueView { athlete_id: who.id, display_name, criteria })
}

/// An athlete who is ready for more.
pub fn ready(who: &Who, decision: &Decision, links: &Links) -> Option<ReadyView> {
    decision.proposed.map(|_| ReadyView {
        athlete_id: who.id,
        display_name: who.name.clone(),
        decision: decision.kind.as_str(),
        hold_probability: decision.hold_proposed.map(|hold| rounded(hold.mean)),
        why: decision.explanation(),
        recommendation_href: links.recommendation(who.id),
    })
}
