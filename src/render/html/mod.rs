//! A [`Sheet`] as a page of its own: HTML without scripts, outside hosts and other files, for a phone and for A4.
//!
//! Its style is one `style` element and no `style` attribute, so that a policy which allows styles of the page alone suffices.

use std::fmt::Write;

use super::paper::{escaped, together};
use super::sheet::{
    Block, Card, Cards, Cell, Column, Figure, LANGUAGE, Narrow, Orientation, Row, Section, Sheet, Size, Table, Text,
    Tone,
};

const STYLE: &str = include_str!("page.css");
/// How pages lie, and how high a card is of which four or six share one.
const PORTRAIT: &str = "@page{size:A4 portrait}@media print{.per-4{grid-auto-rows:minmax(100mm,auto)}.per-6{grid-auto-rows:minmax(80mm,auto)}}";
const LANDSCAPE: &str = "@page{size:A4 landscape}@media print{.per-4{grid-auto-rows:minmax(82mm,auto)}.per-6{grid-auto-rows:minmax(52mm,auto)}figure{display:inline-block;width:49%;vertical-align:top}}";
/// So many sections, or tables of a section, get links to each of them: so far nobody wants to scroll on a phone (design choice).
const MANY: usize = 4;

/// The page (UTF-8).
///
/// ```
/// use lanewright_render::html::html;
/// use lanewright_render::sheet::{Block, Orientation, Section, Sheet, Text};
///
/// let sheet = Sheet {
///     title: Text::own("Cards of ").and_theirs("Łódź <b>"),
///     subtitle: Text::own("2026-11-28"),
///     orientation: Orientation::Portrait,
///     sections: vec![Section::new("Notes", vec![Block::Paragraph("Dry.".into())])],
/// };
/// assert!(html(&sheet).contains("<h1>Cards of <bdi dir=\"auto\">Łódź &lt;b&gt;</bdi></h1>"));
/// ```
pub fn html(sheet: &Sheet) -> String {
    let lies = match sheet.orientation {
        Orientation::Portrait => PORTRAIT,
        Orientation::Landscape => LANDSCAPE,
    };
    let mut page = Page { out: String::with_capacity(16_384), sections: 0, tables: 0 };
    let title = isolated(&sheet.title);
    let _ = write!(
        page.out,
        "<!DOCTYPE html>\n<html lang=\"{LANGUAGE}\" dir=\"ltr\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"robots\" content=\"noindex\">\n<meta name=\"format-detection\" content=\"telephone=no\">\n\
         <title>{title}</title>\n<style>{STYLE}{lies}</style>\n</head>\n<body>\n<main>\n"
    );
    page.element("h1", "", &sheet.title);
    if !sheet.subtitle.is_empty() {
        page.element("p", "subtitle", &sheet.subtitle);
    }
    let parts = sheet.sections.iter().map(|section| section.heading.clone());
    page.links("Parts", "part", 1, &parts.collect::<Vec<_>>());
    for (at, section) in sheet.sections.iter().enumerate() {
        page.section(section, sheet.closes(at));
    }
    page.out.push_str("</main>\n</body>\n</html>\n");
    page.out
}

/// Words for where no element can stand: what people wrote is kept apart by the marks of UAX 9.
fn isolated(text: &Text) -> String {
    let mut words = String::new();
    for span in &text.0 {
        if span.is_theirs {
            let _ = write!(words, "\u{2068}{}\u{2069}", escaped(&span.words));
        } else {
            words.push_str(&escaped(&span.words));
        }
    }
    words
}

/// Words in elements.
fn inline(text: &Text) -> String {
    let mut words = String::new();
    for span in &text.0 {
        let isolated = if span.is_theirs {
            format!("<bdi dir=\"auto\">{}</bdi>", escaped(&span.words))
        } else {
            dated(&escaped(&together(&span.words)))
        };
        let _ = if span.is_strong { write!(words, "<strong>{isolated}</strong>") } else { write!(words, "{isolated}") };
    }
    words
}

