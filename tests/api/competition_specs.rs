//! Competition specifications: the published ones over HTTP, a club's own, and which apply to whom.

use chrono::{Days, Months, NaiveDate};
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp, walk};

const NUMBERS: [&str; 7] =
    ["race_distance_m", "barriers", "height_m", "approach_m", "spacing_m", "run_in_m", "confidence"];

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn own(age_group: &str, valid_from: &str) -> Value {
    json!({"ruleset": "UKA-2024", "event_code": "75H", "environment": "outdoor", "sex": "F", "age_group": age_group,
        "race_distance_m": 75.0, "barriers": 8, "height_m": 0.685, "to_first_m": 11.5, "between_m": 7.5,
        "run_in_m": 11.0, "valid_from": valid_from, "source": "County sheet 2025"})
}

fn age_group(code: &str, valid_from: &str) -> Value {
    json!({"ruleset": "Harbour League", "age_group": code, "min_age": 11, "max_age": 12, "rule": "end_of_year",
        "valid_from": valid_from, "source": "League handbook"})
}

/// The codes and heights of a list of specifications.
fn heights(list: &Value) -> Vec<(String, String, f64)> {
    let text = |value: &Value| value.as_str().unwrap().to_owned();
    let one = |spec: &Value| (text(&spec["event_code"]), text(&spec["age_group"]), spec["height_m"].as_f64().unwrap());
    list.as_array().unwrap().iter().map(one).collect()
}

/// The reference day of a group for a competition on 15 June 2025, from the reference table of the rules
/// (tests/oracle/age_group_rules.csv, read by hand); of two, that of the lower limit.
fn reference(ruleset: &str, group: &str) -> NaiveDate {
    date(match (ruleset, group) {
        ("WA" | "SFIF", _) | ("UKA-2024", "U18" | "SEN") => "2025-12-31",
        ("UKA-2024" | "ESAA", _) => "2025-08-31",
        ("IAAA", "SEN-SCH") => "2025-01-01",
        ("IAAA", _) => "2025-07-01",
        ("OFSAA", _) => "2024-01-01",
        ("LAA-2019", _) => "2024-12-31",
        ("WMA", _) => "2025-06-15",
        other => panic!("no reference day for {other:?}"),
    })
}

#[sqlx::test]
async fn every_row_read_on_a_page_is_told_to_an_athlete_in_the_middle_of_its_ages(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let path = format!("{}/tests/oracle/competition_specs.csv", env!("CARGO_MANIFEST_DIR"));
    let mut asked = 0;
    for row in csv::Reader::from_path(path).unwrap().records().map(Result::unwrap) {
        let age = |at: usize| row[at].parse::<u32>().ok();
        let age = match (age(5), age(6)) {
            (Some(min), Some(max)) => (min + max).div_ceil(2),
            (None, Some(max)) => max,
            (Some(min), None) => min + 5,
            (None, None) => continue,
        };
        // Groups by school grade are not told by birth date.
        if &row[14] != "page" || &row[0] == "JAAF" {
            continue;
        }
        let birth = reference(&row[0], &row[4]) - Months::new(12 * age) - Days::new(180);
        let sexes = if &row[3] == "X" { vec!["F", "M"] } else { vec![&row[3]] };
        for sex in sexes {
            let query = format!("ruleset={}&sex={sex}&birth_date={birth}&on=2025-06-15", &row[0]);
            let answer = app.get(&format!("/v1/competition-specs?{query}")).await.expect(200);
            let current = answer.body["current"].as_array().unwrap();
            let found: Vec<&Value> = current
                .iter()
                .filter(|spec| {
                    let same = |field: &str, at: usize| spec[field] == row[at];
                    same("ruleset", 0)
                        && same("event_code", 1)
                        && same("environment", 2)
                        && same("sex", 3)
                        && same("age_group", 4)
                })
                .collect();
            assert_eq!(found.len(), 1, "{query} {row:?} {current:?}");
            for (at, field) in (7..=12).zip(NUMBERS) {
                assert_eq!(found[0][field].as_f64(), row[at].parse().ok(), "{field} of {row:?}");
            }
            assert_eq!(found[0]["confidence"], "page");
            assert_eq!(found[0]["age"], json!(age), "{query} {row:?}");
            assert_eq!(found[0]["certain"], true);
            assert_eq!(found[0]["sources"].as_array().unwrap().len(), row[13].split('+').count(), "{row:?}");
            assert!(answer.body.get("note").is_none());
            asked += 1;
        }
    }
    assert_eq!(asked, 106);
}

