//! The JSON of one athlete's progress.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::ahead::{ForecastView, HeldUpView, StepView};
use super::figures::{ConfigurationView, LoadView, NoteView, PlateauView, SlopeView, TargetView, date, on, rounded};
use super::links::Links;
use super::words::{Outcome, WordsView};
use crate::compute::decision::{Caution, Rating};
use crate::compute::estimate::{Believed, Spread};
use crate::compute::progress::{Progress, Rated, TechniqueTrend, TrainingDay, technique};
use crate::platform::ids::AthleteId;
use crate::resources::advice::vocabulary;
use crate::resources::advice::{CautionView, MissingView};

/// Most ratings shown of one criterion; the address lists all.
const RATINGS_MAX: usize = 200;

/// The estimated limit, metres, with its 90 % interval.
#[derive(Clone, Copy, Debug, Serialize, ToSchema)]
#[schema(as = ProgressLimit)]
pub struct LimitView {
    /// Mean.
    #[schema(minimum = 3.5, maximum = 10, example = 6.62)]
    pub mean: f64,
    /// 5 % quantile.
    #[schema(minimum = 3.5, maximum = 10, example = 6.31)]
    pub p05: f64,
    /// 95 % quantile.
    #[schema(minimum = 3.5, maximum = 10, example = 6.95)]
    pub p95: f64,
}

impl From<Spread> for LimitView {
    fn from(limit: Spread) -> Self {
        Self { mean: rounded(limit.mean), p05: rounded(limit.p05), p95: rounded(limit.p95) }
    }
}

/// One day: what was run, and what was believed after it.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = ProgressPoint)]
pub struct PointView {
    /// The day.
    on: NaiveDate,
    /// The spacing at which an interval over a wicket of 0.30 m is as likely held as over-reached, from all runs up to this
    /// day; absent where the runs of the day say nothing about the rhythm.
    #[serde(skip_serializing_if = "Option::is_none")]
    comfortable_limit_m: Option<LimitView>,
    /// What was run over most (most intervals); absent on days without runs.
    #[serde(skip_serializing_if = "Option::is_none")]
    main: Option<ConfigurationView>,
    /// The widest spacing of the day, metres.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 20, example = 6.5)]
    widest_spacing_m: Option<f64>,
    /// Everything run on the day.
    #[serde(skip_serializing_if = "Option::is_none")]
    load: Option<LoadView>,
    /// Where the runs of the day are listed.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 300)]
    runs_href: Option<String>,
}

/// One rating.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = ProgressRating)]
pub struct RatingView {
    /// The day, in the club's time zone.
    pub on: NaiveDate,
    /// 0 not yet, 1 emerging, 2 secure, 3 secure under race conditions.
    #[schema(minimum = 0, maximum = 3, example = 2)]
    pub rating: u8,
    /// The assessment.
    assessment_id: Uuid,
    /// Where it is.
    #[schema(max_length = 200)]
    href: String,
}

/// How one technique criterion came along.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = TechniqueTrend)]
pub struct TechniqueView {
    /// The criterion.
    #[schema(value_type = vocabulary::Criterion)]
    pub criterion: &'static str,
    /// `up`, `same`, `down` from the first to the latest, or `once`.
    #[schema(value_type = vocabulary::TrendDirection)]
    pub direction: &'static str,
    /// The first rating of the period.
    pub first: RatingView,
    /// The latest rating of the period.
    pub latest: RatingView,
    /// Ratings in the period.
    #[schema(minimum = 1, example = 4)]
    pub count: usize,
    /// The ratings, earliest first, at most the latest 200.
    #[schema(max_items = 200)]
    ratings: Vec<RatingView>,
}

/// How one athlete came along over a period.
#[derive(Clone, Debug, Serialize, ToSchema)]
#[schema(as = AthleteProgression)]
pub struct View {
    /// The athlete.
    athlete_id: AthleteId,
    /// How the squad calls them.
    #[schema(max_length = 80, example = "Mira Osei")]
    pub display_name: String,
    /// First day.
    pub from: NaiveDate,
    /// Last day; runs after it are left out.
    pub to: NaiveDate,
    /// Every training day, then one a week after the last, and the last day; earliest first.
    #[schema(max_items = 800)]
    pub points: Vec<PointView>,
    /// Everything run in the period.
    pub load: LoadView,
    /// Where the runs of the period are listed: those behind the load and the slopes.
    #[schema(max_length = 300)]
    runs_href: String,
    /// How what coaches decided in the period turned out.
    coaches_words: WordsView,
    /// Where every run up to the last day is listed: those behind the estimates and the forecast.
    #[schema(max_length = 300)]
    estimate_href: String,
    /// Slope of the estimated limit; absent with fewer than three training days.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limit_slope: Option<SlopeView>,
    /// Slope of the main spacing of the days; absent with fewer than three training days.
    #[serde(skip_serializing_if = "Option::is_none")]
    spacing_slope: Option<SlopeView>,
    /// Change of the estimated limit from the first point to the last, metres; absent without training days.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = -6.5, maximum = 6.5, example = 0.31)]
    pub limit_change_m: Option<f64>,
    /// Whether the athlete stands still.
    pub plateau: PlateauView,
    /// Stage of the progression on the last day.
    #[schema(value_type = vocabulary::Stage)]
    pub stage: &'static str,
    /// What is next.
    #[schema(value_type = vocabulary::DecisionKind)]
    pub decision: &'static str,
    /// Where stage and decision are explained.
    #[schema(max_length = 300)]
    recommendation_href: String,
    /// What is run over now; absent before six intervals at one configuration.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub current: Option<ConfigurationView>,
    /// Spacing run now over that of the target.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 20, example = 0.86)]
    spacing_of_target: Option<f64>,
    /// The specification to train towards, when one is on file.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub target: Option<TargetView>,
    /// When it is likely to be reached.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub forecast: Option<ForecastView>,
    /// The specification after it, with the day from which it applies.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_target: Option<TargetView>,
    /// When that one is likely to be reached.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_forecast: Option<ForecastView>,
    /// The next two steps up, in order, with their dates.
    #[schema(max_items = 2)]
    pub next_steps: Vec<StepView>,
    /// What stands before every step up and no training brings; empty when nothing does.
    #[schema(max_items = 20)]
    pub held_up_by: Vec<HeldUpView>,
    /// What the next step still needs, training or not.
    #[schema(max_items = 20)]
    pub missing: Vec<MissingView>,
    /// What the forecasts rest on and what weakens them; show them wherever a date is shown.
    #[schema(max_items = 10)]
    pub forecast_notes: Vec<NoteView>,
    /// How technique came along, in the order in which it is taught.
    #[schema(max_items = 8)]
    pub technique: Vec<TechniqueView>,
    /// Where the assessments of the period are listed.
    #[schema(max_length = 300)]
    assessments_href: String,
    /// Cautions; show them wherever this is shown.
    #[schema(max_items = 30)]
    pub cautions: Vec<CautionView>,
}

