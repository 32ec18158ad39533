//! Competition specifications against the reference tables, published examples and laws of the calendar.

#![allow(clippy::unwrap_used)] // helpers of tests

use lanewright_compute::day::Day;
use lanewright_compute::specs::{
    AgeGroup, AgeRule, Birth, Club, Confidence, Environment, Lookup, Query, Reason, SOURCES, Spec, SpecError, lookup,
    published, published_age_groups, source, sprint_target,
};
use lanewright_compute::units::{Length, Sex};
use proptest::prelude::*;

fn day(y: i32, m: u8, d: u8) -> Day {
    Day::from_ymd(y, m, d).unwrap()
}

fn born(y: i32, m: u8, d: u8) -> Birth {
    Birth::Date(day(y, m, d))
}

fn ask(ruleset: &str, sex: Sex, birth: Birth, on: Day) -> Lookup<'static> {
    let query = Query { ruleset, sex, birth, on, environment: None };
    lookup(&query, &Club::default())
}

/// The age groups that an answer speaks of, each once.
fn groups(found: &Lookup<'_>) -> Vec<String> {
    let mut codes: Vec<String> = found.current.iter().map(|one| one.group.code.to_string()).collect();
    codes.dedup();
    codes
}

fn group(ruleset: &str, code: &str) -> &'static AgeGroup {
    published_age_groups().iter().find(|g| g.ruleset == ruleset && g.code == code).unwrap()
}

/// The birth dates of a group on a day, as dates.
fn births(group: &AgeGroup, on: Day) -> (Day, Day) {
    let (first, last) = group.births(on).unwrap();
    (Day::from_days(first).unwrap(), Day::from_days(last).unwrap())
}

fn rows(name: &str) -> Vec<csv::StringRecord> {
    let path = format!("{}/../../tests/oracle/{name}", env!("CARGO_MANIFEST_DIR"));
    let mut reader = csv::Reader::from_path(path).unwrap();
    reader.records().map(Result::unwrap).collect()
}

#[test]
fn every_row_of_the_reference_table_is_carried_over_unchanged() {
    let table = rows("competition_specs.csv");
    assert_eq!(table.len(), 153);
    assert_eq!(published().count(), table.len());
    for row in &table {
        let sex = if &row[3] == "X" { None } else { Sex::from_word(&row[3]) };
        let metres = |at: usize| Length::from_metres(row[at].parse().unwrap()).unwrap();
        let found: Vec<&Spec> = published()
            .filter(|s| {
                s.ruleset == row[0]
                    && s.event_code == row[1]
                    && s.environment.as_str() == &row[2]
                    && s.sex == sex
                    && s.age_group == row[4]
            })
            .collect();
        assert_eq!(found.len(), 1, "{row:?}");
        let spec = found[0];
        assert_eq!(spec.race_distance, metres(7), "{row:?}");
        assert_eq!(spec.barriers.to_string(), row[8], "{row:?}");
        assert_eq!(spec.height, metres(9), "{row:?}");
        assert_eq!(spec.to_first, metres(10), "{row:?}");
        assert_eq!(spec.between, metres(11), "{row:?}");
        assert_eq!(spec.run_in, metres(12), "{row:?}");
        assert_eq!(spec.sources, row[13], "{row:?}");
        assert_eq!(spec.confidence.as_str(), &row[14], "{row:?}");
    }
}

#[test]
fn every_specification_has_an_age_group_with_the_ages_of_the_reference_table() {
    for row in rows("competition_specs.csv") {
        let group = group(&row[0], &row[4]);
        if group.rule == AgeRule::SchoolGrade {
            continue;
        }
        let age = |at: usize| row[at].parse::<u8>().ok();
        assert_eq!((group.min_age, group.max_age), (age(5), age(6)), "{row:?}");
    }
}

