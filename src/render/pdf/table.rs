//! Tables: columns as wide as they need, header rows again on every page, rows whole. All measures are points (pt).

use std::rc::Rc;

use super::blocks::Desk;
use super::piece::{Mark, Piece, What, together};
use super::tree::{Node, Role};
use super::words::{Line, Words};
use crate::sheet::{Cell, Size, Table, Text, Tone};

/// Room between a cell's frame and its words: beside and above.
const PAD: (f32, f32) = (3.5, 2.5);
/// A box to tick and its pitch.
const BOX: (f32, f32) = (4.5 * 72.0 / 25.4, 5.7 * 72.0 / 25.4);
/// Widths of lines: between cells, below headings, above what stands out.
const LINES: (f32, f32, f32) = (0.4, 1.0, 1.6);
/// A column that is to be filled in by hand.
const BLANK: f32 = 60.0;
/// The size of figures that are read from a tape's distance.
const TAPE: f32 = 14.0;
/// How much of its usual room a line of 14 pt takes: figures have little below the base line.
const TIGHT: f32 = 0.87;
/// The narrowest column of words, in parts of the size of the letters.
const NARROWEST: f32 = 4.0;
/// A longer word, in parts of the size of the letters, goes on in the next line before it makes all other columns narrow.
const LONGEST: f32 = 11.0;
/// How far columns of figures may be wider than they need.
const SPREAD: f32 = 1.6;
/// Up to this width a row heading, such as a name, stays on one line.
const HEADING: f32 = 90.0;
/// By how much a column is widened at a time.
const STEP: f32 = 6.0;

/// What a column needs.
#[derive(Clone, Copy, Debug, Default)]
struct Need {
    /// Below this nothing can be read.
    floor: f32,
    /// No word of usual length is parted.
    least: f32,
    /// Nothing is wrapped.
    most: f32,
    /// Whether it takes what is left over: a column of words that is not the row headings'.
    grows: bool,
}

impl Need {
    fn widened(&mut self, words: &Words, size: f32, is_figures: bool) {
        let (least, most) = (words.longest_word().min(LONGEST) * size, words.natural() * size);
        let least = if is_figures { most } else { least };
        self.most = self.most.max(most);
        self.least = self.least.max(least);
        self.floor = self.floor.max(if is_figures { least } else { least.min(NARROWEST * size) });
    }
}

/// A cell, prepared.
struct Filled {
    words: Vec<Words>,
    size: f32,
    /// Whether it is never wrapped.
    is_figures: bool,
    /// Whether its words end at the right.
    is_right: bool,
    tone: Tone,
    boxes: u8,
    role: Role,
}

/// A row, prepared.
struct Prepared {
    cells: Vec<Filled>,
    is_strong: bool,
}

/// The width of boxes beside each other.
fn boxes_wide(count: u8) -> f32 {
    f32::from(count) * BOX.1 + BOX.0 - BOX.1
}

impl Filled {
    fn new(desk: &Desk, lines: &[Text], is_bold: bool, size: f32, role: Role) -> Self {
        let words = lines.iter().filter(|line| !line.is_empty()).map(|line| desk.words(line, is_bold)).collect();
        Self { words, size, is_figures: false, is_right: false, tone: Tone::Plain, boxes: 0, role }
    }

    fn long(&self) -> Long {
        let boxes = (self.boxes > 0).then(|| boxes_wide(self.boxes));
        self.words.iter().map(|words| words.natural() * self.size).chain(boxes).collect()
    }

    fn widen(&self, need: &mut Need) {
        self.words.iter().for_each(|words| need.widened(words, self.size, self.is_figures));
        if self.boxes > 0 {
            let all = boxes_wide(self.boxes);
            let some = boxes_wide(self.boxes.min(3));
            (need.floor, need.least) = (need.floor.max(some), need.least.max(some));
            need.most = need.most.max(all);
        }
    }
}

/// What a cell is made of: the width of each of its paragraphs, and of its boxes, on one line.
type Long = Vec<f32>;

/// Widths of columns for a room; none when even the narrowest do not fit. `rows` holds the cells of these columns.
fn widths(needs: &[Need], rows: &[Vec<Long>], room: f32) -> Option<Vec<f32>> {
    let sum = |of: fn(&Need) -> f32| needs.iter().map(of).sum::<f32>();
    let (floor, least, most) = (sum(|one| one.floor), sum(|one| one.least), sum(|one| one.most));
    if most <= room {
        let growing: f32 = needs.iter().filter(|one| one.grows).map(|one| one.most).sum();
        let factor = (room / most.max(1.0)).min(SPREAD);
        let widened = |one: &Need| match (one.grows, growing > 0.0) {
            (true, _) => one.most + (room - most) * one.most / growing,
            (false, true) => one.most,
            (false, false) => one.most * factor,
        };
        Some(needs.iter().map(widened).collect())
    } else if least <= room {
        Some(shared(needs, rows, room))
    } else if floor <= room {
        let part = (room - floor) / (least - floor);
        Some(needs.iter().map(|one| one.floor + (one.least - one.floor) * part).collect())
    } else {
        None
    }
}

