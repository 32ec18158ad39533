//! The change feed: what a phone gets, and what it never gets.

use std::collections::{BTreeMap, HashMap};

use chrono::{Duration, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp, eventually};

/// A phone that pulls and keeps a copy.
#[derive(Default)]
pub struct Phone {
    pub token: Option<String>,
    pub copy: BTreeMap<(String, String), Value>,
    /// What it asks for, as `&name=value`.
    pub wish: String,
    revs: HashMap<(String, String), i64>,
}

/// The type and id of what a record belongs to.
fn parent(kind: &str, data: &Value) -> Option<(String, String)> {
    let above = match kind {
        "run" | "assessment" | "measurement" | "attendance" | "decision" | "race_entry" | "race_result"
        | "wellbeing_record" => "athlete",
        "lane_plan" | "race_test" => "session",
        _ => return None,
    };
    data[format!("{above}_id")].as_str().map(|id| (above.to_owned(), id.to_owned()))
}

impl Phone {
    /// One that asks for some of the feed, as `&name=value`.
    pub fn asking(wish: String) -> Self {
        Self { wish, ..Self::default() }
    }

    pub fn apply(&mut self, page: &Value) {
        assert_eq!(page["from"].as_str(), self.token.as_deref());
        for change in page["changes"].as_array().unwrap() {
            let (kind, id) = (change["type"].as_str().unwrap().to_owned(), change["id"].as_str().unwrap().to_owned());
            let rev: i64 = change["rev"].as_i64().unwrap();
            let highest = self.revs.entry((kind.clone(), id.clone())).or_default();
            assert!(rev >= *highest, "the number of {kind} {id} fell from {highest} to {rev}");
            *highest = rev;
            if change["data"].is_object() {
                assert_eq!(change["data"]["rev"].as_i64(), Some(rev));
                self.copy.insert((kind, id), change["data"].clone());
            } else {
                let gone = (kind, id);
                self.copy.remove(&gone);
                self.copy.retain(|(kind, _), data| parent(kind, data).as_ref() != Some(&gone));
            }
        }
        self.token = Some(page["sync_token"].as_str().unwrap().to_owned());
    }

    /// Pulls until there is no more; how many pages it took.
    pub async fn pull(&mut self, caller: &Caller, limit: usize) -> usize {
        for pages in 1..500 {
            let token = self.token.as_ref().map(|token| format!("&sync_token={token}")).unwrap_or_default();
            let page = caller.get(&format!("/changes?limit={limit}{}{token}", self.wish)).await.expect(200).body;
            assert!(page["changes"].as_array().unwrap().len() <= limit);
            self.apply(&page);
            if page["more"] == false {
                return pages;
            }
        }
        panic!("the feed never ends");
    }

    pub fn ids(&self, kind: &str) -> Vec<&str> {
        self.copy.keys().filter(|(one, _)| one == kind).map(|(_, id)| id.as_str()).collect()
    }
}

pub async fn athlete(admin: &Caller, name: &str, groups: &[&str]) -> String {
    let day = Utc::now().date_naive() - Duration::days(9);
    let body = json!({"display_name": name, "sex": "F", "birth_year": 2012, "group_ids": groups, "experience": "novice",
        "measurements": [{"kind": "stature_m", "value": 1.5, "measured_on": day}]});
    admin.post("/athletes", body).await.expect(201).id()
}

pub fn run(session: &str, athlete: &str, day: chrono::NaiveDate) -> Value {
    json!({"id": Uuid::now_v7(), "session_id": session, "athlete_id": athlete, "run_at": format!("{day}T17:00:00Z"),
        "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6, "barriers": 5, "hits": 0, "fell": false,
        "intervals": {"held": 4}})
}

pub struct Squad {
    pub app: TestApp,
    pub admin: Caller,
    pub coach: Caller,
    pub mine: String,
    pub other: String,
    pub athlete: String,
    pub hidden: String,
    pub session: String,
    pub day: chrono::NaiveDate,
}

pub async fn squad(pool: PgPool) -> Squad {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let (mine, other) = (admin.group("Mine").await, admin.group("Other").await);
    let coach = admin.member("Own Coach", "coach", &[&mine]).await;
    let athletes = (athlete(&admin, "Seen", &[&mine]).await, athlete(&admin, "Hidden", &[&other]).await);
    let day = Utc::now().date_naive() - Duration::days(3);
    let body = json!({"held_on": day, "state": "held", "group_ids": [mine]});
    let session = coach.post("/sessions", body).await.expect(201).id();
    Squad { app, admin, coach, mine, other, athlete: athletes.0, hidden: athletes.1, session, day }
}

