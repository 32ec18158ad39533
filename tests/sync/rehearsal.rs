//! The rehearsal that is played for somebody else's phone: the reference phone passes every scene, and a phone that breaks a
//! rule is told which.

use std::net::TcpListener;
use std::time::Duration;

use lanewright::rehearsal::{self, Report};
use reqwest::Client;
use serde_json::{Value, json};
use uuid::Uuid;

use crate::phone::{Flaw, Lost, Outcome, Phone, Reply, Request, Store};

const GUIDE: &str = include_str!("../../api-spec/sync-guide.md");

/// What drives the phone, as any other phone's tests would.
struct Driver {
    base: String,
    client: Client,
    club: String,
    token: String,
    store: Store,
    phone: Phone,
    flaw: Option<Flaw>,
}

fn fresh(flaw: Option<Flaw>) -> (Store, Phone) {
    let store = Store::memory(&Uuid::now_v7().to_string());
    let mut phone = Phone::open(&store);
    if let Some(flaw) = flaw {
        phone.go_wrong(flaw);
    }
    (store, phone)
}

impl Driver {
    fn new(base: String, flaw: Option<Flaw>) -> Self {
        let (store, phone) = fresh(flaw);
        Self { base, client: Client::new(), club: String::new(), token: String::new(), store, phone, flaw }
    }

    async fn play(mut self) {
        let mut answer = json!({});
        loop {
            let path = format!("{}/rehearsal/next", self.base);
            let step: Value = self.client.post(path).json(&answer).send().await.unwrap().json().await.unwrap();
            if step["do"] == "end" {
                return;
            }
            answer = self.carry_out(&step).await;
        }
    }

    async fn carry_out(&mut self, step: &Value) -> Value {
        let text = |name: &str| step[name].as_str().unwrap_or_default().to_owned();
        let (kind, id) = (text("type"), text("id").parse::<Uuid>().unwrap_or_default());
        match step["do"].as_str().unwrap() {
            "begin" => {
                (self.store, self.phone) = fresh(self.flaw);
                (self.club, self.token) = (text("club_id"), text("access_token"));
            }
            "sign_in" => self.token = text("access_token"),
            "record" => {
                self.phone.record(&kind, id, step["data"].clone());
            }
            "change" => {
                self.phone.patch(&kind, id, step["data"].clone());
            }
            "delete" => {
                self.phone.delete(&kind, id);
            }
            "insist" => {
                let parked = self.phone.parked().into_iter().find(|one| json!(one.op_id) == step["op_id"]);
                if let Some(parked) = parked {
                    self.phone.insist(&parked, None);
                }
            }
            "sync" => return self.sync().await,
            "show" => {
                let record =
                    |((kind, id), data): (&(String, Uuid), &Value)| json!({"type": kind, "id": id, "data": data});
                let records: Vec<Value> = self.phone.copy().iter().map(record).collect();
                return json!({"records": records, "waiting": self.phone.waiting(), "parked": self.phone.parked().len()});
            }
            other => panic!("the rehearsal asks for {other}"),
        }
        json!({})
    }

    async fn sync(&mut self) -> Value {
        let Self { base, client, club, token, phone, .. } = self;
        let path = format!("{base}/v1/clubs/{club}/changes");
        // A phone that never stops is judged all the same.
        let mut asked = 0;
        let mut link = async |request: Request| -> Result<Reply, Lost> {
            asked += 1;
            if asked > 50 {
                return Err(Lost);
            }
            let call = match request {
                Request::Pull { query } => client.get(format!("{path}?{query}")),
                Request::Push { body, .. } => client.post(&path).header("content-type", "application/json").body(body),
            };
            let answer = call.bearer_auth(&*token).send().await.map_err(|_| Lost)?;
            let header =
                |name: &str| answer.headers().get(name).and_then(|value| value.to_str().ok().map(str::to_owned));
            let date = header("date").and_then(|date| chrono::DateTime::parse_from_rfc2822(&date).ok());
            let retry_after = header("retry-after").and_then(|seconds| seconds.parse().ok());
            let (status, date) = (answer.status().as_u16(), date.map_or(0, |date| date.timestamp()));
            let body = answer.bytes().await.map_err(|_| Lost)?.to_vec();
            Ok(Reply { status, body, date, retry_after })
        };
        match phone.sync(&mut link, chrono::Utc::now().timestamp_millis()).await.unwrap() {
            Outcome::Done => json!({"outcome": "done"}),
            Outcome::Later(seconds) => json!({"outcome": "later", "seconds": seconds}),
            Outcome::SignIn => json!({"outcome": "sign_in"}),
            Outcome::Left => json!({"outcome": "left"}),
            Outcome::Forgotten => json!({"outcome": "forgotten"}),
        }
    }
}

async fn rehearse(flaw: Option<Flaw>, scenes: &[&str]) -> Report {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let base = format!("http://{}", listener.local_addr().unwrap());
    let names: Vec<String> = scenes.iter().map(|name| (*name).to_owned()).collect();
    let rehearsal = rehearsal::start(listener, &names).unwrap();
    let driver = tokio::task::spawn_local(Driver::new(base, flaw).play());
    let report = rehearsal.ended(Duration::from_mins(3)).await;
    driver.await.unwrap();
    report
}