#[test]
fn every_rule_read_on_a_page_is_carried_over() {
    let mut compared = 0;
    for row in rows("age_group_rules.csv") {
        assert!(published_age_groups().iter().any(|g| g.ruleset == row[0]), "{row:?}");
        let Some(group) = published_age_groups().iter().find(|g| g.ruleset == row[0] && g.code == row[1]) else {
            continue;
        };
        let rule = match &row[3] {
            "31 December of the competition year" | "year of birth (31 December)" | "none" => AgeRule::EndOfYear,
            "31 August within the competition year" => AgeRule::AugustInYear,
            "31 August (lower), 31 December (upper)" => AgeRule::AugustThenDecember,
            "school year, 31 August cut-off" => AgeRule::SchoolYear,
            "31 December of the competition year (upper)" => AgeRule::SchoolYearThenDecember,
            "31 August at the end of the current school year" => AgeRule::EndOfSchoolYear,
            "1 July of the competition year" => AgeRule::MidYear,
            "1 January of the competition year" => AgeRule::StartOfYear,
            "1 January before the start of the school year" => AgeRule::BeforeSchoolYear,
            "day of competition" => AgeRule::DayOfCompetition,
            "school grade" | "not applicable" => AgeRule::SchoolGrade,
            other => panic!("a rule without a counterpart: {other}"),
        };
        assert_eq!(group.rule, rule, "{row:?}");
        assert_eq!(group.confidence.as_str(), &row[5], "{row:?}");
        for id in row[4].split('+') {
            assert!(group.sources.contains(id), "{row:?}");
        }
        compared += 1;
    }
    assert_eq!(compared, 33);
}

#[test]
fn every_specification_adds_up_to_its_distance() {
    for spec in published() {
        assert_eq!(spec.check(), Ok(()), "{spec:?}");
        assert!(spec.event_code.ends_with('H'));
        let metres = spec.event_code.trim_end_matches('H').parse::<u32>().unwrap();
        assert_eq!(spec.race_distance.mm(), metres * 1_000);
    }
}

#[test]
fn every_source_id_leads_to_a_title_and_every_source_is_used() {
    let lists = || {
        let groups = published_age_groups().iter().map(|g| &*g.sources);
        published().map(|s| &*s.sources).chain(groups)
    };
    for ids in lists().filter(|ids| !ids.is_empty()) {
        for id in ids.split('+') {
            let found = source(id).unwrap_or_else(|| panic!("no source {id}"));
            assert!(!found.title.is_empty() && !found.publisher.is_empty());
        }
    }
    for known in SOURCES {
        assert!(lists().any(|ids| ids.split('+').any(|id| id == known.id)), "{}", known.id);
    }
}

#[test]
fn a_sum_that_is_off_names_the_difference() {
    // A 100 m sheet with a 105 m run-out, as printed on one page by mistake for 10.5 m (Brighton Little Athletics).
    let mut spec = published().find(|s| s.event_code == "100H").unwrap().clone();
    spec.run_in = Length::from_mm(105_000);
    let error = spec.check().unwrap_err();
    assert_eq!(error, SpecError::DoesNotAddUp { sum_mm: 194_500, difference_mm: 94_500 });
    assert_eq!(
        error.to_string(),
        "approach, spacings and run-in add up to 194500 mm, 94500 mm more than the race distance"
    );
    spec.barriers = 0;
    assert_eq!(spec.check(), Err(SpecError::NoBarrier));
}

#[test]
fn the_uk_groups_of_2018_have_the_published_birth_dates() {
    // Whitemoss AAC, "General Info", 2018.
    let on = day(2_018, 6, 1);
    let u13 = births(group("UKA-2024", "U13"), on);
    assert_eq!(u13, (day(2_005, 9, 1), day(2_007, 8, 31)));
    // The other groups follow from the same page: 13 or 14, 15 or 16; at least 17 on 31 August, under 20 on 31 December.
    assert_eq!(births(group("UKA-2024", "U15"), on), (day(2_003, 9, 1), day(2_005, 8, 31)));
    assert_eq!(births(group("UKA-2024", "U17"), on), (day(2_001, 9, 1), day(2_003, 8, 31)));
    assert_eq!(births(group("UKA-2024", "U20"), on), (day(1_999, 1, 1), day(2_001, 8, 31)));
}

#[test]
fn a_birthday_on_the_cut_off_day_decides_between_two_uk_groups() {
    let on = day(2_018, 6, 1);
    let on_31_august = ask("UKA-2024", Sex::Female, born(2_005, 8, 31), on);
    assert_eq!(groups(&on_31_august), ["U15"]);
    assert_eq!(on_31_august.current[0].age.youngest, 13);
    assert_eq!(on_31_august.current[0].spec.between.mm(), 7_500);
    let on_1_september = ask("UKA-2024", Sex::Female, born(2_005, 9, 1), on);
    assert_eq!(groups(&on_1_september), ["U13"]);
    assert_eq!(on_1_september.current[0].age.youngest, 12);
    assert_eq!(on_1_september.current[0].spec.between.mm(), 7_000);
}

