//! Whoever holds a link is a caller of another kind: without an account, and shown what its maker may see.

use std::sync::Arc;

use reqwest::Method;
use serde_json::{Value, json};

use crate::report::{Flaw, Report};
use crate::send::{Ask, judge};
use crate::world::World;

/// Who makes links, to the sessions of which places, and whether they see them.
const MAKERS: [(&str, &str, bool); 8] = [
    ("coach", "own", true),
    ("coach", "other", false),
    ("coach", "shared", true),
    ("other coach", "shared", true),
    ("both coach", "shared", true),
    ("admin", "shared", true),
    ("coach", "gone own", false),
    ("south admin", "south", true),
];

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_link_shows_what_its_maker_sees_and_a_wrong_one_nothing() {
    let (world, report) = (Arc::new(World::make().await), Arc::new(Report::new("links")));
    let mut closed = Vec::new();
    for (name, place, sees) in MAKERS {
        let maker = world.person(name);
        let path = format!("/sessions/{}/links", world.place(place).id("session_id"));
        let made = world.call(name, Method::POST, &path, json!({})).await;
        if !sees {
            report.asked();
            if made.status != 404 {
                report.found(Flaw::WrongAllow, format!("a link of {name} to {place}: {}", made.text()));
            }
            continue;
        }
        let made = made.expect(201).json();
        let href = made["sheets_href"].as_str().unwrap();
        // Judged as if its maker had asked: ids and markers that they cannot get are a leak.
        let mut ask = Ask::new("GET", href).noted(&format!("of {name} to {place}"));
        ask.who = Some(maker.clone());
        let shown = ask.send(&world).await;
        judge(&world, &report, &ask, &shown);
        if !shown.good() {
            report.found(Flaw::WrongRefusal, format!("{}: {}", ask.name, shown.text()));
        }
        // A token beside it, of whoever, changes nothing.
        let beside = Ask::new("GET", href).by(world.person("stranger"));
        let same = beside.once(&world).await.json() == shown.json();
        if !same {
            report.found(Flaw::WrongRefusal, format!("{} with a token beside it", ask.name));
        }
        let elsewhere = if place == "south" { "own" } else { "south" };
        let (secret, other) = (href.rsplit('=').next().unwrap(), world.place(elsewhere).id("club_id").to_owned());
        for wrong in wrong_ones(secret, &other) {
            closed.push(Ask::new("GET", "/v1/session-sheets").query("link", &wrong).noted("wrong").send(&world).await);
        }
        let id = made["id"].as_str().unwrap();
        world.call(name, Method::DELETE, &format!("{path}/{id}"), Value::Null).await.expect(204);
        closed.push(Ask::new("GET", href).noted("taken back").send(&world).await);
    }
    let first = closed[0].likeness();
    for answer in &closed {
        report.asked();
        if answer.status != 404 || answer.likeness() != first {
            report.found(Flaw::WrongAllow, format!("a link that shows nothing: {}", answer.text()));
        }
    }
    report.figure("makers", MAKERS.len());
    Arc::into_inner(report).unwrap().close();
}

/// Secrets that are none: cut, longer, with another end, in another case, for another club, and no secret at all.
fn wrong_ones(secret: &str, other_club: &str) -> Vec<String> {
    use base64::Engine;
    use base64::engine::general_purpose::URL_SAFE_NO_PAD;
    let mut bytes = URL_SAFE_NO_PAD.decode(secret).unwrap();
    bytes[..16].copy_from_slice(uuid::Uuid::parse_str(other_club).unwrap().as_bytes());
    let elsewhere = URL_SAFE_NO_PAD.encode(&bytes);
    bytes[47] ^= 1;
    vec![
        secret[..secret.len() - 1].to_owned(),
        format!("{secret}A"),
        format!("{secret}="),
        secret.to_uppercase(),
        elsewhere,
        URL_SAFE_NO_PAD.encode(&bytes),
        URL_SAFE_NO_PAD.encode([0_u8; 48]),
        "null".to_owned(),
    ]
}