#[sqlx::test]
async fn the_next_set_is_told_with_its_day_across_31_august_and_1_october(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    // Whitemoss AAC, "General Info", 2018: under 13 until the year of competition that begins on 1 October.
    let ask = async |on: &str, birth: &str| {
        app.get(&format!("/v1/competition-specs?ruleset=UKA-2024&sex=F&birth_date={birth}&on={on}")).await.expect(200)
    };
    let before = ask("2025-09-30", "2013-05-20").await;
    assert_eq!(before.header("cache-control"), "public, max-age=3600");
    assert_eq!(heights(&before.body["current"]), [("70H".to_owned(), "U13".to_owned(), 0.685)]);
    assert_eq!(heights(&before.body["next"]), [("75H".to_owned(), "U15".to_owned(), 0.762)]);
    assert_eq!(before.body["next"][0]["applies_from"], "2025-10-01");
    assert!(before.body["current"][0].get("applies_from").is_none());
    let rule = before.body["current"][0]["group"]["rule"].as_str().unwrap();
    assert!(rule.contains("aged 11 or 12") && rule.contains("31 August"), "{rule}");
    let after = ask("2025-10-01", "2013-05-20").await;
    assert_eq!(heights(&after.body["current"]), [("75H".to_owned(), "U15".to_owned(), 0.762)]);
    // One day of birth apart: 13 on 31 August, or still 12.
    let older = ask("2018-06-01", "2005-08-31").await;
    assert_eq!(older.body["current"][0]["age_group"], "U15");
    let younger = ask("2018-06-01", "2005-09-01").await;
    assert_eq!(younger.body["current"][0]["age_group"], "U13");
}

#[sqlx::test]
async fn a_year_of_birth_alone_is_not_certain_and_the_environment_narrows(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let ask = async |query: &str| app.get(&format!("/v1/competition-specs?{query}")).await.expect(200).body;
    let year = ask("ruleset=UKA-2024&sex=F&birth_year=2012&on=2025-06-01").await;
    let groups: Vec<String> = heights(&year["current"]).into_iter().map(|(_, group, _)| group).collect();
    assert_eq!(groups, ["U13", "U15"]);
    assert!(year["current"].as_array().unwrap().iter().all(|spec| spec["certain"] == false));
    let indoor = ask("ruleset=WA&sex=M&birth_date=1998-02-03&on=2026-02-01&environment=indoor").await;
    assert_eq!(
        heights(&indoor["current"]),
        [("60H".to_owned(), "SEN".to_owned(), 1.067), ("50H".to_owned(), "SEN".to_owned(), 1.067)]
    );
    let whole = ask("ruleset=UKA-2024").await;
    let list = whole["current"].as_array().unwrap();
    assert_eq!(list.len(), 20);
    assert!(list.iter().all(|spec| spec["certain"] == false && spec.get("age").is_none()));
    assert_eq!(whole["next"], json!([]));
}

#[sqlx::test]
async fn the_rule_sets_are_listed_with_rules_in_words_and_sources(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let answer = app.get("/v1/rulesets").await.expect(200);
    assert_eq!(answer.header("cache-control"), "public, max-age=3600");
    let items = answer.body["items"].as_array().unwrap();
    let names: Vec<&str> = items.iter().map(|item| item["ruleset"].as_str().unwrap()).collect();
    assert!(names.is_sorted() && names.contains(&"WA") && names.contains(&"UKA-2026"), "{names:?}");
    let uka = items.iter().find(|item| item["ruleset"] == "UKA-2024").unwrap();
    assert_eq!(uka["specifications"], 20);
    let groups = uka["age_groups"].as_array().unwrap();
    let u13 = groups.iter().find(|group| group["age_group"] == "U13").unwrap();
    assert_eq!(u13["confidence"], "page");
    assert_eq!(u13["sources"][0]["publisher"], "Whitemoss AAC");
    assert!(u13["rule"].as_str().unwrap().starts_with("aged 11 or 12 on 31 August"));
}

