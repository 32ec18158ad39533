//! How much a page carries, how long somebody who left may go on, and what ids and tokens tell of what is hidden.

use chrono::Duration;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use super::says;
use crate::support::in_club;
use crate::sync_pull::{Phone, run, squad};
use crate::sync_push::{create, push, statuses};

#[sqlx::test]
async fn a_page_has_500_changes_unless_asked_otherwise_and_ends_at_a_mebibyte(pool: PgPool) {
    says("1 to 2000 changes, 500 when absent; a page also ends at 1 MiB");
    let squad = squad(pool).await;
    let noted = || {
        let mut data = run(&squad.session, &squad.athlete, squad.day);
        data["note"] = json!("n".repeat(500));
        create("run", data)
    };
    for _ in 0..4 {
        let items: Vec<Value> = (0..350).map(|_| noted()).collect();
        assert!(push(&squad.coach, &items).await.iter().all(|one| one["status"] == 201));
    }
    let page = squad.coach.get("/changes").await.expect(200).body;
    assert_eq!(page["changes"].as_array().unwrap().len(), 500);
    let page = squad.coach.get("/changes?limit=2000").await.expect(200).body;
    let changes = page["changes"].as_array().unwrap();
    let bytes = page["changes"].to_string().len();
    assert!(page["more"] == true && changes.len() < 1_400, "{} changes", changes.len());
    assert!((900_000..=1 << 20).contains(&bytes), "{bytes} bytes in {} changes", changes.len());
    squad.coach.get("/changes?limit=2001").await.expect_fault(400, "limit");
}

#[sqlx::test]
async fn somebody_who_left_may_push_and_read_what_is_held_for_30_days_and_no_longer(pool: PgPool) {
    says("Somebody who left the club may still push for 30 days");
    says("Somebody who left may do this for 30 days.");
    let squad = squad(pool).await;
    let leaver = squad.admin.member("A Leaver", "coach", &[&squad.mine]).await;
    let path = format!("/members/{}", leaver.account);
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    squad.admin.delete(&path, &tag).await.expect(204);
    let age = async |hours: u32| {
        let sql =
            format!("update members set deleted_at = now() - interval '{hours} hours' where id = '{}'", leaver.account);
        in_club(&squad.app.pool, &squad.admin.club, &sql).await;
    };
    let fact = || create("run", run(&squad.session, &squad.athlete, squad.day));
    age(30 * 24 - 1).await;
    assert_eq!(statuses(&push(&leaver, &[fact()]).await), [202]);
    assert_eq!(leaver.get("/own-held-items").await.expect(200).body["items"].as_array().unwrap().len(), 1);
    age(30 * 24 + 1).await;
    leaver.post("/changes", crate::sync_push::batch(&[fact()])).await.expect(404);
    leaver.get("/own-held-items").await.expect(404);
}

#[sqlx::test]
async fn ids_of_hidden_groups_stand_in_records_that_are_seen(pool: PgPool) {
    let squad = squad(pool).await;
    let path = format!("/athletes/{}", squad.athlete);
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    let both = json!({"group_ids": [squad.mine, squad.other]});
    squad.admin.patch(&path, &tag, both).await.expect(200);
    let shared =
        json!({"held_on": squad.day + Duration::days(1), "state": "planned", "group_ids": [squad.mine, squad.other]});
    let session = squad.admin.post("/sessions", shared).await.expect(201).id();
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    for (kind, id) in [("athlete", &squad.athlete), ("session", &session)] {
        let record = &phone.copy[&(kind.to_owned(), id.clone())];
        assert!(record["group_ids"].as_array().unwrap().contains(&json!(squad.other)), "{record}");
    }
    assert_eq!(phone.ids("group"), [squad.mine.as_str()]);
    squad.coach.get(&format!("/groups/{}", squad.other)).await.expect(404);
}

#[sqlx::test]
async fn an_empty_page_after_hidden_changes_has_another_token_and_nothing_else(pool: PgPool) {
    let squad = squad(pool).await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let (before, copy) = (phone.token.clone(), phone.copy.clone());
    let hidden = create(
        "athlete",
        json!({"id": Uuid::now_v7(), "display_name": "H", "sex": "F", "birth_year": 2012,
        "experience": "novice", "group_ids": [squad.other]}),
    );
    assert_eq!(statuses(&push(&squad.admin, &[hidden]).await), [201]);
    phone.pull(&squad.coach, 500).await;
    assert_eq!(phone.copy, copy);
    assert_ne!(phone.token, before);
}
