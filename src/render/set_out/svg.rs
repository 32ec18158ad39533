//! The sheet as a picture of A4 landscape, black on white; shapes, never colours, carry the meaning.
//!
//! Layout: design choice. All measures of the paper are millimetres (mm); lengths of the track are told in the units of the club.

use std::fmt::Write;

use super::{MAX_LANES, Sheet, SheetError, SheetLane, is_step, kind_words, lane_length, on_tape};
use crate::measure::Measure;
use crate::paper::{fitted, line, text, wide, wrap};
use lanewright_compute::set_out::{Mark, MarkKind};
use lanewright_compute::units::Length;

const PAGE: (f64, f64) = (297.0, 210.0);
const MARGIN: f64 = 8.0;
/// Where the drawing begins, right of the column of lane settings.
const DRAWING_X: f64 = 56.0;
const DRAWING_WIDTH: f64 = PAGE.0 - MARGIN - DRAWING_X - 6.0;
/// Smallest text.
const TEXT: f64 = 3.1;
/// Line pitch of the smallest text.
const LINE: f64 = 3.7;
/// Room for names below a lane, and the pitch at which they begin, so that those of several lines stand below each other.
const NAMES: f64 = PAGE.0 - MARGIN - DRAWING_X;
const PITCH: f64 = NAMES / 24.0;
/// Room of the box to tick before a name.
const TICK: f64 = 3.4;
/// Where the bar of the scale begins, and the most room for it.
const BAR: (f64, f64) = (74.0, 54.0);
/// Where the lanes begin, below a head of one line.
const HEADER: f64 = 24.0;
/// Sizes of title and place in the head, their least size, and how far bold letters are wider.
const HEAD: (f64, f64, f64, f64) = (6.0, 4.5, 3.4, 1.08);
/// The least height of a lane whose settings take three lines.
const LEAST: f64 = 13.0;

/// Width of a distance such as 85.59 or 280′ 9¾″, with a gap.
const fn label(measure: Measure) -> f64 {
    match measure {
        Measure::Metric => 9.2,
        Measure::Imperial => 14.0,
    }
}

/// How many lines the four distances after a barrier take among the settings of a lane.
const fn after_lines(measure: Measure) -> u8 {
    match measure {
        Measure::Metric => 1,
        Measure::Imperial => 2,
    }
}

/// How much room each lane gets.
#[derive(Clone, Copy)]
struct Layout {
    /// The units of lengths.
    measure: Measure,
    /// Metres of track per millimetre of paper, times 1 000: the 250 of "1 : 250".
    scale: u32,
    /// Lines of step distances below a lane: 2 or 4, or 0 where only the distances after a barrier are printed.
    step_lines: u32,
    /// Lines of the other distances above a lane, which stand on them in turn: 2 where they would meet on one.
    mark_lines: u32,
    /// Height of a lane.
    band: f64,
    /// Where the lanes begin.
    top: f64,
}

/// A name below a lane: where it begins, right of where names begin, in which line, and its words; the first words have the box.
struct Placed {
    x: f64,
    line: usize,
    words: String,
    is_first: bool,
}

