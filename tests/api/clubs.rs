//! The club and its settings.

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::TestApp;

#[sqlx::test]
async fn the_club_is_read_and_each_setting_changed(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let read = admin.get("").await.expect(200);
    let rev = &read.body["rev"];
    let fresh = json!({"id": admin.club, "rev": rev, "name": "North", "time_zone": "Europe/London",
        "ruleset": "UKA-2024", "spacing_step_m": 0.25, "print_units": "metric", "policy": {}, "helper_links": true});
    assert_eq!(read.body, fresh);
    let etag = read.header("etag").to_owned();
    assert!(etag.starts_with(&format!("\"{rev}-")), "{etag}");
    admin.call(Method::GET, &admin.path(""), &[("if-none-match", &etag)], None).await.expect(304);

    let change = json!({"name": " Harbour Hurdlers ", "time_zone": "Europe/Vienna", "ruleset": "WA",
        "spacing_step_m": 0.05, "print_units": "imperial", "policy": {"min_intervals": 16, "min_hold_mean": 0.85},
        "helper_links": false});
    let changed = admin.patch("", &etag, change).await.expect(200);
    let whole = json!({"id": admin.club, "rev": changed.body["rev"], "name": "Harbour Hurdlers",
        "time_zone": "Europe/Vienna", "ruleset": "WA", "spacing_step_m": 0.05, "print_units": "imperial",
        "policy": {"min_intervals": 16, "min_hold_mean": 0.85}, "helper_links": false});
    assert_eq!(changed.body, whole);
    assert!(changed.body["rev"].as_i64() > read.body["rev"].as_i64());
    assert_eq!(admin.get("").await.body, whole);
    assert_eq!(admin.seq().await, changed.body["rev"].as_i64().unwrap());
}

#[sqlx::test]
async fn a_patch_of_the_policy_touches_only_the_numbers_it_names(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let read = admin.get("").await;
    let two = json!({"policy": {"min_intervals": 16, "min_rating": 3}});
    let two = admin.patch("", read.header("etag"), two).await.expect(200);
    let one = json!({"policy": {"min_rating": null, "min_days": 3}});
    let one = admin.patch("", two.header("etag"), one).await.expect(200);
    assert_eq!(one.body["policy"], json!({"min_intervals": 16, "min_days": 3}));
    let none = admin.patch("", one.header("etag"), json!({"policy": null})).await.expect(200);
    assert_eq!(none.body["policy"], json!({}));
    assert_eq!(none.body["spacing_step_m"], 0.25);
}

#[sqlx::test]
async fn every_broken_setting_is_named_and_nothing_is_stored(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let read = admin.get("").await;
    let (etag, seq) = (read.header("etag"), admin.seq().await);
    let patch = async |body: Value| admin.patch("", etag, body).await;
    let all = json!({"name": "", "time_zone": "Mars/Olympus", "ruleset": " ", "spacing_step_m": 0,
        "print_units": "cubits"});
    let refused = patch(all).await.expect(422);
    assert_eq!(refused.faults(), ["/name", "/time_zone", "/ruleset", "/print_units", "/spacing_step_m"]);
    for (policy, pointer) in [
        (json!({"min_intervals": 0}), "/policy/min_intervals"),
        (json!({"min_days": 61}), "/policy/min_days"),
        (json!({"min_hold_after_step": 1.01}), "/policy/min_hold_after_step"),
        (json!({"min_hold_p05": 0.81}), "/policy/min_hold_p05"),
        (json!({"max_hit_share": 0.21}), "/policy/max_hit_share"),
        (json!({"min_rating": 9}), "/policy/min_rating"),
        (json!({"min_rating": 0}), "/policy/min_rating"),
        (json!({"step_in_hold_mean": 0.66}), "/policy/step_in_hold_mean"),
        (json!({"first_lane_hold": -0.1}), "/policy/first_lane_hold"),
        (json!({"recompute_after_days": 91}), "/policy/recompute_after_days"),
    ] {
        let name = policy.to_string();
        let refused = patch(json!({"policy": policy})).await.expect(422);
        assert_eq!(refused.faults(), [pointer], "{name}");
    }
    let two = patch(json!({"policy": {"min_intervals": 1001, "min_days": 0}})).await.expect(422);
    assert_eq!(two.faults(), ["/policy/min_intervals", "/policy/min_days"]);
    patch(json!({"spacing_step_m": 1.001})).await.expect_fault(422, "/spacing_step_m");
    patch(json!({"spacing_step_m": 0.2505})).await.expect_fault(422, "/spacing_step_m");
    patch(json!({"spacing_step_m": "wide"})).await.expect_fault(400, "/spacing_step_m");
    patch(json!({"name": null})).await.expect_fault(400, "/name");
    patch(json!({"policy": {"courage": 1}})).await.expect_fault(400, "/policy/courage");
    patch(json!({"colour": "red"})).await.expect_fault(400, "/colour");
    assert_eq!(admin.get("").await.body, read.body);
    assert_eq!(admin.seq().await, seq);
}

#[sqlx::test]
async fn a_change_needs_the_version_that_was_read(pool: PgPool) {
    let admin = TestApp::spawn(pool).await.admin_of("North").await;
    let read = admin.get("").await;
    admin.patch("", "", json!({"name": "B"})).await.expect(428);
    let stale = admin.patch("", "\"999\"", json!({"name": "B"})).await.expect(412);
    assert_eq!(stale.body["current"], read.body);
    assert_eq!(admin.get("").await.body, read.body);
}

#[sqlx::test]
async fn members_read_their_club_only_admins_change_it_and_strangers_get_404(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let (north, south) = (app.admin_of("North").await, app.admin_of("South").await);
    let group = north.group("Sprint").await;
    let read = north.get("").await;
    for role in ["coach", "viewer"] {
        let member = north.member(&format!("The {role}"), role, &[&group]).await;
        let seen = member.get("").await.expect(200);
        assert_eq!(seen.body["name"], "North");
        member.patch("", seen.header("etag"), json!({"name": "Mine"})).await.expect(403);
    }
    south.call(Method::GET, &north.path(""), &[], None).await.expect(404);
    let headers = [("if-match", read.header("etag")), ("content-type", "application/merge-patch+json")];
    south.call(Method::PATCH, &north.path(""), &headers, Some(json!({"name": "Ours"}))).await.expect(404);
    assert_eq!(north.get("").await.body["name"], "North");
    assert_eq!(south.get("").await.body["name"], "South");
}
