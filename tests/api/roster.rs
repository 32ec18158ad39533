//! The roster as CSV: import and export.

use std::fmt::Write;

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::{Answer, Caller, TestApp, unless_busy};

/// Without ids, as a club first brings it.
const HEADER: &str = "display_name,sex,birth_date,birth_year,groups,preferred_lead_leg,approach_strides,experience,status,\
                      consent_on,stature_m,leg_length_m,sprint_30m_s,sprint_50m_s,measured_on";

async fn import(caller: &Caller, query: &str, csv: impl Into<Vec<u8>>) -> Answer {
    caller.bytes(Method::POST, &format!("/athletes/import{query}"), "text/csv", csv.into()).await
}

/// The file without the columns that name athletes.
fn without_ids(csv: &[u8]) -> Vec<u8> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(csv);
    let mut writer = csv::Writer::from_writer(Vec::new());
    for record in reader.records() {
        writer.write_record(record.unwrap().iter().skip(2)).unwrap();
    }
    writer.into_inner().unwrap()
}

async fn names(caller: &Caller) -> Vec<String> {
    let list = caller.get("/athletes?limit=200").await.expect(200);
    let items = list.body["items"].as_array().unwrap();
    items.iter().map(|one| one["display_name"].as_str().unwrap().to_owned()).collect()
}

fn statuses(answer: &Answer) -> Vec<(u64, &str)> {
    let rows = answer.body["rows"].as_array().unwrap();
    rows.iter().map(|row| (row["row"].as_u64().unwrap(), row["status"].as_str().unwrap())).collect()
}

#[sqlx::test]
async fn a_roster_is_imported_whole_and_a_second_time_nothing_changes(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (one, two) = (admin.group("Under 14").await, admin.group("Sprint").await);
    let csv = format!(
        "{HEADER}\nMira Osei,F,2013-05-17,,under 14|{two},left,8,novice,,2025-09-01,1.523,0.71,5.2,8.1,2025-09-02\n\
         \"Tan, Bo\",M,,2012,Sprint,,,trained,resting,,,,,,\n"
    );
    let dry = import(&admin, "?dry_run=true", csv.clone()).await.expect(200);
    assert_eq!(statuses(&dry), [(2, "created"), (3, "created")]);
    assert_eq!(names(&admin).await, [""; 0], "a dry run writes nothing");
    let real = import(&admin, "", csv.clone()).await.expect(201);
    assert_eq!(statuses(&real), [(2, "created"), (3, "created")]);
    let counts = ["dry_run", "created", "unchanged", "rejected"].map(|name| real.body[name].clone());
    assert_eq!(counts, [json!(false), json!(2), json!(0), json!(0)]);
    let mira =
        admin.get(&format!("/athletes/{}", real.body["rows"][0]["athlete_id"].as_str().unwrap())).await.expect(200);
    let mut groups = vec![one, two];
    groups.sort_unstable();
    assert_eq!(mira.body["group_ids"], json!(groups));
    let shown = ["display_name", "sex", "birth_date", "preferred_lead_leg", "experience", "status", "consent_on"]
        .map(|name| mira.body[name].as_str().unwrap());
    assert_eq!(shown, ["Mira Osei", "F", "2013-05-17", "left", "novice", "active", "2025-09-01"]);
    assert_eq!(mira.body["approach_strides"], 8);
    let mut measured: Vec<(&str, f64, &str)> = mira.body["measurements"]
        .as_array()
        .unwrap()
        .iter()
        .map(|one| {
            (one["kind"].as_str().unwrap(), one["value"].as_f64().unwrap(), one["measured_on"].as_str().unwrap())
        })
        .collect();
    measured.sort_by(|a, b| a.0.cmp(b.0));
    let day = "2025-09-02";
    assert_eq!(
        measured,
        [
            ("leg_length_m", 0.71, day),
            ("sprint_30m_s", 5.2, day),
            ("sprint_50m_s", 8.1, day),
            ("stature_m", 1.523, day)
        ]
    );

    let seq = admin.seq().await;
    let again = import(&admin, "", csv.replace("Mira Osei", "MIRA OSEI")).await.expect(201);
    assert_eq!(statuses(&again), [(2, "unchanged"), (3, "unchanged")]);
    assert_eq!(again.body["rows"][0]["athlete_id"], real.body["rows"][0]["athlete_id"]);
    assert_eq!(admin.seq().await, seq);
    assert_eq!(names(&admin).await, ["Mira Osei", "Tan, Bo"]);
}

