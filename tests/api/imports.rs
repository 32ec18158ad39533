//! Imports: a club comes back as it was, an athlete moves, and nothing of a hostile archive is believed.

use std::collections::{BTreeMap, HashMap};
use std::fmt::Write;

use lanewright::platform::db::tables::{LATER, imported};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::{AssertSqlSafe, PgPool};
use uuid::Uuid;

use crate::archives::{File, athlete as row, manifest, of_athlete, packed, sealed, table};
use crate::audit::noted;
use crate::exports::{Files, exported, fill, rows};
use crate::oauth;
use crate::operations::stage::Stage;
use crate::support::{Answer, Caller, TestApp};
use crate::sync_pull::{Phone, athlete, run, squad};
use crate::sync_push::{create, push, statuses};

pub async fn import(admin: &Caller, query: &str, bytes: Vec<u8>) -> Answer {
    admin.bytes(Method::POST, &format!("/imports{query}"), "application/zip", bytes).await
}

/// The files of an archive as they are packed again.
fn files(of: &Files) -> Vec<File> {
    of.iter().map(|(path, content)| (path.clone(), content.clone())).collect()
}

/// A club with a record of everything.
async fn furnished(app: &TestApp) -> Stage {
    let stage = Stage::new(app).await;
    let (admin, id) = (&stage.admin, |name: &str| stage.ids[name].clone());
    let consent = json!({"purpose": "sharing_with_apps", "act": "given", "on": stage.day, "by": "guardian"});
    admin.post(&format!("/athletes/{}/consents", id("athlete_id")), consent).await.expect(201);
    let entered = json!({"athlete_ids": [id("athlete_id")], "coach_accepts": [id("athlete_id")]});
    admin.put(&format!("/race-tests/{}/entries", id("race_test_id")), "*", entered).await.expect(200);
    let heats = admin.path(&format!("/race-tests/{}/heats", id("race_test_id")));
    admin.call(Method::POST, &heats, &[("if-match", "*")], Some(json!({"lanes": 4, "seed": 7}))).await.expect(200);
    let results = json!({"results": [stage.result(&Uuid::now_v7().to_string())]});
    admin.post(&format!("/race-tests/{}/results", id("race_test_id")), results).await.expect(200);
    admin
        .put(&format!("/sessions/{}/attendance", id("session_id")), "*", json!({"present": [id("athlete_id")]}))
        .await
        .expect(200);
    admin
        .patch(
            "",
            "*",
            json!({"time_zone": "Europe/Vienna", "print_units": "imperial", "policy": {"min_intervals": 16}}),
        )
        .await
        .expect(200);
    // Somebody who was erased: nothing but the id and facts about nobody are left.
    let gone = athlete(admin, "Gone", &[&id("group_id")]).await;
    admin.post("/runs", json!({"runs": [run(&id("session_id"), &gone, stage.day)]})).await.expect(200);
    let note = json!({"id": Uuid::now_v7(), "athlete_id": gone, "assessed_at": format!("{}T18:00:00Z", stage.day),
        "ratings": {}, "note": "Came late"});
    let noted = admin.post("/assessments", json!({"assessments": [note]})).await.expect(200);
    assert_eq!(noted.body["results"][0]["status"], "created");
    admin.delete(&format!("/athletes/{gone}"), "*").await.expect(204);
    stage
}

/// The rows that an import brings, table by table, without what counts changes.
fn content(files: &Files) -> BTreeMap<&'static str, Vec<Value>> {
    let plain = |mut row: serde_json::Map<String, Value>| {
        row.remove("rev");
        Value::Object(row)
    };
    let names = imported().map(|table| table.name).chain(["root_scope"]);
    names.map(|name| (name, rows(files, name).into_iter().map(plain).collect())).collect()
}

fn settings(files: &Files) -> Value {
    let mut club = rows(files, "clubs").remove(0);
    club.retain(|name, _| !["id", "rev", "name", "created_at", "updated_at"].contains(&name.as_str()));
    Value::Object(club)
}

