//! Pieces onto pages, from top to bottom. All measures are points (pt).

use super::piece::{Mark, Piece};

/// A point in millimetres (mm).
pub(super) const MM: f32 = 72.0 / 25.4;
/// Room around what is printed: what usual printers leave white, and a hole punch's room.
pub(super) const MARGIN: f32 = 12.0 * MM;
/// Room of the line at the foot.
const FOOT: f32 = 14.0;
/// Sums of rounded heights differ by less than this.
const SLACK: f32 = 0.01;
/// A last page that is filled by less than this part holds little (design choice).
const LITTLE: f32 = 1.0 / 3.0;

/// How closely things stand, in parts of what is usual (design choice): lines of words, and rooms between blocks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Air {
    pub line: f32,
    pub gap: f32,
}

impl Air {
    pub(super) const USUAL: Self = Self { line: 1.0, gap: 1.0 };
    /// Where that saves a page with little on it; the letters keep their size.
    pub(super) const TIGHT: Self = Self { line: 0.92, gap: 0.6 };
}

/// Pages as they fill.
pub(super) struct Flow {
    /// Width and height of a page.
    pub page: (f32, f32),
    /// The marks of each page, in reading order.
    pub pages: Vec<Vec<Mark>>,
    y: f32,
    /// Pieces that stay with what follows.
    held: Vec<Piece>,
    air: Air,
}

impl Flow {
    /// One empty page of a size.
    pub(super) fn new(page: (f32, f32), air: Air) -> Self {
        Self { page, pages: vec![Vec::new()], y: MARGIN, held: Vec::new(), air }
    }

    /// The width of what is printed.
    pub(super) fn width(&self) -> f32 {
        self.page.0 - 2.0 * MARGIN
    }

    fn bottom(&self) -> f32 {
        self.page.1 - MARGIN - FOOT + SLACK
    }

    /// The height of an empty page.
    pub(super) fn whole(&self) -> f32 {
        self.bottom() - MARGIN
    }

    /// The height that is left on this page, below what stays with what follows.
    pub(super) fn left(&self) -> f32 {
        self.bottom() - self.y - self.held.iter().map(|piece| piece.gap + piece.height).sum::<f32>()
    }

    /// Whether a last page holds so little that it might be saved.
    pub(super) fn ends_in_little(&self) -> bool {
        self.pages.len() > 1 && self.y - MARGIN < LITTLE * self.whole()
    }

    /// Whether nothing is on this page so far.
    pub(super) fn is_fresh(&self) -> bool {
        self.pages.last().is_none_or(Vec::is_empty)
    }

    /// Whether so much goes on this page; what fills it to the last point does.
    fn fits(&self, height: f32) -> bool {
        self.y + height <= self.bottom() + SLACK
    }

    /// Begins a page unless this one is empty.
    pub(super) fn turn(&mut self) {
        if !self.is_fresh() {
            self.pages.push(Vec::new());
            self.y = MARGIN;
        }
    }

    /// Puts a piece below the others, on a new page where it does not fit.
    pub(super) fn place(&mut self, piece: Piece) {
        let keeps = piece.keeps;
        self.held.push(Piece { gap: piece.gap * self.air.gap, ..piece });
        if !keeps {
            self.release();
        }
    }

    /// Puts down what waited for something to follow.
    pub(super) fn release(&mut self) {
        let held = std::mem::take(&mut self.held);
        let needed: f32 = held.iter().map(|piece| piece.gap + self.least(piece)).sum();
        if !self.fits(needed) {
            self.turn();
        }
        for piece in held {
            self.put(piece);
        }
    }

    /// The height that a piece needs to begin: all of it, or some when no page holds it.
    fn least(&self, piece: &Piece) -> f32 {
        if piece.height > self.whole() { self.whole() / 4.0 } else { piece.height }
    }

    fn put(&mut self, mut piece: Piece) {
        // A heading that takes most of a page would leave no room for what it is about.
        let again = piece.repeat.as_ref().filter(|head| head.height <= self.whole() / 2.0);
        let again = again.map(|head| head.as_decoration());
        loop {
            let gap = if self.is_fresh() { 0.0 } else { piece.gap };
            if !self.fits(gap + self.least(&piece)) && !self.is_fresh() {
                self.turn();
                continue;
            }
            self.y += gap;
            if self.is_fresh()
                && let Some(head) = again.clone()
            {
                self.draw(head);
            }
            let room = self.bottom() - self.y;
            if piece.height <= room + SLACK {
                return self.draw(piece);
            }
            let (fits, rest) = piece.parted(room);
            self.draw(fits);
            self.turn();
            piece = rest;
        }
    }

    fn draw(&mut self, piece: Piece) {
        let y = self.y;
        if let Some(page) = self.pages.last_mut() {
            page.extend(piece.marks.into_iter().map(|mark| Mark { x: mark.x + MARGIN, y: mark.y + y, ..mark }));
        }
        self.y += piece.height;
    }
}

#[cfg(test)]
mod tests {
    use super::super::piece::{What, together};
    use super::*;

    fn pieces(count: usize, height: f32) -> Vec<Piece> {
        let mark = |node| Mark { node: Some(node), x: 0.0, y: 0.0, what: What::Nothing };
        (0..count).map(|node| Piece { marks: vec![mark(node)], height, ..Piece::default() }).collect()
    }

    /// The pieces on each page of a flow that holds ten of 40 pt.
    fn laid(pieces: Vec<Piece>) -> Vec<Vec<usize>> {
        let mut flow = Flow::new((200.0, 400.0 + 2.0 * MARGIN + FOOT), Air::USUAL);
        for piece in pieces {
            flow.place(piece);
        }
        flow.release();
        flow.pages.iter().map(|page| page.iter().filter_map(|mark| mark.node).collect()).collect()
    }

    #[test]
    fn pieces_that_keep_together_turn_the_page_together() {
        let counts = |pieces| laid(pieces).iter().map(Vec::len).collect::<Vec<_>>();
        assert_eq!(counts(pieces(11, 40.0)), [10, 1]);
        let mut rows = pieces(11, 40.0);
        together(&mut rows, 1, 2);
        assert_eq!(counts(rows), [9, 2], "the last row is not alone");
        let mut list = pieces(11, 40.0);
        together(&mut list, 2, 3);
        assert_eq!(counts(list), [8, 3]);
        let mut closing = pieces(11, 40.0);
        together(&mut closing[..10], 1, 2);
        closing[9].keeps = true;
        assert_eq!(counts(closing), [8, 3], "what closes takes the last two rows along");
        let mut facts = pieces(4, 40.0);
        together(&mut facts, 4, 4);
        assert_eq!(facts.iter().map(|one| one.keeps).collect::<Vec<_>>(), [true, true, true, false]);
        assert_eq!(counts([pieces(8, 40.0), facts].concat()), [8, 4]);
    }

    #[test]
    fn what_is_longer_than_a_page_goes_on_whatever_it_keeps_to() {
        let mut all = pieces(25, 40.0);
        together(&mut all, 25, 25);
        let pages = laid(all);
        assert_eq!(pages.iter().map(Vec::len).collect::<Vec<_>>(), [10, 10, 5]);
        assert_eq!(pages.concat(), (0..25).collect::<Vec<_>>(), "in order, and none twice");
        let mut one = pieces(1, 40.0);
        together(&mut one, 2, 3);
        assert!(!one[0].keeps, "one alone keeps to nothing behind it");
    }
}
