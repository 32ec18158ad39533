//! How much waits for an admin: bounded, and the phone keeps what finds no room.

use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, in_club};
use crate::sync_pull::{Squad, run, squad};
use crate::sync_push::{batch, count, create, push, statuses};

async fn sql(squad: &Squad, statement: &str) {
    in_club(&squad.app.pool, &squad.admin.club, statement).await;
}

/// So many facts of a member's phone that wait.
async fn fill(squad: &Squad, member: &Caller, device: Uuid, facts: usize) {
    let insert = format!(
        "insert into held_item (club_id, id, kind, op_id, member_id, device_id, data, reason, detail, received_at)
         select '{}', gen_random_uuid(), 'run', gen_random_uuid(), '{}', '{device}', '{{}}', 'reference', '[]', now()
         from generate_series(1, {facts})",
        squad.admin.club, member.account
    );
    sql(squad, &insert).await;
}

fn hidden(squad: &Squad) -> Value {
    create("run", run(&squad.session, &squad.hidden, squad.day))
}

async fn push_from(caller: &Caller, device: Uuid, item: &Value) -> u64 {
    let mut body = batch(std::slice::from_ref(item));
    body["device_id"] = json!(device);
    caller.post("/changes", body).await.expect(200).body["results"][0]["status"].as_u64().unwrap()
}

#[sqlx::test]
async fn a_phone_has_two_thousand_facts_held_and_keeps_the_rest(pool: PgPool) {
    let squad = squad(pool).await;
    fill(&squad, &squad.coach, Uuid::nil(), 1_999).await;
    let (last, beyond) = (hidden(&squad), hidden(&squad));
    let mut correction = hidden(&squad);
    correction["data"]["supersedes"] = beyond["id"].clone();
    let fine = create("run", run(&squad.session, &squad.athlete, squad.day));
    let sent = [last.clone(), beyond.clone(), correction, fine];
    let results = push(&squad.coach, &sent).await;
    assert_eq!(statuses(&results), [202, 429, 429, 201], "{results:?}");
    assert_eq!(results[1]["problem"]["type"], "/problems/too-many");
    assert!(results[1]["problem"]["detail"].as_str().unwrap().contains("Leave it in the outbox"));
    assert_eq!(count(&squad, "held_item").await, 2_000);
    // What is held is answered as held, and others have room: another phone of the coach, the admin.
    assert_eq!(statuses(&push(&squad.coach, std::slice::from_ref(&last)).await), [202]);
    assert_eq!(push_from(&squad.coach, Uuid::now_v7(), &hidden(&squad)).await, 202);
    let orphan = create("run", run(&Uuid::now_v7().to_string(), &squad.athlete, squad.day));
    assert_eq!(push_from(&squad.admin, Uuid::nil(), &orphan).await, 202);
    // The admin decides, and there is room.
    let path = format!("/held-items/{}/reject", last["id"].as_str().unwrap());
    squad.admin.post(&path, json!({"reason": "Not ours"})).await.expect(200);
    assert_eq!(statuses(&push(&squad.coach, &[beyond, hidden(&squad)]).await), [202, 429]);
}

#[sqlx::test]
async fn a_member_has_ten_thousand_facts_held_whatever_their_phones_call_themselves(pool: PgPool) {
    let squad = squad(pool).await;
    for _ in 0..9 {
        fill(&squad, &squad.coach, Uuid::now_v7(), 1_000).await;
    }
    fill(&squad, &squad.coach, Uuid::now_v7(), 999).await;
    assert_eq!(push_from(&squad.coach, Uuid::now_v7(), &hidden(&squad)).await, 202);
    assert_eq!(push_from(&squad.coach, Uuid::now_v7(), &hidden(&squad)).await, 429);
}

#[sqlx::test]
async fn somebody_who_left_has_room_for_what_they_had_recorded_and_no_more(pool: PgPool) {
    let squad = squad(pool).await;
    for _ in 0..2 {
        fill(&squad, &squad.coach, Uuid::now_v7(), 999).await;
    }
    let path = format!("/members/{}", squad.coach.account);
    let tag = squad.admin.get(&path).await.expect(200).header("etag").to_owned();
    squad.admin.delete(&path, &tag).await.expect(204);
    assert_eq!(push_from(&squad.coach, Uuid::now_v7(), &hidden(&squad)).await, 202);
    let last = hidden(&squad);
    assert_eq!(push_from(&squad.coach, Uuid::now_v7(), &last).await, 202);
    assert_eq!(push_from(&squad.coach, Uuid::now_v7(), &hidden(&squad)).await, 429);
    assert_eq!(push_from(&squad.coach, Uuid::now_v7(), &last).await, 202, "a repeat of what is held");
    assert_eq!(count(&squad, "held_item").await, 2_000);
}
