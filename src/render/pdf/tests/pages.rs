//! What stands on which page.

use super::*;

#[test]
fn cards_stand_four_to_a_page_and_grow_where_they_must() {
    let card = |name: &str, lines: usize| Card {
        heading: Text::theirs(name),
        blocks: vec![
            Block::Facts(vec![
                ("Today".into(), "lane 3, 6.50 m, 4 barriers of 0.50 m".into()),
                ("Last time".into(), "held 9 of 12 intervals".into()),
            ]),
            Block::Heading("What to watch".into()),
            Block::Paragraph("Trail leg comes flat; walk it over at the side. ".repeat(lines).into()),
            Block::Cautions(vec!["After a fall: lowest barrier first.".into()]),
        ],
    };
    let many: Vec<Card> = LONG.into_iter().chain(OTHERS).map(|name| card(name, 2)).collect();
    let usual = Read::of(
        &Sheet {
            orientation: Orientation::Portrait,
            ..sheet(vec![Section::new("Cards", vec![Block::Cards(Cards { per_page: 4, cards: many })])])
        },
        "cards",
    );
    assert_eq!(usual.pages.len(), 3);
    assert_eq!(usual.count("H3"), 12);
    let long = vec![card("Mira Osei", 200), card("Jon Bell", 1)];
    let grown = Read::of(
        &Sheet {
            orientation: Orientation::Portrait,
            ..sheet(vec![Section::new("", vec![Block::Cards(Cards { per_page: 4, cards: long })])])
        },
        "long-card",
    );
    assert!(grown.pages.len() > 1);
    let told: usize = grown.pages.iter().map(|page| page.matches("Trail").count()).sum();
    assert_eq!(told, 201, "nothing of a card that is longer than a page is lost");
}

#[test]
fn cards_begin_on_the_page_that_has_begun_and_take_what_is_left_of_it() {
    let card = |name: &&str| Card {
        heading: Text::theirs(*name),
        blocks: vec![Block::Paragraph("Trail leg comes flat; walk it over at the side. ".repeat(12).into())],
    };
    let cautions = (1..=10).map(|n| Text::own(format!("Caution {n} in a line."))).collect();
    let cards: Vec<Card> = LONG.iter().chain(&OTHERS).take(9).map(card).collect();
    let sections = vec![
        Section::new("Cautions", vec![Block::Cautions(cautions)]),
        Section::new("Cards", vec![Block::Cards(Cards { per_page: 4, cards })]),
    ];
    let read = Read::of(&Sheet { orientation: Orientation::Portrait, ..sheet(sections) }, "cards-below");
    let on = |page: usize| read.pages[page].matches("Trailleg").count() / 12;
    assert_eq!((0..read.pages.len()).map(on).collect::<Vec<_>>(), [2, 4, 3]);
}

#[test]
fn cards_below_a_heading_share_what_it_leaves_of_their_page() {
    // Each needs more than what is left below one that takes the share of an empty page, and less than an equal part.
    let card = |name: &str| Card {
        heading: Text::theirs(name),
        blocks: vec![Block::List((1..=21).map(|n| Text::own(format!("{name} {n}"))).collect())],
    };
    let cards = ["Ada", "Bo", "Cy", "Di"].map(card);
    let heed = Block::Cautions(vec!["Caution 1 in a line.".into(), "Caution 2 in a line.".into()]);
    let sections = vec![
        Section::new("The session", vec![Block::Paragraph("What is done.".into())]),
        Section::new("Cards", vec![heed, Block::Cards(Cards { per_page: 4, cards: cards.to_vec() })]).on_new_page(),
    ];
    let read = Read::of(&Sheet { orientation: Orientation::Portrait, ..sheet(sections) }, "cards-apart");
    assert_eq!(read.pages.len(), 2, "all four on the page that begins with them");
    assert!(read.pages[1].contains("Caution1") && !read.pages[0].contains("Cards"));
}