/// The same with each day, such as 2026-11-28, kept on one line: browsers would break it behind its hyphens.
fn dated(words: &str) -> String {
    let is_day = |part: &[u8]| {
        part.iter().enumerate().all(|(i, byte)| if i == 4 || i == 7 { *byte == b'-' } else { byte.is_ascii_digit() })
    };
    let bytes = words.as_bytes();
    let (mut out, mut from, mut at) = (String::with_capacity(words.len()), 0, 0);
    while let Some(part) = bytes.get(at..at + 10) {
        if is_day(part) {
            let _ = write!(out, "{}<span class=\"day\">{}</span>", &words[from..at], &words[at..at + 10]);
            (from, at) = (at + 10, at + 10);
        } else {
            at += 1;
        }
    }
    out.push_str(&words[from..]);
    out
}

struct Page {
    out: String,
    /// Sections so far, for their ids.
    sections: usize,
    /// Tables so far, for their ids.
    tables: usize,
}

impl Page {
    /// An element of words; no class where it is empty.
    fn element(&mut self, name: &str, class: &str, text: &Text) {
        let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
        let _ = writeln!(self.out, "<{name}{class}>{}</{name}>", inline(text));
    }

    fn section(&mut self, section: &Section, closes: bool) {
        self.sections += 1;
        let class = match (section.starts_page, closes) {
            (true, _) => " class=\"new-page\"",
            (false, true) => " class=\"closing\"",
            (false, false) => "",
        };
        let _ = writeln!(self.out, "<section id=\"part-{}\"{class}>", self.sections);
        self.element("h2", "", &section.heading);
        let tables = section.blocks.iter().filter_map(|block| match block {
            Block::Table(table) => Some(Text::own(table.caption.plain().split(':').next().unwrap_or_default())),
            _ => None,
        });
        let what = format!("Tables of: {}", section.heading.plain());
        self.links(&what, "table", self.tables + 1, &tables.collect::<Vec<_>>());
        for block in &section.blocks {
            self.block(block, 3);
        }
        self.out.push_str("</section>\n");
    }

    /// Links to what is numbered from `first`, where there are many; on a screen only.
    fn links(&mut self, what: &str, id: &str, first: usize, names: &[Text]) {
        if names.len() < MANY {
            return;
        }
        let _ = writeln!(self.out, "<nav aria-label=\"{}\"><ul>", escaped(what));
        for (number, name) in (first..).zip(names) {
            let _ = writeln!(self.out, "<li><a href=\"#{id}-{number}\">{}</a></li>", inline(name));
        }
        self.out.push_str("</ul></nav>\n");
    }

    /// A block; `level` is that of headings in it.
    fn block(&mut self, block: &Block, level: u8) {
        match block {
            Block::Heading(text) => self.element(&format!("h{level}"), "", text),
            Block::Paragraph(text) => self.element("p", "", text),
            Block::List(items) => self.list("", "", items),
            Block::Cautions(items) => self.list(" class=\"cautions\"", "<strong>Caution:</strong> ", items),
            Block::Facts(facts) => self.facts(facts),
            Block::Table(table) => self.table(table),
            Block::Cards(cards) => self.cards(cards),
            Block::Figure(figure) => self.figure(figure),
        }
    }

    fn list(&mut self, class: &str, before: &str, items: &[Text]) {
        if items.is_empty() {
            return;
        }
        let _ = writeln!(self.out, "<ul{class}>");
        for item in items {
            let _ = writeln!(self.out, "<li>{before}{}</li>", inline(item));
        }
        self.out.push_str("</ul>\n");
    }

    fn facts(&mut self, facts: &[(Text, Text)]) {
        if facts.is_empty() {
            return;
        }
        self.out.push_str("<dl>\n");
        for (term, value) in facts {
            let _ = writeln!(self.out, "<div><dt>{}</dt><dd>{}</dd></div>", inline(term), inline(value));
        }
        self.out.push_str("</dl>\n");
    }

    fn cards(&mut self, cards: &Cards) {
        let columns = if cards.per_page < 4 { "one" } else { "two" };
        let _ = writeln!(self.out, "<div class=\"cards {columns} per-{}\">", cards.per_page);
        for Card { heading, blocks } in &cards.cards {
            self.out.push_str("<article>\n");
            self.element("h3", "", heading);
            for block in blocks {
                self.block(block, 4);
            }
            self.out.push_str("</article>\n");
        }
        self.out.push_str("</div>\n");
    }

