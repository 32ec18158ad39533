//! An athlete's progress as a document for people.

use super::ahead::{ForecastView, ReachedBy};
use super::athlete::{TechniqueView, View};
use super::figures::{ConfigurationView, LoadView, SlopeView};
use crate::compute::decision::Rating;
use crate::paper::{self, fact, percent, run_over, sentence};
use crate::render::chart::{AthleteChart, heights, held_share, spacings};
use crate::render::measure::Measure;
use crate::render::sheet::{Block, Cell, Column, Narrow, Orientation, Row, Section, Sheet, Size, Table, Text, Tone};

/// The document of what JSON says, with the chart of the same period.
pub fn page(view: &View, chart: &AthleteChart, measure: Measure) -> Sheet {
    let mut drawn: Vec<Block> = Vec::new();
    drawn.extend(spacings(chart, measure).map(Block::Figure));
    drawn.extend(heights(chart, measure).map(Block::Figure));
    drawn.extend(held_share(chart).map(Block::Figure));
    if chart.runs.is_empty() {
        drawn.push(Block::Paragraph(Text::own("No run in this period.")));
    }
    let mut sections = vec![
        Section::new("Where the athlete stands", standing(view, measure)),
        Section::new("What is ahead", ahead(view, measure)),
    ];
    if !view.technique.is_empty() {
        sections.push(Section::new("Technique", vec![Block::Table(technique(&view.technique))]));
    }
    // Words go on one page and pictures on the next; no page holds cautions alone.
    sections.push(paper::cautions(view.cautions.iter().map(|one| one.text.as_str())));
    sections.push(Section::new("How it came along", drawn));
    Sheet {
        title: Text::own("Progress: ").and_theirs(&view.display_name),
        subtitle: Text::own(format!("{} to {}", view.from, view.to)),
        orientation: Orientation::Portrait,
        sections,
    }
}

/// How sentences begin that say what a step up needs.
pub const NEEDS: &str = "A step up needs ";

/// What is run over, in words.
pub fn over(one: &ConfigurationView, measure: Measure) -> String {
    run_over(one.barrier_kind, one.height_m, one.spacing_m, measure)
}

/// What was run, in words.
pub fn ran(load: &LoadView) -> String {
    if load.runs == 0 {
        return "no run".to_owned();
    }
    let held = load.held_share.map(|share| format!(" ({})", percent(share))).unwrap_or_default();
    format!(
        "{} with {}, {} held{held}; {}, {}",
        paper::count(load.runs, "run"),
        paper::count(load.intervals, "interval"),
        load.held,
        paper::count(load.hits, "barrier hit").replace("barrier hits", "barriers hit"),
        paper::count(load.falls, "fall")
    )
}

fn slope(one: &SlopeView) -> String {
    format!(
        "{:+.2} m a week (90 % range {:+.2} m to {:+.2} m), over {}",
        one.per_week_m,
        one.low_m,
        one.high_m,
        paper::count(one.days as u64, "training day")
    )
}

fn standing(view: &View, measure: Measure) -> Vec<Block> {
    let still = match (view.plateau.state, view.plateau.weeks) {
        ("standing", Some(weeks)) => format!("standing still for {weeks} weeks"),
        (state, _) => paper::words(state),
    };
    let facts = [
        fact("Stage", Some(sentence(view.stage))),
        fact("Next", Some(sentence(view.decision))),
        fact(
            "Runs over now",
            Some(view.current.as_ref().map_or("not settled yet".to_owned(), |one| over(one, measure))),
        ),
        fact("Target", view.target.as_ref().map(|one| one.text.clone())),
        fact("After it", view.next_target.as_ref().map(|one| one.text.clone())),
        fact("Run in the period", Some(ran(&view.load))),
        fact("Limit", view.limit_slope.as_ref().map(slope)),
        fact("Whether it moves", Some(still)),
    ];
    let mut blocks = vec![Block::Facts(facts.into_iter().flatten().collect())];
    let held_up: Vec<Text> =
        view.held_up_by.iter().map(|one| Text::own(format!("{} {}", one.text, one.remedy))).collect();
    let missing = view.missing.iter().map(|one| one.text.clone());
    let missing: Vec<Text> =
        missing.filter(|text| !view.held_up_by.iter().any(|one| one.text == *text)).map(Text::own).collect();
    for (heading, items) in [("Held up by", held_up), ("Still missing for the next step", missing)] {
        if !items.is_empty() {
            blocks.extend([Block::Heading(heading.into()), Block::List(items)]);
        }
    }
    blocks
}

