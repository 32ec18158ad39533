//! What the parts of a document mean: the tag tree of an accessible file (PDF/UA-1, ISO 14289-1).

use std::num::NonZeroU16;

use krilla::geom::{Point, Rect};
use krilla::outline::{Outline, OutlineNode};
use krilla::tagging::{
    BBox, Identifier, ListNumbering, Node as TagNode, TableHeaderScope, Tag, TagGroup, TagKind, TagTree,
};

/// The number of a part.
pub(super) type Node = usize;

/// What a part is.
#[derive(Clone, Debug)]
pub(super) enum Role {
    /// A part of parts.
    Section,
    /// A heading of a level with its words.
    Heading(NonZeroU16, String),
    Paragraph,
    List,
    Item,
    /// The term or the dot of an item.
    Label,
    /// What an item says.
    Body,
    Table,
    Head,
    Rows,
    Row,
    ColumnHeading,
    RowHeading,
    Cell,
    /// A picture with a picture's heading.
    Group,
    /// A picture, in words.
    Figure(String),
    Caption,
}

impl Role {
    /// A heading of a level, 1 to 4.
    pub(super) fn heading(level: u16, words: String) -> Self {
        Self::Heading(NonZeroU16::new(level).unwrap_or(NonZeroU16::MIN), words)
    }

    fn tag(self, bounds: Option<BBox>) -> TagKind {
        match self {
            Self::Section => Tag::Section.into(),
            Self::Heading(level, words) => Tag::Hn(level, Some(words)).into(),
            Self::Paragraph => Tag::P.into(),
            Self::List => Tag::L(ListNumbering::None).into(),
            Self::Item => Tag::LI.into(),
            Self::Label => Tag::Lbl.into(),
            Self::Body => Tag::LBody.into(),
            Self::Table => Tag::Table.into(),
            Self::Head => Tag::THead.into(),
            Self::Rows => Tag::TBody.into(),
            Self::Row => Tag::TR.into(),
            Self::ColumnHeading => Tag::TH(TableHeaderScope::Column).into(),
            Self::RowHeading => Tag::TH(TableHeaderScope::Row).into(),
            Self::Cell => Tag::TD.into(),
            Self::Group => Tag::Div.into(),
            Self::Figure(words) => Tag::Figure(Some(words)).with_bbox(bounds).into(),
            Self::Caption => Tag::Caption.into(),
        }
    }
}

struct Part {
    role: Role,
    parts: Vec<Node>,
    /// Where on the pages its content is.
    spots: Vec<Identifier>,
    /// Where it begins.
    begins: Option<(usize, Point)>,
    bounds: Option<BBox>,
}

/// The parts of a document in reading order.
#[derive(Default)]
pub(super) struct Tree {
    parts: Vec<Part>,
    roots: Vec<Node>,
}

impl Tree {
    /// Adds a part to another one or to the document.
    pub(super) fn add(&mut self, under: Option<Node>, role: Role) -> Node {
        let node = self.parts.len();
        self.parts.push(Part { role, parts: Vec::new(), spots: Vec::new(), begins: None, bounds: None });
        match under.and_then(|node| self.parts.get_mut(node)) {
            Some(part) => part.parts.push(node),
            None => self.roots.push(node),
        }
        node
    }

    /// Notes that content of a part is on a page.
    pub(super) fn found(&mut self, node: Node, spot: Identifier, page: usize, at: Rect) {
        let Some(part) = self.parts.get_mut(node) else { return };
        part.spots.push(spot);
        part.begins.get_or_insert((page, Point::from_xy(at.left(), at.top())));
        if matches!(part.role, Role::Figure(_)) {
            part.bounds.get_or_insert(BBox::new(page, at));
        }
    }

    /// The headings as an outline to jump by.
    pub(super) fn outline(&self) -> Outline {
        let mut open: Vec<(NonZeroU16, OutlineNode)> = Vec::new();
        let mut outline = Outline::new();
        let mut close = |open: &mut Vec<(NonZeroU16, OutlineNode)>, level: Option<NonZeroU16>| {
            while open.last().is_some_and(|(last, _)| level.is_none_or(|level| *last >= level)) {
                let Some((_, done)) = open.pop() else { break };
                match open.last_mut() {
                    Some((_, parent)) => parent.push_child(done),
                    None => outline.push_child(done),
                }
            }
        };
        for part in &self.parts {
            if let (Role::Heading(level, words), Some((page, at))) = (&part.role, part.begins) {
                close(&mut open, Some(*level));
                let node = OutlineNode::new(words.clone(), krilla::destination::XyzDestination::new(page, at));
                open.push((*level, node.with_open(true)));
            }
        }
        close(&mut open, None);
        outline
    }

    /// The tags.
    pub(super) fn tags(mut self, language: &str) -> TagTree {
        let mut tags = TagTree::new().with_lang(Some(language.to_owned()));
        for root in std::mem::take(&mut self.roots) {
            if let Some(group) = self.group(root) {
                tags.push(group);
            }
        }
        tags
    }

    fn group(&mut self, node: Node) -> Option<TagGroup> {
        let part = self.parts.get_mut(node)?;
        let (role, bounds) = (part.role.clone(), part.bounds.take());
        let (parts, spots) = (std::mem::take(&mut part.parts), std::mem::take(&mut part.spots));
        let mut group = TagGroup::new(role.tag(bounds));
        group.children.extend(spots.into_iter().map(TagNode::from));
        for part in parts {
            if let Some(inner) = self.group(part) {
                group.push(inner);
            }
        }
        Some(group)
    }
}