#[sqlx::test]
async fn a_question_that_cannot_be_read_names_the_parameter(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    for (query, parameter) in [
        ("sex=F&birth_year=2012", "ruleset"),
        ("ruleset=&sex=F&birth_year=2012", "ruleset"),
        ("ruleset=WA&sex=X&birth_year=2012", "sex"),
        ("ruleset=WA&birth_year=2012", "sex"),
        ("ruleset=WA&sex=F", "birth_date"),
        ("ruleset=WA&sex=F&birth_year=2012&birth_date=2012-01-01", "birth_date"),
        ("ruleset=WA&sex=F&birth_year=1899", "birth_year"),
        ("ruleset=WA&sex=F&birth_date=2012-02-30", "birth_date"),
        ("ruleset=WA&sex=F&birth_year=2012&on=1899-12-31", "on"),
        ("ruleset=WA&sex=F&birth_year=2012&environment=roof", "environment"),
    ] {
        admin.app.get(&format!("/v1/competition-specs?{query}")).await.expect_fault(400, parameter);
        if query.starts_with("ruleset") {
            let path = format!("/competition-specs/applicable?{query}");
            admin.get(&path).await.expect_fault(400, parameter);
        }
    }
    admin.get("/competition-specs/applicable").await.expect_fault(400, "sex");
    admin.get(&format!("/competition-specs/applicable?athlete_id={}", Uuid::now_v7())).await.expect(404);
}

#[sqlx::test]
async fn where_nothing_is_on_file_the_note_says_why_and_how_to_add_it(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let note = |body: &Value| {
        assert_eq!((&body["current"], &body["next"]), (&json!([]), &json!([])), "{body}");
        body["note"].as_str().unwrap().to_owned()
    };
    for query in ["ruleset=Moon", "ruleset=Moon&sex=F&birth_year=2012"] {
        let body = admin.app.get(&format!("/v1/competition-specs?{query}")).await.expect(200).body;
        let note = note(&body);
        assert!(note.contains("on file") && note.contains("POST") && note.contains("/competition-specs"), "{note}");
    }
    let path = "/competition-specs/applicable?ruleset=Moon&sex=F&birth_year=2012";
    let unknown = note(&admin.get(path).await.expect(200).body);
    assert!(unknown.contains("This rule set is not on file."), "{unknown}");
    // The age group of UKA-2026 is known, its figures are not: told, not guessed.
    let body = admin
        .get("/competition-specs/applicable?ruleset=UKA-2026&sex=F&birth_date=2013-05-20&on=2026-06-01")
        .await
        .expect(200)
        .body;
    assert_eq!(body["current"], json!([]));
    let known = body["note"].as_str().unwrap();
    assert!(known.contains("no specification for it is on file") && known.contains("POST"), "{known}");
    // School grade decides: the specifications are shown to choose from, without an age.
    let grade = admin.app.get("/v1/competition-specs?ruleset=NFHS&sex=F&birth_year=2010&on=2026-06-01").await.body;
    assert_eq!(grade["current"].as_array().unwrap().len(), 4);
    assert!(grade["current"].as_array().unwrap().iter().all(|spec| spec.get("age").is_none()));
    assert!(grade["note"].as_str().unwrap().contains("school grade"));
}

#[sqlx::test]
async fn a_club_row_replaces_the_published_one_from_its_first_to_its_last_day(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let mut body = own("U15", "2025-05-01");
    body["valid_to"] = json!("2025-07-31");
    let made = north.post("/competition-specs", body).await.expect(201);
    let ask = async |caller: &Caller, on: &str| {
        let query = format!("sex=F&birth_date=2011-05-20&on={on}");
        caller.get(&format!("/competition-specs/applicable?{query}")).await.expect(200)
    };
    let published = ("75H".to_owned(), "U15".to_owned(), 0.762);
    let ours = ("75H".to_owned(), "U15".to_owned(), 0.685);
    for (on, want) in
        [("2025-04-30", &published), ("2025-05-01", &ours), ("2025-07-31", &ours), ("2025-08-01", &published)]
    {
        let answer = ask(&north, on).await;
        assert_eq!(heights(&answer.body["current"]), std::slice::from_ref(want), "{on}");
        assert_eq!(answer.header("cache-control"), "private, no-cache");
    }
    let next = ask(&north, "2025-04-30").await.body["next"].clone();
    assert_eq!(heights(&next), [ours]);
    assert_eq!(next[0]["applies_from"], "2025-05-01");
    assert_eq!(next[0]["confidence"], "club");
    assert_eq!(next[0]["note"], "County sheet 2025");
    assert_eq!(heights(&ask(&south, "2025-06-01").await.body["current"]), std::slice::from_ref(&published));
    let public = "/v1/competition-specs?ruleset=UKA-2024&sex=F&birth_date=2011-05-20&on=2025-06-01";
    assert_eq!(heights(&app.get(public).await.body["current"]), std::slice::from_ref(&published));
    let path = format!("/competition-specs/{}", made.id());
    north.delete(&path, made.header("etag")).await.expect(204);
    assert_eq!(heights(&ask(&north, "2025-06-01").await.body["current"]), [published]);
}

