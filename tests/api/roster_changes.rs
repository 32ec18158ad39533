//! The roster there and back: an export that was edited in a spreadsheet changes those whom it names, and nobody else.

use std::io::Cursor;

use calamine::{Data, Reader, Xlsx};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::{Answer, Caller, TestApp};

const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

async fn import(caller: &Caller, query: &str, csv: impl Into<Vec<u8>>) -> Answer {
    caller.bytes(Method::POST, &format!("/athletes/import{query}"), "text/csv", csv.into()).await
}

async fn import_xlsx(caller: &Caller, query: &str, book: Vec<u8>) -> Answer {
    caller.bytes(Method::POST, &format!("/athletes/import.xlsx{query}"), XLSX, book).await
}

fn statuses(answer: &Answer) -> Vec<&str> {
    let rows = answer.body["rows"].as_array().unwrap();
    rows.iter().map(|row| row["status"].as_str().unwrap()).collect()
}

/// A file as rows of texts.
fn read(csv: &[u8]) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(csv);
    reader.records().map(|record| record.unwrap().iter().map(str::to_owned).collect()).collect()
}

fn written(rows: &[Vec<String>]) -> Vec<u8> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in rows {
        writer.write_record(row).unwrap();
    }
    writer.into_inner().unwrap()
}

/// Some columns of a file.
fn only(rows: &[Vec<String>], columns: &[&str]) -> Vec<Vec<String>> {
    let at: Vec<usize> = columns.iter().map(|name| rows[0].iter().position(|known| known == name).unwrap()).collect();
    rows.iter().map(|row| at.iter().map(|at| row[*at].clone()).collect()).collect()
}

struct Club {
    admin: Caller,
    mine: String,
    mira: String,
    bo: String,
}

impl Club {
    async fn new(pool: PgPool) -> Self {
        let admin = TestApp::spawn(pool).await.admin_of("North").await;
        let (mine, _) = (admin.group("Under 14").await, admin.group("Sprint").await);
        let athlete = async |name: &str, birth: Value, measured: Value| {
            let mut body = json!({"display_name": name, "sex": "F", "group_ids": [mine], "experience": "novice",
                "preferred_lead_leg": "left", "measurements": measured});
            body.as_object_mut().unwrap().extend(birth.as_object().unwrap().clone());
            admin.post("/athletes", body).await.expect(201).id()
        };
        let measured = json!([{"kind": "stature_m", "value": 1.52, "measured_on": "2026-09-01"},
            {"kind": "sprint_30m_s", "value": 5.2, "measured_on": "2026-09-01"}]);
        let mira = athlete("Mira Osei", json!({"birth_date": "2013-05-17"}), measured).await;
        let bo = athlete("=Bo, \"T\"", json!({"birth_year": 2012}), json!([])).await;
        Self { admin, mine, mira, bo }
    }

    async fn export(&self) -> Vec<Vec<String>> {
        read(&self.admin.get("/athletes/export").await.expect(200).bytes)
    }

    async fn athlete(&self, id: &str) -> Value {
        self.admin.get(&format!("/athletes/{id}")).await.expect(200).body
    }
}

/// Puts a text into a column of a row.
fn set(rows: &mut [Vec<String>], row: usize, column: &str, text: &str) {
    let at = rows[0].iter().position(|name| name == column).unwrap();
    text.clone_into(&mut rows[row][at]);
}