/// How high a cell of a width is, about, in lines.
fn high(cell: &[f32], width: f32) -> f32 {
    let room = width - 2.0 * PAD.0;
    // The end of a line that is broken stays empty by about half a word.
    let lines = |long: &f32| if *long <= room + 0.01 { 1.0 } else { long / room.max(1.0) + 0.7 };
    cell.iter().map(lines).sum()
}

/// Widths by which rows become low, none below its least: step by step the column is widened that saves most for what it takes. In a
/// row the highest cell counts most and the others a little (a norm of fourth powers), so that two equal ones are both widened.
fn shared(needs: &[Need], rows: &[Vec<Long>], room: f32) -> Vec<f32> {
    let mut widths: Vec<f32> = needs.iter().map(|one| one.least).collect();
    let powered = |cell: &Long, width: f32| high(cell, width).powi(4);
    let sums = |widths: &[f32]| -> Vec<f32> {
        rows.iter().map(|row| row.iter().zip(widths).map(|(cell, width)| powered(cell, *width)).sum()).collect()
    };
    loop {
        let left = room - widths.iter().sum::<f32>();
        let now = sums(&widths);
        // Of each column, how much a wider one saves for each point.
        let mut best = (1e-4, 0, 0.0);
        for (at, (need, width)) in needs.iter().zip(&widths).enumerate() {
            let most = left.min(need.most - width);
            let mut more = STEP.min(most);
            while more > 0.5 {
                let saved = |(row, sum): (&Vec<Long>, &f32)| {
                    let Some(cell) = row.get(at) else { return 0.0 };
                    let then = (sum - powered(cell, *width) + powered(cell, width + more)).max(0.0);
                    sum.sqrt().sqrt() - then.sqrt().sqrt()
                };
                let gain = rows.iter().zip(&now).map(saved).sum::<f32>() / more;
                if gain > best.0 {
                    best = (gain, at, more);
                }
                more = if more < most { (more + STEP).min(most) } else { 0.0 };
            }
        }
        let (_, at, more) = best;
        if more <= 0.0 {
            return filled(needs, widths, left);
        }
        if let Some(width) = widths.get_mut(at) {
            *width += more;
        }
    }
}

/// Gives what is left over to the columns of words.
fn filled(needs: &[Need], widths: Vec<f32>, left: f32) -> Vec<f32> {
    let growing: f32 = needs.iter().zip(&widths).filter(|(one, _)| one.grows).map(|(_, width)| width).sum();
    let more = |(one, width): (&Need, f32)| if one.grows { width + left * width / growing } else { width };
    if growing > 0.0 { needs.iter().zip(widths).map(more).collect() } else { widths }
}

/// Which columns go together: as many as fit beside the column of row headings, and about as many in each part.
fn parts(needs: &[Need], room: f32) -> Vec<Vec<usize>> {
    let room = room - needs.first().map_or(0.0, |one| one.floor);
    let columns: Vec<usize> = (1..needs.len()).collect();
    let wide = |columns: &[usize]| columns.iter().filter_map(|i| needs.get(*i)).map(|one| one.floor).sum::<f32>();
    let fits = |each: &usize| columns.chunks(*each).all(|part| wide(part) <= room);
    let each = (1..=columns.len()).rev().find(fits).unwrap_or(1);
    let each = columns.len().div_ceil(columns.len().div_ceil(each).max(1)).max(1);
    columns.chunks(each).map(|part| std::iter::once(0).chain(part.iter().copied()).collect()).collect()
}

/// Gives columns of figures one width where there is room for it.
fn evened(needs: &[Need], figures: impl Fn(usize) -> bool, room: f32) -> Vec<Need> {
    let most = needs.iter().enumerate().filter(|(i, _)| figures(*i)).map(|(_, one)| one.most).fold(0.0, f32::max);
    let alike = Need { floor: most, least: most, most, grows: false };
    let even: Vec<Need> = needs.iter().enumerate().map(|(i, one)| if figures(i) { alike } else { *one }).collect();
    let is_all = (1..needs.len()).all(figures);
    let needed = |one: &Need| if is_all { one.least } else { one.most };
    if even.iter().map(needed).sum::<f32>() <= room { even } else { needs.to_vec() }
}

