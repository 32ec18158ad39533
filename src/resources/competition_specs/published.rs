//! The JSON of specifications that apply to somebody, published or a club's own.

use chrono::NaiveDate;
use serde::Serialize;
use utoipa::ToSchema;

use crate::compute::specs::{AgeGroup, Applicable, Lookup, Source, Spec};
use crate::compute::units::Sex;
use crate::platform::page;
use crate::resources::advice::vocabulary;

/// A published source.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Source)]
pub struct SourceView {
    /// Title.
    #[schema(max_length = 300, example = "Olympic factoid: up and over")]
    title: &'static str,
    /// Publisher.
    #[schema(max_length = 200, example = "England Athletics")]
    publisher: &'static str,
    /// Year, where a date was shown.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1850, maximum = 2200, example = 2024)]
    year: Option<u16>,
}

impl From<&Source> for SourceView {
    fn from(source: &Source) -> Self {
        Self { title: source.title, publisher: source.publisher, year: source.year }
    }
}

/// Who belongs to the age group.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AgeRule)]
pub struct AgeRuleView {
    /// Code of the group.
    #[schema(max_length = 60, example = "U15")]
    pub age_group: String,
    /// The rule in words.
    #[schema(
        max_length = 400,
        example = "aged 13 or 14 on 31 August within the competition year (1 October to 30 September)"
    )]
    rule: String,
    /// `page` (read on the page named), `memory` (not read: check before relying on it) or `club` (the club's own).
    #[schema(value_type = vocabulary::Confidence)]
    confidence: &'static str,
    /// Where the rule was read.
    #[schema(max_items = 20)]
    sources: Vec<SourceView>,
    /// What a reader of the rule should know.
    #[serde(skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 1000, example = "Track and field to 31 March 2026.")]
    note: String,
}

impl From<&AgeGroup> for AgeRuleView {
    fn from(group: &AgeGroup) -> Self {
        Self {
            age_group: group.code.to_string(),
            rule: group.words(),
            confidence: group.confidence.as_str(),
            sources: group.sources().map(SourceView::from).collect(),
            note: group.note.to_string(),
        }
    }
}

/// A competition specification that applies to somebody.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = CompetitionSpec)]
pub struct SpecView {
    /// Rule set with its edition.
    #[schema(max_length = 40, example = "UKA-2024")]
    ruleset: String,
    /// Event.
    #[schema(max_length = 20, example = "75H")]
    event_code: String,
    /// `indoor` or `outdoor`.
    #[schema(value_type = vocabulary::Environment)]
    environment: &'static str,
    /// `F`, `M` or `X` for both.
    #[schema(value_type = vocabulary::SpecSex)]
    sex: &'static str,
    /// Code of the age group.
    #[schema(max_length = 60, example = "U15")]
    age_group: String,
    /// Race distance, metres.
    #[schema(minimum = 20, maximum = 1000, example = 75)]
    race_distance_m: f64,
    /// Barriers.
    #[schema(minimum = 1, maximum = 20, example = 8)]
    barriers: u8,
    /// Height of the barriers, metres.
    #[schema(minimum = 0.2, maximum = 1.1, example = 0.762)]
    height_m: f64,
    /// Start line to the first barrier, metres.
    #[schema(minimum = 1, maximum = 100, example = 11.5)]
    approach_m: f64,
    /// Distance between barriers, metres.
    #[schema(minimum = 1, maximum = 100, example = 7.5)]
    spacing_m: f64,
    /// Last barrier to the finish, metres.
    #[schema(minimum = 1, maximum = 100, example = 11)]
    run_in_m: f64,
    /// `page` (read on the page named), `memory` (not read: check before relying on it) or `club` (the club's own).
    #[schema(value_type = vocabulary::Confidence)]
    confidence: &'static str,
    /// Where the figures were read.
    #[schema(max_items = 20)]
    sources: Vec<SourceView>,
    /// What a reader of the figures should know.
    #[serde(skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 1000, example = "Three pages agree.")]
    note: String,
    /// The age group's rule; absent when nobody's age was asked about.
    #[serde(skip_serializing_if = "Option::is_none")]
    group: Option<AgeRuleView>,
    /// Age on the reference day; the youngest it can be when only the year of birth is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 150, example = 13)]
    age: Option<i32>,
    /// Whether it applies for sure; with only a year of birth it may not.
    certain: bool,
    /// The first day on which it applies, for a coming one.
    #[serde(skip_serializing_if = "Option::is_none")]
    applies_from: Option<NaiveDate>,
}