impl Squad {
    /// Everything that each resource's own routes show the caller, by type and id.
    pub async fn truth(&self, caller: &Caller) -> BTreeMap<(String, String), Value> {
        let mut all = BTreeMap::new();
        let lists = [
            ("group", "/groups"),
            ("venue", "/venues"),
            ("equipment", "/equipment"),
            ("barrier_configuration", "/barrier-configurations"),
            ("athlete", "/athletes"),
            ("session", "/sessions"),
            ("run", "/runs?superseded=true&limit=200"),
            ("assessment", "/assessments?superseded=true&limit=200"),
            ("wellbeing_record", "/wellbeing-records?superseded=true&limit=200"),
        ];
        for (kind, path) in lists {
            for item in caller.get(path).await.expect(200).body["items"].as_array().unwrap() {
                let mut item = item.clone();
                let id = item["id"].as_str().unwrap().to_owned();
                if kind == "athlete" {
                    let measured = item.as_object_mut().unwrap().remove("measurements").unwrap();
                    for mut one in measured.as_array().unwrap().clone() {
                        one["athlete_id"] = json!(id);
                        all.insert(("measurement".to_owned(), one["id"].as_str().unwrap().to_owned()), one);
                    }
                }
                all.insert((kind.to_owned(), id), item);
            }
        }
        all
    }

    async fn check(&self, caller: &Caller, phone: &mut Phone, limit: usize) {
        phone.pull(caller, limit).await;
        let mut copy = phone.copy.clone();
        copy.retain(|(kind, _), _| !matches!(kind.as_str(), "attendance" | "lane_plan" | "decision" | "club"));
        assert_eq!(copy, self.truth(caller).await);
    }
}

#[sqlx::test]
async fn a_phone_follows_exactly_what_its_member_may_read(pool: PgPool) {
    let squad = squad(pool).await;
    let (mut phone, mut admins) = (Phone::default(), Phone::default());
    squad.check(&squad.coach, &mut phone, 2).await;
    squad.check(&squad.admin, &mut admins, 3).await;
    assert_eq!(phone.ids("athlete"), [squad.athlete.as_str()]);
    squad
        .admin
        .post("/venues", json!({"name": "V", "environment": "outdoor", "straight_m": 80, "lanes": 4}))
        .await
        .expect(201);
    let runs = json!({"runs": [run(&squad.session, &squad.athlete, squad.day), run(&squad.session, &squad.hidden, squad.day)]});
    squad.admin.post("/runs", runs).await.expect(200);
    let present = json!({"present": [squad.athlete, squad.hidden]});
    squad.admin.put(&format!("/sessions/{}/attendance", squad.session), "", present).await.expect(200);
    squad.check(&squad.coach, &mut phone, 1).await;
    squad.check(&squad.admin, &mut admins, 100).await;
    assert_eq!((phone.ids("attendance").len(), admins.ids("attendance").len()), (1, 2));
    // The hidden athlete moves in, with everything recorded before.
    let path = format!("/athletes/{}", squad.hidden);
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    squad.admin.patch(&path, &tag, json!({"group_ids": [squad.mine]})).await.expect(200);
    squad.check(&squad.coach, &mut phone, 1).await;
    assert_eq!((phone.ids("run").len(), phone.ids("attendance").len()), (2, 2));
    // The other moves out, and is deleted later.
    let path = format!("/athletes/{}", squad.athlete);
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    let moved = squad.admin.patch(&path, &tag, json!({"group_ids": [squad.other]})).await.expect(200);
    squad.check(&squad.coach, &mut phone, 2).await;
    assert_eq!(phone.ids("run").len(), 1);
    squad.admin.delete(&path, moved.header("etag")).await.expect(204);
    squad.check(&squad.coach, &mut phone, 2).await;
    squad.check(&squad.admin, &mut admins, 2).await;
}