#[sqlx::test]
async fn a_file_of_a_spreadsheet_with_a_byte_order_mark_and_semicolons_is_read(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    admin.group("Größe").await;
    let csv =
        "\u{feff}groups;sex;display_name;experience;birth_year\r\ngröße;F;\"Ann \"\"Bee\"\" Čech\";novice;2013\r\n";
    let real = import(&admin, "", csv).await.expect(201);
    assert_eq!(statuses(&real), [(2, "created")]);
    assert_eq!(names(&admin).await, ["Ann \"Bee\" Čech"]);
}

#[sqlx::test]
async fn one_bad_row_stops_the_whole_file_and_every_bad_cell_is_named(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    admin.group("Sprint").await;
    let seq = admin.seq().await;
    let many = (0..21).map(|n| format!("G{n}")).collect::<Vec<_>>();
    for name in &many {
        admin.group(name).await;
    }
    let created = admin.seq().await;
    assert!(created > seq);
    let csv = format!(
        "{HEADER}\nMira Osei,F,2013-05-17,,Sprint,,,novice,,,,,,,\n\
         ,X,2013-02-30,,Nobody|Sprint,both,3,expert,gone,2999-01-01,3.1,abc,NaN,8.00001,2999-01-01\n\
         mira osei,F,2013-05-17,,Sprint,,,novice,,,,,,,\n\
         Bo Tan,M,,,Sprint,,,novice,,soon,,,,,\n\
         Al Ray,M,2012-01-01,2012,,,,novice,,,,,,,\n\
         Jo Kim,M,,99999,{},,x,novice,,,1.5,0.7,,,1999-01-01\n",
        many.join("|")
    );
    let pointers = [
        "/rows/3/approach_strides",
        "/rows/3/birth_date",
        "/rows/3/consent_on",
        "/rows/3/display_name",
        "/rows/3/experience",
        "/rows/3/groups",
        "/rows/3/leg_length_m",
        "/rows/3/measured_on",
        "/rows/3/preferred_lead_leg",
        "/rows/3/sex",
        "/rows/3/sprint_30m_s",
        "/rows/3/sprint_50m_s",
        "/rows/3/stature_m",
        "/rows/3/status",
        "/rows/4/display_name",
        "/rows/5/birth_date",
        "/rows/5/consent_on",
        "/rows/6/birth_date",
        "/rows/6/groups",
        "/rows/7/approach_strides",
        "/rows/7/birth_year",
        "/rows/7/groups",
        "/rows/7/measured_on",
    ];
    let real = import(&admin, "", csv.clone()).await.expect(422);
    let mut found = real.faults();
    found.sort_unstable();
    assert_eq!(found, pointers, "{}", real.body);
    let detail =
        real.body["errors"].as_array().unwrap().iter().find(|one| one["pointer"] == "/rows/4/display_name").unwrap();
    assert!(detail["detail"].as_str().unwrap().contains("line 2"), "{detail}");
    assert_eq!(names(&admin).await, [""; 0]);
    assert_eq!(admin.seq().await, created);

    let dry = import(&admin, "?dry_run=true", csv).await.expect(200);
    assert_eq!((&dry.body["created"], &dry.body["rejected"]), (&json!(1), &json!(5)));
    assert_eq!(statuses(&dry)[..3], [(2, "created"), (3, "rejected"), (4, "rejected")]);
    let errors: Vec<&Value> =
        dry.body["rows"][1]["errors"].as_array().unwrap().iter().map(|one| &one["pointer"]).collect();
    assert!(errors.contains(&&json!("/sex")), "{errors:?}");
}

