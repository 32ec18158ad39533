//! A calendar of sessions behind a secret address (RFC 5545): what it says, how it is written, and when it is over.

use chrono::{Days, NaiveDate, Utc};
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::{Answer, Caller, TestApp};

/// The lines of a calendar, unfolded, after its form was checked (RFC 5545, section 3.1).
fn lines(answer: &Answer) -> Vec<String> {
    let text = std::str::from_utf8(&answer.bytes).unwrap();
    assert!(text.ends_with("\r\n"), "{text}");
    let folded: Vec<&str> = text.strip_suffix("\r\n").unwrap().split("\r\n").collect();
    let mut lines: Vec<String> = Vec::new();
    for line in folded {
        assert!(!line.contains(['\r', '\n']) && line.len() <= 75, "{line}");
        match line.strip_prefix(' ') {
            Some(rest) => lines.last_mut().unwrap().push_str(rest),
            None => lines.push(line.to_owned()),
        }
    }
    lines
}

/// The events, each as its lines.
fn events(lines: &[String]) -> Vec<Vec<String>> {
    let mut events = Vec::new();
    let mut one: Option<Vec<String>> = None;
    for line in lines {
        match line.as_str() {
            "BEGIN:VEVENT" => one = Some(Vec::new()),
            "END:VEVENT" => events.extend(one.take()),
            _ => {
                if let Some(one) = &mut one {
                    one.push(line.clone());
                }
            }
        }
    }
    events
}

/// The value of a property of an event.
fn value<'a>(event: &'a [String], name: &str) -> &'a str {
    let mut found = event.iter().filter_map(|line| line.strip_prefix(name)?.strip_prefix([':', ';']));
    let value = found.next().unwrap_or_default();
    assert!(found.next().is_none(), "{name} stands twice: {event:?}");
    value
}

async fn session(by: &Caller, held_on: NaiveDate, groups: &[&str], more: Value) -> String {
    let mut body = json!({"held_on": held_on, "state": "planned", "group_ids": groups});
    body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    by.post("/sessions", body).await.expect(201).id()
}

async fn feed(by: &Caller) -> (String, String) {
    let made = by.post("/calendar-feeds", json!({})).await.expect(201);
    assert_eq!(made.header("cache-control"), "no-store");
    (made.id(), made.body["href"].as_str().unwrap().to_owned())
}

async fn closed(app: &TestApp, href: &str) {
    let answer = app.get(href).await.expect(404);
    assert_eq!((answer.header("x-robots-tag"), answer.header("cache-control")), ("noindex", "no-store"));
}

#[sqlx::test]
async fn a_feed_shows_whole_days_as_the_standard_writes_them(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    admin.patch("", "*", json!({"name": "North; Track, \\ Field"})).await.expect(200);
    let mine = admin.group("Größe, Kraft; Ausdauer").await;
    let venue = json!({"name": "Harbour Track; lane 1, 2", "environment": "outdoor", "straight_m": 80, "lanes": 6});
    let venue = admin.post("/venues", venue).await.expect(201).id();
    let today = Utc::now().date_naive();
    let day = |days: u64| today.checked_add_days(Days::new(days)).unwrap();
    let block = |drill: &str| json!({"stage": "lead_leg", "drill": drill, "minutes": 10, "note": "the gate sticks"});
    let long = format!("Walk over, {}", "wide äöü steps ".repeat(7).trim_end());
    let more = json!({"venue_id": venue, "note": "Mira is ill", "blocks": [block(&long), block("BEGIN:VEVENT")]});
    let first = session(&admin, day(3), &[&mine], more).await;
    let off = session(&admin, day(4), &[&mine], json!({"state": "cancelled"})).await;
    session(&admin, today.checked_sub_days(Days::new(90)).unwrap(), &[&mine], json!({})).await;
    let (_, href) = feed(&admin).await;
    let answer = app.get(&href).await.expect(200);
    assert_eq!(answer.header("content-type"), "text/calendar; charset=utf-8");
    assert_eq!((answer.header("x-robots-tag"), answer.header("cache-control")), ("noindex", "no-store"));
    let lines = lines(&answer);
    assert_eq!((lines[0].as_str(), lines.last().unwrap().as_str()), ("BEGIN:VCALENDAR", "END:VCALENDAR"));
    for once in ["VERSION:2.0", "PRODID:-//Lanewright//Sessions//EN", "NAME;VALUE=TEXT:North\\; Track\\, \\\\ Field"] {
        assert_eq!(lines.iter().filter(|line| *line == once).count(), 1, "{once}: {lines:?}");
    }
    let events = events(&lines);
    let ids: Vec<&str> = events.iter().map(|event| value(event, "UID")).collect();
    assert_eq!(ids, [off.as_str(), first.as_str()], "what is long over is left out");
    let event = &events[1];
    assert_eq!(value(event, "DTSTART"), format!("VALUE=DATE:{}", day(3).format("%Y%m%d")));
    assert_eq!(value(event, "DTEND"), format!("VALUE=DATE:{}", day(4).format("%Y%m%d")), "the day after");
    assert!(value(event, "DTSTAMP").ends_with('Z') && value(event, "DTSTAMP").len() == 16, "{event:?}");
    assert_eq!(value(event, "SUMMARY"), "Training: Größe\\, Kraft\\; Ausdauer");
    assert_eq!(value(event, "LOCATION"), "Harbour Track\\; lane 1\\, 2");
    let said = long.replace(',', "\\,");
    assert_eq!(value(event, "DESCRIPTION"), format!("{said} (10 min)\\nBEGIN:VEVENT (10 min)"));
    assert_eq!((value(event, "STATUS"), value(&events[0], "STATUS")), ("CONFIRMED", "CANCELLED"));
    let text = String::from_utf8_lossy(&answer.bytes);
    assert!(!text.contains("ill") && !text.contains("sticks") && !text.contains("TZID"), "{text}");
    // The event keeps its name and counts its changes.
    let before: u32 = value(event, "SEQUENCE").parse().unwrap();
    admin.patch(&format!("/sessions/{first}"), "*", json!({"held_on": day(5)})).await.expect(200);
    let moved = self::events(&self::lines(&app.get(&href).await.expect(200)));
    let moved = moved.iter().find(|event| value(event, "UID") == first).unwrap();
    assert!(value(moved, "SEQUENCE").parse::<u32>().unwrap() > before);
    assert_eq!(value(moved, "DTSTART"), format!("VALUE=DATE:{}", day(5).format("%Y%m%d")));
}