#[test]
fn overlapping_uk_groups_are_both_told_and_the_younger_is_the_target() {
    // 16 on 31 August 2025 (U17) and on 31 December 2025 (international U18).
    let found = ask("UKA-2024", Sex::Male, born(2_009, 3, 10), day(2_025, 6, 1));
    assert_eq!(groups(&found), ["U17", "U18"]);
    let target = sprint_target(&found.current, Some(Environment::Outdoor)).unwrap();
    assert_eq!((&*target.spec.event_code, target.spec.height.mm()), ("100H", 914));
}

#[test]
fn the_international_rule_goes_by_year_of_birth() {
    // Russian Federation, rules of athletics, age groups 3.1: 18 or 19 on 31 December.
    let on = day(2_026, 2, 1);
    for birth in [born(2_008, 12, 31), born(2_007, 1, 1), Birth::Year(2_008)] {
        let found = ask("WA", Sex::Male, birth, on);
        assert_eq!(groups(&found), ["U20"]);
        assert!(found.current.iter().all(|one| one.certain));
        let next = found.next.unwrap();
        let (year, ..) = birth.range().0.ymd();
        assert_eq!(next.applies_from, day(year + 20, 1, 1));
        assert_eq!(next.specs[0].group.code, "SEN");
    }
    let senior = ask("WA", Sex::Male, born(2_006, 12, 31), on);
    assert_eq!(groups(&senior), ["SEN"]);
    assert_eq!(senior.next, None);
}

#[test]
fn the_uk_school_years_of_2026_hold_until_the_move_on_1_october() {
    // England Athletics, "Age Group changes" (2025) and "Key information for off-track age group changes" (2026).
    let u14 = group("UKA-2026", "U14");
    let season = (day(2_012, 9, 1), day(2_014, 8, 31));
    for on in [day(2_026, 4, 1), day(2_026, 9, 30)] {
        assert_eq!(births(u14, on), season);
    }
    // In school year 7 of 2025/26 are those who turned 11 by 31 August 2025.
    let year_7 = born(2_014, 8, 31);
    assert_eq!(u14.age(year_7, day(2_026, 6, 1)).unwrap().youngest, 11);
    assert_eq!(births(u14, day(2_026, 10, 1)), (day(2_013, 9, 1), day(2_015, 8, 31)));
    assert_eq!(u14.births(day(2_026, 3, 31)), None);
    // School year 13 and up, under 20 on 31 December.
    let u20 = group("UKA-2026", "U20");
    assert_eq!(births(u20, day(2_026, 5, 1)), (day(2_007, 1, 1), day(2_008, 8, 31)));
}

#[test]
fn a_rule_set_without_its_year_follows_the_editions() {
    let girl = born(2_012, 6, 1);
    let before = ask("UKA", Sex::Female, girl, day(2_026, 3, 31));
    assert_eq!(groups(&before), ["U15"]);
    let next = before.next.unwrap();
    assert_eq!(next.applies_from, day(2_026, 4, 1));
    assert_eq!((next.specs.len(), next.reason), (0, Some(Reason::NoSpecification)));
    let old_only = ask("UKA-2024", Sex::Female, girl, day(2_026, 4, 1));
    assert_eq!(old_only.reason, Some(Reason::NotInForce));
}

#[test]
fn little_athletics_counts_ages_in_december_of_the_seasons_first_year() {
    // South Australian Little Athletics, 2018: under n holds age n-1 on 31 December.
    for on in [day(2_025, 10, 1), day(2_026, 3, 1)] {
        let found = ask("LAA", Sex::Male, born(2_011, 12, 31), on);
        assert_eq!(groups(&found), ["U15"]);
        let younger = ask("LAA-2019", Sex::Male, born(2_012, 1, 1), on);
        assert_eq!(groups(&younger), ["U14"]);
        assert_eq!(younger.next.unwrap().applies_from, day(2_026, 7, 1));
    }
}

#[test]
fn a_masters_group_changes_on_the_birthday() {
    let birth = born(1_976, 11, 25);
    let eve = ask("WMA", Sex::Male, birth, day(2_026, 11, 24));
    assert_eq!(groups(&eve), ["M35-49"]);
    let next = eve.next.unwrap();
    assert_eq!(next.applies_from, day(2_026, 11, 25));
    assert_eq!(next.specs[0].group.code, "M50-59");
}

