//! A document for people: what stands in it, in reading order, and what each part means; not how it is drawn.
//!
//! A builder makes a [`Sheet`] once, [`html`](crate::html::html) makes the page of it, and whoever writes another form of paper takes the
//! same value: two renderers that draw each part as it is described here cannot say different things. What holds for all:
//!
//! - Black on white. No meaning is in a colour; a [`Tone`] shows as weight or frame, and the words say it as well.
//! - Nothing is cut: words wrap, tables and cards go on over pages. Least size of words 9 pt on paper and 16 px on a screen.
//! - Nothing is torn from what it is about: on paper a heading and a caption stay with what follows, as do cautions before another block of
//!   their section and a paragraph before one that is none; the head of a table stays with its first row, the last two rows with each other,
//!   the first two and the last three items of a list, facts altogether, and a few words at the end with the end of what is before them
//!   ([`Sheet::closes`]).
//! - Our own words are English ([`LANGUAGE`]), written left to right. What people wrote ([`Span::is_theirs`]) may be of any
//!   script: each such span has the direction of its first strong letter and is isolated from its neighbours (UAX 9), and it
//!   breaks over lines only between words, or within one that is longer than a line.
//! - Structure for those who hear the page: the title is the one heading of level 1, sections level 2, [`Block::Heading`] and
//!   cards level 3, a heading within a card level 4; tables have header cells by column and by row; figures have a text.

/// The language of our own words (BCP 47).
pub const LANGUAGE: &str = "en";

/// A run of words of one origin and weight.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Span {
    /// The words; never a line break.
    pub words: String,
    /// Whether people wrote it, such as a name: any script, isolated, direction of its first strong letter.
    pub is_theirs: bool,
    /// Whether it is bold.
    pub is_strong: bool,
}

/// Words in reading order, such as a name and what we say of it. The paragraph goes left to right; spans follow each other
/// without a blank between them other than those they hold.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Text(pub Vec<Span>);

impl Text {
    /// Our own words.
    pub fn own(words: impl Into<String>) -> Self {
        Self::default().and(words)
    }

    /// What people wrote.
    ///
    /// ```
    /// use lanewright_render::sheet::Text;
    ///
    /// assert_eq!(Text::theirs("مريم").and(" (3 of 4)").plain(), "مريم (3 of 4)");
    /// ```
    pub fn theirs(words: impl Into<String>) -> Self {
        Self::default().and_theirs(words)
    }

    /// Our own words in bold.
    pub fn strong(words: impl Into<String>) -> Self {
        let mut text = Self::own(words);
        text.0.iter_mut().for_each(|span| span.is_strong = true);
        text
    }

    /// Followed by our own words.
    #[must_use]
    pub fn and(mut self, words: impl Into<String>) -> Self {
        self.0.push(Span { words: words.into(), is_theirs: false, is_strong: false });
        self
    }

    /// Followed by what people wrote.
    #[must_use]
    pub fn and_theirs(mut self, words: impl Into<String>) -> Self {
        self.0.push(Span { words: words.into(), is_theirs: true, is_strong: false });
        self
    }

    /// Followed by another text.
    #[must_use]
    pub fn and_text(mut self, other: Self) -> Self {
        self.0.extend(other.0);
        self
    }

    /// Whether there is nothing to read.
    pub fn is_empty(&self) -> bool {
        self.0.iter().all(|span| span.words.trim().is_empty())
    }

    /// The words alone, for a title of a document or of a figure.
    pub fn plain(&self) -> String {
        self.0.iter().map(|span| span.words.as_str()).collect()
    }
}

impl From<&str> for Text {
    fn from(words: &str) -> Self {
        Self::own(words)
    }
}

impl From<String> for Text {
    fn from(words: String) -> Self {
        Self::own(words)
    }
}

/// How a page of A4 lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Orientation {
    /// 210 mm wide, 297 mm high.
    Portrait,
    /// 297 mm wide, 210 mm high.
    Landscape,
}

/// A document: A4 on paper, one column on a phone.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sheet {
    /// The title: the heading of level 1, and as plain words the title of the document.
    pub title: Text,
    /// One line below the title: club, day, place.
    pub subtitle: Text,
    /// How its pages lie.
    pub orientation: Orientation,
    /// What stands in it, in reading order.
    pub sections: Vec<Section>,
}

