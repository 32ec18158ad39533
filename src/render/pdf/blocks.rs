//! Blocks of a document as pieces of paper. All measures are points (pt).

use std::rc::Rc;
use std::sync::Arc;

use super::PdfError;
use super::flow::{Air, Flow, MM};
use super::fonts::Fonts;
use super::piece::{Mark, Piece, What, together};
use super::table::table;
use super::tree::{Node, Role, Tree};
use super::words::{Words, plain};
use crate::sheet::{Block, Card, Cards, Figure, Text};

/// The size of usual words.
pub(super) const BODY: f32 = 10.0;
/// The smallest size of words.
const SMALLEST: f32 = 9.0;
/// Sizes of headings of level 1 to 4, and room above them.
const HEADINGS: [(f32, f32); 4] = [(18.0, 0.0), (13.0, 14.0), (11.0, 9.0), (10.0, 6.0)];
/// Room between blocks.
const GAP: f32 = 5.0;
/// Room beside what is listed.
const INDENT: f32 = 11.0;
/// The highest picture: the height of a page that lies.
const TALLEST: f32 = 160.0 * MM;
/// How much larger than meant a picture may be.
const LARGEST: f32 = 1.2;
/// Terms stand beside their values where there is so much room.
const BESIDE: f32 = 300.0;
/// Room between cards, and between a card's frame and what is in it.
const BETWEEN: f32 = 8.0;

/// What everything is made with.
pub(super) struct Desk {
    /// The letters.
    pub fonts: &'static Fonts,
    /// The parts of the document.
    pub tree: Tree,
    /// The size of words here.
    pub size: f32,
    /// How closely they stand.
    pub air: Air,
}

impl Desk {
    /// Words, prepared.
    pub(super) fn words(&self, text: &Text, is_bold: bool) -> Words {
        Words::new(self.fonts, text, is_bold)
    }

    /// A paragraph of words.
    pub(super) fn paragraph(&self, words: &Words, size: f32, width: f32, node: Node) -> Piece {
        let mut piece = Piece { gap: GAP, ..Piece::default() };
        if words.is_empty() {
            return piece;
        }
        let high = size * self.air.line;
        for line in words.lines(width / size) {
            let (above, below) = line.room;
            let y = piece.height + above * high;
            piece.height += (above + below) * high;
            piece.marks.push(Mark { node: Some(node), x: 0.0, y, what: What::Words(line, size) });
        }
        piece
    }

    /// A heading, which stays with what follows; nothing without words.
    pub(super) fn heading(&mut self, under: Option<Node>, level: u16, text: &Text, width: f32) -> Option<Piece> {
        if text.is_empty() {
            return None;
        }
        let (size, gap) = HEADINGS.get(usize::from(level) - 1).copied().unwrap_or((BODY, GAP));
        let node = self.tree.add(under, Role::heading(level, plain(&text.plain())));
        let words = self.words(text, true);
        // Letters are written smaller before a word is parted.
        let size = size.min((width / words.longest_word().max(0.01)).max(SMALLEST));
        let piece = self.paragraph(&words, size, width, node);
        Some(Piece { gap, keeps: true, ..piece })
    }

    /// The pieces of a block but of cards; headings are of the level given.
    fn pieces(&mut self, under: Option<Node>, block: &Block, width: f32, level: u16) -> Result<Vec<Piece>, PdfError> {
        Ok(match block {
            Block::Heading(text) => self.heading(under, level, text, width).into_iter().collect(),
            Block::Paragraph(text) => {
                let node = self.tree.add(under, Role::Paragraph);
                vec![self.paragraph(&self.words(text, false), self.size, width, node)]
            }
            Block::List(items) => self.list(under, items, width),
            Block::Cautions(items) => self.cautions(under, items, width),
            Block::Facts(facts) => self.facts(under, facts, width),
            Block::Table(one) => table(self, under, one, width),
            Block::Figure(figure) => vec![self.figure(under, figure, width)?],
            // No cards in cards.
            Block::Cards(cards) => {
                let mut pieces = Vec::new();
                for card in &cards.cards {
                    pieces.push(self.card(under, card, width)?);
                }
                pieces
            }
        })
    }

    fn list(&mut self, under: Option<Node>, items: &[Text], width: f32) -> Vec<Piece> {
        if items.is_empty() {
            return Vec::new();
        }
        let list = self.tree.add(under, Role::List);
        let pieces = items.iter().map(|text| {
            let item = self.tree.add(Some(list), Role::Item);
            let dot = self.tree.add(Some(item), Role::Label);
            let body = self.tree.add(Some(item), Role::Body);
            let inner = self.paragraph(&self.words(text, false), self.size, width - INDENT, body);
            let mut piece = Piece { height: inner.height, gap: 2.0, ..Piece::default() };
            piece.marks.push(Mark { node: Some(dot), x: 3.0, y: 5.0, what: What::Dot(2.8) });
            piece.put(inner, INDENT, 0.0);
            piece
        });
        listed(pieces)
    }