#[sqlx::test]
async fn an_edited_export_changes_whom_it_names_and_says_so_before(pool: PgPool) {
    let club = Club::new(pool).await;
    let mut rows = club.export().await;
    let seq = club.admin.seq().await;
    let same = import(&club.admin, "", written(&rows)).await.expect(201);
    assert_eq!((statuses(&same), club.admin.seq().await), (vec!["unchanged", "unchanged"], seq));

    set(&mut rows, 1, "groups", "Sprint|Under 14");
    set(&mut rows, 1, "stature_m", "1.53");
    set(&mut rows, 1, "preferred_lead_leg", "");
    set(&mut rows, 2, "status", "left");
    let mut new = vec![String::new(); rows[0].len()];
    let width = new.len();
    new.resize(width, String::new());
    rows.push(new);
    for (column, text) in [
        ("display_name", "Ada Nwosu"),
        ("sex", "F"),
        ("birth_year", "2014"),
        ("groups", "sprint"),
        ("experience", "novice"),
    ] {
        set(&mut rows, 3, column, text);
    }
    let dry = import(&club.admin, "?dry_run=true", written(&rows)).await.expect(200);
    assert_eq!(statuses(&dry), ["changed", "changed", "created"]);
    assert_eq!(dry.body["rows"][0]["columns"], json!(["groups", "preferred_lead_leg", "stature_m"]));
    assert_eq!(dry.body["rows"][1]["columns"], json!(["status"]));
    assert_eq!(club.admin.seq().await, seq, "a dry run writes nothing");

    let done = import(&club.admin, "", written(&rows)).await.expect(201);
    let counts = ["created", "changed", "unchanged", "conflicts", "rejected"].map(|name| done.body[name].clone());
    assert_eq!((statuses(&done), counts), (statuses(&dry), [1, 2, 0, 0, 0].map(|n| json!(n))));
    let mira = club.athlete(&club.mira).await;
    assert_eq!(mira["group_ids"].as_array().unwrap().len(), 2);
    assert_eq!(mira.get("preferred_lead_leg"), None);
    let stature: Vec<&Value> =
        mira["measurements"].as_array().unwrap().iter().filter(|one| one["kind"] == "stature_m").collect();
    assert_eq!(
        (stature.len(), &stature[0]["value"], &stature[0]["measured_on"]),
        (1, &json!(1.53), &json!("2026-09-01"))
    );
    assert_eq!(club.athlete(&club.bo).await["status"], "left");
    // The same file again finds everything so, but for whom it has no id of, whom the club now has.
    let again = import(&club.admin, "", written(&rows)).await.expect(201);
    assert_eq!(statuses(&again), ["unchanged"; 3]);
}

#[sqlx::test]
async fn a_file_of_a_few_columns_leaves_the_others_alone(pool: PgPool) {
    let club = Club::new(pool).await;
    let before = club.athlete(&club.mira).await;
    let mut rows = only(&club.export().await, &["id", "groups"]);
    set(&mut rows, 1, "groups", "Sprint");
    let done = import(&club.admin, "", written(&rows)).await.expect(201);
    assert_eq!(statuses(&done), ["changed", "unchanged"]);
    let after = club.athlete(&club.mira).await;
    assert_ne!(after["group_ids"], json!([club.mine]));
    for field in ["display_name", "birth_date", "preferred_lead_leg", "experience", "status", "measurements"] {
        assert_eq!(after[field], before[field], "{field}");
    }
    // What nobody can be without is not emptied.
    set(&mut rows, 1, "groups", "");
    import(&club.admin, "", written(&rows)).await.expect_fault(422, "/rows/2/groups");
}

#[sqlx::test]
async fn what_somebody_changed_meanwhile_is_a_conflict_by_column_until_it_is_overwritten(pool: PgPool) {
    let club = Club::new(pool).await;
    let mut rows = club.export().await;
    set(&mut rows, 1, "status", "resting");
    set(&mut rows, 1, "stature_m", "1.54");
    let mira = format!("/athletes/{}", club.mira);
    let rename = json!({"display_name": "Mira O."});
    club.admin.patch(&mira, "*", rename).await.expect(200);
    // The file does not change the name back: it still has the old one, which is what a conflict is.
    let dry = import(&club.admin, "?dry_run=true", written(&rows)).await.expect(200);
    assert_eq!(statuses(&dry), ["conflict", "unchanged"]);
    let fault = &dry.body["rows"][0]["errors"][0];
    assert_eq!((&fault["pointer"], &fault["code"]), (&json!("/display_name"), &json!("conflict")));
    assert!(fault["detail"].as_str().unwrap().contains("\"Mira O.\""), "{fault}");
    let seq = club.admin.seq().await;
    let refused = import(&club.admin, "", written(&rows)).await.expect(422);
    assert_eq!((refused.faults(), club.admin.seq().await), (vec!["/rows/2/display_name"], seq));
    // Other columns than those that were changed are no conflict.
    set(&mut rows, 1, "display_name", "Mira O.");
    let done = import(&club.admin, "", written(&rows)).await.expect(201);
    assert_eq!(statuses(&done), ["changed", "unchanged"]);
    assert_eq!(done.body["rows"][0]["columns"], json!(["status", "stature_m"]));
    // A figure that somebody corrected since is one too; without `rev` the file has the last word.
    set(&mut rows, 1, "stature_m", "1.55");
    let stale = import(&club.admin, "?dry_run=true", written(&rows)).await.expect(200);
    assert_eq!(stale.body["rows"][0]["errors"][0]["pointer"], "/stature_m");
    set(&mut rows, 1, "rev", "");
    assert_eq!(statuses(&import(&club.admin, "", written(&rows)).await.expect(201)), ["changed", "unchanged"]);
    let mira = club.athlete(&club.mira).await;
    let stature = mira["measurements"].as_array().unwrap().iter().find(|one| one["kind"] == "stature_m").unwrap();
    assert_eq!(stature["value"], 1.55);
}

