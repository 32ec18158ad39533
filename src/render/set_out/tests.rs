use super::*;
use crate::measure::Measure::{Imperial, Metric};
use crate::paper::well_formed;
use lanewright_compute::set_out::{LaneSetting, set_out};

/// A sheet of like lanes, their spacing growing by 0.25 m.
fn sheet(lanes: u8, athletes: usize, barriers: u8) -> Sheet {
    let lane = |lane: u8| {
        let spacing = Length::from_mm(6_250 + 250 * u32::from(lane));
        let marks = set_out(&LaneSetting {
            approach: Length::from_mm(12_000),
            spacing,
            barriers,
            run_out: Length::from_mm(10_000),
        });
        SheetLane {
            lane,
            round: 1,
            barrier_kind: if lane.is_multiple_of(2) { BarrierKind::Hurdle } else { BarrierKind::LowBarrier },
            height: Length::from_mm(if lane.is_multiple_of(2) { 762 } else { 600 }),
            spacing,
            barriers,
            marks: marks.unwrap(),
            notes: Vec::new(),
            athletes: (1..=athletes).map(|i| format!("Runner L{lane} No{i}")).collect(),
        }
    };
    Sheet {
        club: "Northfield Harriers".into(),
        session_date: "Sat 2 May 2026".into(),
        venue: "Main track".into(),
        lanes: (1..=lanes).map(lane).collect(),
        rounds: 1,
        cautions: vec![
            "Run barriers in the direction they tip, never the reverse.".into(),
            "One athlete per lane; keep the run-out free.".into(),
            "Stop when technique breaks down with fatigue.".into(),
        ],
    }
}

#[test]
fn a_hostile_name_stays_text() {
    let mut sheet = sheet(2, 1, 4);
    sheet.lanes[0].athletes =
        vec!["<b>&\"'\u{1}".into(), "\u{5e0}\u{5d5}\u{5e2}\u{5d4}".into(), "\u{1f3c3}\u{200d}x".into()];
    sheet.club = "</text><script>".into();
    let drawn = svg(&sheet, Metric).unwrap();
    well_formed(&drawn);
    assert!(drawn.contains("&lt;b&gt;&amp;&quot;&#39; </text>"));
    assert!(drawn.contains(">\u{5e0}\u{5d5}\u{5e2}\u{5d4}</text>"));
    assert!(!drawn.contains("<script>"));
}

#[test]
fn every_sheet_up_to_twelve_lanes_prints_all_names_barriers_and_cautions_within_the_page() {
    for (lanes, athletes, barriers) in [(1, 1, 1), (4, 6, 5), (8, 8, 5), (8, 8, 10), (12, 5, 10)] {
        let sheet = sheet(lanes, athletes, barriers);
        let drawn = svg(&sheet, Metric).unwrap();
        well_formed(&drawn);
        for lane in &sheet.lanes {
            assert!(lane.athletes.iter().all(|name| drawn.contains(&format!(">{name}</text>"))));
            for mark in lane.marks.iter().filter(|mark| mark.kind == MarkKind::Barrier) {
                assert!(drawn.contains(&format!(">{:.2}</text>", mark.at_tape())));
            }
        }
        assert!(sheet.cautions.iter().all(|words| drawn.contains(words.as_str())));
        // Distances that would meet stand on two lines, for which many lanes have no room on A4: it is printed smaller then.
        let height: f64 = drawn.split("viewBox=\"0 0 297 ").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
        for attribute in [" x=\"", " y=\""] {
            let most = if attribute == " x=\"" { 297.0 } else { height };
            for rest in drawn.split(attribute).skip(1) {
                let value: f64 = rest.split('"').next().unwrap().parse().unwrap();
                assert!((0.0..most).contains(&value), "{attribute}{value}");
            }
        }
        for rest in drawn.split("font-size=\"").skip(1) {
            assert!(rest.split('"').next().unwrap().parse::<f64>().unwrap() >= 3.0);
        }
    }
}

#[test]
fn no_caution_is_left_out_and_none_crowds_a_lane() {
    for lanes in [1, 12] {
        let mut sheet = sheet(lanes, 5, 5);
        sheet.cautions =
            (1..=15).map(|n| format!("Caution {n}: {}end {n}.", "keep to what is written here ".repeat(8))).collect();
        let drawn = svg(&sheet, Metric).unwrap();
        well_formed(&drawn);
        for n in 1..=15 {
            assert!(drawn.contains(&format!("! Caution {n}: ")) && drawn.contains(&format!("end {n}.")), "{n}");
        }
        assert!(!drawn.contains("more cautions"));
        let height: f64 = drawn.split("viewBox=\"0 0 297 ").nth(1).unwrap().split('"').next().unwrap().parse().unwrap();
        let places = drawn.split(" y=\"").skip(1).map(|rest| rest.split('"').next().unwrap().parse::<f64>().unwrap());
        let lowest = places.fold(0.0, f64::max);
        assert!(lowest < height && (lanes == 12) == (height > 210.0), "{lowest} {height}");
        // The last lane ends above the first line of the foot.
        let foot = drawn.split(">Bring: ").next().unwrap().rsplit(" y=\"").next().unwrap();
        let foot: f64 = foot.split('"').next().unwrap().parse().unwrap();
        let last = drawn.split(&format!(">Lane {lanes}<")).next().unwrap().rsplit(" y=\"").next().unwrap();
        let last: f64 = last.split('"').next().unwrap().parse().unwrap();
        assert!(last + 8.0 <= foot, "{last} {foot}");
    }
}