#[sqlx::test]
async fn an_athlete_is_asked_about_by_id_and_only_by_those_who_see_them(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let (mine, other) = (north.group("Mine").await, north.group("Other").await);
    let body = json!({"display_name": "Mira Osei", "sex": "F", "birth_date": "2011-05-20", "group_ids": [mine],
        "experience": "novice"});
    let athlete = north.post("/athletes", body).await.expect(201).id();
    let path = format!("/competition-specs/applicable?athlete_id={athlete}&on=2025-06-01");
    let coach = north.member("Her coach", "coach", &[&mine]).await;
    let stranger = north.member("Other coach", "coach", &[&other]).await;
    let seen = coach.get(&path).await.expect(200);
    assert_eq!(heights(&seen.body["current"]), [("75H".to_owned(), "U15".to_owned(), 0.762)]);
    assert_eq!(seen.body["current"][0]["age"], 14);
    stranger.get(&path).await.expect(404);
    south.get(&path).await.expect(404);
}

#[sqlx::test]
async fn a_rule_set_of_the_clubs_own_needs_both_a_group_and_a_specification(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let etag = admin.get("").await.header("etag").to_owned();
    admin.patch("", &etag, json!({"ruleset": "Harbour League"})).await.expect(200);
    let ask = async |born: &str| {
        let query = format!("sex=M&birth_date={born}&on=2026-06-01");
        admin.get(&format!("/competition-specs/applicable?{query}")).await.expect(200).body
    };
    assert!(ask("2014-12-31").await["note"].as_str().unwrap().contains("rule set is not on file"));
    admin.post("/age-groups", age_group("Minnows", "2026-01-01")).await.expect(201);
    assert!(ask("2014-12-31").await["note"].as_str().unwrap().contains("no specification for it"));
    let mut spec = own("Minnows", "2026-01-01");
    spec["ruleset"] = json!("Harbour League");
    spec["sex"] = json!("X");
    admin.post("/competition-specs", spec).await.expect(201);
    // 11 or 12 on 31 December 2026.
    for (born, there) in [("2013-12-31", false), ("2014-01-01", true), ("2015-12-31", true), ("2016-01-01", false)] {
        let body = ask(born).await;
        assert_eq!(body["current"].as_array().unwrap().len(), usize::from(there), "{born} {body}");
        assert_eq!(body.get("note").is_none(), there);
    }
    let body = ask("2014-12-31").await;
    assert_eq!(body["current"][0]["group"]["confidence"], "club");
    assert_eq!((&body["current"][0]["age"], &body["current"][0]["certain"]), (&json!(12), &json!(true)));
}

#[sqlx::test]
async fn an_own_specification_is_created_repeated_changed_and_deleted(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let mut body = own("U15", "2025-05-01");
    body["id"] = json!(Uuid::now_v7());
    let first = admin.post("/competition-specs", body.clone()).await.expect(201);
    let mut whole = body.clone();
    whole["rev"] = first.body["rev"].clone();
    assert_eq!(first.body, whole);
    let seq = admin.seq().await;
    assert_eq!(admin.post("/competition-specs", body.clone()).await.expect(200).body, first.body);
    body["source"] = json!("Another sheet");
    admin.post("/competition-specs", body).await.expect(409);
    let path = format!("/competition-specs/{}", first.id());
    assert_eq!(admin.get(&path).await.expect(200).body, first.body);
    let change = json!({"between_m": 7.0, "run_in_m": 14.5, "valid_to": "2025-12-31"});
    admin.patch(&path, "", change.clone()).await.expect(428);
    admin.patch(&path, "\"999\"", change.clone()).await.expect(412);
    assert_eq!(admin.seq().await, seq);
    let changed = admin.patch(&path, first.header("etag"), change).await.expect(200);
    assert_eq!((&changed.body["between_m"], &changed.body["valid_to"]), (&json!(7.0), &json!("2025-12-31")));
    admin.delete(&path, first.header("etag")).await.expect(412);
    admin.delete(&path, changed.header("etag")).await.expect(204);
    admin.get(&path).await.expect(404);
    assert_eq!(admin.get("/competition-specs").await.body["items"], json!([]));
}