#[test]
fn a_master_born_on_29_february_moves_up_on_1_march_of_a_common_year() {
    let birth = born(1_976, 2, 29);
    assert_eq!(groups(&ask("WMA", Sex::Male, birth, day(2_026, 2, 28))), ["M35-49"]);
    assert_eq!(groups(&ask("WMA", Sex::Male, birth, day(2_026, 3, 1))), ["M50-59"]);
    let leap = ask("WMA", Sex::Male, birth, day(2_036, 2, 28));
    assert_eq!(groups(&leap), ["M50-59"]);
    assert_eq!(leap.next.unwrap().applies_from, day(2_036, 2, 29));
}

#[test]
fn ontario_counts_birthdays_before_1_january_ahead_of_the_school_year() {
    // OFSAA playing regulations: has not reached the 14th birthday on 1 January before the school year.
    let on = day(2_026, 5, 1);
    assert_eq!(groups(&ask("OFSAA", Sex::Female, born(2_011, 1, 2), on)), ["MIDGET-NOVICE"]);
    assert_eq!(groups(&ask("OFSAA", Sex::Female, born(2_011, 1, 1), on)), ["JUN"]);
    let next = ask("OFSAA", Sex::Female, born(2_011, 1, 2), on).next.unwrap();
    assert_eq!(next.applies_from, day(2_026, 9, 1));
    assert_eq!(next.specs[0].group.code, "JUN");
}

#[test]
fn irish_schools_count_on_1_july_and_hold_an_athlete_in_the_youngest_group_that_fits() {
    // Bandon AC, age groups 2018: under 14 on 1 July.
    let on = day(2_018, 4, 1);
    assert_eq!(groups(&ask("IAAA", Sex::Male, born(2_004, 7, 2), on)), ["MINOR"]);
    assert_eq!(groups(&ask("IAAA", Sex::Male, born(2_004, 7, 1), on)), ["JUN"]);
    // Under 19 on 1 January.
    assert_eq!(groups(&ask("IAAA", Sex::Male, born(1_999, 1, 2), on)), ["SEN-SCH"]);
    assert_eq!(ask("IAAA", Sex::Male, born(1_999, 1, 1), on).reason, Some(Reason::NoAgeGroup));
    let year_only = ask("IAAA", Sex::Male, Birth::Year(2_004), on);
    assert_eq!(groups(&year_only), ["MINOR", "JUN"]);
    assert!(year_only.current.iter().all(|one| !one.certain));
}

#[test]
fn a_year_of_birth_alone_gives_every_group_that_may_apply() {
    let found = ask("UKA-2024", Sex::Male, Birth::Year(2_010), day(2_025, 6, 1));
    assert_eq!(groups(&found), ["U15", "U17"]);
    assert!(found.current.iter().all(|one| !one.certain));
    assert_eq!((found.current[0].age.youngest, found.current[0].age.oldest), (14, 15));
    let next = found.next.unwrap();
    assert_eq!(next.applies_from, day(2_025, 10, 1));
    assert_eq!(next.specs[0].group.code, "U17");
}

#[test]
fn an_answer_without_figures_says_why() {
    let birth = born(2_010, 6, 1);
    let on = day(2_026, 6, 1);
    for (ruleset, birth, reason) in [
        ("NOBODY", birth, Reason::UnknownRuleset),
        ("WA", born(2_016, 6, 1), Reason::NoAgeGroup),
        ("WA", born(2_026, 6, 2), Reason::NoAgeGroup),
        ("AAI", birth, Reason::NoSpecification),
        ("UKA-2026", birth, Reason::NoSpecification),
        ("NFHS", birth, Reason::GradeDecides),
        ("JAAF", birth, Reason::GradeDecides),
        ("LBFA", birth, Reason::RuleNotStated),
        ("LAANSW-2008", birth, Reason::NotInForce),
    ] {
        let found = ask(ruleset, Sex::Female, birth, on);
        assert_eq!((found.current.len(), found.reason), (0, Some(reason)), "{ruleset}");
        assert_eq!(found.by_grade.is_empty(), reason != Reason::GradeDecides, "{ruleset}");
    }
}