    fn figure(&mut self, figure: &Figure) {
        let Figure { svg, alt, caption } = figure;
        let _ = writeln!(self.out, "<figure><div role=\"img\" aria-label=\"{}\">{svg}</div>", escaped(alt));
        if !caption.is_empty() {
            self.element("figcaption", "", caption);
        }
        self.out.push_str("</figure>\n");
    }

    /// A table. One that becomes blocks on a phone says its structure in roles: browsers drop it with the display of a table.
    fn table(&mut self, table: &Table) {
        self.tables += 1;
        let id = self.tables;
        let stacks = table.narrow == Narrow::Stack;
        let role = |name: &str| if stacks { format!(" role=\"{name}\"") } else { String::new() };
        let class = match (stacks, table.size) {
            (true, Size::Usual) => "stack",
            (true, Size::Tape) => "stack tape",
            (false, Size::Usual) => "wide",
            (false, Size::Tape) => "wide tape",
        };
        if !stacks {
            let _ = writeln!(
                self.out,
                "<div class=\"scroll\" role=\"group\" aria-labelledby=\"table-{id}\" tabindex=\"0\">"
            );
        }
        let _ = writeln!(
            self.out,
            "<table class=\"{class}\"{}><caption id=\"table-{id}\">{}</caption>\n<thead{}><tr{}><th scope=\"col\"{}>{}</th>",
            role("table"),
            inline(&table.caption),
            role("rowgroup"),
            role("row"),
            role("columnheader"),
            inline(&table.corner)
        );
        for (at, column) in table.columns.iter().enumerate() {
            let is_blank = || table.rows.iter().all(|row| row.cells.get(at).is_none_or(Cell::is_empty));
            // A column without a word is there to be filled in by hand.
            let class = if column.is_figures {
                " class=\"n\""
            } else if !table.rows.is_empty() && is_blank() {
                " class=\"blank\""
            } else {
                ""
            };
            let _ =
                writeln!(self.out, "<th scope=\"col\"{class}{}>{}</th>", role("columnheader"), inline(&column.heading));
        }
        let _ = writeln!(self.out, "</tr></thead>\n<tbody{}>", role("rowgroup"));
        for row in &table.rows {
            let class = if row.is_strong { " class=\"strong\"" } else { "" };
            let _ = writeln!(
                self.out,
                "<tr{class}{}><th scope=\"row\"{}>{}</th>",
                role("row"),
                role("rowheader"),
                inline(&row.heading)
            );
            self.cells(row, &table.columns, stacks);
            self.out.push_str("</tr>\n");
        }
        self.out.push_str("</tbody></table>\n");
        if !stacks {
            self.out.push_str("</div>\n");
        }
    }

    fn cells(&mut self, row: &Row, columns: &[Column], stacks: bool) {
        let none = Cell::default();
        for (at, column) in columns.iter().enumerate() {
            let cell = row.cells.get(at).unwrap_or(&none);
            let tone = match cell.tone {
                Tone::Plain => "",
                Tone::Strong => " strong",
                Tone::Alert => " alert",
            };
            let class = format!("{}{tone}", if column.is_figures { "n" } else { "" });
            let class = if class.is_empty() { class } else { format!(" class=\"{}\"", class.trim_start()) };
            let stacked = if stacks {
                format!(" role=\"cell\" data-of=\"{}\"", escaped(&column.heading.plain()))
            } else {
                String::new()
            };
            let _ = write!(self.out, "<td{class}{stacked}>");
            // An empty cell stays without a letter in it: the style leaves it out where rows become blocks.
            if !cell.is_empty() {
                self.cell(cell);
            }
            self.out.push_str("</td>\n");
        }
    }

    fn cell(&mut self, cell: &Cell) {
        match &cell.lines[..] {
            [] => {}
            [line] => self.out.push_str(&inline(line)),
            lines => lines.iter().for_each(|line| {
                let _ = write!(self.out, "<p>{}</p>", inline(line));
            }),
        }
        if cell.boxes > 0 {
            let boxes = "<i></i>".repeat(usize::from(cell.boxes));
            let words = if cell.boxes == 1 { "box" } else { "boxes" };
            let _ = write!(
                self.out,
                "<span class=\"boxes\" role=\"img\" aria-label=\"{} {words} to tick\">{boxes}</span>",
                cell.boxes
            );
        }
    }
}

#[cfg(test)]
mod tests;
