//! Consent is recorded for each purpose; what is withdrawn stops what rests on it, and the rest says why it remains.

use std::collections::BTreeSet;

use chrono::{Days, Utc};
use lanewright::platform::db::{Actor, Audience, Db};
use lanewright::platform::grants;
use lanewright::platform::ids::{AccountId, ClubId};
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::kinds_migration::{id, migrate, rows, run};
use crate::support::{Answer, Caller, TestApp, spread};

struct Squad {
    app: TestApp,
    admin: Caller,
    coach: Caller,
    viewer: Caller,
    group: String,
    athlete: String,
}

impl Squad {
    async fn new(pool: PgPool) -> Self {
        let app = TestApp::spawn(pool).await;
        let admin = app.admin_of("North").await;
        let group = admin.group("Mine").await;
        let other = admin.group("Theirs").await;
        let coach = admin.member("Cora Coach", "coach", &[&group]).await;
        let viewer = admin.member("Vera Viewer", "viewer", &[&other]).await;
        let athlete = coach.post("/athletes", athlete(&group)).await.expect(201).id();
        Self { app, admin, coach, viewer, group, athlete }
    }

    fn path(&self) -> String {
        format!("/athletes/{}/consents", self.athlete)
    }

    async fn say(&self, purpose: &str, act: &str) -> Answer {
        let body = json!({"purpose": purpose, "act": act, "on": Utc::now().date_naive(), "by": "guardian"});
        self.coach.post(&self.path(), body).await.expect(201)
    }

    async fn all(&self) -> Value {
        self.coach.get(&self.path()).await.expect(200).body
    }

    async fn standing(&self, purpose: &str) -> Value {
        let all = self.all().await;
        all["standing"].as_array().unwrap().iter().find(|one| one["purpose"] == purpose).unwrap().clone()
    }

    async fn consent_on(&self) -> Value {
        self.coach.get(&format!("/athletes/{}", self.athlete)).await.expect(200).body["consent_on"].clone()
    }

    async fn change(&self, patch: Value) {
        self.coach.patch(&format!("/athletes/{}", self.athlete), "*", patch).await.expect(200);
    }

    /// Whether the athlete is there for an audience, in each way in which people are looked for; for a member without one.
    async fn is_shown(&self, audience: Option<Audience>) -> bool {
        let db = Db::lazy((*self.app.pool.connect_options()).clone(), 1);
        let club = ClubId(Uuid::parse_str(&self.admin.club).unwrap());
        let account = AccountId(Uuid::parse_str(&self.admin.account).unwrap());
        let athlete = Uuid::parse_str(&self.athlete).unwrap();
        let mut tx = db.read(club, &Actor { account, groups: None }).await.unwrap();
        if let Some(audience) = audience {
            tx.shown_to(audience).await.unwrap();
            assert!(tx.actor.groups.is_some());
        } else {
            tx.actor.groups = Some(vec![lanewright::platform::ids::GroupId(Uuid::parse_str(&self.group).unwrap())]);
        }
        let visible = grants::visible_athletes(&mut tx, &[athlete]).await.unwrap().contains_key(&athlete);
        let seen = grants::seen_athletes(&mut tx).await.unwrap().contains(&athlete);
        let there: bool = sqlx::query_scalar("select exists (select 1 from athletes where id = $1)")
            .bind(athlete)
            .fetch_one(tx.conn())
            .await
            .unwrap();
        assert_eq!((visible, seen), (there, there));
        there
    }
}

fn athlete(group: &str) -> Value {
    json!({"display_name": "Mira Osei", "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice"})
}

