//! Documents for people: they hold what JSON says and nothing more, whatever people are called, and browsers may do nothing with
//! them but show them.

use chrono::{Duration, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::{Caller, TestApp};
use crate::sync_pull::athlete;
use crate::wellbeing::restrict;

/// Forty letters, right to left twice, without blanks, and what would break out of an element.
const NAMES: [&str; 6] = [
    "Wolfeschlegelsteinhausenbergerdorffmeyer",
    "مريم الخالدي",
    "נועה לוי",
    "高橋さくら",
    "O'Neil & <b>",
    "\"><script>alert(1)</script>",
];

/// Cards that begin a page of their own, so that the coach keeps the one with the blocks.
const APART: &str = "class=\"new-page\">\n<h2>Cards</h2>";

/// As it stands in a page.
fn escaped(words: &str) -> String {
    let marks = [('&', "&amp;"), ('<', "&lt;"), ('>', "&gt;"), ('"', "&quot;"), ('\'', "&#39;")];
    let mark = |letter: char| marks.iter().find(|(one, _)| *one == letter).map(|(_, safe)| (*safe).to_owned());
    words.chars().map(|letter| mark(letter).unwrap_or_else(|| letter.to_string())).collect()
}

fn named(name: &str) -> String {
    format!("<bdi dir=\"auto\">{}</bdi>", escaped(name))
}

/// A page, after what must hold of every one.
async fn page(caller: &Caller, path: &str) -> String {
    let answer = caller.call(Method::GET, &caller.path(path), &[], None).await.expect(200);
    assert_eq!(answer.header("content-type"), "text/html; charset=utf-8", "{path}");
    assert_eq!(answer.header("cache-control"), "private, no-cache", "{path}");
    let policy = answer.header("content-security-policy").to_owned();
    assert!(
        policy.contains("default-src 'none'") && policy.contains("sandbox") && !policy.contains("script"),
        "{policy}"
    );
    let text = String::from_utf8(answer.bytes.clone()).unwrap();
    assert!(text.starts_with("<!DOCTYPE html>\n<html lang=\"en\" dir=\"ltr\">"), "{path}");
    assert_eq!((text.matches("<h1>").count(), text.matches("<script").count()), (1, 0), "{path}");
    assert!(!text.contains(" style=\"") && !text.replace("http://www.w3.org/2000/svg", "").contains("http"), "{path}");
    let file = caller.call(Method::GET, &caller.path(&path.replace(".html", ".pdf")), &[], None).await.expect(200);
    assert_eq!(file.header("content-type"), "application/pdf", "{path}");
    assert_eq!(file.header("cache-control"), "private, no-cache", "{path}");
    let printed = bare(&file.readable());
    for words in told(&text) {
        assert!(printed.contains(&words), "{words} of {path} is not in the file: {printed}");
    }
    // Figures hold on to their units by blanks that do not break.
    text.replace('\u{a0}', " ")
}

fn bare(words: &str) -> String {
    words.split_whitespace().collect()
}

/// The words of a page between its tags, without those of pictures, styles and boxes, whose place on paper is another.
fn told(page: &str) -> Vec<String> {
    let mut told = Vec::new();
    let mut inside = None;
    for part in page.split('<').skip(1) {
        let (tag, words) = part.split_once('>').unwrap();
        let tag = tag.split(' ').next().unwrap();
        match inside {
            None if ["style", "svg", "title"].contains(&tag) => inside = Some(format!("/{tag}")),
            Some(ref end) if tag == end => inside = None,
            _ => {}
        }
        let words = [("&lt;", "<"), ("&gt;", ">"), ("&quot;", "\""), ("&#39;", "'"), ("&amp;", "&")]
            .into_iter()
            .fold(words.to_owned(), |words, (mark, letter)| words.replace(mark, letter));
        // What is written from right to left is read back as it is seen.
        let is_turned = words.chars().any(|letter| ('\u{590}'..'\u{900}').contains(&letter));
        if inside.is_none() && !is_turned && !words.ends_with("to tick") {
            told.push(bare(&words));
        }
    }
    assert!(told.iter().map(String::len).sum::<usize>() > 20, "{page}");
    told
}

/// Every caution of an answer, wherever it stands.
fn cautions(body: &Value) -> Vec<String> {
    match body {
        Value::Object(fields) => {
            let own = fields.get("cautions").and_then(Value::as_array).into_iter().flatten();
            let texts = own.filter_map(|one| one["text"].as_str()).map(str::to_owned);
            texts.chain(fields.values().flat_map(cautions)).collect()
        }
        Value::Array(items) => items.iter().flat_map(cautions).collect(),
        _ => Vec::new(),
    }
}

#[track_caller]
fn holds_every_caution(what: &str, body: &Value, page: &str) {
    let told = cautions(body);
    assert!(!told.is_empty(), "{what}");
    for caution in told {
        assert!(page.contains(&escaped(&caution)), "{what}: {caution}");
    }
}

/// Cautions never end a document: no page of paper holds them alone.
#[track_caller]
fn goes_on_behind_its_cautions(page: &str) {
    let behind = page.split("<h2>Cautions</h2>").nth(1).unwrap();
    assert!(behind.contains("<h2>"), "{page}");
}

/// The first length in metres of a page, such as "6.25 m".
fn metres(page: &str) -> Option<&str> {
    let is_length = |at: usize| {
        let before = page[..at].trim_end_matches(|letter: char| letter.is_ascii_digit());
        let is_unit = !page[at + 2..].starts_with(|letter: char| letter.is_alphanumeric() || letter == '/');
        is_unit && before.ends_with('.') && before.len() < at
    };
    let found = page.match_indices(" m").map(|(at, _)| at).find(|at| is_length(*at))?;
    Some(&page[found - 4..found + 2])
}

/// A squad of these names in a session, whose last is absent and whose last but one rests, with its lane plan.
async fn planned(admin: &Caller) -> (String, String, Value) {
    let group = admin.group("Grüße <i>").await;
    let day = Utc::now().date_naive() - Duration::days(1);
    let mut athletes = Vec::new();
    for name in NAMES {
        athletes.push(athlete(admin, name, &[&group]).await);
    }
    restrict(admin, &athletes[4], day, day + Duration::days(9)).await;
    admin.post("/equipment", json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 40})).await.expect(201);
    let venue = json!({"name": "Bahn & <Halle>", "environment": "outdoor", "straight_m": 110, "lanes": 4});
    let venue = admin.post("/venues", venue).await.expect(201).id();
    let session = json!({"held_on": day, "state": "held", "group_ids": [group], "venue_id": venue});
    let session = admin.post("/sessions", session).await.expect(201).id();
    let present = json!({"present": athletes[..5]});
    admin.put(&format!("/sessions/{session}/attendance"), "", present).await.expect(200);
    let wish = json!({"lanes": 3, "capacity": 2, "barriers": {"min": 4, "max": 6}});
    let plan = admin.post(&format!("/sessions/{session}/lane-plans"), wish).await.expect(201).body;
    (session, group, plan)
}

