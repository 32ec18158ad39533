//! Runs, results and the board as CSV and XLSX: the same rows in both, cells of their kind, and no formula.

use std::io::Cursor;

use calamine::{Data, Reader, Xlsx};
use chrono::{Duration, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Answer, Caller, TestApp};

const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

fn csv_rows(answer: &Answer) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(answer.bytes.as_slice());
    reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn sheet(answer: &Answer) -> Vec<Vec<Data>> {
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(answer.bytes.clone())).unwrap();
    book.worksheet_range_at(0).unwrap().unwrap().rows().map(<[Data]>::to_vec).collect()
}

/// A cell of a workbook as the CSV file writes it.
fn written(cell: &Data) -> String {
    match cell {
        Data::Empty => String::new(),
        Data::Float(number) => number.to_string(),
        Data::String(text) => text.clone(),
        Data::DateTime(at) => {
            let (year, month, day, hour, minute, second, _) = at.to_ymd_hms_milli();
            let date = format!("{year:04}-{month:02}-{day:02}");
            if at.as_f64().fract() == 0.0 { date } else { format!("{date}T{hour:02}:{minute:02}:{second:02}Z") }
        }
        other => panic!("{other:?}"),
    }
}

/// Reads a table in both forms and on both ways, and compares them.
async fn both(caller: &Caller, path: &str, query: &str) -> (Vec<Vec<String>>, Vec<Vec<Data>>) {
    let csv = caller.get(&format!("{path}.csv{query}")).await.expect(200);
    assert_eq!(csv.header("content-type"), "text/csv; charset=utf-8");
    let xlsx = caller.get(&format!("{path}.xlsx{query}")).await.expect(200);
    assert_eq!(xlsx.header("content-type"), XLSX);
    assert!(xlsx.header("content-disposition").ends_with(".xlsx\""));
    for (media, own) in [("text/csv", &csv), (XLSX, &xlsx)] {
        let plain = caller.path(&format!("{path}{query}"));
        let asked = caller.call(Method::GET, &plain, &[("accept", media)], None).await.expect(200);
        assert_eq!(asked.bytes, own.bytes, "{path} {media}");
    }
    let plain = caller.path(&format!("{path}{query}"));
    caller.call(Method::GET, &plain, &[("accept", "image/png")], None).await.expect(406);
    let (rows, cells) = (csv_rows(&csv), sheet(&xlsx));
    let read: Vec<Vec<String>> = cells.iter().map(|row| row.iter().map(written).collect()).collect();
    assert_eq!(read, rows, "{path}");
    for cell in rows.iter().flatten() {
        let plain_number = cell.parse::<f64>().is_ok();
        assert!(plain_number || !cell.starts_with(['=', '+', '-', '@']), "{cell}");
    }
    (rows, cells)
}

/// The cell of a column.
fn at<'a, T>(rows: &'a [Vec<T>], head: &[String], row: usize, column: &str) -> &'a T {
    &rows[row][head.iter().position(|name| name == column).unwrap_or_else(|| panic!("no {column}"))]
}

struct Squad {
    admin: Caller,
    coach: Caller,
    group: String,
    mira: String,
    session: String,
}

impl Squad {
    async fn new(pool: PgPool) -> Self {
        let admin = TestApp::spawn(pool).await.admin_of("North").await;
        let (group, other) = (admin.group("Mine").await, admin.group("Other").await);
        let coach = admin.member("Own Coach", "coach", &[&group]).await;
        let athlete = async |name: &str, group: &str| {
            let body = json!({"display_name": name, "sex": "F", "birth_date": "2013-05-17", "group_ids": [group],
                "experience": "novice"});
            admin.post("/athletes", body).await.expect(201).id()
        };
        let (mira, far) = (athlete("=Mira, \"O\"", &group).await, athlete("Far Away", &other).await);
        let held_on = Utc::now().date_naive() - Duration::days(1);
        let session = json!({"held_on": held_on, "state": "held", "group_ids": [group, other]});
        let session = admin.post("/sessions", session).await.expect(201).id();
        let squad = Self { admin, coach, group, mira, session };
        squad.run(&far, json!({})).await;
        squad
    }

    async fn run(&self, athlete: &str, more: Value) {
        let day = Utc::now().date_naive() - Duration::days(1);
        let mut run = json!({"id": Uuid::now_v7(), "session_id": self.session, "athlete_id": athlete,
            "run_at": format!("{day}T00:00:01Z"), "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6.25,
            "barriers": 5, "intervals": {"held": 3, "over_reached": 1}});
        run.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        let done = self.admin.post("/runs", json!({"runs": [run]})).await.expect(200);
        assert_eq!(done.body["results"][0]["status"], "created", "{}", done.body);
    }
}

