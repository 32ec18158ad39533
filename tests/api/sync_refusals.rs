//! Pushes that are refused as a whole: nothing of them is stored.

use std::io::Write;

use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Answer, Caller, eventually};
use crate::sync_pull::{run, squad};
use crate::sync_push::{batch, create};

async fn send(caller: &Caller, encoding: &str, body: Vec<u8>) -> Answer {
    let token = format!("Bearer {}", caller.token);
    let headers =
        [("authorization", token.as_str()), ("content-type", "application/json"), ("content-encoding", encoding)];
    caller.app.send(Method::POST, &caller.path("/changes"), &headers, Some(body)).await
}

fn gzip(bytes: &[u8]) -> Vec<u8> {
    let mut out = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    out.write_all(bytes).unwrap();
    out.finish().unwrap()
}

#[sqlx::test]
async fn packed_pushes_are_taken_in_and_bombs_are_not(pool: PgPool) {
    let squad = squad(pool).await;
    let one = |n: u8| {
        let mut fact = run(&squad.session, &squad.athlete, squad.day);
        fact["hits"] = json!(n % 3);
        serde_json::to_vec(&batch(&[create("run", fact)])).unwrap()
    };
    for (encoding, body) in [
        ("identity", one(0)),
        ("gzip", gzip(&one(1))),
        ("zstd", zstd::stream::encode_all(one(2).as_slice(), 3).unwrap()),
    ] {
        let answer = send(&squad.coach, encoding, body).await.expect(200);
        assert_eq!(answer.body["results"][0]["status"], 201, "{encoding}");
    }
    let seq = squad.admin.seq().await;
    let mut bomb = b"{\"device_id\":\"".to_vec();
    bomb.resize(64 * 1024 * 1024, b'0');
    for (encoding, body) in [("gzip", gzip(&bomb)), ("zstd", zstd::stream::encode_all(bomb.as_slice(), 3).unwrap())] {
        let refused = send(&squad.coach, encoding, body).await.expect(413);
        assert!(refused.body["detail"].as_str().unwrap().contains("4194304"), "{}", refused.body);
    }
    let broken = gzip(&one(3));
    send(&squad.coach, "gzip", broken[..broken.len() / 2].to_vec()).await.expect(400);
    send(&squad.coach, "zstd", gzip(&one(3))).await.expect(400);
    assert_eq!(send(&squad.coach, "br", one(3)).await.expect(415).header("accept-encoding"), "gzip, zstd");
    assert_eq!(squad.admin.seq().await, seq, "nothing is half-written");
}

#[sqlx::test]
async fn a_push_that_cannot_be_read_stores_nothing(pool: PgPool) {
    let squad = squad(pool).await;
    let good = || create("run", run(&squad.session, &squad.athlete, squad.day));
    let seq = squad.admin.seq().await;
    let many: Vec<Value> = (0..501).map(|_| good()).collect();
    let refused = squad.coach.post("/changes", batch(&many)).await.expect(413);
    assert!(refused.body["detail"].as_str().unwrap().contains("500"));
    let mut nameless = good();
    nameless.as_object_mut().unwrap().remove("op_id");
    squad.coach.post("/changes", batch(&[good(), nameless])).await.expect_fault(400, "/items/1/op_id");
    let mut newer = batch(&[good()]);
    newer["schema"] = json!(2);
    squad.coach.post("/changes", newer).await.expect_fault(400, "/schema");
    let mut odd = batch(&[good()]);
    odd["colour"] = json!(1);
    squad.coach.post("/changes", odd).await.expect_fault(400, "/colour");
    send(&squad.coach, "identity", b"{\"items\": [".to_vec()).await.expect(400);
    send(&squad.coach, "identity", vec![b' '; 5 * 1024 * 1024]).await.expect(413);
    squad.coach.bytes(Method::POST, "/changes", "text/plain", b"{}".to_vec()).await.expect(415);
    assert_eq!(squad.admin.seq().await, seq);
    assert_eq!(squad.coach.post("/changes", batch(&[])).await.expect(200).body["results"], json!([]));
}

#[sqlx::test]
async fn a_club_has_two_pushes_at_work_and_a_short_queue_that_no_member_fills(pool: PgPool) {
    let squad = squad(pool).await;
    let club = Uuid::parse_str(&squad.admin.club).unwrap();
    let pushes = &squad.app.lanes.pushes;
    let at_work = [pushes.free(club).unwrap(), pushes.free(club).unwrap()];
    assert!(pushes.free(club).is_none());
    let one = || batch(&[create("run", run(&squad.session, &squad.athlete, squad.day))]);
    let (sender, mut answers) = tokio::sync::mpsc::unbounded_channel();
    for _ in 0..12 {
        let (caller, sender, body) = (squad.coach.clone(), sender.clone(), one());
        tokio::spawn(async move { sender.send(caller.post("/changes", body).await) });
    }
    drop(sender);
    // Twelve are four more than may wait.
    for _ in 0..4 {
        let refused = answers.recv().await.unwrap().expect(429);
        assert_eq!(refused.header("retry-after"), "2");
    }
    // Somebody else of the club has a place all the same.
    let (caller, body) = (squad.admin.clone(), one());
    let admin = tokio::spawn(async move { caller.post("/changes", body).await });
    eventually("the admin waits beside eight of the coach", async || pushes.waiting() == 9).await;
    drop(at_work);
    admin.await.unwrap().expect(200);
    for _ in 0..8 {
        answers.recv().await.unwrap().expect(200);
    }
    squad.coach.post("/changes", one()).await.expect(200);
}
