#![allow(clippy::unwrap_used, clippy::expect_used)]

mod pages;

use std::collections::BTreeSet;

use lopdf::{Dictionary, Document, Object};

use super::*;
use crate::sheet::*;

/// A file, read back by a reader that is not ours.
struct Read {
    document: Document,
    /// The words of each page, blanks left out: a reader may part words where letters only stand apart.
    pages: Vec<String>,
}

fn bare(words: &str) -> String {
    words.chars().filter(|letter| !letter.is_whitespace()).collect()
}

impl Read {
    fn of(sheet: &Sheet, name: &str) -> Self {
        let bytes = pdf(sheet).unwrap();
        assert_eq!(bytes, pdf(sheet).unwrap(), "the same document is the same bytes");
        // To be looked at: LANEWRIGHT_KEEP names a folder.
        if let Some(folder) = std::env::var_os("LANEWRIGHT_KEEP") {
            std::fs::write(std::path::Path::new(&folder).join(format!("{name}.pdf")), &bytes).unwrap();
        }
        let document = Document::load_mem(&bytes).unwrap();
        let pages = document.get_pages().into_keys();
        let pages = pages.map(|page| bare(&document.extract_text(&[page]).unwrap())).collect();
        let read = Self { document, pages };
        read.is_accessible(sheet);
        read
    }

    fn dictionary<'a>(&'a self, from: &'a Dictionary, key: &[u8]) -> &'a Dictionary {
        let (_, found) = self.document.dereference(from.get(key).unwrap()).unwrap();
        found.as_dict().unwrap()
    }

    fn catalog(&self) -> &Dictionary {
        self.document.catalog().unwrap()
    }

    fn has(&self, words: &str) -> bool {
        self.pages.iter().any(|page| page.contains(&bare(words)))
    }

    /// Every structure element: its kind and dictionary, in reading order.
    fn elements(&self) -> Vec<(String, &Dictionary)> {
        fn walk<'a>(document: &'a Document, object: &'a Object, found: &mut Vec<(String, &'a Dictionary)>) {
            let Ok((_, object)) = document.dereference(object) else { return };
            match object {
                Object::Array(all) => all.iter().for_each(|one| walk(document, one, found)),
                Object::Dictionary(one) => {
                    if let Ok(kind) = one.get(b"S").and_then(Object::as_name) {
                        found.push((String::from_utf8_lossy(kind).into_owned(), one));
                    }
                    if let Ok(kids) = one.get(b"K") {
                        walk(document, kids, found);
                    }
                }
                _ => {}
            }
        }
        let mut found = Vec::new();
        walk(&self.document, self.catalog().get(b"StructTreeRoot").unwrap(), &mut found);
        found
    }

    /// The sizes of all words, points (pt).
    fn sizes(&self) -> BTreeSet<u32> {
        let mut sizes = BTreeSet::new();
        for page in self.document.get_pages().into_values() {
            let content = self.document.get_page_content(page);
            for operation in lopdf::content::Content::decode(&content).unwrap().operations {
                if operation.operator == "Tf" {
                    // Sizes that come of fitting a long word are not whole.
                    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
                    sizes.insert(operation.operands[1].as_float().unwrap() as u32);
                }
            }
        }
        sizes
    }

    fn count(&self, kind: &str) -> usize {
        self.elements().iter().filter(|(own, _)| own == kind).count()
    }

    /// What every file must be.
    fn is_accessible(&self, sheet: &Sheet) {
        let catalog = self.catalog();
        assert_eq!(catalog.get(b"Lang").unwrap().as_str().unwrap(), b"en");
        assert!(self.dictionary(catalog, b"MarkInfo").get(b"Marked").unwrap().as_bool().unwrap());
        assert!(self.dictionary(catalog, b"ViewerPreferences").get(b"DisplayDocTitle").unwrap().as_bool().unwrap());
        let info = self.dictionary(&self.document.trailer, b"Info");
        let title = lopdf::decode_text_string(info.get(b"Title").unwrap()).unwrap();
        assert_eq!(title, sheet.title.plain());
        assert_eq!(self.count("H1"), 1);
        for object in self.document.objects.values() {
            let Ok(font) = object.as_dict() else { continue };
            if font.get(b"Type").and_then(Object::as_name).is_ok_and(|kind| kind == b"Font")
                && font.get(b"Subtype").and_then(Object::as_name).is_ok_and(|kind| kind != b"Type0")
            {
                let described = self.dictionary(font, b"FontDescriptor");
                let is_embedded = [b"FontFile2".as_slice(), b"FontFile3"].iter().any(|key| described.has(key));
                assert!(is_embedded, "{font:?}");
            }
        }
        for (kind, element) in self.elements() {
            if kind == "Figure" {
                assert!(!element.get(b"Alt").unwrap().as_str().unwrap().is_empty());
            }
        }
    }
}