#[sqlx::test]
async fn grants_that_come_and_go_move_whole_subtrees(pool: PgPool) {
    let squad = squad(pool).await;
    squad.admin.post("/runs", json!({"runs": [run(&squad.session, &squad.hidden, squad.day)]})).await.expect(200);
    let mut phone = Phone::default();
    squad.check(&squad.coach, &mut phone, 500).await;
    let path = format!("/members/{}", squad.coach.account);
    for groups in [vec![&squad.mine, &squad.other], vec![&squad.other], vec![&squad.mine]] {
        let tag = squad.admin.get(&path).await.header("etag").to_owned();
        squad.admin.patch(&path, &tag, json!({"group_ids": groups})).await.expect(200);
        squad.check(&squad.coach, &mut phone, 1).await;
        assert_eq!(phone.ids("run").is_empty(), !groups.contains(&&squad.other));
    }
    let tag = squad.admin.get(&path).await.header("etag").to_owned();
    squad.admin.patch(&path, &tag, json!({"role": "admin", "group_ids": []})).await.expect(200);
    squad.check(&squad.coach, &mut phone, 2).await;
}

#[sqlx::test]
async fn a_token_that_is_not_ours_is_refused_and_never_gives_a_page(pool: PgPool) {
    let squad = squad(pool).await;
    let south = squad.app.admin_of("South").await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let token = phone.token.clone().unwrap();
    let ask = async |caller: &Caller, token: &str| caller.get(&format!("/changes?sync_token={token}")).await;
    ask(&squad.coach, &token).await.expect(200);
    squad.coach.get(&format!("/changes?since={token}")).await.expect(200);
    for caller in [&squad.admin, &south] {
        let refused = ask(caller, &token).await.expect(400);
        assert_eq!(refused.body["type"], "/problems/sync-token-invalid");
    }
    for at in 4..token.len() {
        let mut edited = token.clone().into_bytes();
        edited[at] = if edited[at] == b'A' { b'Q' } else { b'A' };
        let edited = String::from_utf8(edited).unwrap();
        // The last letter carries bits that no byte uses; the text must still be ours.
        ask(&squad.coach, &edited).await.expect(400);
    }
    for wrong in ["", "st1.", "st2.AAAA", "garbage", &token[..token.len() - 4]] {
        ask(&squad.coach, wrong).await.expect(400);
    }
    squad.coach.get("/changes?types=athlete,rocket").await.expect_fault(400, "types");
    squad.coach.get("/changes?schema=2").await.expect_fault(400, "schema");
    squad.coach.get("/changes?limit=0").await.expect_fault(400, "limit");
    squad.coach.get("/changes?limit=2001").await.expect_fault(400, "limit");
    squad.coach.get("/changes?history_from=soon").await.expect_fault(400, "history_from");
}

#[sqlx::test]
async fn a_wider_request_copies_only_what_is_new(pool: PgPool) {
    let squad = squad(pool).await;
    squad.admin.post("/runs", json!({"runs": [run(&squad.session, &squad.athlete, squad.day)]})).await.expect(200);
    let first = squad.coach.get("/changes?types=athlete,session").await.expect(200).body;
    let kinds = |page: &Value| -> Vec<String> {
        page["changes"].as_array().unwrap().iter().map(|one| one["type"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(kinds(&first).len(), 2);
    let token = first["sync_token"].as_str().unwrap();
    let wider =
        squad.coach.get(&format!("/changes?types=athlete,session,run&sync_token={token}")).await.expect(200).body;
    assert_eq!(kinds(&wider), ["run"]);
    let later = (squad.day + Duration::days(1)).to_string();
    let recent = squad.coach.get(&format!("/changes?types=run&history_from={later}")).await.expect(200).body;
    assert_eq!(kinds(&recent), Vec::<String>::new());
}

#[sqlx::test]
async fn a_waiting_phone_hears_of_a_commit(pool: PgPool) {
    let squad = squad(pool).await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let path = squad.coach.path(&format!("/changes?sync_token={}", phone.token.clone().unwrap()));
    let waiting = async {
        let mut heard = Value::Null;
        // On a slow machine the wait may be over before the writing is.
        eventually("the phone hears of it", async || {
            heard = squad.coach.call(Method::GET, &path, &[("prefer", "wait=20")], None).await.expect(200).body;
            heard["changes"] != json!([])
        })
        .await;
        heard
    };
    let writing = async {
        squad.admin.post("/venues", json!({"name": "V", "environment": "indoor", "straight_m": 60, "lanes": 4})).await
    };
    let (heard, _) = tokio::join!(waiting, writing);
    assert_eq!(heard["changes"][0]["type"], "venue");
}