/// Dates of a forecast as cells: earliest, middle and latest.
fn dates(days: &ReachedBy) -> Vec<Cell> {
    let day = |day: Option<chrono::NaiveDate>| Cell::of(day.map_or("later".to_owned(), |day| day.to_string()));
    vec![day(days.p05), day(days.p50), day(days.p95)]
}

fn ahead(view: &View, measure: Measure) -> Vec<Block> {
    let step = |one: &super::ahead::StepView| {
        let mut cells = dates(&one.advised_by);
        cells.push(Cell::of(percent(one.probability_within_26_weeks)));
        Row::new(format!("{}: {}", sentence(one.decision), over(&one.to, measure)), cells)
    };
    let race = |what: &str, one: &ForecastView| {
        let gated = one.if_passed_today.as_ref();
        let words =
            if gated.is_some() { format!("{what}, if all that holds up were done today") } else { what.to_owned() };
        let mut cells = dates(gated.unwrap_or(&one.reached_by));
        cells.push(Cell::of(percent(one.probability_within_26_weeks)));
        Row::new(words, cells)
    };
    let mut rows: Vec<Row> = view.next_steps.iter().map(step).collect();
    rows.extend(view.forecast.as_ref().map(|one| race("Race test over the target", one)));
    rows.extend(view.next_forecast.as_ref().map(|one| race("Race test over the target after it", one)));
    let mut blocks = Vec::new();
    if rows.is_empty() {
        blocks.push(Block::Paragraph(Text::own("No forecast: there is no target on file, or too little was run.")));
    } else {
        blocks.push(Block::Table(Table {
            caption: Text::own("When it is likely to be advised"),
            corner: Text::own("Step"),
            columns: ["Earliest (5 %)", "As likely as not", "Latest (95 %)", "Within 26 weeks"]
                .map(Column::words)
                .into(),
            rows,
            size: Size::Usual,
            narrow: Narrow::Stack,
        }));
    }
    let held = view.forecast.as_ref().map(|one| {
        Block::Paragraph(Text::own(format!(
            "An interval over the target is held with {} now (90 % range {} to {}); a step up asks for {}.",
            percent(one.hold_now.mean),
            percent(one.hold_now.p05),
            percent(one.hold_now.p95),
            percent(one.hold_wanted)
        )))
    });
    blocks.extend(held);
    if !view.forecast_notes.is_empty() {
        blocks.push(Block::List(view.forecast_notes.iter().map(|one| Text::own(&one.text)).collect()));
    }
    blocks
}

/// A rating in words.
fn rated(rating: u8) -> &'static str {
    Rating::ALL.get(usize::from(rating)).map_or("", |rating| rating.words())
}

fn technique(all: &[TechniqueView]) -> Table {
    let row = |one: &TechniqueView| {
        let of = |rating: &super::athlete::RatingView| Cell::of(format!("{} ({})", rated(rating.rating), rating.on));
        let first = if one.count > 1 { of(&one.first) } else { Cell::default() };
        let tone = if one.direction == "down" { Tone::Strong } else { Tone::Plain };
        Row::new(
            sentence(one.criterion),
            vec![first, of(&one.latest), Cell::of(paper::words(one.direction)).toned(tone)],
        )
    };
    Table {
        caption: Text::own("Ratings of the period"),
        corner: Text::own("Criterion"),
        columns: ["First", "Latest", "Which way"].map(Column::words).into(),
        rows: all.iter().map(row).collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    }
}