#[sqlx::test]
async fn a_file_that_is_no_roster_is_refused_with_the_line_or_column(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    admin.group("Sprint").await;
    let seq = admin.seq().await;
    let head = "display_name,sex,birth_year,groups,experience";
    let good = "Mira,F,2013,Sprint,novice";
    let cases: Vec<(Vec<u8>, &str)> = vec![
        ([format!("{head}\n{good}\n").as_bytes(), b"Zo\xEB,F,2013,Sprint,novice\n"].concat(), "/rows/3"),
        (format!("{head}\n{good}\n\"Bo,F,2013,Sprint,novice\n{good}\n").into(), "/rows/3"),
        (format!("{head}\n{good}\nBo \"B\" T,F,2013,Sprint,novice\n").into(), "/rows/3"),
        (format!("{head}\n\"Bo\"b,F,2013,Sprint,novice\n").into(), "/rows/2"),
        (format!("{head}\n{good}\n{good},x\n").into(), "/rows/3"),
        (format!("{head}\n\"Mira\nOsei\",F,2013,Sprint,novice\nBo,F\n").into(), "/rows/4"),
        (format!("{head},shoe_size\n{good},37\n").into(), "/header/shoe_size"),
        (format!("{head},sex\n{good},F\n").into(), "/header/sex"),
        ("display_name,sex,birth_year,experience\nMira,F,2013,novice\n".into(), "/header/groups"),
        (format!("{head}\n{}", format!("{good}\n").repeat(2_001)).into(), "/rows"),
    ];
    for (csv, pointer) in cases {
        for query in ["", "?dry_run=true"] {
            let answer = import(&admin, query, csv.clone()).await;
            assert_eq!((answer.status, answer.faults()), (422, vec![pointer]), "{}", answer.body);
        }
    }
    let empty = import(&admin, "", "").await.expect(422);
    assert_eq!(empty.faults(), ["/header/display_name", "/header/sex", "/header/groups", "/header/experience"]);
    import(&admin, "", format!("{head}\n{}", "x".repeat(1024 * 1024))).await.expect(413);
    import(&admin, "?dry_run=perhaps", format!("{head}\n{good}\n")).await.expect_fault(400, "dry_run");
    admin.bytes(Method::POST, "/athletes/import", "application/json", b"[]".to_vec()).await.expect(415);
    assert_eq!(admin.seq().await, seq);
}

#[sqlx::test]
async fn an_export_can_be_imported_again_and_holds_no_formula(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let shown = [
        "=1+1",
        "+49 30",
        "-x",
        "@home",
        "'=quoted",
        "''@twice",
        "O'Neil",
        "'tis",
        "Tan, Bo",
        "Ann \"Bee\"",
        "Zoë\nLee",
    ];
    for club in [&north, &south] {
        club.group("=Sprint").await;
        club.group("Under 14").await;
    }
    let piped = north.group("A|B").await;
    let groups: Vec<Value> =
        north.get("/groups").await.body["items"].as_array().unwrap().iter().map(|one| one["id"].clone()).collect();
    for (n, name) in shown.iter().enumerate() {
        let body = json!({"display_name": name, "sex": "F", "birth_year": 2010 + n % 4, "group_ids": groups[..=n % 2],
            "experience": "novice", "approach_strides": 7 + n % 3, "status": "resting", "consent_on": "2025-09-01", "measurements": [
                {"kind": "stature_m", "value": 1.5, "measured_on": "2025-01-01"},
                {"kind": "leg_length_m", "value": 0.7, "measured_on": "2025-09-01"},
                {"kind": "sprint_50m_s", "value": 8.125, "measured_on": "2025-09-01"}]});
        north.post("/athletes", body).await.expect(201);
    }
    let export = north.get("/athletes/export").await.expect(200);
    assert_eq!(export.header("content-type"), "text/csv; charset=utf-8");
    assert_eq!(export.header("cache-control"), "private, no-store");
    let mut reader = csv::Reader::from_reader(export.bytes.as_slice());
    assert_eq!(reader.headers().unwrap(), format!("id,rev,{HEADER}").split(',').collect::<Vec<_>>());
    for record in reader.records() {
        for cell in &record.unwrap() {
            assert!(!cell.starts_with(['=', '+', '-', '@', '\t', '\r']), "{cell}");
        }
    }
    let again = import(&north, "", export.bytes.clone()).await.expect(201);
    assert_eq!(again.body["unchanged"], shown.len());
    // Ids are of one club; without them the file brings the squad to another.
    let foreign = import(&south, "", export.bytes.clone()).await.expect(422);
    assert_eq!(foreign.faults()[0], "/rows/2/id");
    let moved = import(&south, "", without_ids(&export.bytes)).await.expect(201);
    assert_eq!(moved.body["created"], shown.len());
    assert_eq!(names(&south).await, shown);
    let copy = south.get("/athletes/export").await;
    let text = |bytes: &[u8]| String::from_utf8(without_ids(bytes)).unwrap();
    assert_eq!(text(&copy.bytes), text(&export.bytes));

    let body =
        json!({"display_name": "Pia", "sex": "F", "birth_year": 2013, "group_ids": [piped], "experience": "novice"});
    north.post("/athletes", body).await.expect(201);
    let piped = north.get("/athletes/export").await;
    assert_eq!(import(&north, "", piped.bytes).await.expect(201).body["unchanged"], shown.len() + 1);
}