#[sqlx::test]
async fn an_id_that_is_of_nobody_or_stands_twice_is_refused_with_what_to_do(pool: PgPool) {
    let club = Club::new(pool).await;
    let rows = only(&club.export().await, &["id", "status"]);
    let gone = uuid::Uuid::now_v7().to_string();
    let mut wrong = rows.clone();
    wrong.push(vec![gone, "active".to_owned()]);
    wrong.push(vec!["Mira".to_owned(), "active".to_owned()]);
    wrong.push(rows[1].clone());
    let dry = import(&club.admin, "?dry_run=true", written(&wrong)).await.expect(200);
    assert_eq!(statuses(&dry), ["unchanged", "unchanged", "rejected", "rejected", "rejected"]);
    let codes: Vec<&Value> = (2..5).map(|at| &dry.body["rows"][at]["errors"][0]["code"]).collect();
    assert_eq!(codes, ["unknown_id", "value", "duplicate_row"]);
    let refused = import(&club.admin, "", written(&wrong)).await.expect(422);
    assert_eq!(refused.faults(), ["/rows/4/id", "/rows/5/id", "/rows/6/id"]);
    // Nobody is added without what everybody needs.
    import(&club.admin, "", "id,status\n,active\n").await.expect(422);
    // A deleted athlete does not come back by an old file.
    club.admin.delete(&format!("/athletes/{}", club.bo), "*").await.expect(204);
    import(&club.admin, "", written(&rows)).await.expect_fault(422, "/rows/3/id");
}

#[sqlx::test]
async fn a_spreadsheets_dialect_is_read_when_declared_or_beyond_doubt(pool: PgPool) {
    let club = Club::new(pool).await;
    let head = "sep=;\r\ndisplay_name;sex;birth_date;groups;experience;stature_m;measured_on\r\n";
    let file = |rows: &str| format!("\u{feff}{head}{rows}").into_bytes();
    let clear =
        file("Ada;F;17.05.2013;Sprint;novice;1,52;01.09.2026\r\nEve;F;05.04.2013;Sprint;novice;1,6;01.09.2026\r\n");
    let done = import(&club.admin, "", clear).await.expect(201);
    assert_eq!(done.body["created"], 2);
    let ada = club.athlete(done.body["rows"][0]["athlete_id"].as_str().unwrap()).await;
    assert_eq!((&ada["birth_date"], &ada["measurements"][0]["value"]), (&json!("2013-05-17"), &json!(1.52)));
    assert_eq!(ada["measurements"][0]["measured_on"], "2026-09-01");
    let eve = club.athlete(done.body["rows"][1]["athlete_id"].as_str().unwrap()).await;
    assert_eq!(eve["birth_date"], "2013-04-05");

    let unclear = file("Lea;F;05.04.2013;Sprint;novice;1,52;01.09.2026\r\n");
    let refused = import(&club.admin, "", unclear.clone()).await.expect(422);
    assert_eq!(refused.faults(), ["/rows/3/birth_date", "/rows/3/measured_on"]);
    let fault = &refused.body["errors"][0];
    assert_eq!(fault["code"], "ambiguous");
    assert!(fault["detail"].as_str().unwrap().contains("`dates`"), "{fault}");
    let said = import(&club.admin, "?dates=day_first&decimal=comma&separator=semicolon", unclear.clone()).await;
    let lea = said.expect(201).body["rows"][0]["athlete_id"].as_str().unwrap().to_owned();
    assert_eq!(club.athlete(&lea).await["birth_date"], "2013-04-05");
    let point = import(&club.admin, "?dates=day_first&decimal=point", unclear).await.expect(422);
    assert_eq!(point.faults(), ["/rows/3/stature_m"]);
    let both =
        file("Kim;F;2013-05-17;Sprint;novice;1,52;2026-09-01\r\nIna;F;2013-05-17;Sprint;novice;1.52;2026-09-01\r\n");
    let refused = import(&club.admin, "", both).await.expect(422);
    assert_eq!(refused.faults(), ["/rows/3/stature_m", "/rows/4/stature_m"]);
    import(&club.admin, "?dates=backwards", "x").await.expect_fault(400, "dates");
    import(&club.admin, "?separator=pipe", "x").await.expect_fault(400, "separator");
}

/// The first sheet of a workbook, read by somebody else's reader.
fn sheet(bytes: &[u8]) -> Vec<Vec<Data>> {
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes.to_vec())).unwrap();
    book.worksheet_range_at(0).unwrap().unwrap().rows().map(<[Data]>::to_vec).collect()
}