#[sqlx::test]
async fn the_set_out_page_holds_every_mark_name_and_caution_and_says_who_does_not_run(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North & <South>").await;
    let (session, _, plan) = planned(&admin).await;
    let path = format!("/sessions/{session}/lane-plans/{}/set-out", plan["id"].as_str().unwrap());
    let (sheet, page) = (admin.get(&path).await.expect(200).body, page(&admin, &format!("{path}.html")).await);
    for mark in sheet["lanes"].as_array().unwrap().iter().flat_map(|lane| lane["marks"].as_array().unwrap()) {
        let at = format!(">{:.2}</td>", mark["at_m"].as_f64().unwrap());
        assert!(page.contains(&at), "{at}");
    }
    for name in NAMES {
        assert!(page.contains(&named(name)), "{name}");
    }
    holds_every_caution("set-out", &plan, &page);
    assert!(page.contains(&named("North & <South>")) && page.contains(&named("Bahn & <Halle>")));
    let state =
        |name: &str| page.split(&format!("<th scope=\"row\" role=\"rowheader\">{}</th>", named(name))).nth(1).unwrap();
    assert!(state(NAMES[4]).contains(">Rests</td>") && state(NAMES[5]).contains(">Absent</td>"), "{page}");
    assert_eq!(page.matches("6 boxes to tick").count(), 4, "a row of boxes for each who runs");
    assert!(page.contains("class=\"wide tape\""), "figures are large enough for a tape");
}