fn sheet(sections: Vec<Section>) -> Sheet {
    Sheet {
        title: "Set-out sheet".into(),
        subtitle: Text::theirs("Northfield Harriers").and(" \u{b7} 2026-05-02 \u{b7} ").and_theirs("Main track"),
        orientation: Orientation::Landscape,
        sections,
    }
}

const LONG: [&str; 4] = [
    "Maximiliane-Anastasia von Hohenwaldenburg",
    "Wolfeschlegelsteinhausenbergerdorffsonnen",
    "Konstantinos Papadimitrakopoulos-Andreou",
    "Bartholomew Featherstonehaugh-Cholmondel",
];
const OTHERS: [&str; 8] = [
    "מרים לוי-כהן",
    "مريم عبد الرحمن الشيخ",
    "山田 太郎",
    "欧阳娜娜",
    "김민서",
    "Анастасия Вознесенская",
    "Αλέξανδρος Παπαδόπουλος",
    "Nguyễn Thị Ánh Tuyết",
];

/// Twelve lanes of twelve barriers, with names of forty letters.
fn tape(lanes: u8, barriers: u32) -> Table {
    let columns = (0..lanes).map(|lane| Column::figures(Text::own(format!("Lane {}", lane + 1))));
    let mut rows = vec![Row::new("Start", vec![Cell::of("0.00"); lanes.into()])];
    for barrier in 0..barriers {
        for (first, mark) in [(11.0, "Take-off"), (12.0, "Barrier"), (13.0, "Landing")] {
            let at = |lane: u8| first + f64::from(barrier) * (7.25 + 0.1 * f64::from(lane));
            let cells = (0..lanes).map(|lane| Cell::of(format!("{:.2}", at(lane)))).collect();
            let row = Row::new(format!("{mark} {}", barrier + 1), cells);
            rows.push(if mark == "Barrier" { row.strong() } else { row });
        }
    }
    Table {
        caption: "Metres from the start line, to lay along a tape".into(),
        corner: "Mark".into(),
        columns: columns.collect(),
        rows,
        size: Size::Tape,
        narrow: Narrow::Scroll,
    }
}

fn runners(names: &[&str]) -> Table {
    let rows = names.iter().enumerate().map(|(i, name)| {
        let words = Cell::lines(vec![Text::theirs(*name), "one step closer than advised, coach confirms".into()]);
        let tone = if i == 1 { Tone::Alert } else { Tone::Plain };
        Row::new(
            Text::own(format!("Lane {}", i + 1)),
            vec![words.toned(tone), Cell::of("3 x 0.50 m"), Cell::default().with_boxes(8)],
        )
    });
    Table {
        caption: "Who runs where".into(),
        corner: "Lane".into(),
        columns: vec![Column::words("Athlete"), Column::words("Barriers"), Column::words("Runs")],
        rows: rows.collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    }
}

