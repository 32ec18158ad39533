use super::*;
use crate::chart::{
    AthleteChart, LimitPoint, RunPoint, TargetLine, Touchdown, heights, held_share, spacings, touchdowns,
};
use crate::measure::Measure;
use crate::strip::{StripLane, strips};
use lanewright_compute::day::Day;
use lanewright_compute::units::{BarrierKind, Length};

/// A name of forty letters without a blank.
const LONG: &str = "Wolfeschlegelsteinhausenbergerdorffmeyer";
/// Names of other scripts and what would break out of an element or attribute.
const NAMES: [&str; 6] =
    [LONG, "مريم \u{202e}الخالدي", "נועה לוי", "高橋 さくら", "\"><script>alert(1)</script>", "O'Neil & <b>"];

/// The page as elements that nest, with every attribute quoted; answers the names of the elements that were opened.
fn elements(page: &str) -> Vec<&str> {
    const ALONE: [&str; 2] = ["meta", "rect"];
    let mut open: Vec<&str> = Vec::new();
    let mut all = Vec::new();
    let body = page.strip_prefix("<!DOCTYPE html>\n").unwrap();
    for tag in body.split('<').skip(1).map(|rest| rest.split('>').next().unwrap()) {
        let name = tag.trim_start_matches('/').split([' ', '/', '\n']).next().unwrap();
        assert!(name.chars().all(|letter| letter.is_ascii_alphanumeric()), "{tag}");
        assert_eq!(tag.matches('"').count() % 2, 0, "{tag}");
        if tag.starts_with('/') {
            assert_eq!(open.pop(), Some(name), "{tag}");
        } else if !tag.ends_with('/') && !ALONE.contains(&name) {
            open.push(name);
            all.push(name);
        }
    }
    assert!(open.is_empty(), "{open:?}");
    for rest in page.split('&').skip(1) {
        let known = ["amp;", "lt;", "gt;", "quot;", "#39;"];
        assert!(known.iter().any(|entity| rest.starts_with(entity)), "{rest:.20}");
    }
    // Nothing that runs, nothing from elsewhere, and no style but the one of the page.
    for forbidden in ["<script", "<link", "<img", " style=", " on", "http:", "https:", "url(", "@import"] {
        let without = page.replace("http://www.w3.org/2000/svg", "");
        let inside = without.split('<').filter(|tag| !tag.starts_with('/')).map(|tag| tag.split('>').next().unwrap());
        let tags: Vec<String> = inside.map(|tag| format!("<{tag}>")).collect();
        let tags = tags.concat();
        assert!(!tags.contains(forbidden), "{forbidden}");
    }
    all
}

fn table(narrow: Narrow) -> Table {
    let cell = |name: &&str| Cell::lines(vec![Text::theirs(*name), Text::own("second line")]).with_boxes(4);
    Table {
        caption: Text::own("Who runs"),
        corner: Text::own("Lane"),
        columns: vec![Column::words("Athlete"), Column::figures("Height \"m\"")],
        rows: NAMES
            .iter()
            .map(|name| Row::new("Lane 1", vec![cell(name), Cell::of("0.76").toned(Tone::Alert)]).strong())
            .chain([Row::new("Lane 2", vec![])])
            .collect(),
        size: Size::Tape,
        narrow,
    }
}

fn day(n: i32) -> Day {
    Day::from_ymd(2026, 9, 1).unwrap().add_days(n)
}

fn chart(days: i32) -> AthleteChart {
    let mm = Length::from_mm;
    let runs = (0..days).map(|k| RunPoint {
        on: day(k * 3),
        barrier_kind: BarrierKind::ALL[usize::try_from(k % 4).unwrap()],
        height: mm(300 + 50 * (k.cast_unsigned() % 8)),
        spacing: mm(6_000 + 40 * k.cast_unsigned()),
        held: 12,
        intervals: 16,
    });
    let limits = (0..days).map(|k| {
        let mean_m = 6.2 + 0.03 * f64::from(k);
        LimitPoint { on: day(k * 3), mean_m, p05_m: mean_m - 0.4, p95_m: mean_m + 0.4 }
    });
    let target = TargetLine {
        label: "75H U15".into(),
        spacing: mm(7_500),
        height: mm(762),
        reached: Some([Some(day(100)), Some(day(130)), Some(day(160)), Some(day(210)), None]),
    };
    AthleteChart {
        name: LONG.into(),
        period: (day(0), day(84)),
        limit_height: mm(762),
        limits: limits.collect(),
        runs: runs.collect(),
        target: Some(target),
        notes: Vec::new(),
    }
}