#[test]
fn a_word_in_the_answer_tells_the_rule() {
    assert_eq!(
        group("UKA-2024", "U13").words(),
        "aged 11 or 12 on 31 August within the competition year (1 October to 30 September)"
    );
    assert_eq!(group("IAAA", "MINOR").words(), "under 14 (no lower limit on file) on 1 July of the competition year");
    assert_eq!(group("LAA-2019", "U10").words(), "aged 9 on 31 December of the season's first year (July to June)");
    assert_eq!(group("NFHS", "HS").words(), "by school grade, not by age");
}

#[test]
fn the_environment_narrows_the_answer() {
    let query = Query {
        ruleset: "WA",
        sex: Sex::Female,
        birth: born(2_000, 1, 1),
        on: day(2_026, 1, 1),
        environment: Some(Environment::Indoor),
    };
    let found = lookup(&query, &Club::default());
    assert_eq!(found.current.len(), 2);
    let target = sprint_target(&found.current, Some(Environment::Indoor)).unwrap();
    assert_eq!((&*target.spec.event_code, target.spec.barriers), ("60H", 5));
    let both = ask("WA", Sex::Female, query.birth, query.on);
    let any = sprint_target(&both.current, None).unwrap();
    assert_eq!(any.spec.event_code, "100H");
    let indoor = sprint_target(&both.current, Some(Environment::Indoor)).unwrap();
    assert_eq!(indoor.spec.event_code, "60H");
}

/// A club's U14 girls' specification under the school-year groups, from a day on.
fn club_spec(from: Day, to: Option<Day>, height_mm: u32) -> Spec {
    Spec {
        ruleset: "UKA-2026".into(),
        event_code: "70H".into(),
        environment: Environment::Outdoor,
        sex: Some(Sex::Female),
        age_group: "U14".to_owned().into(),
        race_distance: Length::from_mm(70_000),
        barriers: 8,
        height: Length::from_mm(height_mm),
        to_first: Length::from_mm(11_000),
        between: Length::from_mm(7_000),
        run_in: Length::from_mm(10_000),
        sources: "".into(),
        confidence: Confidence::Club,
        note: "Local league sheet".into(),
        valid_from: Some(from),
        valid_to: to,
    }
}

#[test]
fn a_club_fills_a_gap_and_its_later_row_wins() {
    let specs = [club_spec(day(2_026, 8, 1), Some(day(2_026, 8, 31)), 685), club_spec(day(2_026, 5, 1), None, 600)];
    let club = Club { specs: &specs, age_groups: &[] };
    let on = |on| {
        let query = Query { ruleset: "UKA", sex: Sex::Female, birth: born(2_013, 6, 1), on, environment: None };
        let found = lookup(&query, &club);
        let height = found.current.first().map(|one| one.spec.height.mm());
        (height, found.next.map(|next| next.applies_from))
    };
    assert_eq!(on(day(2_026, 4, 30)), (None, Some(day(2_026, 5, 1))));
    assert_eq!(on(day(2_026, 5, 1)), (Some(600), Some(day(2_026, 8, 1))));
    assert_eq!(on(day(2_026, 8, 1)), (Some(685), Some(day(2_026, 9, 1))));
    assert_eq!(on(day(2_026, 9, 1)), (Some(600), Some(day(2_026, 10, 1))));
    assert_eq!(on(day(2_026, 10, 1)), (None, None));
}

#[test]
fn a_club_row_replaces_the_published_one_from_its_first_day_on() {
    let mut own =
        published().find(|s| s.ruleset == "WA" && s.event_code == "100H" && s.age_group == "U18").unwrap().clone();
    own.height = Length::from_mm(750);
    own.confidence = Confidence::Club;
    own.valid_from = Some(day(2_026, 7, 1));
    let specs = [own];
    let club = Club { specs: &specs, age_groups: &[] };
    let mut query =
        Query { ruleset: "WA", sex: Sex::Female, birth: born(2_010, 3, 3), on: day(2_026, 6, 30), environment: None };
    let before = lookup(&query, &club);
    let heights = |found: &Lookup<'_>| -> Vec<u32> {
        let sprints = found.current.iter().filter(|one| one.spec.event_code == "100H");
        sprints.map(|one| one.spec.height.mm()).collect()
    };
    assert_eq!(heights(&before), [762]);
    assert_eq!(before.next.as_ref().unwrap().applies_from, day(2_026, 7, 1));
    query.on = day(2_026, 7, 1);
    assert_eq!(heights(&lookup(&query, &club)), [750]);
}