#[test]
fn twelve_lanes_of_twelve_are_printed_whole_with_every_name_and_caution() {
    let cautions: Vec<Text> = (1..=10)
        .map(|i| Text::own(format!("Sentence {i} says something that a coach has to know before the first run, and it is long enough to need more than a line of paper: ")).and_theirs(LONG[i % 4]).and(" rests."))
        .collect();
    let names: Vec<&str> = LONG.into_iter().chain(OTHERS).collect();
    let sheet = sheet(vec![
        Section::new("Cautions", vec![Block::Cautions(cautions)]),
        Section::new("Tape table", vec![Block::Table(tape(12, 12))]).on_new_page(),
        Section::new("Athletes", vec![Block::Heading("Lanes by demand".into()), Block::Table(runners(&names))]),
    ]);
    let read = Read::of(&sheet, "set-out");
    for name in LONG.into_iter().chain(OTHERS) {
        // Of letters from right to left a reader may give the order in which they are seen.
        let seen = |name: &str| bare(name).chars().rev().collect::<String>();
        assert!(read.has(name) || read.pages.iter().any(|page| page.contains(&seen(name))), "{name}");
    }
    for i in 1..=10 {
        assert!(read.has(&format!("Caution: Sentence {i} says")), "{i}");
    }
    assert!(read.has("104.85"));
    let with = read.pages.iter().filter(|page| page.contains("Lane1Lane2Lane3")).count();
    assert!(with > 1, "the header row is on every page of the table: {with}");
    assert_eq!(read.count("Table"), 2);
    assert_eq!(read.count("TH"), 13 + 37 + 4 + 12, "repeated headings are decoration");
    assert_eq!(read.count("Figure"), 12);
    let sizes = read.sizes();
    assert!(sizes.contains(&14) && sizes.first() >= Some(&9), "{sizes:?}");
}

#[test]
fn a_table_too_wide_for_the_paper_goes_on_beside_its_row_headings() {
    let mut sheet = sheet(vec![Section::new("Tape table", vec![Block::Table(tape(12, 2))])]);
    sheet.orientation = Orientation::Portrait;
    let read = Read::of(&sheet, "narrow");
    assert!(read.count("Table") > 1);
    for lane in 1..=12 {
        assert!(read.has(&format!("Lane {lane}")));
    }
    assert!(read.has("(continued)"));
}

#[test]
fn a_picture_has_its_words_and_is_not_parted() {
    let svg = concat!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 120 80"><rect width="120" height="80" fill="white" stroke="black" stroke-width="0.3"/>"#,
        r#"<text x="60" y="40" font-size="5" text-anchor="middle" font-family="sans-serif">held 81 %</text>"#,
        r#"<path d="M10 60L110 20" stroke="black" stroke-width="0.5" stroke-dasharray="2 1" fill="none"/></svg>"#
    );
    let figure = Figure {
        svg: svg.into(),
        alt: "The limit rises from 6.5 to 7.5 m.".into(),
        caption: "Limit and target".into(),
    };
    let blocks = vec![Block::Figure(figure); 3];
    let read = Read::of(&sheet(vec![Section::new("Progress", blocks)]), "figure");
    // Two beside each other on a page that lies, then the third.
    assert_eq!((read.count("Figure"), read.count("Caption"), read.pages.len()), (3, 3, 2));
    assert!(read.has("held 81 %"));
    let broken = Figure { svg: "<svg".into(), alt: "x".into(), caption: Text::default() };
    let broken = pdf(&sheet(vec![Section::new("", vec![Block::Figure(broken)])]));
    assert!(matches!(broken, Err(PdfError::Picture(_))));
}

#[test]
fn a_document_of_nothing_is_one_page() {
    let empty = Table { rows: Vec::new(), ..tape(1, 1) };
    let blocks = vec![
        Block::Cautions(Vec::new()),
        Block::List(Vec::new()),
        Block::Facts(Vec::new()),
        Block::Table(empty),
        Block::Cards(Cards { per_page: 4, cards: Vec::new() }),
        Block::Paragraph(Text::default()),
    ];
    let read = Read::of(&sheet(vec![Section::new("Empty", blocks)]), "empty");
    assert_eq!(read.pages.len(), 1);
    assert_eq!(Read::of(&sheet(Vec::new()), "nothing").pages.len(), 1);
}