#[sqlx::test]
async fn a_club_comes_back_as_it_was(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let stage = furnished(&app).await;
    let before = exported(&stage.admin, json!({})).await;
    let archive = packed(&files(&before));
    let twin = app.admin_of("Twin").await;
    let told = import(&twin, "?dry_run=true", archive.clone()).await.expect(200).body;
    assert_eq!(exported(&twin, json!({})).await["json/athletes.ndjson"], b"", "a dry run writes nothing");
    let mut came = import(&twin, "", archive.clone()).await.expect(201).body;
    came["dry_run"] = json!(true);
    assert_eq!(told, came);
    let after = exported(&twin, json!({})).await;
    assert_eq!(content(&after), content(&before), "field by field, under the same ids");
    assert_eq!(settings(&after), settings(&before));
    assert!(content(&before).values().all(|rows| !rows.is_empty()), "what there is nothing of proves nothing");
    // Phones of the new club learn of all of it.
    let (mut here, mut there) = (Phone::default(), Phone::default());
    here.pull(&stage.admin, 100).await;
    there.pull(&twin, 100).await;
    let plain = |phone: &Phone| -> BTreeMap<(String, String), Value> {
        let mut copy = phone.copy.clone();
        copy.retain(|(kind, _), _| kind != "club");
        for data in copy.values_mut() {
            data.as_object_mut().unwrap().remove("rev");
        }
        copy
    };
    assert_eq!(plain(&there), plain(&here));
    // A second time the club is not empty.
    import(&twin, "", archive).await.expect(409);
}

#[sqlx::test]
async fn a_club_of_many_records_comes_back_and_phones_follow(pool: PgPool) {
    let squad = squad(pool).await;
    // More than are numbered together, twice.
    fill(&squad, 21_000).await;
    let before = exported(&squad.admin, json!({})).await;
    let twin = squad.app.admin_of("Twin").await;
    let log = async |after: i64| -> Vec<i64> {
        let mut tx = squad.app.pool.begin().await.unwrap();
        let club = format!("set local app.club_id = '{}'", twin.club);
        sqlx::raw_sql(AssertSqlSafe(club)).execute(&mut *tx).await.unwrap();
        let found = sqlx::query_scalar("select seq from club_change where seq > $1 order by seq").bind(after);
        found.fetch_all(&mut *tx).await.unwrap()
    };
    let before_it = log(0).await.into_iter().max().unwrap();
    let told = import(&twin, "", packed(&files(&before))).await.expect(201).body;
    assert!(told["records"].as_u64().unwrap() > 21_000, "{told}");
    let after = exported(&twin, json!({})).await;
    assert_eq!(content(&after), content(&before));
    // Every record has a number of its own, and the log has them all.
    let all = |table: &str| rows(&after, table).into_iter().map(|row| row["rev"].as_i64().unwrap()).collect::<Vec<_>>();
    let mut revs: Vec<i64> =
        imported().filter(|table| table.comes.kind().is_some()).flat_map(|table| all(table.name)).collect();
    revs.push(twin.get("").await.expect(200).body["rev"].as_i64().unwrap());
    revs.sort_unstable();
    assert_eq!(log(before_it).await, revs);
    let audited = noted(&twin, "changed", "POST /v1/clubs/{club_id}/imports").await;
    assert_eq!(audited[0]["athlete_ids"].as_array().unwrap().len(), rows(&before, "athletes").len());
    assert!(audited[0]["record_ids"].as_array().unwrap().len() > 21_000);
    // What is too large for memory is read from a file: of the files that nobody looks at, one that cannot be packed.
    let mut noise = vec![0; 17 << 20];
    let mut state = 1_u64;
    for byte in &mut noise {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        *byte = state.to_be_bytes()[0];
    }
    let large = sealed(&club(), &[small(|_, _| {}), vec![("csv/runs.csv".to_owned(), noise)]].concat());
    assert!(large.len() > 17 << 20);
    let other = squad.app.admin_of("Other").await;
    import(&other, "", large).await.expect(201);
    assert_eq!(other.get("/athletes").await.expect(200).body["items"][0]["display_name"], "Mira Osei");
}

/// The ids in a text by the order in which they come, so that two texts are the same but for their ids.
fn numbered(text: &str) -> String {
    let (mut known, mut out) = (HashMap::new(), String::new());
    for part in text.split('"') {
        match Uuid::try_parse(part) {
            Ok(id) if part.len() == 36 => {
                let next = known.len();
                write!(out, "#{}", known.entry(id).or_insert(next)).unwrap();
            }
            _ => out.push_str(part),
        }
        out.push('"');
    }
    out
}