#[sqlx::test]
async fn two_rows_for_the_same_race_never_hold_on_the_same_day(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    for (path, make) in
        [("/competition-specs", own as fn(&str, &str) -> Value), ("/age-groups", age_group as fn(&str, &str) -> Value)]
    {
        let mut first = make("U15", "2025-05-01");
        first["valid_to"] = json!("2025-07-31");
        let first = admin.post(path, first).await.expect(201);
        let seq = admin.seq().await;
        let refused = admin.post(path, make("U15", "2025-07-31")).await.expect(409);
        assert!(refused.body["detail"].as_str().unwrap().contains("valid_to"));
        admin.post(path, make("U15", "2024-01-01")).await.expect(409);
        assert_eq!(admin.seq().await, seq);
        let later = admin.post(path, make("U15", "2025-08-01")).await.expect(201);
        admin.post(path, make("U16", "2025-05-01")).await.expect(201);
        // Reopening the first would run into the second; changing something else does not.
        let one = format!("{path}/{}", first.id());
        admin.patch(&one, first.header("etag"), json!({"valid_to": null})).await.expect(409);
        admin.patch(&one, first.header("etag"), json!({"source": "Reprint"})).await.expect(200);
        admin.delete(&format!("{path}/{}", later.id()), later.header("etag")).await.expect(204);
        let tag = admin.get(&one).await.header("etag").to_owned();
        admin.patch(&one, &tag, json!({"valid_to": null})).await.expect(200);
    }
}

#[sqlx::test]
async fn every_broken_field_of_a_specification_is_named_and_nothing_is_stored(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let seq = admin.seq().await;
    // A 100 m sheet with a 105 m run-out, as printed on one page by mistake for 10.5 m (Brighton Little Athletics).
    let mut sheet = own("SEN", "2025-05-01");
    for (field, value) in [("race_distance_m", 100.0), ("to_first_m", 13.0), ("between_m", 8.5), ("run_in_m", 10.4)] {
        sheet[field] = json!(value);
    }
    sheet["barriers"] = json!(10);
    let refused = admin.post("/competition-specs", sheet.clone()).await.expect_fault(422, "/run_in_m");
    let detail = refused.body["errors"][0]["detail"].as_str().unwrap();
    assert!(detail.contains("99.9") && detail.contains("100"), "{detail}");
    sheet["run_in_m"] = json!(105);
    admin.post("/competition-specs", sheet).await.expect_fault(422, "/run_in_m");
    let broken = [
        ("ruleset", json!(""), 422),
        ("event_code", json!("x".repeat(21)), 422),
        ("environment", json!("roof"), 422),
        ("sex", json!("both"), 422),
        ("age_group", json!(" "), 422),
        ("race_distance_m", json!(19), 422),
        ("barriers", json!(21), 422),
        ("barriers", json!(-1), 400),
        ("height_m", json!(1.2), 422),
        ("to_first_m", json!(0), 422),
        ("between_m", json!(7.5005), 422),
        ("run_in_m", json!("11"), 400),
        ("valid_from", json!("1899-12-31"), 422),
        ("valid_from", json!("2025-02-30"), 400),
        ("valid_to", json!("2025-04-30"), 422),
        ("source", json!(""), 422),
        ("colour", json!("red"), 400),
    ];
    for (field, value, status) in broken {
        let mut body = own("U15", "2025-05-01");
        body[field] = value;
        admin.post("/competition-specs", body).await.expect_fault(status, &format!("/{field}"));
    }
    assert_eq!(admin.get("/competition-specs").await.body["items"], json!([]));
    assert_eq!(admin.seq().await, seq);
}