#[sqlx::test]
async fn a_workbook_goes_there_and_back_with_dates_and_numbers_as_such(pool: PgPool) {
    let club = Club::new(pool).await;
    let export = club.admin.get("/athletes/export.xlsx").await.expect(200);
    assert_eq!(export.header("content-type"), XLSX);
    assert_eq!(export.header("content-disposition"), "attachment; filename=\"roster.xlsx\"");
    assert_eq!(export.header("cache-control"), "private, no-store");
    assert_eq!(club.admin.get("/athletes/export.xlsx").await.bytes, export.bytes, "the same roster, the same bytes");
    let rows = sheet(&export.bytes);
    let column = |name: &str| rows[0].iter().position(|cell| *cell == Data::String(name.to_owned())).unwrap();
    let Data::DateTime(born) = &rows[1][column("birth_date")] else { panic!("{:?}", rows[1]) };
    assert_eq!(born.to_ymd_hms_milli(), (2013, 5, 17, 0, 0, 0, 0));
    assert_eq!(rows[1][column("stature_m")], Data::Float(1.52));
    assert_eq!(rows[2][column("birth_year")], Data::Float(2012.0));
    assert_eq!(rows[2][column("display_name")], Data::String("'=Bo, \"T\"".to_owned()));
    let seq = club.admin.seq().await;
    let again = import_xlsx(&club.admin, "", export.bytes.clone()).await.expect(201);
    assert_eq!((statuses(&again), club.admin.seq().await), (vec!["unchanged"; 2], seq));

    // A workbook of a spreadsheet program, with a date as a cell, a figure as a text and a blank row.
    let mut book = rust_xlsxwriter::Workbook::new();
    let day = rust_xlsxwriter::Format::new().set_num_format("dd.mm.yyyy");
    let sheet = book.add_worksheet();
    for (column, name) in (0..).zip(["id", "consent_on", "stature_m", "measured_on", "approach_strides"]) {
        sheet.write_string(1, column, name).unwrap();
    }
    sheet.write_string(4, 0, &club.mira).unwrap();
    let on = rust_xlsxwriter::ExcelDateTime::from_ymd(2026, 10, 2).unwrap();
    sheet.write_datetime_with_format(4, 1, &on, &day).unwrap().write_string(4, 2, "1,55").unwrap();
    sheet.write_datetime_with_format(4, 3, &on, &day).unwrap().write_number(4, 4, 8).unwrap();
    let bytes = book.save_to_buffer().unwrap();
    let dry = import_xlsx(&club.admin, "?dry_run=true", bytes.clone()).await.expect(200);
    assert_eq!((&dry.body["rows"][0]["row"], statuses(&dry)), (&json!(5), vec!["changed"]));
    import_xlsx(&club.admin, "", bytes).await.expect(201);
    let mira = club.athlete(&club.mira).await;
    assert_eq!((&mira["consent_on"], &mira["approach_strides"]), (&json!("2026-10-02"), &json!(8)));
    assert_eq!(
        (&mira["measurements"][0]["value"], &mira["measurements"][0]["measured_on"]),
        (&json!(1.55), &json!("2026-10-02"))
    );
}

#[sqlx::test]
async fn a_workbook_that_is_none_or_too_large_unpacked_is_refused(pool: PgPool) {
    let club = Club::new(pool).await;
    let seq = club.admin.seq().await;
    import_xlsx(&club.admin, "", b"id,status\n".to_vec()).await.expect_fault(422, "/file");
    let mut book = rust_xlsxwriter::Workbook::new();
    let sheet = book.add_worksheet();
    for (column, name) in (0..).zip(["display_name", "sex", "groups", "experience"]) {
        sheet.write_string(0, column, name).unwrap();
    }
    // Packed a few kilobytes, unpacked many megabytes.
    let long = "a".repeat(32_000);
    for row in 1..400 {
        sheet.write_string(row, 0, format!("{row}{long}")).unwrap();
    }
    let bomb = book.save_to_buffer().unwrap();
    assert!(bomb.len() < 200_000, "{} bytes", bomb.len());
    let refused = import_xlsx(&club.admin, "", bomb).await.expect(422);
    assert_eq!((refused.faults(), &refused.body["errors"][0]["code"]), (vec!["/file"], &json!("length")));
    club.admin.bytes(Method::POST, "/athletes/import.xlsx", "text/csv", b"id\n".to_vec()).await.expect(415);
    club.admin.bytes(Method::POST, "/athletes/import", XLSX, b"id\n".to_vec()).await.expect(415);
    assert_eq!(club.admin.seq().await, seq);
}