#[sqlx::test]
async fn a_club_comes_with_new_ids_that_fit_together(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let stage = furnished(&app).await;
    let before = exported(&stage.admin, json!({})).await;
    let twin = app.admin_of("Twin").await;
    import(&twin, "?new_ids=true", packed(&files(&before))).await.expect(201);
    let after = exported(&twin, json!({})).await;
    let (before, after) = (content(&before), content(&after));
    let text = |content: &BTreeMap<&str, Vec<Value>>| -> String {
        content.values().flatten().map(Value::to_string).collect::<Vec<_>>().join("\n")
    };
    assert_eq!(numbered(&text(&after)), numbered(&text(&before)));
    let id = stage.ids["athlete_id"].as_str();
    assert!(text(&before).contains(id) && !text(&after).contains(id));
}

#[sqlx::test]
async fn an_athlete_moves_to_another_club_with_new_ids(pool: PgPool) {
    let squad = squad(pool).await;
    let mut ran = run(&squad.session, &squad.athlete, squad.day);
    ran["note"] = json!("Ran with a smile");
    let rated =
        json!({"athlete_id": squad.athlete, "assessed_at": format!("{}T18:00:00Z", squad.day), "ratings": {"arms": 2}});
    let decided = json!({"athlete_id": squad.athlete, "outcome": "accepted"});
    assert_eq!(
        statuses(
            &push(&squad.coach, &[create("run", ran), create("assessment", rated), create("decision", decided)]).await
        ),
        [201; 3]
    );
    squad
        .admin
        .patch(&format!("/sessions/{}", squad.session), "*", json!({"note": "Somebody else was late"}))
        .await
        .expect(200);
    let before = exported(&squad.admin, json!({"athlete_id": squad.athlete})).await;
    let archive = packed(&files(&before));
    let south = squad.app.admin_of("South").await;
    let group = south.group("Theirs").await;
    import(&south, "", archive.clone()).await.expect(409);
    import(&squad.app.admin_of("West").await, "", archive.clone()).await.expect_fault(400, "group_id");
    import(&south, &format!("?group_id={}", squad.mine), archive.clone()).await.expect(404);
    let into = format!("?group_id={group}");
    let told = import(&south, &into, archive.clone()).await.expect(201).body;
    let id = told["athlete_id"].as_str().unwrap();
    assert_ne!(id, squad.athlete);
    let here = south.get(&format!("/athletes/{id}")).await.expect(200).body;
    let there = squad.admin.get(&format!("/athletes/{}", squad.athlete)).await.expect(200).body;
    for same in ["display_name", "sex", "birth_year", "experience", "status"] {
        assert_eq!(here[same], there[same], "{same}");
    }
    assert_eq!(here["group_ids"], json!([group]));
    assert_eq!(here["measurements"][0]["value"], there["measurements"][0]["value"]);
    let runs = south.get(&format!("/runs?athlete_id={id}")).await.expect(200).body;
    assert_eq!((runs["items"].as_array().unwrap().len(), &runs["items"][0]["note"]), (1, &json!("Ran with a smile")));
    let coach = south.member("Cora Coach", "coach", &[&group]).await;
    coach.get(&format!("/athletes/{id}/recommendation")).await.expect(200);
    let after = exported(&south, json!({})).await;
    // The audit names what this club asked for in vain.
    let brought = after.iter().filter(|(path, _)| !path.contains("audit"));
    let text: String = brought.map(|(_, bytes)| String::from_utf8_lossy(bytes)).collect();
    for old in [squad.athlete.as_str(), &squad.session, &squad.mine, "Somebody else"] {
        assert!(!text.contains(old), "{old}");
    }
    // The same archive again is the same athlete.
    import(&south, &into, archive).await.expect_fault(422, "/archive");
}

/// An archive in whose end the two bytes that stand so far from behind are these, low byte first.
fn end(archive: &[u8], from_behind: usize, byte: u8) -> Vec<u8> {
    let mut archive = archive.to_vec();
    let at = archive.len() - from_behind;
    archive[at..at + 2].fill(0);
    archive[at] = byte;
    if byte == 0xff {
        archive[at..at + 2].fill(byte);
    }
    archive
}