async fn here(whole: impl Future<Output = ()>) {
    tokio::task::LocalSet::new().run_until(whole).await;
}

#[tokio::test]
async fn the_reference_phone_passes_every_scene() {
    here(async {
        let report = rehearse(None, &[]).await;
        assert!(report.passed(), "{report}");
        assert_eq!(report.verdicts.len(), rehearsal::scenes().len());
    })
    .await;
}

/// Each flaw with the scene that shows it and the rule that is named.
#[rustfmt::skip]
const CAUGHT: [(Flaw, &str, &str); 41] = [
    (Flaw::PullsFirst, "in-order", "push send the first 500 items"),
    (Flaw::NewestFirst, "in-order", "items in the order they happened"),
    (Flaw::NewDevice, "follow-up", "`device_id` is the phone's own id"),
    (Flaw::OnePage, "full-copy", "until \"more\" is false"),
    (Flaw::NoToken, "full-copy", "the last `sync_token`"),
    (Flaw::KnownMembersOnly, "unknown-members", "Keep members of `data`"),
    (Flaw::AppliesLatePage, "late-page", "Ignore a page whose `from`"),
    (Flaw::FirstIsGood, "sent-again", "`data` is the whole current record."),
    (Flaw::ChildrenStay, "removed-root", "`removed`: drop the record"),
    (Flaw::RemovesById, "removed-root", "`data` is the whole current record."),
    (Flaw::OutboxTouched, "removed-root", "leave it in the outbox"),
    (Flaw::StaleStays, "token-refused", "`removed`: drop the record"),
    (Flaw::AfreshForgets, "expired", "leave it in the outbox"),
    (Flaw::JournalStays, "history-diverged", "Put the journal back"),
    (Flaw::JournalBehind, "history-diverged", "items in the order they happened"),
    (Flaw::JournalByClock, "journal-month", "kept for 30 days by the header `Date`"),
    (Flaw::RefusedAgain, "refused", "park, let the person correct it"),
    (Flaw::InsistsAsBefore, "stale", "rebase on it, send again with a new `op_id`"),
    (Flaw::InsistsOnOldRev, "stale", "rebase on it, send again with a new `op_id`"),
    (Flaw::WaitingDropped, "waits-for-parent", "leave it in the outbox"),
    (Flaw::NoRoomParked, "no-room", "leave it in the outbox"),
    (Flaw::HeldAgain, "held", "move to the journal, show a note"),
    (Flaw::ErasedStays, "erased", "Learning it either way, the phone drops"),
    (Flaw::GoesOn, "overloaded", "on 429, 503, a time-out or a lost connection: stop"),
    (Flaw::NoPatience, "overloaded", "on 429, 503, a time-out or a lost connection: stop"),
    (Flaw::NewOperation, "answer-lost", "items in the order they happened, each with an `op_id`"),
    (Flaw::ChangesItem, "answer-lost", "Sending the same items again is always safe"),
    (Flaw::LostIsStored, "answer-cut", "Sending the same items again is always safe"),
    (Flaw::FirstAgain, "half-stored", "After 503 some items may be stored"),
    (Flaw::CutIsEmpty, "page-cut", "on 429, 503, a time-out or a lost connection: stop"),
    (Flaw::NoHalves, "unreadable", "After 400 or 413 nothing was stored: send half as many"),
    (Flaw::OnePush, "batches", "Limits: 500 items"),
    (Flaw::EditAtOnce, "edit-waits", "An edit of a record whose creation is still in the outbox waits"),
    (Flaw::NoFollowing, "follow-up", "An edit names the rev of the record"),
    (Flaw::NoOwnRev, "own-edit", "An edit names the rev of the record"),
    (Flaw::FollowsAll, "field-groups", "An edit names the rev of the record"),
    (Flaw::GroupsTogether, "field-groups", "Send one `PATCH` for each field group"),
    (Flaw::SignedOutForgets, "signed-out", "Never touch the outbox"),
    (Flaw::RevokedKeeps, "app-revoked", "forget all that is kept of the club at once"),
    (Flaw::LeftKeepsCopy, "left", "Put the journal back"),
    (Flaw::LeftWithoutJournal, "left", "Put the journal back"),
];

#[tokio::test]
async fn a_phone_that_breaks_a_rule_is_told_which() {
    here(async {
        let mut missed = Vec::new();
        for (flaw, scene, rule) in CAUGHT {
            let report = rehearse(Some(flaw), &[scene]).await;
            let named = report.verdicts.iter().flat_map(|one| &one.findings).any(|one| one.rule.contains(rule));
            if report.passed() || !named {
                missed.push(format!("{flaw:?}\n{report}"));
            }
        }
        assert!(missed.is_empty(), "{}", missed.join("\n"));
    })
    .await;
}

#[test]
fn each_rule_is_a_sentence_of_the_guide_and_each_scene_catches_a_phone() {
    let plain = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let guide = plain(GUIDE);
    for rule in rehearsal::RULES {
        assert!(guide.contains(rule), "the guide does not say: {rule}");
    }
    let scenes = rehearsal::scenes();
    let idle: Vec<&str> =
        scenes.iter().map(|(name, _)| *name).filter(|name| CAUGHT.iter().all(|(_, scene, _)| scene != name)).collect();
    // These show more of what another scene catches already.
    assert_eq!(idle, ["new-epoch", "too-large"]);
}