#[sqlx::test]
async fn runs_are_a_table_of_those_whom_the_reader_sees(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let timed = json!({"touchdown_times_s": [2.61, null, 4.94, 6.11, 7.32], "timing_method": "hand", "note": "-3 deg",
        "fell": true});
    squad.run(&squad.mira, timed).await;
    squad.run(&squad.mira, json!({})).await;
    let (rows, cells) = both(&squad.coach, "/runs", "").await;
    let head = &rows[0];
    assert_eq!(rows.len(), 3, "the header and two runs");
    assert_eq!(at(&rows, head, 1, "display_name"), "'=Mira, \"O\"");
    assert_eq!(at(&rows, head, 1, "note"), "'-3 deg");
    assert_eq!((at(&rows, head, 1, "fell").as_str(), at(&rows, head, 2, "fell").as_str()), ("yes", ""));
    assert_eq!(*at(&cells, head, 1, "spacing_m"), Data::Float(6.25));
    assert_eq!(*at(&cells, head, 1, "touchdown_5_s"), Data::Float(7.32));
    assert_eq!(*at(&cells, head, 1, "touchdown_2_s"), Data::Empty);
    assert!(matches!(at(&cells, head, 1, "held_on"), Data::DateTime(_)));
    let (all, _) = both(&squad.admin, "/runs", &format!("?session_id={}", squad.session)).await;
    assert_eq!(all.len(), 4);
    // A page that is cut leads on, with the same ending.
    let part = squad.admin.get("/runs.csv?limit=2").await.expect(200);
    assert_eq!(csv_rows(&part).len(), 3);
    let next = part.header("link").strip_prefix('<').unwrap().split_once('>').unwrap().0.to_owned();
    assert!(next.contains("/runs.csv?"), "{next}");
    let rest = squad.admin.call(Method::GET, &next, &[], None).await.expect(200);
    assert_eq!((csv_rows(&rest).len(), rest.header("link")), (2, ""));
}

#[sqlx::test]
async fn a_file_of_runs_is_more_than_a_page_of_them(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let day = Utc::now().date_naive() - Duration::days(1);
    let run = || {
        json!({"id": Uuid::now_v7(), "session_id": squad.session, "athlete_id": squad.mira,
            "run_at": format!("{day}T00:00:01Z"), "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6,
            "barriers": 2, "intervals": {"held": 1}})
    };
    let all: Vec<Value> = (0..450).map(|_| run()).collect();
    squad.admin.post("/runs", json!({"runs": all})).await.expect(200);
    let file = squad.coach.get("/runs.csv").await.expect(200);
    assert_eq!((csv_rows(&file).len(), file.header("link")), (451, ""));
    let by_day = squad.coach.get(&format!("/runs.csv?from={day}")).await.expect(200);
    let ids = |answer: &Answer| {
        let mut ids: Vec<String> = csv_rows(answer).into_iter().skip(1).map(|row| row[0].clone()).collect();
        ids.sort_unstable();
        ids
    };
    assert_eq!(ids(&by_day), ids(&file));
}

#[sqlx::test]
async fn the_board_is_a_table_with_a_row_for_each_athlete(pool: PgPool) {
    let squad = Squad::new(pool).await;
    for _ in 0..3 {
        squad.run(&squad.mira, json!({})).await;
    }
    let path = format!("/groups/{}/board", squad.group);
    let board = squad.coach.get(&path).await.expect(200).body;
    let (rows, cells) = both(&squad.coach, &path, "").await;
    let (head, one) = (&rows[0], &board["athletes"][0]);
    assert_eq!(rows.len(), 2);
    assert_eq!(at(&rows, head, 1, "stage"), one["stage"].as_str().unwrap());
    assert_eq!(at(&rows, head, 1, "decision"), one["decision"].as_str().unwrap());
    assert_eq!(*at(&cells, head, 1, "week_intervals"), Data::Float(one["load"]["week"]["intervals"].as_f64().unwrap()));
    assert_eq!(at(&rows, head, 1, "last_seen"), one["last_seen"].as_str().unwrap());
    let codes: Vec<&str> =
        one["held_up_by"].as_array().unwrap().iter().map(|one| one["code"].as_str().unwrap()).collect();
    assert_eq!(*at(&rows, head, 1, "held_up_by"), codes.join("+"));
    let csv = squad.coach.get(&format!("{path}.csv")).await;
    let xlsx = squad.coach.get(&format!("{path}.xlsx")).await;
    assert_ne!(csv.header("etag"), xlsx.header("etag"), "two representations, two tags");
    let known = [("if-none-match", csv.header("etag"))];
    squad.coach.call(Method::GET, &squad.coach.path(&format!("{path}.csv")), &known, None).await.expect(304);
}

#[sqlx::test]
async fn results_are_a_table_by_place(pool: PgPool) {
    let squad = crate::race_tests::squad(pool).await;
    let (path, _) = squad.entered(&squad.athletes[..2]).await;
    let result = |athlete: &str, time: f64, note: &str| json!({"id": Uuid::now_v7(), "athlete_id": athlete, "status": "finished", "final_time_s": time, "note": note});
    let results = [result(&squad.athletes[0], 12.84, "+0.3"), result(&squad.athletes[1], 12.5, "=1+1")];
    assert_eq!(squad.record(&path, &results).await, ["created", "created"]);
    let (rows, cells) = both(&squad.coach, &format!("{path}/results"), "").await;
    let head = &rows[0];
    assert_eq!((rows.len(), at(&rows, head, 1, "display_name").as_str()), (3, "Athlete 1"));
    assert_eq!((at(&rows, head, 1, "note").as_str(), at(&rows, head, 2, "note").as_str()), ("'=1+1", "'+0.3"));
    assert_eq!(*at(&cells, head, 2, "final_time_s"), Data::Float(12.84));
    assert_eq!(*at(&cells, head, 2, "place"), Data::Float(2.0));
    assert_eq!(*at(&rows, head, 1, "race_test_id"), path.rsplit('/').next().unwrap());
    let stranger = squad.stranger.get(&format!("{path}/results.csv")).await.expect(200);
    assert_eq!(csv_rows(&stranger).len(), 1, "of others nothing");
}