#[test]
fn a_club_can_bring_a_rule_set_of_its_own() {
    let own = AgeGroup {
        ruleset: "LEAGUE".into(),
        code: "U14".into(),
        sex: None,
        rule: AgeRule::EndOfYear,
        min_age: Some(12),
        max_age: Some(13),
        sources: "".into(),
        confidence: Confidence::Club,
        note: "".into(),
        valid_from: None,
        valid_to: None,
    };
    let mut spec = club_spec(day(2_026, 1, 1), None, 600);
    spec.ruleset = "LEAGUE".into();
    let (specs, age_groups) = ([spec], [own]);
    let club = Club { specs: &specs, age_groups: &age_groups };
    let query = Query {
        ruleset: "LEAGUE",
        sex: Sex::Female,
        birth: Birth::Year(2_013),
        on: day(2_026, 6, 1),
        environment: None,
    };
    let found = lookup(&query, &club);
    assert_eq!(found.current.len(), 1);
    assert_eq!(found.next.unwrap().reason, Some(Reason::NoAgeGroup));
}

/// Every rule set that the tables name, and one that stands for two editions.
fn any_ruleset() -> impl Strategy<Value = &'static str> {
    let mut names: Vec<&'static str> = published_age_groups().iter().map(|g| &*g.ruleset).collect();
    names.dedup();
    names.push("UKA");
    proptest::sample::select(names)
}

fn any_birth() -> impl Strategy<Value = Birth> {
    prop_oneof![
        3 => (day(1_930, 1, 1).days()..day(2_022, 1, 1).days())
            .prop_map(|days| Birth::Date(Day::from_days(days).unwrap())),
        1 => (1_930..2_022).prop_map(Birth::Year),
    ]
}

/// Rule set, group and event of every row that applies.
fn row_keys(found: &Lookup<'_>) -> Vec<(String, String, String)> {
    let current = found.current.iter();
    current
        .map(|one| {
            let spec = one.spec;
            (spec.ruleset.to_string(), one.group.code.to_string(), spec.event_code.to_string())
        })
        .collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    #[test]
    fn the_next_change_is_the_first_one(
        ruleset in any_ruleset(),
        female in any::<bool>(),
        birth in any_birth(),
        days in day(2_015, 1, 1).days()..day(2_032, 1, 1).days(),
    ) {
        let on = Day::from_days(days).unwrap();
        let sex = if female { Sex::Female } else { Sex::Male };
        let now = ask(ruleset, sex, birth, on);
        prop_assert_eq!(now.current.is_empty(), now.reason.is_some());
        let until = now.next.as_ref().map_or(on.add_days(1_461), |next| next.applies_from.add_days(-1));
        prop_assert!(until >= on);
        // Every month's edge and a stride of 17 days up to the eve: nothing has changed yet.
        let mut eve = on;
        while eve <= until {
            prop_assert_eq!(row_keys(&ask(ruleset, sex, birth, eve)), row_keys(&now), "{}", eve);
            let (year, month, date) = eve.ymd();
            let first = if month == 12 { day(year + 1, 1, 1) } else { day(year, month + 1, 1) };
            eve = if date == 1 { eve.add_days(17) } else { first };
        }
        prop_assert_eq!(row_keys(&ask(ruleset, sex, birth, until)), row_keys(&now));
        if let Some(next) = &now.next {
            let then = ask(ruleset, sex, birth, next.applies_from);
            prop_assert_ne!(row_keys(&then), row_keys(&now));
            prop_assert_eq!(&then.current, &next.specs);
            prop_assert_eq!(then.reason, next.reason);
        }
    }

    #[test]
    fn any_day_and_birth_have_an_answer(
        ruleset in any_ruleset(),
        birth_days in Day::MIN.days()..=Day::MAX.days(),
        days in Day::MIN.days()..=Day::MAX.days(),
        year in any::<i32>(),
    ) {
        let on = Day::from_days(days).unwrap();
        for birth in [Birth::Date(Day::from_days(birth_days).unwrap()), Birth::Year(year)] {
            let found = ask(ruleset, Sex::Male, birth, on);
            prop_assert!(found.next.is_none_or(|next| next.applies_from > on));
            if birth.range().0 > on {
                prop_assert!(found.current.is_empty());
            }
        }
    }
}