/// Draws the sheet as one SVG document of 297 x 210 mm in the units of the club, to a scale that it states; higher where many lanes, all
/// names or all cautions need it, for none is left out or cut.
///
/// Every step distance is printed where the paper has room for it; else each lane prints the four distances after a
/// barrier.
///
/// # Errors
/// [`SheetError::Lanes`] unless there are 1 to [`MAX_LANES`] lanes.
///
/// ```
/// use lanewright_render::measure::Measure;
/// use lanewright_render::set_out::{Sheet, SheetError, svg};
///
/// let sheet = Sheet {
///     club: "Northfield".into(),
///     session_date: "2026-05-02".into(),
///     venue: "Main track".into(),
///     lanes: Vec::new(),
///     rounds: 1,
///     cautions: Vec::new(),
/// };
/// assert!(matches!(svg(&sheet, Measure::Metric), Err(SheetError::Lanes)));
/// ```
pub fn svg(sheet: &Sheet, measure: Measure) -> Result<String, SheetError> {
    if sheet.lanes.is_empty() || sheet.lanes.len() > MAX_LANES {
        return Err(SheetError::Lanes);
    }
    let sheet = &told(sheet, measure);
    let foot = foot_lines(sheet, measure);
    let head = head(sheet);
    let top = HEADER + head.iter().map(|one| one.y).fold(0.0, f64::max) - 13.0;
    #[allow(clippy::cast_precision_loss)] // a handful of lines
    let below = LINE * (foot.len() as f64 - 1.0) + MARGIN;
    let layout = layout(sheet, measure, top, PAGE.1 - below - LINE - 1.0 - top);
    #[allow(clippy::cast_precision_loss)] // at most 12
    let lanes = layout.band * sheet.lanes.len() as f64;
    let height = PAGE.1.max(top + lanes + LINE + 1.0 + below).ceil();
    let foot_y = height - below;
    let mut out = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="297mm" height="{height}mm" viewBox="0 0 297 {height}" font-family="Arial, Helvetica, sans-serif" fill="black" stroke="none">"#
    );
    let _ = write!(out, r#"<rect width="297" height="{height}" fill="white"/>"#);
    for one in &head {
        text(&mut out, one.x, one.y, one.size, true, one.anchor, &one.words);
    }
    legend(&mut out, layout);
    let mut y = top;
    for lane in &sheet.lanes {
        draw_lane(&mut out, lane, y, layout);
        y += layout.band;
    }
    line(&mut out, MARGIN, y, PAGE.0 - MARGIN, y, 0.3);
    let mut y = foot_y;
    for (is_bold, words) in &foot {
        text(&mut out, MARGIN, y, TEXT, *is_bold, "start", words);
        y += LINE;
    }
    out.push_str("</svg>\n");
    Ok(out)
}

/// The same with its sentences in these units; what people wrote stays.
fn told(sheet: &Sheet, measure: Measure) -> Sheet {
    let mut sheet = sheet.clone();
    let notes = sheet.lanes.iter_mut().flat_map(|lane| &mut lane.notes);
    sheet.cautions.iter_mut().chain(notes).for_each(|words| *words = measure.told(words));
    sheet
}

/// The least distance between two marks of a lane that are no steps, millimetres (mm).
fn closest(lane: &SheetLane) -> u32 {
    let marks: Vec<u32> = lane.marks.iter().filter(|mark| !is_step(mark.kind)).map(|mark| mark.at.mm()).collect();
    marks.windows(2).map(|pair| pair[1].saturating_sub(pair[0])).min().unwrap_or(u32::MAX)
}

/// Chooses the scale and the fullest lane that the height leaves room for.
fn layout(sheet: &Sheet, measure: Measure, top: f64, room: f64) -> Layout {
    let longest = sheet.lanes.iter().map(lane_length).max().unwrap_or(0);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most 1 000 000 / 200
    let scale = ((f64::from(longest) / DRAWING_WIDTH / 10.0).ceil() as u32).max(5) * 10;
    let on_paper = |mm: Option<u32>| f64::from(mm.unwrap_or(u32::MAX)) / f64::from(scale);
    let several = sheet.lanes.iter().filter(|lane| lane.barriers > 1);
    let pitch = on_paper(several.map(|lane| lane.spacing.mm()).min());
    let label = label(measure);
    let mark_lines = if on_paper(sheet.lanes.iter().map(closest).min()) < label { 2 } else { 1 };
    #[allow(clippy::cast_precision_loss)] // at most 12
    let each = room / sheet.lanes.len() as f64;
    // Every second of the four steps on one line: they lie at least 0.423 of the spacing apart.
    let wanted = if pitch * 0.423 >= label - 1.0 { 2 } else { 4 };
    let fixed = |step_lines: u32| 9.0 + LINE * f64::from(step_lines + mark_lines - 1);
    #[allow(clippy::cast_precision_loss)] // at most 40
    let names = LINE * sheet.lanes.iter().map(|lane| lines_of(&placed(lane))).max().unwrap_or(1) as f64;
    let step_lines = if pitch >= label && fixed(wanted) + names <= each { wanted } else { 0 };
    let more = if step_lines == 0 { LINE * f64::from(after_lines(measure) - 1) } else { 0.0 };
    let least = (fixed(step_lines) + names).max(LEAST + more);
    // Spare height parts the lanes, up to 5 mm; where there is none the sheet becomes higher.
    let band = (least + 5.0).min(each).max(least);
    Layout { measure, scale, step_lines, mark_lines, band, top }
}

