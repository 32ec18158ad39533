//! A phone that carries some groups only, and the limits that clients are told.

use std::collections::BTreeSet;

use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::Caller;
use crate::sync_pull::{Phone, Squad, athlete, run, squad};
use crate::sync_push::{create, push};

fn wish(groups: &[&String]) -> String {
    let groups: Vec<&str> = groups.iter().map(|group| group.as_str()).collect();
    format!("&groups={}", groups.join(","))
}

fn keys(phone: &Phone) -> BTreeSet<(String, String)> {
    phone.copy.keys().cloned().collect()
}

/// A session and a run of each group, something of the whole club, and a shared session.
async fn stocked(pool: PgPool) -> Squad {
    let squad = squad(pool).await;
    let (mine, other) = (&squad.mine, &squad.other);
    let mut facts = vec![create("run", run(&squad.session, &squad.athlete, squad.day))];
    for groups in [vec![other], vec![mine, other]] {
        let body = json!({"held_on": squad.day, "state": "held", "group_ids": groups});
        let session = squad.admin.post("/sessions", body).await.expect(201).id();
        facts.push(create("run", run(&session, &squad.hidden, squad.day)));
    }
    push(&squad.admin, &facts).await;
    let venue = json!({"name": "V", "environment": "indoor", "straight_m": 60, "lanes": 4});
    squad.admin.post("/venues", venue).await.expect(201);
    squad
}

async fn move_to(squad: &Squad, path: &str, groups: &[&String]) {
    let tag = squad.admin.get(path).await.header("etag").to_owned();
    squad.admin.patch(path, &tag, json!({"group_ids": groups})).await.expect(200);
}

/// Pulls, and compares with a phone that copies the same afresh.
async fn follow(caller: &Caller, phone: &mut Phone) {
    phone.pull(caller, 2).await;
    let mut fresh = Phone::asking(phone.wish.clone());
    fresh.pull(caller, 500).await;
    assert_eq!(phone.copy, fresh.copy);
}

#[sqlx::test]
async fn a_phone_of_one_group_carries_what_its_coach_sees_and_takes_more(pool: PgPool) {
    let squad = stocked(pool).await;
    let (mine, other) = (&squad.mine, &squad.other);
    let mut phone = Phone::asking(wish(&[mine]));
    let mut coach = Phone::default();
    let mut alike = async |what: &str, phone: &mut Phone| {
        follow(&squad.admin, phone).await;
        coach.pull(&squad.coach, 500).await;
        assert_eq!(keys(phone), keys(&coach), "{what}");
    };
    alike("first", &mut phone).await;
    // Somebody comes into the group and leaves it, and so does a session.
    let late = athlete(&squad.admin, "Late", &[other]).await;
    alike("of another group", &mut phone).await;
    let path = format!("/athletes/{late}");
    move_to(&squad, &path, &[mine]).await;
    alike("one who comes", &mut phone).await;
    assert!(phone.ids("athlete").contains(&late.as_str()));
    move_to(&squad, &path, &[other]).await;
    alike("and leaves", &mut phone).await;
    assert!(!phone.ids("athlete").contains(&late.as_str()));
    move_to(&squad, &format!("/sessions/{}", squad.session), &[mine, other]).await;
    alike("a session shared", &mut phone).await;

    // One group more: only what is new of it comes.
    let token = phone.token.clone().unwrap();
    let both = wish(&[mine, other]);
    let page = squad.admin.get(&format!("/changes?sync_token={token}{both}")).await.expect(200).body;
    let sent: Vec<&Value> = page["changes"].as_array().unwrap().iter().collect();
    let names = |id: &str| sent.iter().any(|one| one["id"] == json!(id));
    assert!(names(&squad.hidden) && !names(&squad.athlete), "{page}");
    phone.wish = both;
    follow(&squad.admin, &mut phone).await;
    let mut whole = Phone::default();
    whole.pull(&squad.admin, 500).await;
    assert_eq!(phone.copy, whole.copy, "there are two groups");
    // Everything, after some; and more types with more groups at once.
    phone.wish = String::new();
    follow(&squad.admin, &mut phone).await;
    let mut narrow = Phone::asking(format!("{}&types=athlete,session", wish(&[mine])));
    narrow.pull(&squad.admin, 2).await;
    narrow.wish = format!("{}&types=athlete,session,run", wish(&[other, mine]));
    follow(&squad.admin, &mut narrow).await;
}

/// While a phone takes a group more, somebody goes from that group into one that it has already, and a copy is cut in its
/// middle.
#[sqlx::test]
async fn taking_more_meets_what_moves_meanwhile(pool: PgPool) {
    let squad = stocked(pool).await;
    let (mine, other) = (&squad.mine, &squad.other);
    let mut phone = Phone::asking(wish(&[mine]));
    phone.pull(&squad.admin, 500).await;
    move_to(&squad, &format!("/athletes/{}", squad.hidden), &[mine]).await;
    phone.wish = wish(&[mine, other]);
    let token = phone.token.clone().unwrap();
    let page = squad.admin.get(&format!("/changes?limit=1&sync_token={token}{}", phone.wish)).await.expect(200).body;
    assert_eq!(page["more"], true);
    phone.apply(&page);
    move_to(&squad, &format!("/athletes/{}", squad.athlete), &[other]).await;
    follow(&squad.admin, &mut phone).await;
    assert_eq!(phone.ids("run").len(), 3);
}

