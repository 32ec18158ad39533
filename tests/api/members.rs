//! Members and invitations.

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Answer, Caller, TestApp, in_club};

#[sqlx::test]
async fn an_invited_person_joins_with_role_and_groups(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let coach = admin.member("Tomas Reyl", "coach", &[&group]).await;
    let me = coach.call(Method::GET, "/v1/me", &[], None).await.expect(200);
    assert_eq!(
        me.body["clubs"],
        json!([{"club_id": admin.club, "name": "North", "role": "coach", "group_ids": [group]}])
    );
    let members = admin.get("/members").await.expect(200);
    assert_eq!(members.body["items"].as_array().unwrap().len(), 2);
    assert_eq!(admin.get("/invitations").await.body["items"], json!([]));
}

#[sqlx::test]
async fn an_invitation_is_for_one_address_and_one_use(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let (guest, thief) = (app.person("Guest One").await, app.person("Thief Two").await);
    let body = json!({"email": "Guest.One@people.example", "role": "viewer", "group_ids": [group]});
    let invitation = admin.post("/invitations", body.clone()).await.expect(201);
    let token = json!({"token": invitation.body["token"]});
    let accept = "/v1/invitations/accept";
    thief.call(Method::POST, accept, &[], Some(token.clone())).await.expect(404);
    guest.call(Method::POST, accept, &[], Some(json!({"token": "nonsense"}))).await.expect(404);
    guest.call(Method::POST, accept, &[], Some(token.clone())).await.expect(200);
    guest.call(Method::POST, accept, &[], Some(token)).await.expect(404);
    assert!(thief.call(Method::GET, "/v1/me", &[], None).await.body["clubs"].as_array().unwrap().is_empty());

    let other = admin
        .post("/invitations", json!({"email": "late@people.example", "role": "viewer", "group_ids": [group]}))
        .await
        .expect(201);
    admin.delete(&format!("/invitations/{}", other.id()), "").await.expect(204);
    admin.delete(&format!("/invitations/{}", other.id()), "").await.expect(404);
}

#[sqlx::test]
async fn broken_invitations_name_the_field(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let try_one = async |email: &str, role: &str, groups: serde_json::Value| {
        admin.post("/invitations", json!({"email": email, "role": role, "group_ids": groups})).await
    };
    try_one("nobody", "coach", json!([group])).await.expect_fault(422, "/email");
    try_one("a@b.example", "coach", json!([])).await.expect_fault(422, "/group_ids");
    try_one("a@b.example", "admin", json!([group])).await.expect_fault(422, "/group_ids");
    try_one("a@b.example", "coach", json!([Uuid::now_v7()])).await.expect_fault(422, "/group_ids");
    try_one("a@b.example", "owner", json!([group])).await.expect_fault(400, "/role");
    assert_eq!(admin.get("/invitations").await.body["items"], json!([]));
}

#[sqlx::test]
async fn a_changed_assignment_changes_what_is_seen_and_is_logged(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let (one, two) = (admin.group("One").await, admin.group("Two").await);
    let coach = admin.member("Tomas Reyl", "coach", &[&one]).await;
    let path = format!("/members/{}", coach.account);
    let before = admin.get(&path).await.expect(200);
    let seq = admin.seq().await;
    admin.patch(&path, before.header("etag"), json!({"group_ids": [two]})).await.expect(200);
    coach.get(&format!("/groups/{one}")).await.expect(404);
    coach.get(&format!("/groups/{two}")).await.expect(200);
    // One row for the member, one for the grant that ends, one for the grant that begins.
    assert_eq!(admin.seq().await, seq + 3);
    let fresh = admin.get(&path).await.expect(200);
    admin.delete(&path, fresh.header("etag")).await.expect(204);
    coach.get("/groups").await.expect(404);
}

#[sqlx::test]
async fn the_last_admin_stays(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let path = format!("/members/{}", admin.account);
    let tag = admin.get(&path).await.expect(200).header("etag").to_owned();
    admin.delete(&path, &tag).await.expect(409);
    admin.patch(&path, &tag, json!({"role": "coach", "group_ids": [group]})).await.expect(409);
    let second = admin.member("Second Admin", "admin", &[]).await;
    admin.delete(&path, &tag).await.expect(204);
    admin.get("/groups").await.expect(404);
    second.get("/groups").await.expect(200);
}

/// The admin changes what a member may do.
pub async fn assign(admin: &Caller, member: &Caller, change: Value) {
    let path = format!("/members/{}", member.account);
    let tag = admin.get(&path).await.expect(200).header("etag").to_owned();
    admin.patch(&path, &tag, change).await.expect(200);
}