/// The names of a lane behind each other, in as many lines as they need. One that is longer than a line goes on in the next.
fn placed(lane: &SheetLane) -> Vec<Placed> {
    let (mut all, mut x, mut line) = (Vec::new(), 0.0, 0);
    for name in lane.printed() {
        let wanted = TICK + wide(&name) * TEXT;
        if x > 0.0 && x + wanted > NAMES {
            (x, line) = (0.0, line + 1);
        }
        let (_, lines) = fitted(&name, NAMES - TICK, TEXT, TEXT);
        let last = lines.len().saturating_sub(1);
        for (i, words) in lines.into_iter().enumerate() {
            all.push(Placed { x, line: line + i, words, is_first: i == 0 });
        }
        line += last;
        x = if last > 0 { NAMES } else { ((x + wanted + 1.0) / PITCH).ceil() * PITCH };
    }
    all
}

/// How many lines names take; one when there are none.
fn lines_of(names: &[Placed]) -> usize {
    names.last().map_or(1, |last| last.line + 1)
}

/// Words at the head of the sheet.
struct Headed {
    x: f64,
    y: f64,
    size: f64,
    anchor: &'static str,
    words: String,
}

/// Club, date and venue: on one line, and below each other where they are too long for it.
fn head(sheet: &Sheet) -> Vec<Headed> {
    let title = format!("Set-out sheet \u{2013} {}", sheet.club);
    let round = sheet.lanes.first().filter(|_| sheet.rounds > 1);
    let round = round.map(|lane| format!("round {} of {}   ", lane.round, sheet.rounds)).unwrap_or_default();
    let place = format!("{round}{}   {}", sheet.session_date, sheet.venue);
    let (large, small, least, bold) = HEAD;
    let room = PAGE.0 - 2.0 * MARGIN;
    if (wide(&title) * large + wide(&place) * small) * bold + 8.0 <= room {
        let right = Headed { x: PAGE.0 - MARGIN, y: 13.0, size: small, anchor: "end", words: place };
        return vec![Headed { x: MARGIN, y: 13.0, size: large, anchor: "start", words: title }, right];
    }
    let mut lines: Vec<Headed> = Vec::new();
    for (words, usual) in [(title, large), (place, small)] {
        let (size, parts) = fitted(&words, room / bold, usual, least);
        for words in parts {
            let y = lines.last().map_or(13.0, |last| last.y + size + 1.0);
            lines.push(Headed { x: MARGIN, y, size, anchor: "start", words });
        }
    }
    lines
}

/// Scale and the meaning of the signs.
fn legend(out: &mut String, layout: Layout) {
    let Layout { scale, measure, .. } = layout;
    let y = layout.top - 4.0;
    let metre = 1_000.0 / f64::from(scale);
    let (long, bar) = measure.bar(BAR.1 / metre);
    let words = format!("Scale 1 : {scale} at 100 % print; bar = {bar}");
    text(out, MARGIN, y, TEXT, false, "start", &words);
    line(out, BAR.0, y - 1.0, BAR.0 + long * metre, y - 1.0, 0.8);
    let mut x = 130.0;
    for (kind, words) in [
        (MarkKind::Barrier, "barrier"),
        (MarkKind::Landing, "landing"),
        (MarkKind::Stride1, "stride 1, 2"),
        (MarkKind::TakeOff, "stride 3 = take-off"),
    ] {
        sign(out, kind, x, y);
        text(out, x + 2.5, y, TEXT, false, "start", words);
        x += 27.0;
    }
    let unit = match (measure, layout.step_lines > 0) {
        (Measure::Metric, true) => "metres from the start",
        (Measure::Metric, false) => "+ m after each barrier",
        (Measure::Imperial, true) => "ft, in from the start",
        (Measure::Imperial, false) => "+ ft, in after each barrier",
    };
    text(out, PAGE.0 - MARGIN, y, TEXT, false, "end", unit);
}

fn draw_lane(out: &mut String, lane: &SheetLane, top: f64, layout: Layout) {
    line(out, MARGIN, top, PAGE.0 - MARGIN, top, 0.3);
    settings(out, lane, top, layout);
    let x_of = |mm: u32| DRAWING_X + f64::from(mm) / f64::from(layout.scale);
    let ground = top + 8.0 + LINE * f64::from(layout.mark_lines - 1);
    line(out, DRAWING_X, ground, x_of(lane_length(lane)), ground, 0.25);
    let (mut step, mut stand) = (0, 0);
    for mark in lane.marks.iter().filter(|mark| mark.kind != MarkKind::Stride3) {
        let (x, at) = (x_of(mark.at.mm()), on_tape(*mark, layout.measure));
        sign(out, mark.kind, x, ground);
        if !is_step(mark.kind) {
            let y = top + LINE * f64::from(stand % layout.mark_lines + 1);
            text(out, x, y, TEXT, true, "middle", &at);
            stand += 1;
        } else if layout.step_lines > 0 {
            let y = ground + LINE * f64::from(step % layout.step_lines + 1);
            text(out, x, y, TEXT, false, "middle", &at);
            step += 1;
        }
    }
    names(out, lane, ground + 0.6 + LINE * f64::from(layout.step_lines));
}