#[test]
fn letters_that_no_font_has_and_marks_that_turn_words_break_nothing() {
    let names = [
        "\u{1f3c3} Runner",
        "A\u{202e}B\u{2069}C",
        "e\u{301}\u{feff}t\u{0}x",
        "\u{e000}",
        "a\u{200d}b\u{ad}c",
        "\u{301}",
        "𠮷野",
        "अनन्या शर्मा",
        "สมชาย",
        "გიორგი",
        "Արամ",
    ];
    let items = names.into_iter().map(Text::theirs).collect();
    let read = Read::of(&sheet(vec![Section::new("Names", vec![Block::List(items)])]), "odd");
    assert_eq!(read.count("LI"), names.len());
    assert!(read.has("Runner") && read.has("ABC"));
}

#[test]
fn every_letter_can_be_printed_somehow() {
    // All letters of the scripts in use, every seventh of the many others.
    let letters = (0..0x3100_u32).chain((0x3100..0x11_0000).step_by(7)).filter_map(char::from_u32);
    let letters: Vec<char> = letters.collect();
    let items = letters.chunks(60).map(|part| Text::theirs(part.iter().collect::<String>()));
    let mut sheet = sheet(vec![Section::new("Letters", vec![Block::List(items.collect())])]);
    sheet.title = Text::theirs("a\u{0}b\u{feff}c\u{ffff}d");
    let file = pdf(&sheet).unwrap();
    let pages = Document::load_mem(&file).unwrap().get_pages().len();
    assert!(pages > 40, "{pages}");
}

#[test]
fn rows_and_paragraphs_higher_than_a_page_go_on_over_pages() {
    let words = "word ".repeat(6000);
    let mut table = runners(&["Mira Osei"]);
    table.rows[0].cells[0] = Cell::of(words.as_str());
    let read =
        Read::of(&sheet(vec![Section::new("Long", vec![Block::Table(table), Block::Paragraph(words.into())])]), "long");
    let told: usize = read.pages.iter().map(|page| page.matches("word").count()).sum();
    assert_eq!(told, 12_000);
    assert!(read.pages.iter().all(|page| page.len() > 20), "no page is empty");
    let names: BTreeSet<usize> = read.pages.iter().map(String::len).collect();
    assert!(names.len() > 1);
}

/// The lines on which words of a page stand, each with what is drawn there.
fn lines(read: &Read, page: u32) -> Vec<String> {
    read.document.extract_text(&[page]).unwrap().lines().map(str::to_owned).collect()
}

#[test]
fn a_name_is_not_broken_for_the_sake_of_long_sentences_beside_it() {
    let long =
        "Caution: Pain that lasts or grows, limping, or swelling at knee or heel is a warning sign: stop and refer. ";
    let names = ["Hedda Hallamore", "Kian Marchbanks", "Maximiliane-Anastasia von Hohenwaldenburg"];
    let rows = names.iter().map(|name| {
        let cells = vec![Cell::of(Text::theirs(*name)), Cell::of("15.20"), Cell::default(), Cell::of(long.repeat(3))];
        Row::new("Lane 1", cells)
    });
    let columns =
        vec![Column::words("Athlete"), Column::figures("Expected, s"), Column::words("Time"), Column::words("To heed")];
    let table = Table {
        caption: "Lanes of heat 1".into(),
        corner: "Lane".into(),
        columns,
        rows: rows.collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    };
    let sheet =
        Sheet { orientation: Orientation::Portrait, ..sheet(vec![Section::new("Heat 1", vec![Block::Table(table)])]) };
    let read = Read::of(&sheet, "start-list");
    let lines = lines(&read, 1);
    let whole = |name: &&str| lines.iter().any(|line| line.contains(*name));
    assert!(names[..2].iter().all(whole), "{lines:?}");
}

#[test]
fn a_figure_stays_with_its_unit() {
    let words = "wickets 0.30 m high ".repeat(60);
    let read = Read::of(&sheet(vec![Section::new("Words", vec![Block::Paragraph(words.into())])]), "units");
    let lines = lines(&read, 1);
    assert!(lines.len() > 5 && !lines.iter().any(|line| line.trim_end().ends_with("0.30")), "{lines:?}");
}