#[test]
fn no_name_is_cut_however_long_or_wide_it_is() {
    let long = "Wolfeschlegelsteinhausenbergerdorffmeyer";
    let longest = "\u{9ad8}".repeat(80);
    let mut sheet = sheet(12, 0, 10);
    for lane in &mut sheet.lanes {
        lane.athletes = (1..=10).map(|n| format!("{long} {n}")).chain([longest.clone(), "x".repeat(80)]).collect();
        lane.notes = vec!["one step closer than advised, over lower barriers, coach confirms".into()];
    }
    sheet.club = long.repeat(2);
    sheet.venue = format!("{long} {long}");
    let drawn = svg(&sheet, Metric).unwrap();
    well_formed(&drawn);
    assert!(!drawn.contains('\u{2026}'));
    let told: String = drawn.split('<').filter_map(|tag| tag.split_once('>')).map(|(_, words)| words).collect();
    let told: String = told.split_whitespace().collect();
    let whole = [long.repeat(2), format!("{long}{long}"), longest, "x".repeat(80)].into_iter();
    for (words, times) in whole.zip([1, 1, 12, 12]) {
        assert!(told.matches(&words).count() >= times, "{words}");
    }
    for n in 2..=10 {
        assert_eq!(drawn.matches(&format!(">{long} {n}</text>")).count(), 12);
    }
    // Each name has one box, and nothing stands beyond the right edge, by the width that letters are taken to have.
    assert_eq!(drawn.matches("width=\"2.4\"").count(), 12 * 12);
    for part in drawn.split("<text x=\"").skip(1) {
        let number = |from: &str| part.split(from).nth(1).unwrap().split('"').next().unwrap().parse::<f64>().unwrap();
        let x: f64 = part.split('"').next().unwrap().parse().unwrap();
        let words = part.split('>').nth(1).unwrap().split('<').next().unwrap();
        if part.contains("text-anchor=\"start\"") && !part.contains("bold") {
            assert!(x + crate::paper::wide(words) * number("font-size=\"") < 297.0, "{words}");
        }
    }
}

#[test]
fn a_sheet_without_lanes_or_with_thirteen_is_refused() {
    assert!(matches!(svg(&sheet(0, 1, 4), Metric), Err(SheetError::Lanes)));
    assert!(matches!(svg(&sheet(13, 1, 4), Metric), Err(SheetError::Lanes)));
}

#[test]
fn the_barriers_to_bring_are_counted_by_kind_and_height() {
    let counts: Vec<u32> = sheet(5, 1, 4).barrier_counts().into_values().collect();
    assert_eq!(counts, [12, 8]);
    assert!(svg(&sheet(5, 1, 4), Metric).unwrap().contains("Bring: 12 x low barrier 0.60 m, 8 x hurdle 0.762 m"));
}

#[test]
fn the_table_comes_back_as_it_was_written() {
    let mut sheet = sheet(2, 2, 3);
    sheet.venue = "=HYPERLINK(\"x\"), north".into();
    let bytes = csv(&sheet).unwrap();
    let mut reader = ::csv::Reader::from_reader(bytes.as_slice());
    let rows: Vec<::csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let marks: Vec<(u8, &Mark)> =
        sheet.lanes.iter().flat_map(|lane| lane.marks.iter().map(|mark| (lane.lane, mark))).collect();
    assert_eq!(rows.len(), marks.len());
    for (row, (lane, mark)) in rows.iter().zip(marks) {
        assert_eq!(&row[1], "'=HYPERLINK(\"x\"), north");
        assert_eq!((&row[2], &row[3]), ("1", &*lane.to_string()));
        assert_eq!(&row[7], mark.kind.as_str());
        assert_eq!(row[9], format!("{:.2}", mark.at_tape()));
        assert_eq!(row[10], format!("Runner L{lane} No1; Runner L{lane} No2"));
    }
}

#[test]
fn the_barriers_to_bring_are_the_most_of_any_round() {
    let mut sheet = sheet(2, 1, 4);
    (sheet.rounds, sheet.lanes[1].round) = (2, 2);
    let mut again = sheet.lanes[0].clone();
    (again.round, again.barriers) = (2, 6);
    sheet.lanes.push(again);
    assert_eq!(sheet.barrier_counts().into_values().collect::<Vec<_>>(), [6, 4]);
    assert!(svg(&sheet, Metric).unwrap().contains("round 1 of 2"));
}

