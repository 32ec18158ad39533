//! A season turns: athletes move up, groups take a new season or are archived, all in one call that can be previewed.

use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::{Caller, TestApp};

async fn athlete(admin: &Caller, name: &str, year: i16, groups: &[&str]) -> String {
    let body =
        json!({"display_name": name, "sex": "F", "birth_year": year, "group_ids": groups, "experience": "novice"});
    admin.post("/athletes", body).await.expect(201).id()
}

async fn groups_of(admin: &Caller, athlete: &str) -> Vec<String> {
    let found = admin.get(&format!("/athletes/{athlete}")).await.expect(200).body;
    found["group_ids"].as_array().unwrap().iter().map(|id| id.as_str().unwrap().to_owned()).collect()
}

fn rows(answer: &Value) -> Vec<(&str, &str)> {
    let rows = answer["athletes"].as_array().unwrap();
    rows.iter().map(|row| (row["display_name"].as_str().unwrap(), row["status"].as_str().unwrap())).collect()
}

#[sqlx::test]
async fn everybody_moves_up_one_step_and_nobody_two(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (u12, u14, u16) = (admin.group("Under 12").await, admin.group("Under 14").await, admin.group("Under 16").await);
    let ada = athlete(&admin, "Ada", 2014, &[&u12]).await;
    let young = athlete(&admin, "Bea", 2015, &[&u12]).await;
    let cleo = athlete(&admin, "Cleo", 2012, &[&u14]).await;
    let dora = athlete(&admin, "Dora", 2014, &[&u12, &u14]).await;
    let left = athlete(&admin, "Eli", 2013, &[&u12]).await;
    admin.patch(&format!("/athletes/{left}"), "*", json!({"status": "left"})).await.expect(200);
    let turn = json!({
        "moves": [
            {"from_group_id": u12, "to_group_id": u14, "born_to": 2014},
            {"from_group_id": u14, "to_group_id": u16}
        ],
        "groups": [{"group_id": u14, "season": "2027 outdoor"}]
    });
    let seq = admin.seq().await;
    let dry = admin.post("/groups/turn?dry_run=true", turn.clone()).await.expect(200);
    assert_eq!(rows(&dry.body), [("Ada", "changed"), ("Cleo", "changed"), ("Dora", "changed")]);
    assert_eq!((&dry.body["dry_run"], &dry.body["changed"]), (&json!(true), &json!(3)));
    assert_eq!(dry.body["groups"][0]["season"], "2027 outdoor");
    assert_eq!(admin.seq().await, seq, "a dry run writes nothing");

    let done = admin.post("/groups/turn", turn.clone()).await.expect(200);
    assert_eq!(done.body["athletes"], dry.body["athletes"]);
    assert_eq!(groups_of(&admin, &ada).await, std::slice::from_ref(&u14), "one step, although her new group moves on");
    assert_eq!(groups_of(&admin, &cleo).await, std::slice::from_ref(&u16));
    assert_eq!(groups_of(&admin, &young).await, std::slice::from_ref(&u12));
    assert_eq!(groups_of(&admin, &left).await, std::slice::from_ref(&u12));
    let mut both = vec![u14.clone(), u16.clone()];
    both.sort_unstable();
    assert_eq!(groups_of(&admin, &dora).await, both);
    let group = admin.get(&format!("/groups/{u14}")).await.expect(200).body;
    assert_eq!((&group["season"], &group["rev"]), (&json!("2027 outdoor"), &done.body["groups"][0]["rev"]));
}

