//! The sheet as a picture of A4 landscape, black on white; shapes, never colours, carry the meaning.
//!
//! Layout: design choice. All measures of the paper are millimetres (mm).

use std::fmt::Write;

use super::{MAX_LANES, Sheet, SheetError, SheetLane, is_step, kind_words, lane_length};
use crate::paper::{cut, line, text, wrap};
use lanewright_compute::set_out::MarkKind;

const PAGE: (f64, f64) = (297.0, 210.0);
const MARGIN: f64 = 8.0;
/// Where the drawing begins, right of the column of lane settings.
const DRAWING_X: f64 = 56.0;
const DRAWING_WIDTH: f64 = PAGE.0 - MARGIN - DRAWING_X - 6.0;
/// Smallest text.
const TEXT: f64 = 3.1;
/// Line pitch of the smallest text.
const LINE: f64 = 3.7;
/// A generous estimate of the width of a letter of the smallest text.
const LETTER: f64 = 1.75;
/// Width of a distance such as 85.59, with a gap.
const LABEL: f64 = 9.2;
const HEADER: f64 = 24.0;
/// The least height of a lane.
const LEAST: f64 = 13.0;

/// How much room each lane gets.
#[derive(Clone, Copy)]
struct Layout {
    /// Metres of track per millimetre of paper, times 1 000: the 250 of "1 : 250".
    scale: u32,
    /// Lines of step distances below a lane: 2 or 4, or 0 where only the distances after a barrier are printed.
    step_lines: u32,
    /// Lines of names below a lane.
    name_lines: usize,
    /// Height of a lane.
    band: f64,
}