#[test]
fn no_cell_begins_like_a_formula() {
    for text in ["=1", "+1", "-1", "@x", "\t=1", "\r=1"] {
        assert_eq!(defused(text), format!("'{text}"));
    }
    assert_eq!(defused("Ann-Marie"), "Ann-Marie");
}

/// Words of a picture with where they begin and end across and down, by widths of a usual font.
fn placed(drawn: &str) -> Vec<(f64, f64, f64, f64, String)> {
    // Figures, blanks and marks of a usual font, in parts of their size.
    let wide = |letter: char| match letter {
        '\u{2032}' => 0.22,
        ' ' | '\u{2033}' | '.' | ',' => 0.36,
        '\u{bc}'..='\u{be}' | 'm' | 'w' => 0.85,
        _ => 0.56,
    };
    let place = |text: &str| {
        let of = |name: &str| text.split(name).nth(1).unwrap().split('"').next().unwrap().to_owned();
        let number = |name: &str| of(name).parse::<f64>().unwrap();
        let x: f64 = text.split('"').next().unwrap().parse().unwrap();
        let (y, size) = (number(" y=\""), number("font-size=\""));
        let words = text.split('>').nth(1).unwrap().split('<').next().unwrap();
        let long = words.chars().map(wide).sum::<f64>() * size;
        let left = match of("text-anchor=\"").as_str() {
            "middle" => x - long / 2.0,
            "end" => x - long,
            _ => x,
        };
        // Less than a line: letters of neighbouring lines do not meet.
        (left, left + long, y - size * 0.9, y, words.to_owned())
    };
    drawn.split("<text x=\"").skip(1).map(place).collect()
}

#[test]
fn a_club_that_prints_in_feet_and_inches_gets_every_length_of_the_sheet_in_them() {
    for (lanes, barriers) in [(1, 1), (4, 5), (8, 10), (12, 10)] {
        let mut sheet = sheet(lanes, 4, barriers);
        sheet.cautions.push("Keep 10.00 m of run-out free.".into());
        sheet.lanes[0].notes = vec!["not permitted: hurdles at 0.762 m".into()];
        sheet.lanes[0].athletes[1] = "Nia 6.50 m".into();
        let drawn = svg(&sheet, Imperial).unwrap();
        well_formed(&drawn);
        let told: Vec<String> = placed(&drawn).into_iter().map(|(.., words)| words).collect();
        let has = |words: &str| told.iter().any(|one| one.contains(words));
        // 6.50 m between barriers, barriers of 0.60 m, a start at nothing and a first barrier at 12 m.
        for words in [
            "every 21\u{2032} 4\u{2033}",
            "low barrier 23\u{bd} in",
            "0\u{2032} 0\u{2033}",
            "39\u{2032} 4\u{bd}\u{2033}",
        ] {
            assert!(has(words), "{words}: {told:?}");
        }
        assert!(has("Keep 32 ft 9\u{be} in of run-out free.") && has("not permitted: hurdles at 30 in"), "{told:?}");
        assert!(has("bar = 30 ft") || has("bar = 15 ft"), "{told:?}");
        assert!(has("ft, in from the start") || has("+ ft, in after each barrier"), "{told:?}");
        let metric: Vec<&String> =
            told.iter().filter(|one| one.contains(" m") && !one.contains("Nia 6.50 m")).collect();
        assert!(has("Nia 6.50 m") && metric.is_empty(), "{metric:?}");
        for lane in &sheet.lanes {
            for mark in lane.marks.iter().filter(|mark| mark.kind == MarkKind::Barrier) {
                assert!(told.contains(&on_tape(*mark, Imperial)), "{mark:?}");
            }
        }
    }
}

#[test]
fn no_two_distances_of_a_sheet_meet_in_either_unit() {
    for measure in [Metric, Imperial] {
        for (lanes, athletes, barriers, spacing) in
            [(1, 1, 1, 6_500), (4, 6, 5, 6_500), (8, 8, 10, 6_500), (12, 5, 10, 8_500), (6, 4, 12, 5_000)]
        {
            let mut sheet = sheet(lanes, athletes, barriers);
            // One long lane makes the scale of all small.
            let close = LaneSetting {
                approach: Length::from_mm(11_000),
                spacing: Length::from_mm(spacing),
                barriers,
                run_out: Length::from_mm(8_000),
            };
            sheet.lanes[0].marks = set_out(&close).unwrap();
            sheet.lanes[0].spacing = close.spacing;
            let drawn = svg(&sheet, measure).unwrap();
            let words = placed(&drawn);
            for (at, one) in words.iter().enumerate() {
                for other in &words[at + 1..] {
                    let apart = one.1 <= other.0 || other.1 <= one.0 || one.3 <= other.2 || other.3 <= one.2;
                    assert!(apart, "{measure:?} {lanes} {barriers}: {one:?} {other:?}");
                }
            }
        }
    }
}
