//! What the reference phone keeps of an athlete who was erased: no word, wherever it stood.

use std::collections::VecDeque;

use serde_json::{Value, json};
use uuid::Uuid;

use crate::phone::{Lost, Outcome, Phone, Reply, Request, Store};

fn page(from: Value, token: &str, changes: Value) -> Value {
    json!({"from": from, "sync_token": token, "more": false, "changes": changes})
}

/// A lane plan that names two athletes three times each.
fn plan(session: Uuid, gone: Uuid, stays: Uuid) -> Value {
    json!({"session_id": session, "request": {"lanes": 2, "athlete_ids": [gone, stays]},
        "lanes": [{"lane": 1, "athletes": [{"athlete_id": gone, "display_name": "Mira"},
            {"athlete_id": stays, "display_name": "Ada"}]}],
        "resting": [{"athlete_id": gone, "display_name": "Mira"}, {"athlete_id": stays, "display_name": "Ada"}]})
}

#[tokio::test]
async fn an_erased_athlete_is_taken_out_of_plans_of_bodies_beside_refusals_and_of_notes() {
    let store = Store::memory("erased-plans");
    let mut phone = Phone::open(&store);
    let [gone, stays, session] = [(); 3].map(|()| Uuid::now_v7());
    let plan = || plan(session, gone, stays);
    let [waits, stored, refused, held] = [(); 4].map(|()| Uuid::now_v7());
    let answer = |item: &Value| {
        let id = item["id"].as_str().unwrap().parse::<Uuid>().unwrap();
        let mut result = match id {
            id if id == stored => json!({"status": 201, "rev": 5}),
            id if id == refused => json!({"status": 409, "current": {"rev": 4, "data": plan()}, "problem": {}}),
            id if id == held => json!({"status": 202, "problem": {"detail": "Mira fell"}}),
            _ => json!({"status": 424}),
        };
        result["op_id"] = item["op_id"].clone();
        result
    };
    let removed = json!([{"type": "athlete", "id": gone, "rev": 9, "removed": {"reason": "deleted"}}]);
    let mut pages = VecDeque::from([
        page(Value::Null, "one", json!([])),
        page(json!("one"), "two", json!([])),
        page(json!("two"), "three", removed),
    ]);
    let mut link = async |request: Request| -> Result<Reply, Lost> {
        let body = match request {
            Request::Pull { .. } => pages.pop_front().unwrap(),
            Request::Push { body, .. } => {
                let push: Value = serde_json::from_slice(&body).unwrap();
                json!({"results": push["items"].as_array().unwrap().iter().map(answer).collect::<Vec<_>>()})
            }
        };
        Ok(Reply { status: 200, body: body.to_string().into_bytes(), date: 0, retry_after: None })
    };
    phone.settings.gzip = false;
    assert_eq!(phone.sync(&mut link, 0).await.unwrap(), Outcome::Done);
    for id in [waits, stored, refused] {
        phone.record("lane_plan", id, plan());
    }
    phone.record("run", held, json!({"athlete_id": gone, "session_id": session, "note": "Mira fell"}));
    for erased in [false, true] {
        assert_eq!(phone.sync(&mut link, 0).await.unwrap(), Outcome::Done);
        assert_eq!((phone.waiting(), phone.parked().len()), (1, 1), "the plans stay");
        let kept = (phone.journal(), phone.parked(), phone.notes());
        assert_eq!((kept.0.len(), kept.2.len()), if erased { (1, 0) } else { (2, 1) });
        let text = format!("{kept:?}");
        assert_eq!(text.contains("Mira") || text.contains(&gone.to_string()), !erased, "{text}");
        assert_eq!(text.matches(&stays.to_string()).count(), 9, "three times in each plan, and who stays is named");
    }
    waits_without_them(&mut phone, stays).await;
}

/// What waits says no word of them either.
async fn waits_without_them(phone: &mut Phone, stays: Uuid) {
    let mut sent = Value::Null;
    let mut last = async |request: Request| -> Result<Reply, Lost> {
        if let Request::Push { body, .. } = request {
            sent = serde_json::from_slice(&body).unwrap();
        }
        Err(Lost)
    };
    phone.sync(&mut last, 0).await.unwrap();
    let data = &sent["items"][0]["data"];
    assert_eq!(data["request"]["athlete_ids"], json!([stays]));
    assert_eq!(
        (data["lanes"][0]["athletes"].as_array().unwrap().len(), data["resting"].as_array().unwrap().len()),
        (1, 1)
    );
}