/// What each column needs, padding and all; `figures` says which hold numbers.
fn needs(head: &Prepared, rows: &[Prepared], figures: impl Fn(usize) -> bool) -> Vec<Need> {
    let mut needs = vec![Need::default(); head.cells.len()];
    for row in std::iter::once(head).chain(rows) {
        row.cells.iter().zip(&mut needs).for_each(|(cell, need)| cell.widen(need));
    }
    for (i, need) in needs.iter_mut().enumerate() {
        need.grows = i > 0 && !figures(i);
        if i == 0 {
            need.least = need.least.max(need.most.min(HEADING));
        }
        let is_blank = |row: &Prepared| row.cells.get(i).is_some_and(|cell| cell.words.is_empty() && cell.boxes == 0);
        if need.grows && !rows.is_empty() && rows.iter().all(is_blank) {
            (need.least, need.most) = (need.least.max(BLANK), need.most.max(BLANK));
        }
        for side in [&mut need.floor, &mut need.least, &mut need.most] {
            *side += 2.0 * PAD.0;
        }
    }
    needs
}

/// The pieces of a table: caption, header row, rows; in several parts where the paper is too narrow.
pub(super) fn table(desk: &mut Desk, under: Option<Node>, table: &Table, width: f32) -> Vec<Piece> {
    let size = if table.size == Size::Tape { TAPE } else { desk.size };
    let heads = std::iter::once(&table.corner).chain(table.columns.iter().map(|column| &column.heading));
    let figures = |i: usize| i > 0 && table.columns.get(i - 1).is_some_and(|column| column.is_figures);
    let heads = heads.enumerate().map(|(i, head)| {
        let filled = Filled::new(desk, std::slice::from_ref(head), true, desk.size, Role::ColumnHeading);
        Filled { is_right: figures(i), ..filled }
    });
    let head = Prepared { cells: heads.collect(), is_strong: false };
    let rows: Vec<Prepared> = table
        .rows
        .iter()
        .map(|row| {
            let first = Filled::new(desk, std::slice::from_ref(&row.heading), row.is_strong, size, Role::RowHeading);
            let empty = Cell::default();
            let cells = table.columns.iter().enumerate().map(|(i, column)| {
                let cell = row.cells.get(i).unwrap_or(&empty);
                let is_bold = row.is_strong || cell.tone != Tone::Plain;
                let filled = Filled::new(desk, &cell.lines, is_bold, size, Role::Cell);
                Filled {
                    is_figures: column.is_figures,
                    is_right: column.is_figures,
                    tone: cell.tone,
                    boxes: cell.boxes,
                    ..filled
                }
            });
            Prepared { cells: std::iter::once(first).chain(cells).collect(), is_strong: row.is_strong }
        })
        .collect();
    let needs = evened(&needs(&head, &rows, figures), figures, width);
    let long = |columns: &[usize]| -> Vec<Vec<Long>> {
        let cells = |row: &Prepared| columns.iter().filter_map(|i| row.cells.get(*i)).map(Filled::long).collect();
        std::iter::once(&head).chain(&rows).map(cells).collect()
    };
    let all: Vec<usize> = (0..needs.len()).collect();
    if let Some(widths) = widths(&needs, &long(&all), width) {
        return Drawn { desk, head: &head, rows: &rows, columns: &all, widths }.pieces(under, &table.caption, width);
    }
    let mut pieces = Vec::new();
    for (i, columns) in parts(&needs, width).iter().enumerate() {
        let own: Vec<Need> = columns.iter().filter_map(|column| needs.get(*column).copied()).collect();
        // A single column that is wider than the paper is pressed into it.
        let widths = widths(&own, &long(columns), width)
            .unwrap_or_else(|| own.iter().map(|one| one.floor.min(width / 2.0)).collect());
        let caption = if i == 0 { table.caption.clone() } else { table.caption.clone().and(" (continued)") };
        pieces.extend(
            Drawn { desk: &mut *desk, head: &head, rows: &rows, columns, widths }.pieces(under, &caption, width),
        );
    }
    pieces
}

/// A table, or a part of one, as it is drawn.
struct Drawn<'a> {
    desk: &'a mut Desk,
    head: &'a Prepared,
    rows: &'a [Prepared],
    columns: &'a [usize],
    widths: Vec<f32>,
}