async fn accept(guest: &Caller, token: &Value) -> Answer {
    guest.call(Method::POST, "/v1/invitations/accept", &[], Some(json!({"token": token}))).await
}

async fn invite(maker: &Caller, guest: &Caller, group: &str) -> Value {
    let body = json!({"email": guest.email, "role": "viewer", "group_ids": [group]});
    let made = maker.post("/invitations", body).await.expect(201).body;
    assert_eq!((&made["state"], &made["invited_by"]), (&json!("open"), &json!(maker.account)));
    made["token"].clone()
}

async fn states(admin: &Caller) -> Vec<Value> {
    let items = admin.get("/invitations").await.expect(200).body["items"].as_array().unwrap().clone();
    items.into_iter().map(|item| item["state"].clone()).collect()
}

async fn clubs_of(person: &Caller) -> Value {
    person.call(Method::GET, "/v1/me", &[], None).await.expect(200).body["clubs"].clone()
}

#[sqlx::test]
async fn an_invitation_dies_when_its_maker_is_no_longer_an_admin(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let second = admin.member("Second Admin", "admin", &[]).await;
    let (guest, thief) = (app.person("Guest One").await, app.person("Thief Two").await);
    let token = invite(&second, &guest, &group).await;
    let by_admin = invite(&admin, &app.person("Guest Three").await, &group).await;
    assign(&admin, &second, json!({"role": "coach", "group_ids": [group]})).await;
    assert_eq!(states(&admin).await, ["void", "open"]);
    let void = accept(&guest, &token).await.expect(410);
    assert!(void.body["detail"].as_str().unwrap().contains("no longer an admin"), "{}", void.body);
    accept(&thief, &token).await.expect(404);
    assert_eq!(clubs_of(&guest).await, json!([]));
    // It stays dead, and a new one is good.
    assign(&admin, &second, json!({"role": "admin", "group_ids": []})).await;
    accept(&guest, &token).await.expect(410);
    assert_eq!(states(&admin).await, ["void", "open"]);
    let fresh = invite(&second, &guest, &group).await;
    accept(&guest, &fresh).await.expect(200);
    accept(&guest, &by_admin).await.expect(404);
    let id = admin.get("/invitations").await.body["items"][0]["id"].as_str().unwrap().to_owned();
    admin.delete(&format!("/invitations/{id}"), "").await.expect(204);
    assert_eq!(states(&admin).await, ["open"]);
}

#[sqlx::test]
async fn an_invitation_dies_when_its_maker_is_removed_or_leaves(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    for (name, by_themselves) in [("Removed Admin", false), ("Leaving Admin", true)] {
        let maker = admin.member(name, "admin", &[]).await;
        let guest = app.person(&format!("Guest of {name}")).await;
        let token = invite(&maker, &guest, &group).await;
        let path = format!("/members/{}", maker.account);
        let tag = admin.get(&path).await.expect(200).header("etag").to_owned();
        let who = if by_themselves { &maker } else { &admin };
        who.delete(&path, &tag).await.expect(204);
        accept(&guest, &token).await.expect(410);
        assert_eq!(clubs_of(&guest).await, json!([]));
    }
    assert_eq!(states(&admin).await, ["void", "void"]);
}

#[sqlx::test]
async fn an_admin_who_takes_a_lesser_place_takes_their_invitations_along(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let second = admin.member("Second Admin", "admin", &[]).await;
    let guest = app.person("Guest One").await;
    let token = invite(&second, &guest, &group).await;
    let lesser = invite(&admin, &second, &group).await;
    accept(&second, &lesser).await.expect(200);
    second.get("/members").await.expect(403);
    accept(&guest, &token).await.expect(410);
    assert_eq!(states(&admin).await, ["void"]);
    // The last admin cannot do that.
    let own = invite(&admin, &admin, &group).await;
    accept(&admin, &own).await.expect(409);
    admin.get("/members").await.expect(200);
}

#[sqlx::test]
async fn an_invitation_whose_maker_is_unknown_is_void(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Sprint").await;
    let guest = app.person("Guest One").await;
    let token = invite(&admin, &guest, &group).await;
    in_club(&app.pool, &admin.club, "update invitations set invited_by = null").await;
    assert_eq!(states(&admin).await, ["void"]);
    accept(&guest, &token).await.expect(410);
}