    /// Cautions behind one thick line, which goes on from each to the next.
    fn cautions(&mut self, under: Option<Node>, items: &[Text], width: f32) -> Vec<Piece> {
        if items.is_empty() {
            return Vec::new();
        }
        let list = self.tree.add(under, Role::List);
        let pieces = items.iter().enumerate().map(|(i, text)| {
            let item = self.tree.add(Some(list), Role::Item);
            let body = self.tree.add(Some(item), Role::Body);
            let text = Text::strong("Caution: ").and_text(text.clone());
            let inner = self.paragraph(&self.words(&text, false), self.size, width - INDENT, body);
            let height = inner.height + 4.0;
            let mut piece = Piece { height, gap: if i == 0 { GAP } else { 0.0 }, ..Piece::default() };
            piece.put(inner, INDENT, 2.0);
            piece.marks.push(Mark::rule(2.0, 0.0, (0.0, height), 3.0));
            piece
        });
        listed(pieces)
    }

    /// Terms with their values beside them, which stay together.
    fn facts(&mut self, under: Option<Node>, facts: &[(Text, Text)], width: f32) -> Vec<Piece> {
        if facts.is_empty() {
            return Vec::new();
        }
        let list = self.tree.add(under, Role::List);
        if width < BESIDE {
            // On a card the value goes on behind its term.
            let pieces = facts.iter().enumerate().map(|(i, (term, value))| {
                let item = self.tree.add(Some(list), Role::Item);
                let body = self.tree.add(Some(item), Role::Body);
                let text = Text::strong(term.plain()).and(": ").and_text(value.clone());
                let piece = self.paragraph(&self.words(&text, false), self.size, width, body);
                Piece { gap: if i == 0 { GAP } else { 1.0 }, ..piece }
            });
            return pieces.collect();
        }
        let terms: Vec<Words> = facts.iter().map(|(term, _)| self.words(term, true)).collect();
        let widest = terms.iter().map(Words::natural).fold(0.0, f32::max);
        let beside = (widest * self.size + 8.0).min(width * 0.4);
        let pieces = facts.iter().zip(&terms).enumerate().map(|(i, ((_, value), term))| {
            let item = self.tree.add(Some(list), Role::Item);
            let label = self.tree.add(Some(item), Role::Label);
            let body = self.tree.add(Some(item), Role::Body);
            let mut piece = self.paragraph(term, self.size, beside - 8.0, label);
            let value = self.paragraph(&self.words(value, false), self.size, width - beside, body);
            piece.height = piece.height.max(value.height);
            piece.gap = if i == 0 { GAP } else { 1.0 };
            piece.put(value, beside, 0.0);
            piece
        });
        let mut pieces: Vec<Piece> = pieces.collect();
        together(&mut pieces, facts.len(), facts.len());
        pieces
    }

    /// A picture as large as it is meant to be, and larger where there is room.
    fn figure(&mut self, under: Option<Node>, figure: &Figure, width: f32) -> Result<Piece, PdfError> {
        let options = usvg::Options { fontdb: Arc::clone(&self.fonts.database), ..usvg::Options::default() };
        let picture =
            usvg::Tree::from_str(&figure.svg, &options).map_err(|error| PdfError::Picture(error.to_string()))?;
        let shape = view(&figure.svg).unwrap_or((picture.size().width(), picture.size().height()));
        let meant = (shape.0 * MM, shape.1 * MM);
        let scale = (width / meant.0).min(LARGEST).min(TALLEST / meant.1);
        let (wide, high) = (meant.0 * scale, meant.1 * scale);
        let group = self.tree.add(under, Role::Group);
        let node = self.tree.add(Some(group), Role::Figure(plain(&figure.alt)));
        let mut piece = Piece { gap: GAP + 3.0, ..Piece::default() };
        piece.marks.push(Mark { node: Some(node), x: 0.0, y: 0.0, what: What::Picture(Rc::new(picture), wide, high) });
        piece.height = high;
        if !figure.caption.is_empty() {
            let caption = self.tree.add(Some(group), Role::Caption);
            let words = self.paragraph(&self.words(&figure.caption, false), self.size, width, caption);
            let top = piece.height + 3.0;
            piece.height = top + words.height;
            piece.put(words, 0.0, top);
        }
        Ok(piece)
    }

    /// A card without its frame.
    fn card(&mut self, under: Option<Node>, card: &Card, width: f32) -> Result<Piece, PdfError> {
        let node = self.tree.add(under, Role::Section);
        let mut pieces: Vec<Piece> = self.heading(Some(node), 3, &card.heading, width).into_iter().collect();
        let usual = std::mem::replace(&mut self.size, SMALLEST);
        for block in &card.blocks {
            pieces.extend(self.pieces(Some(node), block, width, 4)?);
        }
        self.size = usual;
        Ok(Piece::stacked(pieces))
    }