impl Drawn<'_> {
    fn pieces(mut self, under: Option<Node>, caption: &Text, room: f32) -> Vec<Piece> {
        let table = self.desk.tree.add(under, Role::Table);
        let mut pieces = Vec::new();
        if !caption.is_empty() {
            let node = self.desk.tree.add(Some(table), Role::Caption);
            let words = self.desk.words(caption, true);
            let mut piece = self.desk.paragraph(&words, self.desk.size, room, node);
            (piece.gap, piece.keeps) = (8.0, true);
            piece.height += 2.0;
            pieces.push(piece);
        }
        let heads = self.desk.tree.add(Some(table), Role::Head);
        let mut head = self.row(heads, self.head);
        let width = self.widths.iter().sum();
        head.marks.push(Mark::rule(0.0, 0.0, (width, 0.0), LINES.1));
        head.marks.push(Mark::rule(0.0, head.height, (width, 0.0), LINES.1));
        (head.keeps, head.gap) = (!self.rows.is_empty(), if pieces.is_empty() { 8.0 } else { 0.0 });
        let repeat = Rc::new(head.clone());
        pieces.push(head);
        if self.rows.is_empty() {
            return pieces;
        }
        let body = self.desk.tree.add(Some(table), Role::Rows);
        let mut rows = Vec::with_capacity(self.rows.len());
        for row in self.rows {
            let mut piece = self.row(body, row);
            if row.is_strong {
                piece.marks.push(Mark::rule(0.0, 0.0, (width, 0.0), LINES.2));
            }
            piece.marks.push(Mark::rule(0.0, piece.height, (width, 0.0), LINES.0));
            piece.repeat = Some(Rc::clone(&repeat));
            rows.push(piece);
        }
        together(&mut rows, 1, 2);
        pieces.extend(rows);
        pieces
    }

    fn row(&mut self, under: Node, row: &Prepared) -> Piece {
        let node = self.desk.tree.add(Some(under), Role::Row);
        let mut piece = Piece::default();
        let mut frames = Vec::new();
        let mut x = 0.0;
        for (column, width) in self.columns.iter().zip(self.widths.clone()) {
            let Some(cell) = row.cells.get(*column) else { continue };
            let own = self.cell(node, cell, width);
            piece.height = piece.height.max(own.height);
            if cell.tone == Tone::Alert {
                frames.push((x, width));
            }
            piece.put(own, x, 0.0);
            x += width;
        }
        let height = piece.height;
        for (x, width) in frames {
            piece.framed(x + 1.2, 1.2, (width - 2.4, height - 2.4), LINES.2);
        }
        let mut x = 0.0;
        piece.marks.push(Mark::rule(x, 0.0, (0.0, height), LINES.0));
        for width in &self.widths {
            x += width;
            piece.marks.push(Mark::rule(x, 0.0, (0.0, height), LINES.0));
        }
        piece
    }

    fn cell(&mut self, row: Node, cell: &Filled, width: f32) -> Piece {
        let node = self.desk.tree.add(Some(row), cell.role.clone());
        let room = width - 2.0 * PAD.0;
        let (line_high, above) = air(cell.size, self.desk.air.line);
        let mut piece = Piece { height: above, ..Piece::default() };
        if cell.words.is_empty() && cell.boxes == 0 {
            piece.marks.push(Mark { node: Some(node), x: 0.0, y: 0.0, what: What::Nothing });
        }
        for words in &cell.words {
            for line in words.lines(room / cell.size) {
                let x = if cell.is_right { room - line.width * cell.size } else { 0.0 };
                let at = (PAD.0 + x, piece.height);
                piece.height += put(&mut piece.marks, node, line, (cell.size, line_high * cell.size), at);
            }
        }
        if cell.boxes > 0 {
            let says =
                if cell.boxes == 1 { "1 box to tick".to_owned() } else { format!("{} boxes to tick", cell.boxes) };
            let figure = self.desk.tree.add(Some(node), Role::Figure(says));
            #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // at most 255 to a row
            let each = (((room + BOX.1 - BOX.0) / BOX.1) as u8).max(1);
            piece.height += 1.5;
            for i in 0..cell.boxes {
                let x = PAD.0 + f32::from(i % each) * BOX.1;
                let y = piece.height + f32::from(i / each) * BOX.1;
                piece.marks.push(Mark { node: Some(figure), x, y, what: What::Box(BOX.0, 0.8) });
            }
            piece.height += f32::from(cell.boxes.div_ceil(each)) * BOX.1 + 1.0;
        }
        piece.height += above;
        piece
    }
}

/// How much of its usual room a line of a cell takes, given what lines take elsewhere, and the room above and below its words: a tape table is
/// to be on one page.
fn air(size: f32, line: f32) -> (f32, f32) {
    if size < TAPE { (line, PAD.1) } else { (TIGHT, 1.0) }
}

/// Puts a line of a size, and of a room in which letters of that size are usually `high`, below a place; its height.
fn put(marks: &mut Vec<Mark>, node: Node, line: Rc<Line>, (size, high): (f32, f32), at: (f32, f32)) -> f32 {
    let (above, below) = line.room;
    marks.push(Mark { node: Some(node), x: at.0, y: at.1 + above * high, what: What::Words(line, size) });
    (above + below) * high
}