fn sheet() -> Sheet {
    let card = |name: &&str| Card {
        heading: Text::theirs(*name),
        blocks: vec![
            Block::Facts(vec![(Text::own("Today"), Text::own("Lane 3"))]),
            Block::Cautions(vec![Text::own("Mind the edge.")]),
        ],
    };
    Sheet {
        title: Text::own("Cards of ").and_theirs(NAMES[1]),
        subtitle: Text::own("2026-11-28"),
        orientation: Orientation::Landscape,
        sections: vec![
            Section::new("Tape", vec![Block::Table(table(Narrow::Scroll)), Block::Table(table(Narrow::Stack))]),
            Section::new(
                "Lists",
                vec![
                    Block::Heading("Words".into()),
                    Block::Paragraph(Text::strong("Dry.")),
                    Block::List(NAMES.iter().map(|name| Text::theirs(*name)).collect()),
                    Block::Cautions((1..=15).map(|n| Text::own(format!("Caution {n} & more."))).collect()),
                    Block::Cautions(Vec::new()),
                    Block::Figure(spacings(&chart(28), Measure::Metric).unwrap()),
                ],
            ),
            Section::new("Cards", vec![Block::Cards(Cards { per_page: 4, cards: NAMES.iter().map(card).collect() })])
                .on_new_page(),
        ],
    }
}

#[test]
fn a_page_is_well_formed_and_holds_every_name_and_caution_whole_whatever_is_in_them() {
    let page = html(&sheet());
    let elements = elements(&page);
    for name in NAMES {
        let safe = escaped(name);
        assert!(page.matches(&format!("<bdi dir=\"auto\">{safe}</bdi>")).count() >= 4, "{name}");
    }
    for n in 1..=15 {
        assert!(page.contains(&format!("<li><strong>Caution:</strong> Caution {n} &amp; more.</li>")), "{n}");
    }
    let count = |name: &str| elements.iter().filter(|one| **one == name).count();
    assert_eq!((count("h1"), count("main"), count("title"), count("style")), (1, 1, 1, 1));
    assert!(page.contains("<title>Cards of \u{2068}مريم"), "a name in the title is kept apart by marks");
    // The mark that would turn everything after it around stays within its element.
    assert!(page.contains("<html lang=\"en\" dir=\"ltr\">") && page.contains("@page{size:A4 landscape}"));
}

#[test]
fn the_structure_says_what_a_cell_belongs_to() {
    let page = html(&sheet());
    assert!(page.contains("<th scope=\"col\">Lane</th>") && page.contains("<th scope=\"row\">Lane 1</th>"));
    // What becomes blocks on a phone keeps its roles, and each cell the heading of its column.
    for role in ["table", "rowgroup", "row", "columnheader", "rowheader", "cell"] {
        assert!(page.contains(&format!("role=\"{role}\"")), "{role}");
    }
    assert!(page.contains("data-of=\"Height &quot;m&quot;\">0.76</td>"));
    assert!(page.contains("<td class=\"n alert\""));
    assert!(page.contains("<td role=\"cell\" data-of=\"Athlete\"></td>"), "an empty cell holds nothing at all");
    assert!(page.contains("role=\"img\" aria-label=\"4 boxes to tick\""));
    // Who moves a table sideways can do so by keyboard, and knows which.
    assert!(page.contains("class=\"scroll\" role=\"group\" aria-labelledby=\"table-1\" tabindex=\"0\""));
    assert!(page.contains("<caption id=\"table-1\">") && page.contains("<caption id=\"table-2\">"));
    // Headings go down by one: a card lies below its section.
    let levels: Vec<u32> = page.split("<h").skip(1).filter_map(|rest| rest[..1].parse().ok()).collect();
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    // Every figure says what it shows.
    assert_eq!(page.matches("<figure><div role=\"img\" aria-label=\"").count(), page.matches("<figure>").count());
}

