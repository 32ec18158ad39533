//! Pages as a file.

use krilla::Document;
use krilla::SerializeSettings;
use krilla::configure::{Accessibility, ConfigurationBuilder};
use krilla::geom::{Path, PathBuilder, Point, Rect, Size, Transform};
use krilla::metadata::Metadata;
use krilla::page::PageSettings;
use krilla::paint::{Fill, Stroke};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, SpanTag};
use krilla_svg::{SurfaceExt, SvgSettings};

use super::PdfError;
use super::blocks::Desk;
use super::flow::{Flow, MARGIN};
use super::piece::{Mark, What};
use super::tree::Node;
use super::words::{Line, Words, plain};
use crate::sheet::{LANGUAGE, Text};

/// Size of the line at the foot of each page.
const FOOT: f32 = 9.0;
/// The line around letters of a script that has no bold ones here, in parts of their size. More fills what ideographs leave white.
const THICKER: f32 = 0.01;

fn broken(what: &'static str) -> PdfError {
    PdfError::Layout(what)
}

/// Writes the file: the same bytes for the same pages.
pub(super) fn draw(desk: Desk, flow: Flow, title: &Text) -> Result<Vec<u8>, PdfError> {
    let configuration = ConfigurationBuilder::new().with_accessibility_validator(Accessibility::UA1).finish();
    let configuration = configuration.map_err(|_| broken("the kind of file is not known"))?;
    let mut document = Document::new_with(SerializeSettings { configuration, ..SerializeSettings::default() });
    let Desk { fonts, mut tree, .. } = desk;
    let count = flow.pages.len();
    for (number, marks) in flow.pages.iter().enumerate() {
        let size = PageSettings::from_wh(flow.page.0, flow.page.1).ok_or_else(|| broken("no such page"))?;
        let mut page = document.start_page_with(size);
        let mut surface = page.surface();
        for marks in marks.chunk_by(|a, b| a.node == b.node) {
            group(&mut surface, marks, |node, spot, at| tree.found(node, spot, number, at))?;
        }
        surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(ArtifactType::Footer)));
        let y = flow.page.1 - MARGIN;
        let says = Words::new(fonts, &Text::own(format!("Page {} of {count}", number + 1)), false);
        let mut room = flow.width();
        for line in says.lines(room / FOOT) {
            room -= line.width * FOOT;
            words(&mut surface, &line, FOOT, (MARGIN + room, y));
        }
        let name = Words::new(fonts, title, false);
        // A title that would have to be cut stands at the top of the first page alone.
        if number > 0 && name.natural() * FOOT < room - 20.0 {
            name.lines(room / FOOT).iter().for_each(|line| words(&mut surface, line, FOOT, (MARGIN, y)));
        }
        surface.end_tagged();
        surface.finish();
        page.finish();
    }
    document.set_metadata(
        Metadata::new().title(plain(&title.plain())).language(LANGUAGE.to_owned()).creator("Lanewright".to_owned()),
    );
    document.set_outline(tree.outline());
    document.set_tag_tree(tree.tags(LANGUAGE));
    // Its short form: the long one quotes what people wrote.
    document.finish().map_err(|error| PdfError::File(error.to_string()))
}

/// Draws marks of one part as one tagged stretch.
fn group(
    surface: &mut Surface,
    marks: &[Mark],
    found: impl FnOnce(Node, krilla::tagging::Identifier, Rect),
) -> Result<(), PdfError> {
    let node = marks.first().and_then(|mark| mark.node);
    let is_words = marks.iter().all(|mark| matches!(mark.what, What::Words(..)));
    let tag = match node {
        Some(_) if is_words => ContentTag::Span(SpanTag::empty()),
        Some(_) => ContentTag::Other,
        None => ContentTag::Artifact(Artifact::with_kind(ArtifactType::Layout)),
    };
    let spot = surface.start_tagged(tag);
    for mark in marks {
        draw_mark(surface, mark)?;
    }
    surface.end_tagged();
    if let Some(node) = node {
        let mut sides = (f32::INFINITY, f32::INFINITY, f32::NEG_INFINITY, f32::NEG_INFINITY);
        for mark in marks {
            let (width, top, end) = mark.extent();
            sides = (sides.0.min(mark.x), sides.1.min(top), sides.2.max(mark.x + width), sides.3.max(end));
        }
        let at = Rect::from_ltrb(sides.0, sides.1, sides.2.max(sides.0 + 0.1), sides.3.max(sides.1 + 0.1));
        found(node, spot, at.ok_or_else(|| broken("a part has no place"))?);
    }
    Ok(())
}

fn path(build: impl FnOnce(&mut PathBuilder)) -> Option<Path> {
    let mut path = PathBuilder::new();
    build(&mut path);
    path.finish()
}

fn stroke(width: f32) -> Stroke {
    Stroke { width, ..Stroke::default() }
}

fn draw_mark(surface: &mut Surface, mark: &Mark) -> Result<(), PdfError> {
    let (x, y) = (mark.x, mark.y);
    match &mark.what {
        What::Words(line, size) => words(surface, line, *size, (x, y)),
        What::Rule(dx, dy, width) => {
            surface.set_fill(None);
            surface.set_stroke(Some(stroke(*width)));
            let line = path(|path| {
                path.move_to(x, y);
                path.line_to(x + dx, y + dy);
            });
            if let Some(line) = line {
                surface.draw_path(&line);
            }
        }
        What::Box(side, width) => {
            surface.set_fill(None);
            surface.set_stroke(Some(stroke(*width)));
            square(surface, x, y, *side);
        }
        What::Dot(side) => {
            surface.set_fill(Some(Fill::default()));
            surface.set_stroke(None);
            square(surface, x, y, *side);
        }
        What::Picture(picture, width, height) => {
            let size = Size::from_wh(*width, *height).ok_or_else(|| broken("a picture has no size"))?;
            surface.push_transform(&Transform::from_translate(x, y));
            surface.draw_svg(picture, size, SvgSettings::default()).ok_or_else(|| broken("a picture has no shape"))?;
            surface.pop();
        }
        What::Nothing => {}
    }
    Ok(())
}

fn square(surface: &mut Surface, x: f32, y: f32, side: f32) {
    let square = Rect::from_xywh(x, y, side, side).and_then(|square| path(|path| path.push_rect(square)));
    if let Some(square) = square {
        surface.draw_path(&square);
    }
}

/// A line of words on its base line.
fn words(surface: &mut Surface, line: &Line, size: f32, at: (f32, f32)) {
    surface.set_fill(Some(Fill::default()));
    for run in &line.runs {
        surface.set_stroke(run.is_thick.then(|| stroke(size * THICKER)));
        let from = Point::from_xy(at.0 + run.x * size, at.1);
        surface.draw_glyphs(from, &run.glyphs, run.face.font.clone(), &run.text, size, false);
    }
}
