use super::*;
use crate::measure::Measure::{Imperial, Metric};
use crate::paper::well_formed;

fn day(n: i32) -> Day {
    Day::from_ymd(2026, 9, 1).unwrap().add_days(n)
}

fn sample() -> AthleteChart {
    let mm = Length::from_mm;
    let limits = (0..24).map(|k| {
        let mean_m = 6.2 + 0.03 * f64::from(k);
        let half = 0.45 - 0.01 * f64::from(k);
        LimitPoint { on: day(k / 2 * 7 + k % 2 * 3), mean_m, p05_m: mean_m - half, p95_m: mean_m + half }
    });
    let runs = (0..24_u32).map(|k| RunPoint {
        on: day(i32::try_from(k / 2 * 7 + k % 2 * 3).unwrap()),
        barrier_kind: BarrierKind::ALL[(k / 6) as usize],
        height: mm([300, 400, 500, 600][(k / 6) as usize]),
        spacing: mm(6_000 + k / 6 * 250),
        held: 10 + k % 6,
        intervals: 16,
    });
    AthleteChart {
        name: "Mira & Osei </text><script>".into(),
        period: (day(0), day(84)),
        limit_height: mm(762),
        limits: limits.collect(),
        runs: runs.collect(),
        target: Some(TargetLine {
            label: "75H U15".into(),
            spacing: mm(7_500),
            height: mm(762),
            reached: Some([Some(day(100)), Some(day(130)), Some(day(160)), Some(day(210)), None]),
        }),
        notes: vec!["The dates assume that training goes on as in the last 4 weeks.".into()],
    }
}

#[test]
fn an_athletes_chart_is_well_formed_and_says_in_words_what_it_shows() {
    let drawn = athlete(&sample(), Metric);
    well_formed(&drawn);
    assert!(
        drawn.contains("<title id=\"title\">Progress \u{2013} Mira &amp; Osei &lt;/text&gt;&lt;script&gt;</title>")
    );
    assert!(drawn.contains("Comfortable limit over barriers of 0.762 m: 6.20 m at first, 6.89 m at last"));
    assert!(drawn.matches("Target 75H U15, 0.762 m high: 7.50 m").count() == 2, "drawn and told");
    assert!(
        drawn.contains(">6.50</text>") && drawn.contains(">Spacing, metres<") && drawn.contains(">Height, metres<")
    );
    assert!(drawn.contains(&format!("{} with 50 %, later than the look ahead with 95 %", day(160))));
    assert!(!drawn.contains("<script>"));
    for colour in ["red", "green", "blue", "#"] {
        assert!(!drawn.replace("&#39;", "").contains(&format!("\"{colour}")), "{colour}");
    }
    // An invented athlete to look at: `LOOK=folder cargo test chart`.
    if let Ok(folder) = std::env::var("LOOK") {
        std::fs::write(format!("{folder}/athlete.svg"), drawn).unwrap();
    }
}

#[test]
fn a_chart_in_feet_and_inches_has_no_length_in_metres() {
    let notes = vec!["Next, 2026-11-21: hurdles at 0.762 m, 6.50 m apart.".to_owned()];
    let one = AthleteChart { notes: notes.clone(), ..sample() };
    let drawn = athlete(&one, Imperial);
    well_formed(&drawn);
    for words in [
        // 6.20 m and 6.89 m; 7.50 m; the axes at whole feet, and 300 mm as the height of wickets.
        "Comfortable limit over barriers of 30 in: 20 ft 4 in at first, 22 ft 7\u{bc} in at last",
        "Target 75H U15, 30 in high: 24 ft 7\u{bc} in",
        ">limit over 30 in<",
        ">21\u{2032} 0\u{2033}<",
        ">Spacing, feet and inches<",
        ">Height, inches<",
        ">11\u{be}<",
        "hurdles at 30 in, 21 ft 4 in apart.",
    ] {
        assert!(drawn.contains(words), "{words}: {drawn}");
    }
    let squads = SquadChart {
        name: "Under 13".into(),
        period: (day(0), day(84)),
        stages: Vec::new(),
        decisions: Vec::new(),
        rows: Vec::new(),
        notes,
    };
    for drawn in [drawn, squad(&squads, Imperial)] {
        assert!(drawn.contains("21 ft 4 in apart."));
        let told = drawn.split('<').filter_map(|tag| tag.split_once('>')).map(|(_, words)| words);
        assert_eq!(told.filter(|words| words.contains("0 m") || words.contains("metre")).count(), 0, "{drawn}");
    }
}