#[sqlx::test]
async fn an_age_group_is_kept_and_every_broken_field_of_it_named(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let mut body = age_group("Minnows", "2026-01-01");
    body["id"] = json!(Uuid::now_v7());
    let first = admin.post("/age-groups", body.clone()).await.expect(201);
    let mut whole = body.clone();
    whole["rev"] = first.body["rev"].clone();
    assert_eq!(first.body, whole);
    assert_eq!(admin.post("/age-groups", body.clone()).await.expect(200).body, first.body);
    body["max_age"] = json!(13);
    admin.post("/age-groups", body).await.expect(409);
    let seq = admin.seq().await;
    for (field, value, status) in [
        ("ruleset", json!(""), 422),
        ("age_group", json!("x".repeat(41)), 422),
        ("rule", json!("not_stated"), 422),
        ("rule", json!("sometimes"), 422),
        ("min_age", json!(-1), 422),
        ("max_age", json!(121), 422),
        ("max_age", json!(10), 422),
        ("min_age", json!("11"), 400),
        ("valid_from", json!("2201-01-01"), 422),
        ("valid_to", json!("2025-12-31"), 422),
        ("source", json!(""), 422),
        ("colour", json!("red"), 400),
    ] {
        let mut body = age_group("Others", "2026-01-01");
        body[field] = value;
        admin.post("/age-groups", body).await.expect_fault(status, &format!("/{field}"));
    }
    assert_eq!(admin.seq().await, seq);
    let path = format!("/age-groups/{}", first.id());
    let changed = admin.patch(&path, first.header("etag"), json!({"max_age": null})).await.expect(200);
    assert_eq!(changed.body.get("max_age"), None);
    assert_eq!(admin.get(&path).await.expect(200).body, changed.body);
    assert_eq!(admin.get("/age-groups").await.body["items"], json!([changed.body]));
    admin.delete(&path, first.header("etag")).await.expect(412);
    admin.delete(&path, changed.header("etag")).await.expect(204);
    admin.get(&path).await.expect(404);
}

#[sqlx::test]
async fn another_club_gets_404_members_read_and_only_admins_write(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = north.group("Sprint").await;
    let coach = north.member("The coach", "coach", &[&group]).await;
    let viewer = north.member("The viewer", "viewer", &[&group]).await;
    for (list, body) in
        [("/competition-specs", own("U15", "2025-05-01")), ("/age-groups", age_group("Minnows", "2026-01-01"))]
    {
        let made = north.post(list, body.clone()).await.expect(201);
        let path = format!("{list}/{}", made.id());
        south.get(&path).await.expect(404);
        south.patch(&path, made.header("etag"), json!({"source": "Ours"})).await.expect(404);
        south.delete(&path, made.header("etag")).await.expect(404);
        assert_eq!(south.get(list).await.body["items"], json!([]));
        for member in [&coach, &viewer] {
            assert_eq!(member.get(&path).await.expect(200).body, made.body);
            member.post(list, body.clone()).await.expect(403);
            member.patch(&path, made.header("etag"), json!({"source": "Mine"})).await.expect(403);
            member.delete(&path, made.header("etag")).await.expect(403);
        }
        assert_eq!(north.get(list).await.body["items"], json!([made.body]));
    }
}

#[sqlx::test]
async fn lists_of_a_clubs_own_rules_stay_whole_while_others_insert(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    for (list, make) in
        [("/competition-specs", own as fn(&str, &str) -> Value), ("/age-groups", age_group as fn(&str, &str) -> Value)]
    {
        let mut ids = Vec::new();
        for n in 0..7 {
            ids.push(admin.post(list, make(&format!("G{n}"), "2026-01-01")).await.expect(201).id());
        }
        let walked = walk(&admin, list, 3, async |page| {
            admin.post(list, make(&format!("Late{page}"), "2026-01-01")).await.expect(201);
        })
        .await;
        assert_eq!(walked[..7], ids);
        let unique: std::collections::BTreeSet<_> = walked.iter().collect();
        assert_eq!(unique.len(), walked.len());
    }
}

