//! An edit of an old version is refused with the record as it is now: for whoever may read it, and then it is a read.

use serde_json::{Value, json};
use sqlx::PgPool;

use crate::audit::noted;
use crate::oauth;
use crate::sync_pull::squad;
use crate::sync_push::{item, push};

#[sqlx::test]
async fn a_refused_edit_that_shows_an_athlete_is_a_read_in_the_audit(pool: PgPool) {
    let squad = squad(pool).await;
    let app = oauth::acting(&squad.admin, &["session.write"]).await;
    let path = format!("/athletes/{}", squad.athlete);
    let rev = squad.admin.get(&path).await.expect(200).body["rev"].clone();
    app.get(&path).await.expect(403);

    let untold = app.patch(&path, "\"0\"", json!({"status": "resting"})).await.expect(412);
    assert_eq!(untold.body.get("current"), None, "{}", untold.body);
    assert!(!untold.body.to_string().contains("Seen"), "{}", untold.body);
    assert_eq!(untold.header("etag"), format!("\"{rev}\""), "not what tells one record from another");

    let told = squad.coach.patch(&path, "\"0\"", json!({"status": "resting"})).await.expect(412);
    assert_eq!((&told.body["current"]["display_name"], &told.body["current"]["rev"]), (&json!("Seen"), &rev));
    // Rows are stored in order: what came before this one is noted as well, if it ever is.
    let read = noted(&squad.admin, "read", "PATCH /v1/clubs/{club_id}/athletes/{athlete_id}").await;
    let about = |row: &Value| (row["account_id"].clone(), row["athlete_ids"].clone(), row["status"].clone());
    assert_eq!(
        read.iter().map(about).collect::<Vec<_>>(),
        [(json!(squad.coach.account), json!([squad.athlete]), json!(412))]
    );
}

#[sqlx::test]
async fn what_is_beside_a_refusal_goes_by_the_scope_that_reads_it_there(pool: PgPool) {
    let squad = squad(pool).await;
    let path = format!("/athletes/{}", squad.athlete);
    // The rule of each record is that of its own read.
    let office = oauth::acting(&squad.admin, &["club.admin"]).await;
    let untold = office.patch("", "\"0\"", json!({"name": "South"})).await.expect(412).body;
    assert_eq!(untold.get("current"), None);
    let group = format!("/groups/{}", squad.mine);
    assert_eq!(office.delete(&group, "\"0\"").await.expect(412).body.get("current"), None);
    // In a push the feed's: whoever hands in reads it.
    let phone = oauth::acting(&squad.admin, &["session.write", "sync"]).await;
    let measured = squad.admin.get(&path).await.expect(200).body["measurements"][0].clone();
    let sent = item("DELETE", "measurement", measured["id"].as_str().unwrap(), json!({"if_match": 0}));
    let pushed = push(&phone, &[sent]).await.remove(0);
    assert_eq!((&pushed["status"], &pushed["current"]["data"]["value"]), (&json!(412), &json!(1.5)), "{pushed}");
    let route = format!("{path}/measurements/{}", measured["id"].as_str().unwrap());
    assert_eq!(phone.delete(&route, "\"0\"").await.expect(412).body.get("current"), None);
}