impl Sheet {
    /// Whether a section is a last one of words alone behind what can be parted. On paper it stays with the end of that, so that no page
    /// holds a few words and nothing else.
    pub fn closes(&self, at: usize) -> bool {
        let is_words = |block: &Block| {
            matches!(
                block,
                Block::Heading(_) | Block::Paragraph(_) | Block::List(_) | Block::Cautions(_) | Block::Facts(_)
            )
        };
        let before = at.checked_sub(1).and_then(|before| self.sections.get(before));
        let is_parted = |block: &Block| !matches!(block, Block::Cards(_) | Block::Figure(_));
        let this = self.sections.get(at).filter(|one| at + 1 == self.sections.len() && !one.starts_page);
        this.is_some_and(|one| one.blocks.iter().all(is_words))
            && before.is_some_and(|one| one.blocks.last().is_some_and(is_parted))
    }
}

/// A part with a heading of level 2, which never stands alone at the foot of a page.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Section {
    /// Its heading.
    pub heading: Text,
    /// Whether it begins a page on paper; the first section never needs to.
    pub starts_page: bool,
    /// What stands in it, in reading order.
    pub blocks: Vec<Block>,
}

impl Section {
    /// A section that follows on the same page.
    pub fn new(heading: impl Into<Text>, blocks: Vec<Block>) -> Self {
        Self { heading: heading.into(), starts_page: false, blocks }
    }

    /// The same on a page of its own.
    #[must_use]
    pub fn on_new_page(mut self) -> Self {
        self.starts_page = true;
        self
    }
}

/// A block of a section or card.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Block {
    /// A heading below that of the section or card; stays with what follows.
    Heading(Text),
    /// A paragraph.
    Paragraph(Text),
    /// A list with dots.
    List(Vec<Text>),
    /// Cautions: a list where each begins with the word "Caution" and a colon in bold, in a frame of one thick edge. All of them
    /// are shown, in this order. An empty list draws nothing.
    Cautions(Vec<Text>),
    /// Terms, each with its value: the term bold, the value beside or below it. A term list in structure.
    Facts(Vec<(Text, Text)>),
    /// A table.
    Table(Table),
    /// Cards.
    Cards(Cards),
    /// A picture.
    Figure(Figure),
}

/// How large the cells of a table are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Size {
    /// As other words.
    Usual,
    /// 14 pt, on paper and on screens, to be read from a tape's distance.
    Tape,
}

/// What becomes of a table that is wider than a phone.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Narrow {
    /// It moves sideways within its own frame, its row headings staying; the page does not move. For figures to compare by column.
    Scroll,
    /// Each row becomes a block: its heading, then each cell that is not empty behind the heading of its column. For words.
    Stack,
}

/// A table with a header cell on each column and each row. On paper its column headings are repeated on every page, and no row
/// is parted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Table {
    /// What it shows: the caption above it.
    pub caption: Text,
    /// Heading of the column of row headings.
    pub corner: Text,
    /// The other columns.
    pub columns: Vec<Column>,
    /// The rows, each with as many cells as there are columns; a missing cell is drawn empty.
    pub rows: Vec<Row>,
    /// How large the cells are written.
    pub size: Size,
    /// What becomes of it on a phone.
    pub narrow: Narrow,
}

impl Table {
    /// The same without columns in which nobody has anything; of a table without rows every column stays.
    ///
    /// ```
    /// use lanewright_render::sheet::{Cell, Column, Narrow, Row, Size, Table, Text};
    ///
    /// let columns = ["Stage", "Target", "To heed"].map(Column::words).to_vec();
    /// let row = |heed: &str| Row::new("Mira", vec![Cell::of("Walkover"), Cell::default(), Cell::of(heed)]);
    /// let (caption, corner) = (Text::own("Everybody"), Text::own("Athlete"));
    /// let rows = vec![row(""), row("After a fall")];
    /// let table = Table { caption, corner, columns, rows, size: Size::Usual, narrow: Narrow::Stack }.without_empty_columns();
    /// assert_eq!(table.columns, ["Stage", "To heed"].map(Column::words));
    /// assert_eq!(table.rows[1].cells, [Cell::of("Walkover"), Cell::of("After a fall")]);
    /// ```
    #[must_use]
    pub fn without_empty_columns(mut self) -> Self {
        let said = |at: usize| self.rows.iter().any(|row| row.cells.get(at).is_some_and(|cell| !cell.is_empty()));
        let kept: Vec<bool> = (0..self.columns.len()).map(|at| self.rows.is_empty() || said(at)).collect();
        let mut at = kept.iter();
        self.columns.retain(|_| *at.next().unwrap_or(&false));
        for row in &mut self.rows {
            let mut at = kept.iter();
            row.cells.retain(|_| *at.next().unwrap_or(&false));
        }
        self
    }
}