#[test]
fn pictures_are_drawn_of_many_days_of_one_and_of_none() {
    for days in [1, 2, 28] {
        let chart = chart(days);
        let drawn = [spacings(&chart, Measure::Metric), heights(&chart, Measure::Imperial), held_share(&chart)];
        for figure in drawn.map(Option::unwrap) {
            crate::paper::well_formed(&figure.svg);
            assert!(!figure.svg.contains("NaN") && !figure.svg.contains("id=") && !figure.alt.is_empty());
            // No word leaves the picture: each begins within it and is as narrow as a phone can show.
            let height: f64 =
                figure.svg.split("viewBox=\"0 0 120 ").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
            for text in figure.svg.split("<text x=\"").skip(1) {
                let x: f64 = text.split('"').next().unwrap().parse().unwrap();
                let y: f64 = text.split(" y=\"").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
                assert!((0.0..=120.0).contains(&x) && (0.0..=height).contains(&y), "{x} {y} {height}");
            }
        }
    }
    let drawn = (spacings(&chart(28), Measure::Imperial).unwrap(), heights(&chart(28), Measure::Imperial).unwrap());
    assert!(
        drawn.0.caption.plain().starts_with("Spacing in feet and inches.")
            && drawn.1.caption.plain() == "Height in inches."
    );
    let words = |figure: &crate::sheet::Figure| {
        figure.svg.contains(">21\u{2032} 0\u{2033}</text>") && !figure.svg.contains(">6.40</text>")
    };
    assert!(words(&drawn.0), "21 ft are 6.40 m: {}", drawn.0.svg);
    assert!(drawn.1.svg.contains(">12</text>"), "inches by the dozen: {}", drawn.1.svg);
    for alt in [&drawn.0.alt, &drawn.1.alt] {
        assert!(alt.contains(" in") && !alt.contains(" m "), "{alt}");
    }
    let none = AthleteChart { runs: Vec::new(), limits: Vec::new(), target: None, ..chart(1) };
    assert_eq!(
        (spacings(&none, Measure::Metric), heights(&none, Measure::Metric), held_share(&none)),
        (None, None, None)
    );
    assert_eq!(touchdowns(&[Touchdown { barrier: 1, late_s: None }]), None);
    let one = touchdowns(&[Touchdown { barrier: 1, late_s: Some(0.3) }]).unwrap();
    crate::paper::well_formed(&one.svg);
}

#[test]
fn words_of_a_picture_never_meet() {
    let width = |words: &str, size: f64| 0.56 * size * f64::from(u32::try_from(words.chars().count()).unwrap());
    let long = Length::from_mm;
    let lane =
        |lane| StripLane { lane, approach: long(13_000), spacing: long(9_140), barriers: 10, run_out: long(14_000) };
    let twelve: Vec<StripLane> = (1..=12).map(lane).collect();
    let mut drawn = strips(&twelve, Measure::Metric);
    assert_eq!(drawn.len(), 2, "twelve lanes are two pictures");
    drawn.extend(strips(&twelve[..1], Measure::Imperial));
    for days in [1, 28] {
        let chart = chart(days);
        drawn.extend(
            [spacings(&chart, Measure::Imperial), heights(&chart, Measure::Metric), held_share(&chart)]
                .into_iter()
                .flatten(),
        );
    }
    let run: Vec<Touchdown> = (1..=12).map(|barrier| Touchdown { barrier, late_s: Some(0.04) }).collect();
    drawn.extend(touchdowns(&run));
    for figure in drawn {
        crate::paper::well_formed(&figure.svg);
        let boxes: Vec<(f64, f64, f64, f64, &str)> = figure
            .svg
            .split("<text x=\"")
            .skip(1)
            .map(|text| {
                let number =
                    |name: &str| text.split(name).nth(1).unwrap().split('"').next().unwrap().parse::<f64>().unwrap();
                let x: f64 = text.split('"').next().unwrap().parse().unwrap();
                let (y, size) = (number(" y=\""), number("font-size=\""));
                let words = text.split('>').nth(1).unwrap().split('<').next().unwrap();
                let wide = width(words, size);
                let left = match text.split("text-anchor=\"").nth(1).unwrap().split('"').next().unwrap() {
                    "middle" => x - wide / 2.0,
                    "end" => x - wide,
                    _ => x,
                };
                (left, left + wide, y - size, y, words)
            })
            .collect();
        for (at, one) in boxes.iter().enumerate() {
            assert!(one.0 > -1.0 && one.1 < 122.0, "{one:?} leaves the picture");
            for other in &boxes[at + 1..] {
                let apart = one.1 <= other.0 || other.1 <= one.0 || one.3 <= other.2 || other.3 <= one.2;
                assert!(apart, "{one:?} {other:?}");
            }
        }
    }
}