/// One athlete with the assessments of the period.
#[derive(Clone, Debug)]
pub struct Subject {
    /// The id.
    pub id: AthleteId,
    /// How the squad calls them.
    pub name: String,
    /// Ids of the assessments.
    pub assessments: Vec<Uuid>,
    /// What they rated, in the same order.
    pub rated: Vec<Rated>,
}

/// The training days and the days of belief as one list, earliest first.
pub fn by_day(progress: &Progress<'_>) -> BTreeMap<i32, (Option<TrainingDay>, Option<Believed>)> {
    let mut days: BTreeMap<i32, (Option<TrainingDay>, Option<Believed>)> = BTreeMap::new();
    for day in &progress.days {
        days.entry(day.day).or_default().0 = Some(*day);
    }
    for one in &progress.believed {
        days.entry(one.day).or_default().1 = Some(*one);
    }
    days
}

impl View {
    /// The view of an athlete's progress.
    pub fn new(subject: &Subject, progress: &Progress<'_>, words: &[Outcome], links: &Links) -> Self {
        let (advice, made) = (&progress.advice, progress.period.to());
        let point = |(day, (trained, believed)): (i32, (Option<TrainingDay>, Option<Believed>))| PointView {
            on: on(day),
            comfortable_limit_m: believed.map(|one| one.limit_m.into()),
            main: trained.map(|day| day.main.into()),
            widest_spacing_m: trained.map(|day| day.widest.metres()),
            load: trained.map(|day| day.load.into()),
            runs_href: trained.map(|_| links.runs_on(subject.id, on(day))),
        };
        Self {
            athlete_id: subject.id,
            display_name: subject.name.clone(),
            from: date(progress.period.from()),
            to: date(made),
            points: by_day(progress).into_iter().map(point).collect(),
            load: progress.load.into(),
            runs_href: links.runs(subject.id),
            coaches_words: WordsView::new(words, links),
            estimate_href: links.runs_so_far(subject.id),
            limit_slope: progress.limit_slope.map(Into::into),
            spacing_slope: progress.spacing_slope.map(Into::into),
            limit_change_m: progress.limit_change_m().map(rounded),
            plateau: (&progress.plateau).into(),
            stage: advice.decision.stage.as_str(),
            decision: advice.decision.kind.as_str(),
            recommendation_href: links.recommendation(subject.id),
            current: advice.decision.current.map(Into::into),
            spacing_of_target: progress.spacing_of_target().map(rounded),
            target: advice.target.as_ref().map(|one| TargetView::new(one, None)),
            forecast: progress.outlook.target.as_ref().map(Into::into),
            next_target: advice.next_target.as_ref().map(|(from, one)| TargetView::new(one, Some(*from))),
            next_forecast: progress.outlook.next.as_ref().map(Into::into),
            next_steps: progress.outlook.steps.iter().map(Into::into).collect(),
            held_up_by: progress.outlook.held_up.iter().map(Into::into).collect(),
            missing: advice.decision.missing.iter().map(Into::into).collect(),
            forecast_notes: progress.outlook.notes.iter().map(Into::into).collect(),
            technique: technique(&subject.rated).iter().filter_map(|one| trend(one, subject, links)).collect(),
            assessments_href: links.assessments(subject.id),
            cautions: advice.decision.cautions.iter().map(CautionView::from).collect(),
        }
    }
}

fn trend(trend: &TechniqueTrend, subject: &Subject, links: &Links) -> Option<TechniqueView> {
    let rating = |(at, rating): &(usize, Rating)| {
        let (id, rated) = (subject.assessments.get(*at)?, subject.rated.get(*at)?);
        let level = Rating::ALL.iter().position(|one| one == rating)?;
        Some(RatingView {
            on: on(rated.day),
            rating: u8::try_from(level).ok()?,
            assessment_id: *id,
            href: links.assessment(*id),
        })
    };
    let ratings: Vec<RatingView> = trend.seen.iter().filter_map(rating).collect();
    Some(TechniqueView {
        criterion: trend.criterion.as_str(),
        direction: trend.direction.as_str(),
        first: ratings.first()?.clone(),
        latest: ratings.last()?.clone(),
        count: ratings.len(),
        ratings: ratings.iter().skip(ratings.len().saturating_sub(RATINGS_MAX)).cloned().collect(),
    })
}

/// The cautions that hold for everybody.
pub fn base_cautions() -> Vec<CautionView> {
    Caution::BASE.iter().map(CautionView::from).collect()
}
