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

/// Pages as they fill.
pub(super) struct Flow {
    /// Width and height of a page.
    pub page: (f32, f32),
    /// The marks of each page, in reading order.
    pub pages: Vec<Vec<Mark>>,
    y: f32,
    /// Pieces that stay with what follows.
    held: Vec<Piece>,
}

impl Flow {
    /// One empty page of a size.
    pub(super) fn new(page: (f32, f32)) -> Self {
        Self { page, pages: vec![Vec::new()], y: MARGIN, held: Vec::new() }
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

    fn is_fresh(&self) -> bool {
        self.pages.last().is_none_or(Vec::is_empty)
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
        self.held.push(piece);
        if !keeps {
            self.release();
        }
    }

    /// Puts down what waited for something to follow.
    pub(super) fn release(&mut self) {
        let held = std::mem::take(&mut self.held);
        let needed: f32 = held.iter().map(|piece| piece.gap + self.least(piece)).sum();
        if self.y + needed > self.bottom() {
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
            if self.y + gap + self.least(&piece) > self.bottom() && !self.is_fresh() {
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
