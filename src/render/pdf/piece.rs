//! Pieces of paper: marks at places, ready to be put on a page. All measures are points (pt).

use std::rc::Rc;

use super::tree::Node;
use super::words::Line;

/// What is drawn.
#[derive(Clone)]
pub(super) enum What {
    /// Words on a base line, of a size.
    Words(Rc<Line>, f32),
    /// A straight line to a place relative to its begin, of a width.
    Rule(f32, f32, f32),
    /// An empty box to tick: side and width of its line.
    Box(f32, f32),
    /// A dot before an item: its diameter.
    Dot(f32),
    /// A picture: width and height.
    Picture(Rc<usvg::Tree>, f32, f32),
    /// Nothing; a cell that is empty.
    Nothing,
}

/// Something at a place.
#[derive(Clone)]
pub(super) struct Mark {
    /// What it belongs to; decoration belongs to nothing.
    pub node: Option<Node>,
    /// From the left.
    pub x: f32,
    /// From the top: of words the base line, else the upper end.
    pub y: f32,
    /// What it is.
    pub what: What,
}

impl Mark {
    /// Decoration.
    pub(super) const fn rule(x: f32, y: f32, to: (f32, f32), width: f32) -> Self {
        Self { node: None, x, y, what: What::Rule(to.0, to.1, width) }
    }

    /// Width, and upper and lower end.
    pub(super) fn extent(&self) -> (f32, f32, f32) {
        match &self.what {
            What::Words(line, size) => (line.width * size, self.y - line.room.0 * size, self.y + line.room.1 * size),
            What::Rule(dx, dy, _) => (*dx, self.y, self.y + dy),
            What::Box(side, _) | What::Dot(side) => (*side, self.y, self.y + side),
            What::Picture(_, width, height) => (*width, self.y, self.y + height),
            What::Nothing => (0.0, self.y, self.y),
        }
    }
}

/// Marks that stay together.
#[derive(Clone, Default)]
pub(super) struct Piece {
    /// Its marks, in reading order.
    pub marks: Vec<Mark>,
    /// How high it is.
    pub height: f32,
    /// Room above it, but at the top of a page.
    pub gap: f32,
    /// Whether it stays with the next piece.
    pub keeps: bool,
    /// What is drawn again above it when it begins a page.
    pub repeat: Option<Rc<Self>>,
}

/// Lets the first few of some pieces, and the last few, stay together.
pub(super) fn together(pieces: &mut [Piece], first: usize, last: usize) {
    let count = pieces.len();
    for (at, piece) in pieces.iter_mut().enumerate() {
        piece.keeps |= at + 1 < count && (at + 1 < first || at + last >= count);
    }
}

impl Piece {
    /// Puts the marks of another piece at a place; the other's height is not taken.
    pub(super) fn put(&mut self, other: Self, x: f32, y: f32) {
        self.marks.extend(other.marks.into_iter().map(|mark| Mark { x: mark.x + x, y: mark.y + y, ..mark }));
    }

    /// Pieces below each other as one.
    pub(super) fn stacked(pieces: Vec<Self>) -> Self {
        let mut all = Self::default();
        for (i, piece) in pieces.into_iter().enumerate() {
            let top = all.height + if i == 0 { 0.0 } else { piece.gap };
            all.height = top + piece.height;
            all.put(piece, 0.0, top);
        }
        all
    }

    /// A frame around it.
    pub(super) fn framed(&mut self, x: f32, y: f32, size: (f32, f32), line: f32) {
        let (width, height) = size;
        self.marks.push(Mark::rule(x, y, (width, 0.0), line));
        self.marks.push(Mark::rule(x, y + height, (width, 0.0), line));
        self.marks.push(Mark::rule(x, y, (0.0, height), line));
        self.marks.push(Mark::rule(x + width, y, (0.0, height), line));
    }

    /// The same as decoration, for what is drawn a second time.
    pub(super) fn as_decoration(&self) -> Self {
        let marks = self.marks.iter().map(|mark| Mark { node: None, ..mark.clone() });
        Self { marks: marks.collect(), height: self.height, ..Self::default() }
    }

    /// Parts a piece that is higher than a page: what fits into the room, and the rest. Words, boxes and pictures stay whole,
    /// lines are cut.
    pub(super) fn parted(self, room: f32) -> (Self, Self) {
        let is_line = |mark: &Mark| matches!(mark.what, What::Rule(..));
        let ends = |mark: &Mark| mark.extent().2;
        let whole = || self.marks.iter().filter(|mark| !is_line(mark));
        // What is higher than a page by itself is drawn all the same.
        let first = whole().map(ends).fold(f32::INFINITY, f32::min).max(room);
        let later = whole().filter(|mark| ends(mark) > first);
        let from = later.map(|mark| mark.extent().1).fold(self.height, f32::min);
        let (mut upper, mut lower) = (
            Self { height: room, gap: self.gap, repeat: self.repeat.clone(), ..Self::default() },
            Self { height: self.height - from, repeat: self.repeat, keeps: self.keeps, ..Self::default() },
        );
        for mark in self.marks {
            let (_, top, end) = mark.extent();
            if let What::Rule(dx, dy, width) = mark.what {
                if top <= room {
                    upper.marks.push(Mark { what: What::Rule(dx, end.min(room) - top, width), ..mark.clone() });
                }
                if end >= from && (dy > 0.0 || top > room) {
                    let y = (top - from).max(0.0);
                    lower.marks.push(Mark { y, what: What::Rule(dx, end - from - y, width), ..mark });
                }
            } else if end <= first {
                upper.marks.push(mark);
            } else {
                lower.marks.push(Mark { y: mark.y - from, ..mark });
            }
        }
        (upper, lower)
    }
}