#[test]
fn a_page_to_look_at() {
    let page = html(&sheet());
    assert!(page.len() > 5_000);
    // An invented page to look at: `LOOK=folder cargo test html`.
    if let Ok(folder) = std::env::var("LOOK") {
        std::fs::write(format!("{folder}/sheet.html"), page).unwrap();
    }
}

#[test]
fn many_parts_have_links_that_lead_somewhere_and_few_have_none() {
    let section = |n: u32| Section::new(format!("Part {n}"), vec![Block::Table(table(Narrow::Stack)); 4]);
    let long = Sheet { sections: (1..=4).map(section).collect(), ..sheet() };
    let page = html(&long);
    elements(&page);
    let links: Vec<&str> = page.split("href=\"#").skip(1).filter_map(|rest| rest.split('"').next()).collect();
    assert_eq!(links.len(), 4 + 4 * 4);
    for link in links {
        assert_eq!(page.matches(&format!(" id=\"{link}\"")).count(), 1, "{link}");
    }
    assert!(
        !html(&Sheet {
            sections: (1..=3).map(section).map(|one| Section { blocks: Vec::new(), ..one }).collect(),
            ..long
        })
        .contains("<nav")
    );
}

#[test]
fn days_and_figures_with_their_units_stay_on_one_line() {
    let words = "From 2026-11-28: 0.30 m high, 80 % held in 2 sessions";
    let page = html(&Sheet { subtitle: words.into(), ..sheet() });
    assert!(
        page.contains("From <span class=\"day\">2026-11-28</span>: 0.30\u{a0}m high, 80\u{a0}% held in 2 sessions")
    );
    let theirs = html(&Sheet { subtitle: Text::theirs(words), ..sheet() });
    assert!(theirs.contains(words), "what people wrote stays as it is");
}

#[test]
fn a_column_to_be_filled_in_by_hand_has_room() {
    let mut one = table(Narrow::Scroll);
    one.columns.push(Column::words("Run 1"));
    let page = html(&Sheet { sections: vec![Section::new("Times", vec![Block::Table(one)])], ..sheet() });
    assert_eq!(page.matches("<th scope=\"col\" class=\"blank\">Run 1</th>").count(), 1);
}

#[test]
fn paper_keeps_together_what_belongs_together() {
    let words = || vec![Block::Paragraph("Drawn by time.".into())];
    let list = Section::new("Cautions", vec![Block::Cautions(vec!["Mind the edge.".into()])]);
    let of = |sections: Vec<Section>| html(&Sheet { sections, ..sheet() });
    let page = of(vec![list.clone(), Section::new("How lanes were drawn", words())]);
    assert!(page.contains("<section id=\"part-2\" class=\"closing\">"), "{page}");
    for rule in [
        "thead{display:table-header-group;break-inside:avoid;break-after:avoid}",
        "caption{break-after:avoid}",
        "tbody tr:first-child,tbody tr:last-child{break-before:avoid}",
        "section>.cautions:not(:last-child){break-after:avoid}",
        "section>p:has(+:not(p)){break-after:avoid}",
        ".closing{break-before:avoid}",
    ] {
        assert!(page.contains(rule), "{rule}");
    }
    // A first section, one that begins a page, one with a table, and one behind what cannot be parted close nothing.
    let figure = Section::new("Drawn", vec![Block::Figure(spacings(&chart(28), Measure::Metric).unwrap())]);
    for sections in [
        vec![Section::new("Alone", words())],
        vec![list.clone(), Section::new("Apart", words()).on_new_page()],
        vec![list, Section::new("Rows", vec![Block::Table(table(Narrow::Stack))])],
        vec![figure, Section::new("Behind a picture", words())],
    ] {
        assert!(!of(sections).contains("class=\"closing\""));
    }
}