#[sqlx::test]
async fn consent_is_given_and_withdrawn_for_each_purpose(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let all = squad.all().await;
    assert_eq!(all["items"], json!([]));
    assert!(
        all["standing"].as_array().unwrap().iter().all(|one| one["act"].is_null() && one["withheld_from"] == json!([]))
    );
    let given = squad.say("sharing_with_apps", "given").await;
    assert_eq!((&given.body["by"], &given.body["recorded_by"]), (&json!("guardian"), &json!(squad.coach.account)));
    squad.say("sharing_with_apps", "withdrawn").await;
    let apps = squad.standing("sharing_with_apps").await;
    assert_eq!((&apps["act"], &apps["withheld_from"]), (&json!("withdrawn"), &json!(["apps"])));
    assert!(apps["remains"].as_str().unwrap().contains("Coaches"));
    assert!(squad.standing("sharing_with_helpers").await["act"].is_null());
    let all = squad.all().await;
    assert_eq!(all["items"].as_array().unwrap().len(), 2);
    assert_eq!(all["items"][0]["act"], "withdrawn", "the latest first");
    assert!(all["kept"].as_array().unwrap().iter().any(|one| one["type"] == "run"));

    // The same again with the same id is the same; another word with it is another record.
    let id = Uuid::now_v7();
    let one = json!({"id": id, "purpose": "training_records", "act": "given", "on": "2026-09-01", "by": "athlete"});
    let first = squad.coach.post(&squad.path(), one.clone()).await.expect(201).body;
    assert_eq!(squad.coach.post(&squad.path(), one.clone()).await.expect(200).body, first);
    let mut other = one.clone();
    other["act"] = json!("withdrawn");
    squad.coach.post(&squad.path(), other).await.expect(409);

    // Wrong input names the field; who does not see the athlete finds nothing.
    for (field, value) in [("purpose", "fame"), ("act", "maybe"), ("by", "neighbour"), ("on", "1999-12-31")] {
        let mut wrong = one.clone();
        wrong[field] = json!(value);
        wrong["id"] = json!(Uuid::now_v7());
        squad.coach.post(&squad.path(), wrong).await.expect_fault(422, &format!("/{field}"));
    }
    let mut ahead = one.clone();
    ahead["on"] = json!(Utc::now().date_naive() + Days::new(2));
    squad.coach.post(&squad.path(), ahead).await.expect_fault(422, "/on");
    squad.viewer.get(&squad.path()).await.expect(404);
    squad.viewer.post(&squad.path(), one).await.expect(403);
}

#[sqlx::test]
async fn the_day_of_consent_of_an_athlete_is_what_stands_for_training_records(pool: PgPool) {
    let squad = Squad::new(pool).await;
    squad.change(json!({"consent_on": "2026-09-01"})).await;
    let training = squad.standing("training_records").await;
    assert_eq!((&training["act"], &training["on"]), (&json!("given"), &json!("2026-09-01")));
    let today = json!(Utc::now().date_naive());
    squad.say("training_records", "withdrawn").await;
    assert_eq!(squad.consent_on().await, Value::Null);
    assert_eq!(squad.standing("training_records").await["withheld_from"], json!(["apps", "helpers"]));
    squad.say("training_records", "given").await;
    assert_eq!(squad.consent_on().await, today);
    squad.change(json!({"consent_on": null})).await;
    let training = squad.standing("training_records").await;
    assert_eq!((&training["act"], &training["on"]), (&json!("withdrawn"), &today));
    // Another field is no word on consent.
    squad.change(json!({"status": "resting"})).await;
    assert_eq!(squad.all().await["items"].as_array().unwrap().len(), 4);
    // Nor is a new athlete without a day; one with a day has said yes.
    let mut new = athlete(&squad.group);
    new["consent_on"] = json!("2026-10-01");
    let id = squad.coach.post("/athletes", new).await.expect(201).id();
    let all = squad.coach.get(&format!("/athletes/{id}/consents")).await.expect(200).body;
    assert_eq!((all["items"].as_array().unwrap().len(), &all["items"][0]["on"]), (1, &json!("2026-10-01")));
}

#[sqlx::test]
async fn a_roster_that_changes_the_day_of_consent_records_what_was_said(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let (mut ids, path) = (vec![squad.athlete.clone()], |id: &str| format!("/athletes/{id}/consents"));
    for name in ["Bo Lind", "Ida Roth"] {
        let mut one = athlete(&squad.group);
        one["display_name"] = json!(name);
        ids.push(squad.coach.post("/athletes", one).await.expect(201).id());
    }
    let import = async |days: [&str; 3]| {
        let rows: Vec<String> = ids.iter().zip(days).map(|(id, day)| format!("{id},{day}\n")).collect();
        let file = format!("id,consent_on\n{}", rows.concat()).into_bytes();
        squad.admin.bytes(reqwest::Method::POST, "/athletes/import", "text/csv", file).await.expect(201)
    };
    import(["2026-09-01", "2026-09-02", ""]).await;
    import(["", "2026-09-02", ""]).await;
    let mut said = Vec::new();
    for id in &ids {
        let all = squad.coach.get(&path(id)).await.expect(200).body;
        let items = all["items"].as_array().unwrap();
        said.push(items.iter().map(|one| one["act"].as_str().unwrap().to_owned()).collect::<Vec<_>>());
    }
    assert_eq!(said, [vec!["withdrawn", "given"], vec!["given"], vec![]]);
    assert_eq!(squad.standing("training_records").await["withheld_from"], json!(["apps", "helpers"]));
    assert!(!squad.is_shown(Some(Audience::Apps)).await && squad.is_shown(None).await);
    import(["2026-09-03", "2026-09-02", ""]).await;
    assert!(squad.is_shown(Some(Audience::Apps)).await);
}