#[sqlx::test]
async fn what_cannot_move_is_told_and_then_nothing_moves(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (admin, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let (mine, other, foreign) = (admin.group("Mine").await, admin.group("Other").await, south.group("Far").await);
    let ada = athlete(&admin, "Ada", 2014, &[&mine]).await;
    let bea = athlete(&admin, "Bea", 2014, &[&mine, &other]).await;
    let seq = admin.seq().await;
    let out = json!({"moves": [{"from_group_id": mine}]});
    let dry = admin.post("/groups/turn?dry_run=true", out.clone()).await.expect(200);
    assert_eq!(rows(&dry.body), [("Ada", "rejected"), ("Bea", "changed")]);
    let refused = admin.post("/groups/turn", out).await.expect(422);
    assert!(refused.body["errors"][0]["detail"].as_str().unwrap().starts_with("Ada: "), "{}", refused.body);
    let stranger = uuid::Uuid::now_v7();
    for (body, pointer) in [
        (json!({"moves": [{"from_group_id": mine, "to_group_id": foreign}]}), "/moves/0/to_group_id"),
        (json!({"moves": [{"from_group_id": mine, "to_group_id": mine}]}), "/moves/0/to_group_id"),
        (json!({"moves": [{"to_group_id": mine}]}), "/moves/0/athlete_ids"),
        (json!({"moves": [{"to_group_id": mine, "athlete_ids": [ada, stranger]}]}), "/moves/0/athlete_ids/1"),
        (
            json!({"moves": [{"from_group_id": mine, "to_group_id": other, "born_from": 2014, "born_to": 2013}]}),
            "/moves/0/born_to",
        ),
        (json!({"groups": [{"group_id": foreign}]}), "/groups/0/group_id"),
        (json!({"groups": [{"group_id": mine}, {"group_id": mine}]}), "/groups/1/group_id"),
        (json!({"groups": [{"group_id": mine, "season": " "}]}), "/groups/0/season"),
    ] {
        admin.post("/groups/turn", body).await.expect_fault(422, pointer);
    }
    assert_eq!(admin.seq().await, seq);
    let named = json!({"moves": [{"to_group_id": other, "athlete_ids": [ada, bea]}]});
    let done = admin.post("/groups/turn", named).await.expect(200);
    assert_eq!(rows(&done.body), [("Ada", "changed"), ("Bea", "unchanged")]);
    let coach = admin.member("Own Coach", "coach", &[&mine]).await;
    coach.post("/groups/turn", json!({})).await.expect(403);
}

#[sqlx::test]
async fn a_group_with_a_past_is_archived_and_leaves_the_lists_but_nothing_else(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let (old, new) = (admin.group("Under 14 of 2025").await, admin.group("Under 14").await);
    let coach = admin.member("Own Coach", "coach", &[&old]).await;
    let ada = athlete(&admin, "Ada", 2013, &[&old]).await;
    let session = json!({"held_on": "2025-06-01", "state": "held", "group_ids": [old]});
    admin.post("/sessions", session).await.expect(201);
    let path = format!("/groups/{old}");
    admin.delete(&path, "*").await.expect(409);
    let archived = admin.patch(&path, "*", json!({"archived": true})).await.expect(200);
    assert_eq!(archived.body["archived"], true);
    let listed = async |query: &str| {
        let list = admin.get(&format!("/groups{query}")).await.expect(200).body;
        list["items"].as_array().unwrap().iter().map(|one| one["id"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    assert_eq!(listed("").await, std::slice::from_ref(&new));
    assert_eq!(listed("?archived=true").await, [old.clone(), new.clone()]);
    assert_eq!(coach.get("/groups").await.expect(200).body["items"], json!([]));
    // It keeps its past.
    assert_eq!(admin.get(&path).await.expect(200).body["archived"], true);
    assert_eq!(groups_of(&coach, &ada).await, std::slice::from_ref(&old));
    let sessions = coach.get(&format!("/sessions?group_id={old}")).await.expect(200).body;
    assert_eq!(sessions["items"].as_array().unwrap().len(), 1);
    // Phones learn of it, and it comes back.
    let changes = coach.get("/changes?limit=200").await.expect(200).body.to_string();
    assert!(changes.contains("\"archived\":true"), "{changes}");
    let back = json!({"groups": [{"group_id": old, "archived": false}]});
    admin.post("/groups/turn", back).await.expect(200);
    assert_eq!(listed("").await, [old, new]);
    assert_eq!(admin.get(&path).await.body.get("archived"), None);
}