#[sqlx::test]
async fn an_older_invitation_gives_a_member_nothing_back_that_an_admin_took(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let (one, two) = (admin.group("One").await, admin.group("Two").await);
    // Other groups, a lesser role, removal: what was invited before each of them is over.
    let mut guest = app.person("Guest One").await;
    guest.club.clone_from(&admin.club);
    let high = json!({"email": guest.email, "role": "admin", "group_ids": []});
    let high = admin.post("/invitations", high).await.expect(201).body["token"].clone();
    let mut left = vec![invite(&admin, &guest, &one).await, high];
    accept(&guest, &invite(&admin, &guest, &one).await).await.expect(200);
    for change in [json!({"group_ids": [two]}), json!({"role": "coach"})] {
        left.push(invite(&admin, &guest, &one).await);
        assign(&admin, &guest, change).await;
        for token in &left {
            accept(&guest, token).await.expect(410);
        }
        assert_eq!(states(&admin).await, vec!["void"; left.len()]);
    }
    guest.get(&format!("/groups/{one}")).await.expect(404);
    left.push(invite(&admin, &guest, &one).await);
    let path = format!("/members/{}", guest.account);
    let tag = admin.get(&path).await.expect(200).header("etag").to_owned();
    admin.delete(&path, &tag).await.expect(204);
    for token in &left {
        accept(&guest, token).await.expect(410);
    }
    assert_eq!(clubs_of(&guest).await, json!([]));
    // Who is invited after that comes back, and leaves with what was still open.
    accept(&guest, &invite(&admin, &guest, &two).await).await.expect(200);
    left.push(invite(&admin, &guest, &one).await);
    guest.call(Method::DELETE, &format!("/v1/me/clubs/{}", admin.club), &[], None).await.expect(204);
    accept(&guest, left.last().unwrap()).await.expect(410);
    // Of two, the one that was made later stands, whichever is taken first; others' are theirs.
    let other = app.person("Guest Two").await;
    let theirs = invite(&admin, &other, &one).await;
    let (older, newer) = (invite(&admin, &guest, &one).await, invite(&admin, &guest, &two).await);
    accept(&guest, &newer).await.expect(200);
    accept(&guest, &older).await.expect(410);
    guest.get(&format!("/groups/{two}")).await.expect(200);
    accept(&other, &theirs).await.expect(200);
    let (older, newer) = (invite(&admin, &other, &one).await, invite(&admin, &other, &two).await);
    accept(&other, &older).await.expect(200);
    accept(&other, &newer).await.expect(200);
}

#[sqlx::test]
async fn whoever_wants_to_leaves_a_club_but_the_last_admin(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (admin, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = admin.group("Sprint").await;
    let coach = admin.member("Cora Coach", "coach", &[&group]).await;
    let athlete = json!({"display_name": "Mira Osei", "sex": "F", "birth_year": 2012, "group_ids": [group],
        "experience": "novice"});
    let athlete = coach.post("/athletes", athlete).await.expect(201).id();
    let leave =
        async |who: &Caller, club: &str| who.call(Method::DELETE, &format!("/v1/me/clubs/{club}"), &[], None).await;
    leave(&south, &admin.club).await.expect(404);
    leave(&coach, &Uuid::now_v7().to_string()).await.expect(404);
    leave(&coach, &coach.club).await.expect(204);
    leave(&coach, &coach.club).await.expect(404);
    coach.get("/athletes").await.expect(404);
    let me = coach.call(Method::GET, "/v1/me", &[], None).await.expect(200);
    assert_eq!(me.body["clubs"], json!([]));
    admin.get(&format!("/athletes/{athlete}")).await.expect(200);
    let row = &admin.get("/audit?act=granted&limit=1").await.expect(200).body["items"][0];
    assert_eq!(
        (&row["operation"], &row["account_id"]),
        (&json!("DELETE /v1/me/clubs/{club_id}"), &json!(coach.account))
    );
    // Somebody has to run the club; the invitations of an admin who leaves are void.
    leave(&admin, &admin.club).await.expect(409);
    let next = admin.member("Nia Next", "admin", &[]).await;
    let guest = app.person("Guest One").await;
    let body = json!({"email": guest.email, "role": "viewer", "group_ids": [group]});
    let token = admin.post("/invitations", body).await.expect(201).body["token"].clone();
    leave(&admin, &admin.club).await.expect(204);
    guest.call(Method::POST, "/v1/invitations/accept", &[], Some(json!({"token": token}))).await.expect(410);
    assert_eq!(next.get("/members").await.expect(200).body["items"].as_array().unwrap().len(), 1);
    leave(&next, &next.club).await.expect(409);
}