#[test]
fn figures_of_an_axis_stand_apart_however_wide_its_range_is() {
    for wide in [0.3, 0.5, 1.1, 2.2, 4.0, 9.0, 60.0, 900.0] {
        for steps in [Metric, Imperial].map(|one| one.axis_steps(crate::measure::Axis::Spacings)) {
            let up = axis::Scale::new((5.1, 5.1 + wide), (62.0, 0.0));
            let at: Vec<f64> = up.figures(steps, 6.0).into_iter().map(|value| up.at(value)).collect();
            assert!(!at.is_empty() && at.windows(2).all(|pair| pair[0] - pair[1] >= 6.0 - 1e-9), "{wide} {at:?}");
        }
    }
}

#[test]
fn an_empty_chart_and_one_far_from_its_target_are_drawn() {
    let empty = AthleteChart { limits: Vec::new(), runs: Vec::new(), target: None, ..sample() };
    well_formed(&athlete(&empty, Metric));
    let far = TargetLine { reached: Some([None; 5]), ..sample().target.unwrap() };
    assert!(athlete(&AthleteChart { target: Some(far), ..sample() }, Metric).contains("not within 26 weeks"));
}

#[test]
fn a_squads_chart_shows_everybody_the_farthest_first() {
    let row = |n: u32| SquadRow {
        name: format!("Runner {n:02}"),
        of_target: (!n.is_multiple_of(7)).then(|| 0.75 + f64::from(n) / 200.0),
        decision: "consolidate".into(),
    };
    let chart = SquadChart {
        name: "Under 13".into(),
        period: (day(0), day(84)),
        stages: vec![("wicket run".into(), 10), ("height build".into(), 25), ("spacing build".into(), 20)],
        decisions: vec![("consolidate".into(), 40), ("race test".into(), 15)],
        rows: (1..=55).map(row).collect(),
        notes: vec!["Show the cautions wherever this is shown.".into()],
    };
    let drawn = squad(&chart, Metric);
    well_formed(&drawn);
    let place = |name: &str| drawn.find(&format!(">{name}</text>")).unwrap();
    assert!(place("Runner 55") < place("Runner 54") && place("Runner 01") < place("Runner 07"));
    assert!(drawn.contains("wicket run: 10") && drawn.contains("Stages: wicket run 10, height build 25"));
    if let Ok(folder) = std::env::var("LOOK") {
        std::fs::write(format!("{folder}/squad.svg"), &drawn).unwrap();
    }
    let many = SquadChart { rows: (1..=70).map(row).collect(), ..chart };
    assert!(squad(&many, Metric).contains("and 10 more"));
}

#[test]
fn no_name_and_no_note_of_a_chart_is_cut() {
    let long = "Wolfeschlegelsteinhausenbergerdorffmeyer";
    let names = [long.to_owned(), "x".repeat(80), "\u{9ad8}".repeat(80), "Mira Osei".to_owned()];
    let row =
        |name: &String| SquadRow { name: name.clone(), of_target: Some(0.9), decision: "change barrier kind".into() };
    let notes: Vec<String> = (1..=20).map(|n| format!("Sentence {n} says what to heed.")).collect();
    let chart = SquadChart {
        name: long.repeat(2),
        period: (day(0), day(84)),
        stages: vec![("wicket run".into(), 4)],
        decisions: vec![("consolidate".into(), 4)],
        rows: names.iter().cycle().take(60).map(row).collect(),
        notes: notes.clone(),
    };
    let one = AthleteChart { name: long.repeat(2), notes, ..sample() };
    for drawn in [squad(&chart, Metric), athlete(&one, Metric)] {
        well_formed(&drawn);
        assert!(!drawn.contains('\u{2026}') && drawn.contains("Sentence 20 says what to heed."));
        let told: String = drawn.split('<').filter_map(|tag| tag.split_once('>')).map(|(_, words)| words).collect();
        let told: String = told.split_whitespace().collect();
        assert!(told.matches(&long.repeat(2)).count() >= 2, "in the title and in what is heard");
        let height: f64 = drawn.split("height=\"").nth(1).unwrap().split("mm").next().unwrap().parse().unwrap();
        for place in drawn.split(" y=\"").skip(1).map(|rest| rest.split('"').next().unwrap()) {
            assert!(place.parse::<f64>().unwrap() < height, "{place}");
        }
    }
    let drawn = squad(&chart, Metric);
    let told: String = drawn.split('<').filter_map(|tag| tag.split_once('>')).map(|(_, words)| words).collect();
    for name in &names {
        let whole: String = name.split_whitespace().collect();
        assert!(told.split_whitespace().collect::<String>().matches(&whole).count() >= 15, "{name}");
    }
}