/// A club of one group and one athlete, as the files of an archive; `change` changes a row.
fn small(change: impl Fn(&str, &mut Value)) -> Vec<File> {
    let group = Uuid::now_v7();
    let athlete = row("Mira Osei");
    let at = "2026-09-01T10:00:00+00:00";
    let mut all = vec![
        (
            "groups",
            json!({"id": group, "rev": 3, "name": "Under 14", "season": null, "archived": false, "created_at": at, "updated_at": at, "deleted_at": null}),
        ),
        ("root_scope", json!({"kind": "athlete", "root_id": athlete["id"], "scope_id": group})),
        ("athletes", athlete),
    ];
    for (name, row) in &mut all {
        change(name, row);
    }
    all.into_iter().map(|(name, row)| table(name, &[row])).collect()
}

fn club() -> Value {
    json!({"of": "club", "club_id": Uuid::now_v7(), "athlete_id": null})
}

#[sqlx::test]
async fn an_archive_from_before_a_column_comes_and_the_column_is_empty(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    for later in LATER {
        let (table, column) = later.split_once('.').unwrap();
        let old = small(|name, row| {
            if name == table {
                assert!(row.as_object_mut().unwrap().remove(column).is_some(), "{later}");
            }
        });
        import(&admin, "?dry_run=true", sealed(&club(), &old)).await.expect(200);
        let before = exported(&admin, json!({})).await;
        assert!(before[&format!("json/{table}.ndjson")].is_empty());
        let twin = app.admin_of(&format!("After {later}")).await;
        import(&twin, "", sealed(&club(), &old)).await.expect(201);
        let came = exported(&twin, json!({})).await;
        assert!(rows(&came, table).iter().all(|row| row[column].is_null()), "{later}");
        assert!(!rows(&came, table).is_empty());
    }
}