/// Draws the sheet as one SVG document of 297 x 210 mm, to a scale that it states; higher where many lanes and all the cautions need
/// it, for no caution is left out.
///
/// Every step distance is printed where the paper has room for it; else each lane prints the four distances after a
/// barrier. Names that exceed their place are cut and end in an ellipsis.
///
/// # Errors
/// [`SheetError::Lanes`] unless there are 1 to [`MAX_LANES`] lanes.
///
/// ```
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
/// assert!(matches!(svg(&sheet), Err(SheetError::Lanes)));
/// ```
pub fn svg(sheet: &Sheet) -> Result<String, SheetError> {
    if sheet.lanes.is_empty() || sheet.lanes.len() > MAX_LANES {
        return Err(SheetError::Lanes);
    }
    let foot = foot_lines(sheet);
    #[allow(clippy::cast_precision_loss)] // a handful of lines
    let (below, least) = (LINE * (foot.len() as f64 - 1.0), LEAST * sheet.lanes.len() as f64);
    let height = PAGE.1.max(HEADER + least + LINE + 1.0 + below + MARGIN).ceil();
    let foot_y = height - MARGIN - below;
    let layout = layout(sheet, foot_y - LINE - 1.0 - HEADER);
    let mut out = format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" width="297mm" height="{height}mm" viewBox="0 0 297 {height}" font-family="Arial, Helvetica, sans-serif" fill="black" stroke="none">"#
    );
    let _ = write!(out, r#"<rect width="297" height="{height}" fill="white"/>"#);
    header(&mut out, sheet, layout);
    let mut y = HEADER;
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

/// Chooses the scale and the fullest lane that the height leaves room for.
fn layout(sheet: &Sheet, room: f64) -> Layout {
    let longest = sheet.lanes.iter().map(lane_length).max().unwrap_or(0);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most 1 000 000 / 200
    let scale = ((f64::from(longest) / DRAWING_WIDTH / 10.0).ceil() as u32).max(5) * 10;
    let closest = sheet.lanes.iter().filter(|lane| lane.barriers > 1);
    let pitch = closest.map(|lane| lane.spacing.mm()).min().unwrap_or(u32::MAX);
    let pitch = f64::from(pitch) / f64::from(scale);
    #[allow(clippy::cast_precision_loss)] // at most 12
    let each = room / sheet.lanes.len() as f64;
    // Every second of the four steps on one line: they lie at least 0.423 of the spacing apart.
    let wanted = if pitch * 0.423 >= LABEL - 1.0 { 2 } else { 4 };
    let fixed = |step_lines: u32| 9.0 + LINE * f64::from(step_lines);
    let step_lines = if pitch >= LABEL && fixed(wanted) + LINE <= each { wanted } else { 0 };
    let needed = sheet.lanes.iter().map(lines_of_names).max().unwrap_or(1);
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most 40
    let possible = ((each - fixed(step_lines)) / LINE).max(1.0) as usize;
    let name_lines = needed.clamp(1, possible);
    #[allow(clippy::cast_precision_loss)] // at most 40
    let least = (fixed(step_lines) + LINE * name_lines as f64).max(LEAST);
    // Spare height parts the lanes, up to 5 mm.
    let band = (least + 5.0).min(each);
    Layout { scale, step_lines, name_lines, band }
}

/// Lines that the names of a lane need for none to be cut.
fn lines_of_names(lane: &SheetLane) -> usize {
    let longest = lane.printed().iter().map(|name| name.chars().count()).max().unwrap_or(0);
    #[allow(clippy::cast_precision_loss)] // a name
    let width = 4.5 + LETTER * longest as f64;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most 51
    let columns = ((PAGE.0 - MARGIN - DRAWING_X) / width).max(1.0) as usize;
    lane.athletes.len().div_ceil(columns)
}

/// Club, date, venue, scale and the meaning of the signs.
fn header(out: &mut String, sheet: &Sheet, layout: Layout) {
    let scale = layout.scale;
    let title = format!("Set-out sheet \u{2013} {}", sheet.club);
    text(out, MARGIN, 13.0, 6.0, true, "start", &cut(&title, 48));
    let round = sheet.lanes.first().filter(|_| sheet.rounds > 1);
    let round = round.map(|lane| format!("round {} of {}   ", lane.round, sheet.rounds)).unwrap_or_default();
    let place = format!("{round}{}   {}", sheet.session_date, sheet.venue);
    text(out, PAGE.0 - MARGIN, 13.0, 4.5, true, "end", &cut(&place, 48));
    let y = 20.0;
    let ten_metres = 10_000.0 / f64::from(scale);
    let words = format!("Scale 1 : {scale} at 100 % print; bar = 10 m");
    text(out, MARGIN, y, TEXT, false, "start", &words);
    line(out, 74.0, y - 1.0, 74.0 + ten_metres, y - 1.0, 0.8);
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
    let unit = if layout.step_lines > 0 { "metres from the start" } else { "+ m after each barrier" };
    text(out, PAGE.0 - MARGIN, y, TEXT, false, "end", unit);
}

fn draw_lane(out: &mut String, lane: &SheetLane, top: f64, layout: Layout) {
    line(out, MARGIN, top, PAGE.0 - MARGIN, top, 0.3);
    settings(out, lane, top, layout);
    let x_of = |mm: u32| DRAWING_X + f64::from(mm) / f64::from(layout.scale);
    let ground = top + 8.0;
    line(out, DRAWING_X, ground, x_of(lane_length(lane)), ground, 0.25);
    let mut step = 0;
    for mark in lane.marks.iter().filter(|mark| mark.kind != MarkKind::Stride3) {
        let (x, at) = (x_of(mark.at.mm()), format!("{:.2}", mark.at_tape()));
        sign(out, mark.kind, x, ground);
        if !is_step(mark.kind) {
            text(out, x, top + LINE, TEXT, true, "middle", &at);
        } else if layout.step_lines > 0 {
            let y = ground + LINE * f64::from(step % layout.step_lines + 1);
            text(out, x, y, TEXT, false, "middle", &at);
            step += 1;
        }
    }
    names(out, lane, ground + 0.6 + LINE * f64::from(layout.step_lines), layout.name_lines);
}

/// The column of settings left of a lane.
fn settings(out: &mut String, lane: &SheetLane, top: f64, layout: Layout) {
    let title = format!("Lane {}", lane.lane);
    text(out, MARGIN, top + 4.0, 4.0, true, "start", &title);
    let spacing = format!("every {:.2} m", lane.spacing.metres());
    text(out, MARGIN + 20.0, top + 4.0, TEXT, true, "start", &spacing);
    let kind = kind_words(lane.barrier_kind);
    let stand = format!("{} x {kind} {:.2} m", lane.barriers, lane.height.metres());
    text(out, MARGIN, top + 4.0 + LINE, TEXT, false, "start", &stand);
    if layout.step_lines == 0 {
        let first = lane.marks.iter().find(|mark| mark.kind == MarkKind::Barrier);
        let first = first.map_or(0, |mark| mark.at.mm());
        let steps = lane.marks.iter().filter(|mark| is_step(mark.kind)).take(4);
        let mut words = String::new();
        for mark in steps {
            let after = f64::from((mark.at.mm() - first + 5) / 10) / 100.0;
            // Writing to a String cannot fail.
            let _ = write!(words, "+{after:.2} ");
        }
        text(out, MARGIN, top + 4.0 + 2.0 * LINE, TEXT, false, "start", words.trim_end());
    }
}

/// The names below a lane, each with a box to tick, in as many columns as the lines ask for.
fn names(out: &mut String, lane: &SheetLane, top: f64, lines: usize) {
    let columns = lane.athletes.len().div_ceil(lines).max(4);
    #[allow(clippy::cast_precision_loss)] // a squad
    let width = (PAGE.0 - MARGIN - DRAWING_X) / columns as f64;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most 60
    let letters = ((width - 4.5) / LETTER).max(1.0) as usize;
    for (i, name) in lane.printed().iter().enumerate() {
        #[allow(clippy::cast_precision_loss)] // a squad
        let (x, y) = (DRAWING_X + width * (i % columns) as f64, top + LINE * (i / columns + 1) as f64 - 0.8);
        let _ = write!(
            out,
            r#"<rect x="{x:.2}" y="{:.2}" width="2.4" height="2.4" fill="white" stroke="black" stroke-width="0.25"/>"#,
            y - 2.4
        );
        text(out, x + 3.4, y, TEXT, false, "start", &cut(name, letters));
    }
}

/// Barrier counts, then every caution, wrapped; bold or not.
fn foot_lines(sheet: &Sheet) -> Vec<(bool, String)> {
    let counts: Vec<String> = sheet
        .barrier_counts()
        .into_iter()
        .map(|((kind, height), count)| format!("{count} x {} {:.2} m", kind_words(kind), height.metres()))
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