#[sqlx::test]
async fn the_set_out_says_who_came_or_went_after_the_plan_and_what_became_of_the_surface(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (session, _, plan) = planned(&admin).await;
    let everybody = admin.get("/athletes").await.expect(200).body;
    let id = |name: &str| {
        let all = everybody["items"].as_array().unwrap();
        all.iter().find(|one| one["display_name"] == name).unwrap()["id"].as_str().unwrap().to_owned()
    };
    let list = format!("/sessions/{session}/attendance");
    let tag = admin.get(&list).await.header("etag").to_owned();
    let present: Vec<String> = NAMES[1..].iter().map(|name| id(name)).collect();
    admin.put(&list, &tag, json!({"present": present})).await.expect(200);
    let held = format!("/sessions/{session}");
    let tag = admin.get(&held).await.header("etag").to_owned();
    admin.patch(&held, &tag, json!({"surface": "wet"})).await.expect(200);
    let path = format!("/sessions/{session}/lane-plans/{}/set-out", plan["id"].as_str().unwrap());
    let page = page(&admin, &format!("{path}.html")).await;
    let row = |name: &str| {
        let from = page.split(&format!("role=\"rowheader\">{}</th>", named(name))).nth(1).unwrap();
        from.split("</tr>").next().unwrap().to_owned()
    };
    assert!(row(NAMES[0]).contains("Not noted as present."), "{}", row(NAMES[0]));
    assert!(!row(NAMES[1]).contains("Not noted as present."), "{}", row(NAMES[1]));
    assert!(row(NAMES[5]).contains(">No lane</td>") && row(NAMES[5]).contains("Came after the lanes were planned"));
    let sheet = admin.get(&path).await.expect(200).body;
    let codes: Vec<&Value> = sheet["cautions"].as_array().unwrap().iter().map(|one| &one["code"]).collect();
    assert!(codes.contains(&&json!("wet_surface")) && codes.len() == 11, "{codes:?}");
    holds_every_caution("set-out", &sheet, &page);
}

#[sqlx::test]
async fn cards_board_and_lists_are_pages_too_and_empty_ones_say_so(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let none = page(&admin, "/equipment.html").await;
    assert!(none.contains("No equipment on file."));
    let (session, group, _) = planned(&admin).await;
    let cards = format!("/sessions/{session}/cards");
    let (json, html) = (admin.get(&cards).await.expect(200).body, page(&admin, &format!("{cards}.html")).await);
    holds_every_caution("cards", &json, &html);
    assert!(!html.contains("What is done") && !html.contains(APART), "nobody planned it yet");
    let proposal = admin.get(&format!("/sessions/{session}/proposal?minutes=90")).await.expect(200).body;
    let held = format!("/sessions/{session}");
    let tag = admin.get(&held).await.header("etag").to_owned();
    let mut blocks = proposal["blocks"].as_array().unwrap().clone();
    blocks.push(
        json!({"stage": "walkover", "drill": "Walkover <b>", "sets": 2, "repeats": 4, "barriers": 5, "side": "trail",
        "spacing_m": 3.3, "height_m": 0.4, "rest_s": 30, "start_min": 15, "minutes": 8, "note": "Hands at the chest"}),
    );
    admin.patch(&held, &tag, json!({"blocks": blocks})).await.expect(200);
    let (json, html) = (admin.get(&cards).await.expect(200).body, page(&admin, &format!("{cards}.html")).await);
    assert_eq!((&json["blocks"], html.contains(APART)), (&json!(blocks), true));
    for words in [
        "15 to 23",
        "2 x 4 over 5 barriers, trail leg at the side, rest 30 s",
        "3.30 m (11 foot-lengths) apart, 0.40 m high",
    ] {
        assert!(html.contains(words), "{words}: {html}");
    }
    assert!(html.contains(&named("Walkover <b>")) && html.contains(&named("Hands at the chest")));
    assert!(html.contains(&named(proposal["blocks"][1]["drill"].as_str().unwrap())));
    goes_on_behind_its_cautions(&html);
    for card in json["cards"].as_array().unwrap() {
        assert!(html.contains(&format!("<h3>{}</h3>", named(card["display_name"].as_str().unwrap()))), "{card}");
    }
    assert_eq!(html.matches("<article>").count(), 5);
    let board = format!("/groups/{group}/board");
    let (json, html) = (admin.get(&board).await.expect(200).body, page(&admin, &format!("{board}.html")).await);
    holds_every_caution("board", &json, &html);
    goes_on_behind_its_cautions(&html);
    let has = |field: &str| json["athletes"].as_array().unwrap().iter().any(|one| one[field].is_object());
    assert_eq!(html.contains(">Trains towards</th>"), has("target") || has("next_target"), "a column of nobody");
    assert!(!html.contains(">Last season</th>"), "nobody was here then");
    for name in NAMES {
        assert!(html.matches(&named(name)).count() >= 2, "{name} stands on a rung and in the list");
    }
    let squad = page(&admin, &format!("/groups/{group}/progression.html")).await;
    assert!(squad.contains(&named("Grüße <i>")));
    goes_on_behind_its_cautions(&squad);
    let mira = json["athletes"][0]["athlete_id"].as_str().unwrap();
    let progress = page(&admin, &format!("/athletes/{mira}/progression.html")).await;
    assert!(progress.contains("No run in this period.") && progress.contains("<figure>"));
    goes_on_behind_its_cautions(&progress);
    let nobody = admin.group("Nobody yet").await;
    for path in ["board", "progression"] {
        let empty = page(&admin, &format!("/groups/{nobody}/{path}.html")).await;
        assert!(empty.contains("Nobody is in this group.") && !empty.contains("<table"), "{empty}");
    }
    let list = page(&admin, "/equipment.html?limit=1").await;
    assert!(list.contains("Wicket") && list.contains(">40</td>") && !list.contains("There is more on file"));
    admin.post("/equipment", json!({"barrier_kind": "foam", "heights_m": [0.2], "count": 4})).await.expect(201);
    assert!(page(&admin, "/equipment.html?limit=1").await.contains("There is more on file"));
    let chart = page(&admin, "/rhythm/schedule.html?event_code=100H&final_time_s=15").await;
    assert!(chart.contains(">15.00</td>") && chart.contains("Barrier 10"));
}