#[sqlx::test]
async fn only_an_admin_of_the_club_imports_and_exports(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (admin, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = admin.group("Sprint").await;
    let csv = format!("{HEADER}\nMira Osei,F,2013-05-17,,Sprint,,,novice,,,,,,,\n");
    for role in ["coach", "viewer"] {
        let member = admin.member(&format!("The {role}"), role, &[&group]).await;
        import(&member, "", csv.clone()).await.expect(403);
        import(&member, "?dry_run=true", csv.clone()).await.expect(403);
        member.get("/athletes/export").await.expect(403);
    }
    let headers = [("content-type", "text/csv")];
    south.call(Method::POST, &admin.path("/athletes/import"), &headers, None).await.expect(404);
    south.call(Method::GET, &admin.path("/athletes/export"), &[], None).await.expect(404);
    app.get(&admin.path("/athletes/export")).await.expect(401);
    import(&south, "", csv).await.expect_fault(422, "/rows/2/groups");
    assert_eq!(names(&admin).await, [""; 0]);
}

#[sqlx::test]
async fn the_largest_roster_is_imported_once_even_when_sent_twice_at_the_same_time(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    admin.group("Sprint").await;
    let mut csv = format!("{HEADER}\n");
    for n in 0..2_000 {
        writeln!(csv, "Athlete {n:04},F,2013-05-17,,Sprint,,,novice,,,1.5,0.7,5.2,8.1,2025-09-01").unwrap();
    }
    let persist = || unless_busy(async || import(&admin, "", csv.clone()).await);
    let (one, two) = tokio::join!(persist(), persist());
    let mut counts = [one, two].map(|answer| {
        let answer = answer.expect(201);
        (answer.body["created"].as_u64().unwrap(), answer.body["unchanged"].as_u64().unwrap())
    });
    counts.sort_unstable();
    assert_eq!(counts, [(0, 2_000), (2_000, 0)]);
    let export = admin.get("/athletes/export").await.expect(200);
    assert_eq!(String::from_utf8_lossy(&export.bytes).lines().count(), 2_001);
}

#[sqlx::test]
async fn what_an_import_fills_is_counted(pool: PgPool) {
    let app = TestApp::spawn(pool.clone()).await;
    let admin = app.admin_of("North").await;
    admin.group("Under 14").await;
    let mut csv = "display_name,sex,birth_date,groups,experience,stature_m\n".to_owned();
    for n in 0..40 {
        writeln!(csv, "Athlete {n},F,2012-05-17,Under 14,novice,1.6{}", n % 10).unwrap();
    }
    import(&admin, "", csv).await.expect(201);
    let counted = "select c.reltuples::bigint from pg_class c where c.oid = $1::text::regclass";
    for (table, rows) in [("athletes", 40), ("measurements", 40), ("root_scope", 40)] {
        let found: i64 = sqlx::query_scalar(counted).bind(table).fetch_one(&pool).await.unwrap();
        assert_eq!(found, rows, "{table}");
    }
}