    /// Cards in frames of one size, two beside each other.
    fn cards(&mut self, under: Option<Node>, cards: &Cards, flow: &mut Flow) -> Result<(), PdfError> {
        let across = if cards.per_page > 1 { 2 } else { 1 };
        let down = cards.per_page.max(1).div_ceil(across);
        let shared = |room: f32| (room + BETWEEN) / f32::from(down) - BETWEEN;
        let usual = shared(flow.whole());
        let between = BETWEEN * f32::from(across - 1);
        let width = (flow.width() - between) / f32::from(across);
        let mut rows = Vec::new();
        for row in cards.cards.chunks(usize::from(across)) {
            let inner = row.iter().map(|card| self.card(under, card, width - 2.0 * BETWEEN));
            let inner = inner.collect::<Result<Vec<Piece>, PdfError>>()?;
            let needed = inner.iter().map(|card| card.height).fold(0.0, f32::max);
            rows.push((inner, needed + 2.0 * BETWEEN));
        }
        let needs: Vec<f32> = rows.iter().map(|(_, needed)| *needed).collect();
        // How many rows of this page are alike, and how high.
        let mut alike = (0, usual);
        for (at, (inner, needed)) in rows.into_iter().enumerate() {
            let left = flow.left() - if flow.left() < flow.whole() { BETWEEN } else { 0.0 };
            if flow.is_fresh() && needs.iter().skip(at).take(down.into()).all(|need| *need <= shared(left)) {
                // What heads a page leaves each of its cards as much.
                alike = (down, shared(left));
            }
            // What is left of a page that has begun is taken by cards that need no more than that.
            let share = if alike.0 > 0 { alike.1 } else { usual };
            let height = needed.max(if needed <= left { share.min(left) } else { share });
            alike.0 = alike.0.saturating_sub(1);
            let mut piece = Piece { height, gap: BETWEEN, ..Piece::default() };
            let mut x = 0.0;
            for card in inner {
                piece.put(card, x + BETWEEN, BETWEEN);
                piece.framed(x, 0.0, (width, height), 0.8);
                x += width + BETWEEN;
            }
            flow.place(piece);
        }
        Ok(())
    }

    /// Puts the blocks of a section onto pages; their end stays with what follows if `stays`. On a page that lies two pictures that follow
    /// each other stand beside each other.
    pub(super) fn blocks(
        &mut self,
        under: Node,
        blocks: &[Block],
        flow: &mut Flow,
        stays: bool,
    ) -> Result<(), PdfError> {
        let mut rest = blocks;
        loop {
            rest = match rest {
                [Block::Figure(one), Block::Figure(two), rest @ ..] if flow.page.0 > flow.page.1 => {
                    let width = (flow.width() - BETWEEN) / 2.0;
                    let (mut pair, two) =
                        (self.figure(Some(under), one, width)?, self.figure(Some(under), two, width)?);
                    pair.height = pair.height.max(two.height);
                    pair.put(two, width + BETWEEN, 0.0);
                    flow.place(pair);
                    rest
                }
                [block, rest @ ..] => {
                    // What leads to something else does not stand at the foot of a page.
                    let leads = match block {
                        Block::Paragraph(_) => rest.first().is_some_and(|next| !matches!(next, Block::Paragraph(_))),
                        Block::Cautions(_) => !rest.is_empty(),
                        _ => false,
                    };
                    self.block(under, block, flow, leads || (stays && rest.is_empty()))?;
                    rest
                }
                [] => return Ok(()),
            };
        }
    }

    /// Puts a block onto pages; its end stays with what follows if `stays`.
    fn block(&mut self, under: Node, block: &Block, flow: &mut Flow, stays: bool) -> Result<(), PdfError> {
        if let Block::Cards(cards) = block {
            return self.cards(Some(under), cards, flow);
        }
        let mut pieces = self.pieces(Some(under), block, flow.width(), 3)?;
        if let Some(last) = pieces.last_mut() {
            last.keeps |= stays;
        }
        for piece in pieces {
            flow.place(piece);
        }
        Ok(())
    }
}

/// The items of a list, of which neither the first nor the last stands alone on a page.
fn listed(items: impl Iterator<Item = Piece>) -> Vec<Piece> {
    let mut items: Vec<Piece> = items.collect();
    together(&mut items, 2, 3);
    items
}

/// Width and height of the `viewBox` of a picture, millimetres (mm).
fn view(svg: &str) -> Option<(f32, f32)> {
    let (_, rest) = svg.split_once("viewBox=\"")?;
    let mut numbers = rest.split('"').next()?.split([' ', ',']).filter_map(|number| number.parse::<f32>().ok());
    let (width, height) = (numbers.nth(2)?, numbers.next()?);
    (width > 0.0 && height > 0.0).then_some((width, height))
}