#[sqlx::test]
async fn a_feed_shows_what_its_maker_sees_and_dies_with_them(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let (mine, other) = (admin.group("Mine").await, admin.group("Other").await);
    let viewer = admin.member("A Viewer", "viewer", &[&mine]).await;
    let today = Utc::now().date_naive();
    let own = session(&admin, today, &[&mine], json!({})).await;
    let shared = session(&admin, today, &[&mine, &other], json!({})).await;
    let theirs = session(&admin, today, &[&other], json!({})).await;
    let (_, href) = feed(&viewer).await;
    let seen = async || {
        let answer = app.get(&href).await.expect(200);
        let text = String::from_utf8_lossy(&answer.bytes).into_owned();
        let shows = [&own, &shared, &theirs].map(|id| text.contains(id.as_str()));
        (shows, text.contains("Other"))
    };
    assert_eq!(seen().await, ([true, true, false], false), "no group of others by name");
    let other_group = json!({"role": "viewer", "group_ids": [other]});
    admin.patch(&format!("/members/{}", viewer.account), "*", other_group).await.expect(200);
    assert_eq!(seen().await, ([false, true, true], true), "at once what they see now");
    admin.delete(&format!("/members/{}", viewer.account), "*").await.expect(204);
    closed(&app, &href).await;
}

#[sqlx::test]
async fn a_feed_is_its_makers_to_list_and_take_back_and_only_its_hash_is_kept(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (admin, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = admin.group("Mine").await;
    let coach = admin.member("Own Coach", "coach", &[&group]).await;
    let (id, href) = feed(&coach).await;
    let (kept, other) = feed(&coach).await;
    app.get(&href).await.expect(200);
    let list = coach.get("/calendar-feeds").await.expect(200).body;
    let ids: Vec<&Value> = list["items"].as_array().unwrap().iter().map(|one| &one["id"]).collect();
    assert_eq!(ids, [&json!(id), &json!(kept)]);
    assert!(list["items"][0]["opened_at"].is_string() && list["items"][0].get("href").is_none(), "{list}");
    assert_eq!(admin.get("/calendar-feeds").await.expect(200).body["items"], json!([]));
    admin.delete(&format!("/calendar-feeds/{id}"), "").await.expect(404);
    south.delete(&format!("/calendar-feeds/{id}"), "").await.expect(404);
    coach.delete(&format!("/calendar-feeds/{id}"), "").await.expect(204);
    closed(&app, &href).await;
    app.get(&other).await.expect(200);
    // A feed is no link to sheets, nor the other way round.
    let secret = other.split_once("link=").unwrap().1;
    app.get(&format!("/v1/session-sheets?link={secret}")).await.expect(404);
    closed(&app, "/v1/calendar.ics?link=AAAA").await;
    let mut tx = app.pool.begin().await.unwrap();
    let club = format!("set local app.club_id = '{}'", admin.club);
    sqlx::raw_sql(sqlx::AssertSqlSafe(club)).execute(&mut *tx).await.unwrap();
    let rows: Vec<String> = sqlx::query_scalar("select x::text from secret_links x").fetch_all(&mut *tx).await.unwrap();
    assert!(rows.len() == 2 && rows.iter().all(|row| !row.contains(secret)), "{rows:?}");
    for _ in 0..9 {
        feed(&coach).await;
    }
    coach.post("/calendar-feeds", json!({})).await.expect(409);
}