/// A column of a [`Table`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// Its heading.
    pub heading: Text,
    /// Whether its cells are numbers: set to the right, in digits of one width, never wrapped.
    pub is_figures: bool,
}

impl Column {
    /// A column of words.
    pub fn words(heading: impl Into<Text>) -> Self {
        Self { heading: heading.into(), is_figures: false }
    }

    /// A column of numbers.
    pub fn figures(heading: impl Into<Text>) -> Self {
        Self { heading: heading.into(), is_figures: true }
    }
}

/// A row of a [`Table`].
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Row {
    /// Its heading; a header cell, no bolder than the row but where rows become blocks.
    pub heading: Text,
    /// Whether the whole row is bold with a thick line above, such as a barrier among marks.
    pub is_strong: bool,
    /// Its cells.
    pub cells: Vec<Cell>,
}

impl Row {
    /// A usual row.
    pub fn new(heading: impl Into<Text>, cells: Vec<Cell>) -> Self {
        Self { heading: heading.into(), is_strong: false, cells }
    }

    /// The same in bold.
    #[must_use]
    pub fn strong(mut self) -> Self {
        self.is_strong = true;
        self
    }
}

/// How a cell stands out.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Tone {
    /// Not at all.
    #[default]
    Plain,
    /// Bold.
    Strong,
    /// Bold in a thick frame: look at this first. The words say why.
    Alert,
}

/// A cell of a [`Table`].
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Cell {
    /// Its words, a paragraph each; none is an empty cell.
    pub lines: Vec<Text>,
    /// How it stands out.
    pub tone: Tone,
    /// Empty boxes below the words, to be ticked by hand: 4.5 mm wide, in rows. Where they are heard: "n boxes to tick".
    pub boxes: u8,
}

impl Cell {
    /// A cell of one line.
    pub fn of(text: impl Into<Text>) -> Self {
        Self { lines: vec![text.into()], ..Self::default() }
    }

    /// A cell of lines.
    pub fn lines(lines: Vec<Text>) -> Self {
        Self { lines, ..Self::default() }
    }

    /// The same in another tone.
    #[must_use]
    pub fn toned(mut self, tone: Tone) -> Self {
        self.tone = tone;
        self
    }

    /// The same with boxes to tick.
    #[must_use]
    pub fn with_boxes(mut self, boxes: u8) -> Self {
        self.boxes = boxes;
        self
    }

    /// Whether there is nothing in it.
    pub fn is_empty(&self) -> bool {
        self.boxes == 0 && self.lines.iter().all(Text::is_empty)
    }
}

/// Cards in frames, to be cut apart.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Cards {
    /// Cards to a page of paper: 4 are two by two. One that needs more room than its share gets it and is never cut; a card is
    /// not parted over pages unless it is longer than one. What is left of a page that has begun is taken by cards that need no
    /// more than that; below what heads a page they share what it leaves them. On a phone they stand below each other.
    pub per_page: u8,
    /// The cards in order.
    pub cards: Vec<Card>,
}

/// A card with a heading of level 3.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Card {
    /// Its heading, such as a name.
    pub heading: Text,
    /// What stands in it; no cards in cards.
    pub blocks: Vec<Block>,
}

/// A picture, not parted over pages.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Figure {
    /// One `svg` element without a declaration, ids, styles, scripts or links: shapes and words with attributes alone (SVG 1.1),
    /// black on white, with a `viewBox` in millimetres (mm) at most 125 wide. It is drawn as wide as a phone's column, and on
    /// paper at least as large as its `viewBox` says. Its words are ours, without names, in Latin letters.
    pub svg: String,
    /// All that it shows, in words, for those who cannot see it.
    pub alt: String,
    /// What it shows: the caption below it.
    pub caption: Text,
}