/// The column of settings left of a lane.
fn settings(out: &mut String, lane: &SheetLane, top: f64, layout: Layout) {
    let measure = layout.measure;
    let title = format!("Lane {}", lane.lane);
    text(out, MARGIN, top + 4.0, 4.0, true, "start", &title);
    let spacing = format!("every {}", measure.brief(lane.spacing.metres()));
    text(out, MARGIN + 17.0, top + 4.0, TEXT, true, "start", &spacing);
    let kind = kind_words(lane.barrier_kind);
    let stand = format!("{} x {kind} {}", lane.barriers, measure.length(lane.height.metres()));
    text(out, MARGIN, top + 4.0 + LINE, TEXT, false, "start", &stand);
    if layout.step_lines > 0 {
        return;
    }
    let first = lane.marks.iter().find(|mark| mark.kind == MarkKind::Barrier).map_or(0, |mark| mark.at.mm());
    let steps = lane.marks.iter().filter(|mark| is_step(mark.kind)).take(4);
    let after = |mark: &Mark| {
        let at = Length::from_mm(mark.at.mm().saturating_sub(first));
        format!("+{}", on_tape(Mark { at, ..*mark }, measure))
    };
    let after: Vec<String> = steps.map(after).collect();
    let each = 4 / usize::from(after_lines(measure));
    let mut y = top + 4.0 + 2.0 * LINE;
    for words in after.chunks(each) {
        text(out, MARGIN, y, TEXT, false, "start", &words.join(" "));
        y += LINE;
    }
}

/// The names below a lane, each with a box to tick.
fn names(out: &mut String, lane: &SheetLane, top: f64) {
    for Placed { x, line, words, is_first } in placed(lane) {
        #[allow(clippy::cast_precision_loss)] // a squad
        let (x, y) = (DRAWING_X + x, top + LINE * (line + 1) as f64 - 0.8);
        if is_first {
            let _ = write!(
                out,
                r#"<rect x="{x:.2}" y="{:.2}" width="2.4" height="2.4" fill="white" stroke="black" stroke-width="0.25"/>"#,
                y - 2.4
            );
        }
        text(out, x + TICK, y, TEXT, false, "start", &words);
    }
}

/// Barrier counts, then every caution, wrapped; bold or not.
fn foot_lines(sheet: &Sheet, measure: Measure) -> Vec<(bool, String)> {
    let counts: Vec<String> = sheet
        .barrier_counts()
        .into_iter()
        .map(|((kind, height), count)| format!("{count} x {} {}", kind_words(kind), measure.length(height.metres())))
        .collect();
    let bring = format!("Bring: {}", counts.join(", "));
    let cautions = sheet.cautions.iter().map(|caution| (false, format!("! {caution}")));
    let wrapped = |(is_bold, words): (bool, String)| wrap(&words, 158).into_iter().map(move |line| (is_bold, line));
    [(true, bring)].into_iter().chain(cautions).flat_map(wrapped).collect()
}

/// A sign of the drawing, standing on the ground line.
fn sign(out: &mut String, kind: MarkKind, x: f64, ground: f64) {
    let _ = match kind {
        MarkKind::Barrier => {
            write!(out, r#"<rect x="{:.2}" y="{:.2}" width="1" height="3.6"/>"#, x - 0.5, ground - 3.6)
        }
        MarkKind::Landing => write!(
            out,
            r#"<circle cx="{x:.2}" cy="{:.2}" r="0.8" fill="white" stroke="black" stroke-width="0.3"/>"#,
            ground - 0.8
        ),
        MarkKind::TakeOff => write!(out, r#"<path d="M{:.2} {ground:.2}h2l-1 -2z"/>"#, x - 1.0),
        _ => write!(out, r#"<rect x="{:.2}" y="{:.2}" width="0.4" height="2"/>"#, x - 0.2, ground - 2.0),
    };
}