#[sqlx::test]
async fn a_club_that_prints_in_feet_and_inches_gets_them_on_paper_and_metres_elsewhere(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (session, group, plan) = planned(&admin).await;
    let cards = format!("/sessions/{session}/cards.html");
    assert!(metres(&page(&admin, &cards).await).is_some(), "sentences tell lengths");
    let path = format!("/sessions/{session}/lane-plans/{}/set-out", plan["id"].as_str().unwrap());
    let drawn = String::from_utf8(admin.get(&format!("{path}.svg")).await.expect(200).bytes).unwrap();
    assert!(metres(&drawn).is_some() && drawn.contains(" m<"), "the bar of the scale too: {drawn}");
    let tag = admin.get("").await.header("etag").to_owned();
    admin.patch("", &tag, json!({"print_units": "imperial"})).await.expect(200);
    let sheet = page(&admin, &format!("{path}.html")).await;
    assert!(
        sheet.contains("feet and inches, to the quarter inch") && sheet.contains(" high") && sheet.contains(" in high")
    );
    assert!(sheet.contains("\u{2032} "), "{sheet}");
    let mira = plan["lanes"][0]["athletes"][0]["athlete_id"].as_str().unwrap();
    let progress = format!("/athletes/{mira}/progression.html");
    for path in [&format!("{path}.html"), &cards, &format!("/groups/{group}/board.html"), &progress] {
        assert_eq!(metres(&page(&admin, path).await), None, "{path}: one unit in tables and sentences");
    }
    let table = admin.get(&format!("{path}.csv")).await.expect(200);
    assert!(String::from_utf8(table.bytes).unwrap().contains(",0.300,"));
    // Pictures, and what those hear who do not see them.
    let heard: Vec<&str> = sheet.split("aria-label=\"").skip(1).filter_map(|one| one.split('"').next()).collect();
    assert!(heard.iter().any(|words| words.contains(" ft ")), "{heard:?}");
    assert!(page(&admin, &progress).await.contains("feet and inches"));
    for (path, words) in [
        (&path, ["every ", "\u{2032} ", " ft<"]),
        (&format!("/athletes/{mira}/progression"), [">Spacing, feet and inches<", ">Height, inches<", " in"]),
        (&format!("/groups/{group}/progression"), ["Spacing run, % of the target", "Stages: ", "100"]),
    ] {
        let drawn = admin.get(&format!("{path}.svg")).await.expect(200);
        assert_eq!(drawn.header("content-type"), "image/svg+xml");
        let drawn = String::from_utf8(drawn.bytes).unwrap();
        assert_eq!(metres(&drawn), None, "{path}: one unit in a picture");
        assert!(words.iter().all(|words| drawn.contains(words)), "{path}: {drawn}");
    }
    assert!(page(&admin, "/equipment.html").await.contains("11\u{be} in"), "0.30 m");
}

#[sqlx::test]
async fn a_browser_that_opens_the_plain_path_gets_the_page_and_a_program_still_json(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let path = admin.path("/equipment");
    let asked = async |accept: &str| {
        let answer = admin.call(Method::GET, &path, &[("accept", accept)], None).await;
        (answer.status, answer.header("content-type").split(';').next().unwrap().to_owned())
    };
    let browser = "text/html,application/xhtml+xml,application/xml;q=0.9,image/avif,image/webp,*/*;q=0.8";
    for (accept, status, media) in [
        (browser, 200, "text/html"),
        ("*/*", 200, "application/json"),
        ("application/json, text/html", 200, "application/json"),
        ("application/json;q=0.5, text/html;q=0.6", 200, "text/html"),
        ("text/*", 200, "text/html"),
        ("image/png", 406, "application/problem+json"),
    ] {
        assert_eq!(asked(accept).await, (status, media.to_owned()), "{accept}");
    }
}
