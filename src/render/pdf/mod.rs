//! A document for people as PDF: A4, black on white, every letter embedded, and tagged for those who hear it (PDF/UA-1).
//!
//! The file holds no time and no chance: the same document is the same bytes. How it is laid out: design choice.

mod blocks;
mod draw;
mod flow;
mod fonts;
mod piece;
mod table;
mod tree;
mod words;

use thiserror::Error;

use blocks::{BODY, Desk};
use flow::{Air, Flow};
use fonts::Fonts;
use tree::{Role, Tree};

use super::sheet::{Orientation, Sheet};

/// The largest file that is made, bytes.
pub const MAX_BYTES: usize = 16 << 20;

/// A4, points (pt).
const A4: (f32, f32) = (210.0 * flow::MM, 297.0 * flow::MM);

/// Why there is no file.
#[derive(Debug, Error)]
pub enum PdfError {
    /// A font of the program is broken.
    #[error("a font file is broken")]
    Fonts,
    /// A picture is not SVG.
    #[error("a picture cannot be read: {0}")]
    Picture(String),
    /// Something has no place on a page.
    #[error("{0}")]
    Layout(&'static str),
    /// The file could not be written, or would not be accessible.
    #[error("the file cannot be written: {0}")]
    File(String),
    /// It is larger than [`MAX_BYTES`].
    #[error("the file would be too large")]
    TooLarge,
}

/// The document as a PDF file.
///
/// # Errors
/// [`PdfError`].
///
/// ```
/// use lanewright_render::pdf::pdf;
/// use lanewright_render::sheet::{Block, Orientation, Section, Sheet, Text};
///
/// let sheet = Sheet {
///     title: Text::own("Equipment list"),
///     subtitle: Text::theirs("Northfield"),
///     orientation: Orientation::Portrait,
///     sections: vec![Section::new("To carry", vec![Block::List(vec!["12 hurdles".into()])])],
/// };
/// assert!(pdf(&sheet).unwrap().starts_with(b"%PDF-1.7"));
/// ```
pub fn pdf(sheet: &Sheet) -> Result<Vec<u8>, PdfError> {
    let (mut desk, mut flow) = laid_out(sheet, Air::USUAL)?;
    if flow.ends_in_little() {
        let tight = laid_out(sheet, Air::TIGHT)?;
        if tight.1.pages.len() < flow.pages.len() {
            (desk, flow) = tight;
        }
    }
    let bytes = draw::draw(desk, flow, &sheet.title)?;
    if bytes.len() > MAX_BYTES { Err(PdfError::TooLarge) } else { Ok(bytes) }
}

/// The document on its pages.
fn laid_out(sheet: &Sheet, air: Air) -> Result<(Desk, Flow), PdfError> {
    let mut desk = Desk { fonts: Fonts::get().ok_or(PdfError::Fonts)?, tree: Tree::default(), size: BODY, air };
    let page = match sheet.orientation {
        Orientation::Portrait => A4,
        Orientation::Landscape => (A4.1, A4.0),
    };
    let mut flow = Flow::new(page, air);
    let width = flow.width();
    if let Some(title) = desk.heading(None, 1, &sheet.title, width) {
        flow.place(title);
    }
    if !sheet.subtitle.is_empty() {
        let node = desk.tree.add(None, Role::Paragraph);
        let mut line = desk.paragraph(&desk.words(&sheet.subtitle, false), BODY + 1.0, width, node);
        line.keeps = true;
        flow.place(line);
    }
    for (i, section) in sheet.sections.iter().enumerate() {
        if section.starts_page && i > 0 {
            flow.release();
            flow.turn();
        }
        let node = desk.tree.add(None, Role::Section);
        if let Some(heading) = desk.heading(Some(node), 2, &section.heading, width) {
            flow.place(heading);
        }
        desk.blocks(node, &section.blocks, &mut flow, sheet.closes(i + 1))?;
    }
    flow.release();
    Ok((desk, flow))
}

#[cfg(test)]
mod tests;