impl SpecView {
    /// A specification by itself.
    pub fn alone(spec: &Spec) -> Self {
        Self {
            ruleset: spec.ruleset.to_string(),
            event_code: spec.event_code.to_string(),
            environment: spec.environment.as_str(),
            sex: spec.sex.map_or("X", Sex::as_str),
            age_group: spec.age_group.to_string(),
            race_distance_m: spec.race_distance.metres(),
            barriers: spec.barriers,
            height_m: spec.height.metres(),
            approach_m: spec.to_first.metres(),
            spacing_m: spec.between.metres(),
            run_in_m: spec.run_in.metres(),
            confidence: spec.confidence.as_str(),
            sources: spec.sources().map(SourceView::from).collect(),
            note: spec.note.to_string(),
            group: None,
            age: None,
            certain: false,
            applies_from: None,
        }
    }

    fn applicable(one: &Applicable<'_>, applies_from: Option<NaiveDate>) -> Self {
        Self {
            group: Some(one.group.into()),
            age: Some(one.age.youngest),
            certain: one.certain,
            applies_from,
            ..Self::alone(one.spec)
        }
    }
}

/// The specifications that apply, and from when others do.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ApplicableCompetitionSpecs)]
pub struct Answer {
    /// Those that apply on the day; several where groups overlap.
    #[schema(max_items = 500)]
    pub current: Vec<SpecView>,
    /// Those that apply after the next change, with its day.
    #[schema(max_items = 500)]
    pub next: Vec<SpecView>,
    /// What the youngest age group races over, for somebody younger than every group: for orientation only.
    #[schema(max_items = 500)]
    pub provisional: Vec<SpecView>,
    /// Why nothing applies, and how a club adds what is missing.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 700, example = "No specification is on file for this age group.")]
    pub note: Option<String>,
}

impl Answer {
    /// Puts a lookup into JSON.
    pub fn new(found: &Lookup<'_>) -> Self {
        let mut current: Vec<SpecView> = found.current.iter().map(|one| SpecView::applicable(one, None)).collect();
        current.extend(found.by_grade.iter().map(|spec| SpecView::alone(spec)));
        let next = found.next.as_ref().map(|next| {
            let day = NaiveDate::from_epoch_days(next.applies_from.days());
            next.specs.iter().map(|one| SpecView::applicable(one, day)).collect()
        });
        let provisional = found.provisional.iter().map(|one| SpecView::applicable(one, None)).collect();
        let note = found.reason.map(|reason| {
            format!(
                "{} A club admin can add a specification with POST /v1/clubs/{{club_id}}/competition-specs and an age group \
                 with POST /v1/clubs/{{club_id}}/age-groups; each takes the source it was read in.",
                reason.sentence()
            )
        });
        Self { current, next: next.unwrap_or_default(), provisional, note }
    }
}

/// A rule set with its age groups.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Ruleset)]
pub struct RulesetView {
    /// Rule set with its edition.
    #[schema(max_length = 40, example = "UKA-2024")]
    pub ruleset: String,
    /// Its age groups.
    #[schema(max_items = 100)]
    pub age_groups: Vec<AgeRuleView>,
    /// How many specifications are on file.
    #[schema(minimum = 0, example = 20)]
    pub specifications: usize,
    /// What its athletes find: `by_age` (a target for each age), `ages_missing` (a club tells the ages of the groups),
    /// `not_in_force` (a newer edition may apply today) or `nothing` (no sprint-hurdle specification).
    #[schema(value_type = vocabulary::OnFile)]
    pub on_file: &'static str,
    /// The same as a sentence.
    #[schema(max_length = 400, example = "Specifications are on file, and ages lead to them.")]
    pub note: &'static str,
}

/// The published rule sets.
pub type RulesetList = page::List<RulesetView, 100>;