#[sqlx::test]
#[allow(clippy::too_many_lines)] // one hostile archive after the other
async fn nothing_of_a_hostile_archive_is_believed(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let good = small(|_, _| {});
    let whole = sealed(&club(), &good);
    let with = |change: &dyn Fn(&str, &mut Value)| sealed(&club(), &small(change));
    let of = |table: &'static str, field: &'static str, value: Value| {
        with(&move |name: &str, row: &mut Value| {
            if name == table {
                row[field] = value.clone();
            }
        })
    };
    let told = |change: &dyn Fn(&mut Value)| {
        let mut says = manifest(&club(), &good);
        change(&mut says);
        packed(&[good.as_slice(), &[("manifest.json".to_owned(), serde_json::to_vec(&says).unwrap())]].concat())
    };
    let more =
        |path: &str, content: Vec<u8>| sealed(&club(), &[good.as_slice(), &[(path.to_owned(), content)]].concat());
    // Two files of one name: the second is written under a name of the same length, which is then changed in both headers.
    let twin = sealed(
        &club(),
        &[good.as_slice(), &[table("runs", &[]), ("json/runz.ndjson".to_owned(), b"{}\n".to_vec())]].concat(),
    );
    let twice = replaced(&twin, b"json/runz.ndjson", b"json/runs.ndjson");
    let cases: Vec<(&str, Vec<u8>)> = vec![
        ("nothing", Vec::new()),
        ("no archive", b"display_name\nMira\n".to_vec()),
        ("cut off", whole[..whole.len() - 30].to_vec()),
        ("damaged", damaged(&whole)),
        ("no manifest", packed(&good)),
        ("another format", told(&|says| says["format"] = json!("backup"))),
        ("another version", told(&|says| says["version"] = json!(2))),
        (
            "a file twice in the manifest",
            told(&|says| {
                let first = says["files"][0].clone();
                says["files"].as_array_mut().unwrap().push(first);
            }),
        ),
        ("two files of one name", twice),
        ("a path outside", more("../../etc/cron.d/evil", b"x".to_vec())),
        ("an absolute path", more("/tmp/evil", b"x".to_vec())),
        ("a strange file", more("json/passwords.ndjson", b"{}\n".to_vec())),
        ("another hash", told(&|says| says["files"][2]["sha256"] = json!("0".repeat(64)))),
        ("another count", told(&|says| says["files"][2]["records"] = json!(2))),
        ("larger than told", told(&|says| says["files"][2]["bytes"] = json!(10))),
        ("smaller than told", told(&|says| says["files"][2]["bytes"] = json!(100_000))),
        ("more than is unpacked", told(&|says| says["files"][2]["bytes"] = json!(5_u64 << 30))),
        (
            "sizes that overflow",
            told(&|says| {
                for one in says["files"].as_array_mut().unwrap() {
                    one["bytes"] = json!(u64::MAX);
                }
            }),
        ),
        ("a bomb that tells another size", {
            let files = [good.as_slice(), &[("json/runs.ndjson".to_owned(), vec![b' '; 8 << 20])]].concat();
            let mut says = manifest(&club(), &files);
            says["files"][3]["bytes"] = json!(1_000);
            packed(&[files.as_slice(), &[("manifest.json".to_owned(), serde_json::to_vec(&says).unwrap())]].concat())
        }),
        ("too many records", told(&|says| says["files"][2]["records"] = json!(5_000_001))),
        ("a directory that is elsewhere", [whole.as_slice(), b"PK\x05\x06".as_slice(), &[0; 18]].concat()),
        ("a directory that is larger than ours", end(&whole, 10, 0xff)),
        ("a directory that is said to stand behind", end(&whole, 4, 0xff)),
        ("more files than it has", end(&whole, 12, 1)),
        ("a remark behind the end", [end(&whole, 2, 4).as_slice(), b"hurd"].concat()),
        ("no JSON", more("json/runs.ndjson", b"{\n".to_vec())),
        ("another column", of("athletes", "club_id", json!(Uuid::now_v7()))),
        (
            "a column too few",
            with(&|name, row| {
                if name == "athletes" {
                    row.as_object_mut().unwrap().remove("sex");
                }
            }),
        ),
        ("a word that is none", of("athletes", "experience", json!("expert"))),
        ("a name that nobody may have", of("athletes", "display_name", json!("Mira\u{202e}isO"))),
        ("a name that is too long", of("athletes", "display_name", json!("M".repeat(81)))),
        ("a birth to come", of("athletes", "birth_date", json!("2099-01-01"))),
        ("a value of another kind", of("athletes", "birth_date", json!("tomorrow"))),
        ("a text with a NUL", of("groups", "name", json!("a\u{0}b"))),
        ("a group that is not there", of("root_scope", "scope_id", json!(Uuid::now_v7()))),
        ("a group that is the club", of("root_scope", "scope_id", json!(admin.club))),
        ("nobody's group", of("root_scope", "root_id", json!(Uuid::now_v7()))),
        (
            "an athlete of another place",
            with(&|name, row| {
                if name == "athletes" {
                    row["id"] = json!("not an id");
                }
            }),
        ),
    ];
    for (what, bytes) in cases {
        let answer = import(&admin, "", bytes).await;
        assert!([413, 422].contains(&answer.status), "{what}: {}", answer.body);
        if answer.status == 422 {
            assert_eq!(answer.faults(), ["/archive"], "{what}: {}", answer.body);
        }
        assert_eq!(admin.get("/groups").await.expect(200).body["items"], json!([]), "{what}");
        assert_eq!(admin.get("/athletes").await.expect(200).body["items"], json!([]), "{what}");
    }
    // What they were made of is taken.
    import(&admin, "", whole).await.expect(201);
    assert_eq!(admin.get("/athletes").await.expect(200).body["items"][0]["display_name"], "Mira Osei");
}

/// The bytes with one text in the place of another of the same length.
fn replaced(bytes: &[u8], from: &[u8], to: &[u8]) -> Vec<u8> {
    let mut out = bytes.to_vec();
    let places: Vec<usize> = (0..out.len() - from.len()).filter(|at| out[*at..].starts_with(from)).collect();
    assert!(places.len() >= 2, "in the file and in the directory");
    for at in places {
        out[at..at + to.len()].copy_from_slice(to);
    }
    out
}

/// The archive with some bytes of its first file changed.
fn damaged(bytes: &[u8]) -> Vec<u8> {
    let mut out = bytes.to_vec();
    let at = 30 + "json/groups.ndjson".len() + 8;
    out[at..at + 8].iter_mut().for_each(|byte| *byte ^= 0x55);
    out
}

#[sqlx::test]
async fn an_app_imports_nothing_and_other_media_are_refused(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Mine").await;
    let by_app = oauth::acting(&admin, &["club.admin", "squad.read"]).await;
    import(&by_app, &format!("?group_id={group}"), of_athlete("Mira Osei")).await.expect(403);
    let path = format!("/imports?group_id={group}");
    admin.bytes(Method::POST, &path, "application/octet-stream", of_athlete("Mira Osei")).await.expect(415);
    import(&admin, &format!("?group_id={group}"), of_athlete("Mira Osei")).await.expect(201);
}