/// A document of so many lines, then these sections.
fn below(lines: usize, sections: Vec<Section>) -> Sheet {
    let before = (0..lines).map(|n| Block::Paragraph(Text::own(format!("Line {n}."))));
    let before = Section::new("", before.collect());
    Sheet { orientation: Orientation::Portrait, ..sheet([before].into_iter().chain(sections).collect()) }
}

/// The page on which words are.
fn page_of(read: &Read, words: &str) -> usize {
    read.pages.iter().position(|page| page.contains(&bare(words))).unwrap_or_else(|| panic!("{words}"))
}

#[test]
fn no_heading_caption_or_head_of_a_table_stands_at_the_foot_of_a_page() {
    let rows = (1..=9).map(|n| Row::new(format!("Rank {n}"), vec![Cell::of(format!("Why {n}"))]));
    let table = Table {
        caption: "Surest step first".into(),
        corner: "Athlete".into(),
        columns: vec![Column::words("Reason")],
        rows: rows.collect(),
        size: Size::Usual,
        narrow: Narrow::Stack,
    };
    let blocks = vec![Block::Cautions(vec!["For everybody below: dry ground.".into()]), Block::Table(table)];
    let mut turned = BTreeSet::new();
    for lines in 10..45 {
        let read = Read::of(&below(lines, vec![Section::new("Ready for more", blocks.clone())]), "head");
        let of = ["Ready for more", "For everybody below", "Surest step", "Reason", "Why 1"]
            .map(|words| page_of(&read, words));
        assert!(of.iter().all(|page| *page == of[0]), "{lines} {of:?}");
        assert_eq!(page_of(&read, "Why 8"), page_of(&read, "Why 9"), "{lines}: the last row is not alone");
        turned.insert(of[0]);
    }
    assert_eq!(turned, BTreeSet::from([0, 1]), "the table begins on either page");
}

#[test]
fn a_few_words_at_the_end_do_not_stand_alone_on_a_page() {
    let cautions =
        Section::new("Cautions", vec![Block::Cautions((1..=9).map(|n| Text::own(format!("Heed {n}."))).collect())]);
    let facts = (1..=3).map(|n| (Text::own(format!("Sum {n}")), Text::own("12"))).collect();
    for last in [Block::Paragraph("How lanes were drawn, in a line.".into()), Block::Facts(facts)] {
        let words = if matches!(last, Block::Facts(_)) { ["Sum 1", "Sum 3"] } else { ["How lanes", "in a line."] };
        let closing = Section::new("At last", vec![last]);
        let mut pages = BTreeSet::new();
        for lines in 10..45 {
            let read = Read::of(&below(lines, vec![cautions.clone(), closing.clone()]), "closing");
            let of = ["Heed 7", "Heed 9", "At last", words[0], words[1]].map(|words| page_of(&read, words));
            assert!(of.iter().all(|page| *page == of[0]), "{lines} {of:?}");
            pages.insert(read.pages.len());
        }
        assert_eq!(pages, BTreeSet::from([1, 2]));
    }
}

#[test]
fn a_page_that_would_hold_little_is_saved_by_standing_closer_and_no_other_document_is_pressed() {
    let mut saved = 0;
    for lines in 10..75 {
        let sheet = below(lines, vec![Section::new("At last", vec![Block::Paragraph("The end.".into())])]);
        let (_, usual) = laid_out(&sheet, Air::USUAL).unwrap();
        let (_, tight) = laid_out(&sheet, Air::TIGHT).unwrap();
        let read = Read::of(&sheet, "saved");
        let presses = usual.ends_in_little() && tight.pages.len() < usual.pages.len();
        saved += u32::from(presses);
        assert_eq!(read.pages.len(), if presses { tight.pages.len() } else { usual.pages.len() }, "{lines}");
        assert_eq!(read.sizes().first(), Some(&9), "{lines}: letters keep their size");
        for line in 0..lines {
            assert!(read.has(&format!("Line {line}.")), "{lines} {line}");
        }
    }
    assert!(saved > 2, "{saved}");
}