#[sqlx::test]
async fn a_club_whose_rule_set_is_not_on_file_takes_over_another_and_its_athletes_have_a_target(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let club = admin.get("").await.expect(200);
    admin.patch("", club.header("etag"), json!({"ruleset": "Coast League"})).await.expect(200);
    let group = admin.group("Sprinters").await;
    let child = |born: &str| json!({"display_name": "Pella Ford", "sex": "F", "birth_date": born, "group_ids": [group], "experience": "novice"});
    let athlete = admin.post("/athletes", child("2012-05-20")).await.expect(201).id();
    let advice = format!("/athletes/{athlete}/recommendation?on=2025-06-01");
    assert_eq!(admin.get(&advice).await.expect(200).body["no_target_code"], "unknown_ruleset");

    let asked = json!({"from": "UKA-2024", "valid_from": "2025-01-01", "dry_run": true});
    let preview = admin.post("/competition-specs/adopt", asked).await.expect(200).body;
    assert_eq!((&preview["dry_run"], &preview["on_file"]), (&json!(true), &json!("by_age")));
    assert_eq!(admin.get("/competition-specs").await.expect(200).body["items"], json!([]));

    let asked = json!({"from": "UKA-2024", "valid_from": "2025-01-01"});
    let taken = admin.post("/competition-specs/adopt", asked.clone()).await.expect(200).body;
    assert_eq!(taken["specifications"], preview["specifications"]);
    let all = taken["specifications"].as_array().unwrap();
    assert!(all.len() > 5 && all.iter().all(|one| one["ruleset"] == "Coast League"));
    assert!(all.iter().all(|one| one["source"].as_str().unwrap().contains("UKA-2024")));
    let target = admin.get(&advice).await.expect(200).body["target"].clone();
    assert_eq!((&target["ruleset"], &target["confidence"]), (&json!("Coast League"), &json!("club")));
    // The published answer for the same girl names the same race (England Athletics, 2024).
    let published = app
        .get("/v1/competition-specs?ruleset=UKA-2024&sex=F&birth_date=2012-05-20&on=2025-06-01&environment=outdoor")
        .await
        .expect(200)
        .body;
    assert_eq!(published["current"][0]["event_code"], target["event_code"]);
    assert_eq!(published["current"][0]["spacing_m"], target["spacing_m"]);

    let again = admin.post("/competition-specs/adopt", asked).await.expect(200).body;
    assert_eq!((&again["specifications"], &again["age_groups"]), (&json!([]), &json!([])));
    assert_eq!(again["kept"].as_array().unwrap().len(), all.len() + taken["age_groups"].as_array().unwrap().len());
}

#[sqlx::test]
async fn a_rule_set_that_goes_by_grade_is_taken_over_with_ages_and_broken_mappings_are_named(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let listed = app.get("/v1/rulesets").await.expect(200).body;
    let by_grade = listed["items"].as_array().unwrap().iter().find(|one| one["on_file"] == "ages_missing").unwrap();
    let (name, from) = (&by_grade["ruleset"], &by_grade["age_groups"][0]["age_group"]);
    let adopt = |groups: Value| json!({"from": name, "valid_from": "2026-01-01", "age_groups": groups});
    let mapped = json!([{"from": from, "to": "Thirteen", "min_age": 12, "max_age": 13, "rule": "end_of_year"}]);
    let taken = admin.post("/competition-specs/adopt", adopt(mapped)).await.expect(200).body;
    assert_eq!(taken["age_groups"][0]["age_group"], "Thirteen");
    assert_eq!(taken["on_file"], "by_age");
    assert!(taken["specifications"].as_array().unwrap().iter().all(|one| one["age_group"] == "Thirteen"));

    for (body, pointer) in [
        (json!({"from": "An invented one", "valid_from": "2026-01-01"}), "/from"),
        // The club's rule set is UKA-2024, in force to 31 March 2026.
        (json!({"from": "UKA-2024", "valid_from": "2026-03-01"}), "/from"),
        (json!({"from": "UKA-2024", "valid_from": "1066-01-01"}), "/valid_from"),
        (adopt(json!([{"from": "Nobody"}])), "/age_groups/0/from"),
        (adopt(json!([{"from": from, "min_age": 13, "max_age": 12}])), "/age_groups/0/max_age"),
        (adopt(json!([{"from": from, "min_age": 12}, {"from": from, "min_age": 12}])), "/age_groups/1/to"),
    ] {
        admin.post("/competition-specs/adopt", body).await.expect_fault(422, pointer);
    }
}

#[sqlx::test]
async fn somebody_younger_than_every_group_is_shown_the_youngest_ones_race_for_orientation(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let found =
        app.get("/v1/competition-specs?ruleset=WA&sex=M&birth_date=2015-03-01&on=2026-06-01").await.expect(200).body;
    assert_eq!(found["current"], json!([]));
    assert!(found["provisional"].as_array().unwrap().iter().all(|one| one["age_group"] == "U18"), "{found}");
    assert!(!found["provisional"].as_array().unwrap().is_empty() && found["note"].is_string());
}