#[sqlx::test]
async fn groups_give_nothing_that_is_not_ones_own(pool: PgPool) {
    let squad = stocked(pool).await;
    let mut phone = Phone::asking(wish(&[&squad.other]));
    follow(&squad.coach, &mut phone).await;
    assert!(phone.copy.keys().all(|(kind, _)| matches!(kind.as_str(), "club" | "venue")), "{:?}", keys(&phone));
    let mut unknown = Phone::asking(wish(&[&Uuid::now_v7().to_string()]));
    unknown.pull(&squad.coach, 500).await;
    assert_eq!(unknown.copy, phone.copy, "hidden is like unknown");
    // It is there as soon as it becomes theirs, and gone again.
    let path = format!("/members/{}", squad.coach.account);
    move_to(&squad, &path, &[&squad.mine, &squad.other]).await;
    follow(&squad.coach, &mut phone).await;
    assert_eq!(phone.ids("athlete"), [squad.hidden.as_str()]);
    assert_eq!(phone.ids("group"), [squad.other.as_str()]);
    move_to(&squad, &path, &[&squad.mine]).await;
    follow(&squad.coach, &mut phone).await;
    assert!(phone.ids("athlete").is_empty());
    // An admin who becomes a coach keeps what is theirs in both roles.
    let second = squad.admin.member("Second", "admin", &[]).await;
    let mut phone = Phone::asking(wish(&[&squad.mine]));
    phone.pull(&second, 500).await;
    let path = format!("/members/{}", second.account);
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    squad.admin.patch(&path, &tag, json!({"role": "coach", "group_ids": [squad.mine]})).await.expect(200);
    follow(&second, &mut phone).await;
    assert_eq!(phone.ids("athlete"), [squad.athlete.as_str()]);

    squad.coach.get("/changes?groups=sprinters").await.expect_fault(400, "groups");
    squad.coach.get("/changes?groups=").await.expect_fault(400, "groups");
    let many: Vec<String> = (0..21).map(|_| Uuid::now_v7().to_string()).collect();
    squad.coach.get(&format!("/changes?groups={}", many.join(","))).await.expect_fault(400, "groups");
    let most: Vec<&String> = many[..20].iter().collect();
    let mut phone = Phone::asking(wish(&most));
    phone.pull(&squad.coach, 1).await;
}

/// What clients are told of limits is what they meet.
#[sqlx::test]
async fn the_limits_that_clients_are_told_are_those_they_meet(pool: PgPool) {
    let squad = squad(pool).await;
    let told = squad.app.get("/v1/limits").await.expect(200).body;
    let of = |path: &str| told.pointer(path).and_then(Value::as_u64).unwrap_or_else(|| panic!("{path} in {told}"));
    let changes = async |limit: u64| squad.coach.get(&format!("/changes?limit={limit}")).await;
    changes(of("/pull/limit_max")).await.expect(200);
    changes(of("/pull/limit_max") + 1).await.expect_fault(400, "limit");
    let page = async |limit: u64| squad.coach.get(&format!("/runs?limit={limit}")).await;
    page(of("/list/limit_max")).await.expect(200);
    page(of("/list/limit_max") + 1).await.expect_fault(400, "limit");
    let items = |count: u64| -> Vec<Value> {
        (0..count)
            .map(|_| json!({"op_id": Uuid::now_v7(), "method": "DELETE", "type": "venue", "id": Uuid::now_v7()}))
            .collect()
    };
    let pushed = async |count: u64| squad.coach.post("/changes", crate::sync_push::batch(&items(count))).await;
    pushed(of("/push/items")).await.expect(200);
    pushed(of("/push/items") + 1).await.expect(413);
    let runs = async |count: u64| {
        let runs: Vec<Value> = (0..count).map(|_| run(&squad.session, &squad.athlete, squad.day)).collect();
        squad.coach.post("/runs", json!({"runs": runs})).await
    };
    runs(of("/batch_items")).await.expect(200);
    assert_ne!(runs(of("/batch_items") + 1).await.status, 200);
    let long = |bytes: u64| json!({"name": "x".repeat(usize::try_from(bytes).unwrap())});
    squad.admin.post("/groups", long(of("/body_bytes") - 1_000)).await.expect(422);
    squad.admin.post("/groups", long(of("/body_bytes"))).await.expect(413);
    squad.admin.post("/changes", long(of("/push/bytes"))).await.expect(413);
    let waited =
        squad.coach.call(reqwest::Method::GET, &squad.coach.path("/changes"), &[("prefer", "wait=1000")], None).await;
    assert_eq!(waited.header("preference-applied"), format!("wait={}", of("/pull/wait_seconds")));
    assert_eq!((of("/pull/log_days"), of("/held/device"), of("/sign_in/access_seconds")), (90, 2_000, 900));
    let app = async |n: u64| {
        let uris = ["https://cards.example/back"];
        squad
            .admin
            .post("/apps", json!({"name": format!("App {n}"), "redirect_uris": uris, "scopes": ["squad.read"]}))
            .await
    };
    for n in 1..=of("/apps") {
        app(n).await.expect(201);
    }
    app(of("/apps") + 1).await.expect(409);
}