#[sqlx::test]
async fn whoever_is_withheld_from_an_audience_is_not_there_for_it(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let shown = async || {
        assert!(squad.is_shown(None).await, "members see everybody of their groups");
        (squad.is_shown(Some(Audience::Apps)).await, squad.is_shown(Some(Audience::Helpers)).await)
    };
    assert_eq!(shown().await, (true, true));
    squad.say("sharing_with_apps", "withdrawn").await;
    assert_eq!(shown().await, (false, true));
    squad.say("sharing_with_helpers", "withdrawn").await;
    assert_eq!(shown().await, (false, false));
    squad.say("sharing_with_apps", "given").await;
    assert_eq!(shown().await, (true, false));
    squad.say("sharing_with_helpers", "given").await;
    squad.say("training_records", "withdrawn").await;
    assert_eq!(shown().await, (false, false));
    squad.change(json!({"consent_on": "2026-09-01"})).await;
    assert_eq!(shown().await, (true, true));
}

#[sqlx::test]
async fn phones_are_told_and_are_sent_afresh_whom_they_may_see_again(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let token = |page: &Value| page["sync_token"].as_str().unwrap().to_owned();
    let mut at = token(&squad.coach.get("/changes?types=athlete,measurement").await.expect(200).body);
    let mut next = async || {
        let page =
            squad.coach.get(&format!("/changes?types=athlete,measurement&sync_token={at}")).await.expect(200).body;
        at = token(&page);
        let changes = page["changes"].as_array().unwrap().iter();
        changes.map(|one| (one["type"].as_str().unwrap().to_owned(), one["removed"].is_object())).collect::<Vec<_>>()
    };
    let measured = json!({"kind": "stature_m", "value": 1.5, "measured_on": "2026-09-01"});
    squad.coach.post(&format!("/athletes/{}/measurements", squad.athlete), measured).await.expect(201);
    assert_eq!(next().await, [("measurement".to_owned(), false)]);
    squad.say("sharing_with_apps", "withdrawn").await;
    assert_eq!(next().await, [("athlete".to_owned(), false)], "an app finds nothing in its place");
    squad.say("sharing_with_apps", "given").await;
    let afresh: BTreeSet<_> = next().await.into_iter().collect();
    let wanted = [("athlete", true), ("athlete", false), ("measurement", false)];
    assert_eq!(afresh, wanted.map(|(kind, removed)| (kind.to_owned(), removed)).into());
    // Nothing changes for anybody: nothing is sent.
    squad.say("sharing_with_apps", "given").await;
    assert_eq!(next().await, []);
}

#[sqlx::test]
async fn consents_go_with_the_athlete_and_nobody_changes_them(pool: PgPool) {
    let squad = Squad::new(pool.clone()).await;
    squad.say("sharing_with_apps", "withdrawn").await;
    let mut tx = pool.begin().await.unwrap();
    let enter = format!("set local role club_app; set local app.club_id = '{}'", squad.admin.club);
    sqlx::raw_sql(sqlx::AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
    assert!(sqlx::raw_sql("update consents set given = true").execute(&mut *tx).await.is_err());
    drop(tx);
    squad.coach.delete(&format!("/athletes/{}", squad.athlete), "*").await.expect(204);
    squad.coach.get(&squad.path()).await.expect(404);
    let mut tx = pool.begin().await.unwrap();
    let enter = format!("set local app.club_id = '{}'", squad.admin.club);
    sqlx::raw_sql(sqlx::AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
    let left: i64 = sqlx::query_scalar("select count(*) from consents").fetch_one(&mut *tx).await.unwrap();
    assert_eq!(left, 0);
}

#[sqlx::test(migrations = false)]
async fn days_of_consent_become_records(pool: PgPool) {
    if spread(&pool).await {
        return;
    }
    migrate(&pool, |version| version < 55).await;
    let stored = "insert into clubs (id, name, time_zone, ruleset, created_at, updated_at) values (#1, 'N', 'UTC', 'UKA', now(), now());
         insert into club_clock (club_id, seq) values (#1, 100);
         insert into athletes (club_id, id, display_name, experience, status, consent_on, deleted_at, created_at, updated_at)
         values (#1, #21, 'A', 'novice', 'active', '2026-09-01', null, now(), now()),
           (#1, #22, 'B', 'novice', 'active', null, null, now(), now());";
    run(&pool, stored).await;
    migrate(&pool, |version| version >= 55).await;
    let found: Vec<(Uuid, String, bool, chrono::NaiveDate)> =
        rows(&pool, "select athlete_id, purpose, given, on_day from consents").await;
    assert_eq!(found, [(id(21), "training_records".to_owned(), true, "2026-09-01".parse().unwrap())]);
}
