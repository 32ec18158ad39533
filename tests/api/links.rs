//! A link for today: a session's lanes and cards for whoever holds it, as its maker sees them, until it is over.

use chrono::{DateTime, Duration, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

use crate::support::{Answer, Caller, PASSWORD, TestApp, eventually};
use crate::sync_push::{create, push, statuses};

struct Club {
    app: TestApp,
    admin: Caller,
    coach: Caller,
    other: Caller,
    mine: String,
    others: String,
    mira: String,
    session: String,
}

impl Club {
    async fn new(pool: PgPool) -> Self {
        let app = TestApp::spawn_behind_proxy(pool).await;
        let admin = app.admin_of("North").await;
        let (mine, others) = (admin.group("Mine").await, admin.group("Others").await);
        let coach = admin.member("Own Coach", "coach", &[&mine]).await;
        let other = admin.member("Other Coach", "coach", &[&others]).await;
        let wickets = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 30});
        admin.post("/equipment", wickets).await.expect(201);
        let venue = json!({"name": "Harbour Track", "environment": "outdoor", "straight_m": 80, "lanes": 6});
        let venue = admin.post("/venues", venue).await.expect(201).id();
        let session = json!({"held_on": Utc::now().date_naive(), "state": "planned", "group_ids": [mine, others],
            "venue_id": venue, "note": "the gate sticks"});
        let session = admin.post("/sessions", session).await.expect(201).id();
        let mut club = Self { app, admin, coach, other, mine: mine.clone(), others, mira: String::new(), session };
        club.mira = club.athlete("Mira", &mine).await;
        club
    }

    async fn athlete(&self, name: &str, group: &str) -> String {
        let body = json!({"display_name": name, "sex": "F", "birth_year": 2013, "group_ids": [group],
            "experience": "novice", "measurements": [{"kind": "stature_m", "value": 1.55, "measured_on": "2026-01-10"}]});
        self.admin.post("/athletes", body).await.expect(201).id()
    }

    fn path(&self, rest: &str) -> String {
        format!("/sessions/{}{rest}", self.session)
    }

    async fn plan(&self) {
        let wish = json!({"lanes": 3, "capacity": 4, "barriers": {"min": 4, "max": 5}});
        self.admin.post(&self.path("/lane-plans"), wish).await.expect(201);
    }

    async fn link(&self, by: &Caller) -> (String, String) {
        let made = by.post(&self.path("/links"), json!({})).await.expect(201);
        assert_eq!(made.header("cache-control"), "no-store");
        (made.id(), made.body["sheets_href"].as_str().unwrap().to_owned())
    }

    /// A transaction that sees the club's rows.
    async fn tx(&self) -> sqlx::Transaction<'static, sqlx::Postgres> {
        let mut tx = self.app.pool.begin().await.unwrap();
        let club = format!("set local app.club_id = '{}'", self.admin.club);
        sqlx::raw_sql(sqlx::AssertSqlSafe(club)).execute(&mut *tx).await.unwrap();
        tx
    }

    async fn open(&self, href: &str) -> Answer {
        let answer = self.app.get(href).await;
        assert_eq!(answer.header("x-robots-tag"), "noindex");
        assert_eq!(answer.header("cache-control"), "no-store");
        assert_eq!(answer.header("referrer-policy"), "no-referrer");
        assert_eq!(answer.header("set-cookie"), "");
        answer
    }

    /// What is shown of a link that shows nothing, whyever.
    async fn closed(&self, href: &str) -> Value {
        let mut body = self.open(href).await.expect(404).body;
        body.as_object_mut().unwrap().remove("instance");
        body
    }
}

#[sqlx::test]
async fn a_link_shows_todays_lanes_and_cards_without_an_account_and_no_notes(pool: PgPool) {
    let club = Club::new(pool).await;
    let (_, href) = club.link(&club.coach).await;
    let early = club.open(&href).await.expect(200).body;
    assert_eq!((&early["set_out"], &early["cards"]["cards"]), (&Value::Null, &json!([])), "before there is a plan");
    let theirs = club.athlete("Theirs", &club.others).await;
    let note = json!({"id": uuid::Uuid::now_v7(), "athlete_id": club.mira, "assessed_at": Utc::now(),
        "ratings": {"lead_leg": 1}, "note": "shy today"});
    club.admin.post("/assessments", json!({"assessments": [note]})).await.expect(200);
    club.plan().await;
    let seen = club.open(&href).await.expect(200);
    let text = String::from_utf8(seen.bytes.clone()).unwrap();
    assert_eq!((&seen.body["club"], &seen.body["venue"]), (&json!("North"), &json!("Harbour Track")));
    let cards = seen.body["cards"]["cards"].as_array().unwrap();
    assert_eq!(
        (cards.len(), &cards[0]["display_name"], &cards[0]["watch"]["criterion"]),
        (1, &json!("Mira"), &json!("lead_leg"))
    );
    let lanes = seen.body["set_out"]["lanes"].as_array().unwrap();
    let names: Vec<&Value> =
        lanes.iter().flat_map(|lane| lane["athletes"].as_array().unwrap()).map(|one| &one["display_name"]).collect();
    assert_eq!(names, [&json!("Mira")]);
    let others: u64 = lanes.iter().map(|lane| lane["others"].as_u64().unwrap()).sum();
    assert_eq!(others, 1, "who is of another group is counted, not named");
    let paper = href.replace("sheets?", "sheets.html?");
    let page = String::from_utf8(club.open(&paper).await.expect(200).bytes).unwrap();
    assert!(page.contains("<h3><bdi dir=\"auto\">Mira</bdi></h3>") && page.contains("Tape marks"));
    let file = club.open(&href.replace("sheets?", "sheets.pdf?")).await.expect(200).readable();
    assert!(file.contains("Mira") && file.contains("Tape marks"), "{file}");
    for hidden in ["Theirs", &theirs, "shy today", "the gate sticks"] {
        assert!(!text.contains(hidden) && !page.contains(hidden) && !file.contains(hidden), "{hidden}");
    }
    assert!(!seen.body["set_out"]["cautions"].as_array().unwrap().is_empty());
    // A report after the plan: helpers learn that somebody does not run, not why.
    let report = json!({"id": uuid::Uuid::now_v7(), "athlete_id": club.mira, "kind": "injury", "reported_by": "guardian",
        "reported_on": Utc::now().date_naive()});
    let report_id = report["id"].clone();
    club.admin.post("/wellbeing-records", json!({"wellbeing_records": [report]})).await.expect(200);
    let seen = club.open(&href).await.expect(200);
    let runner = seen.body["set_out"]["lanes"].as_array().unwrap().iter().find_map(|lane| lane["athletes"].get(0));
    assert_eq!(runner.unwrap()["not_permitted"]["code"], "resting");
    assert_eq!(seen.body["cards"]["cards"], json!([]));
    assert!(!String::from_utf8(seen.bytes).unwrap().contains("injury was reported"));
    let page = club.open(&paper).await.expect(200);
    assert!(!String::from_utf8(page.bytes).unwrap().contains("injury was reported"));
    // Nor from a plan that somebody lays out by hand after the report, which tells coaches what stands in the way.
    let plans = club.path("/lane-plans");
    let mut plan = club.admin.get(&plans).await.expect(200).body["items"][0].clone();
    plan.as_object_mut().unwrap().remove("rev");
    plan["id"] = json!(uuid::Uuid::now_v7());
    assert_eq!(statuses(&push(&club.admin, &[create("lane_plan", plan.clone())]).await), [201]);
    let told = club.admin.get(&format!("{plans}/{}", plan["id"].as_str().unwrap())).await.expect(200).body.to_string();
    assert!(told.contains("pain_reported") && !told.contains("\"overtaken\":true"), "{told}");
    let seen = club.open(&href).await.expect(200);
    let runner = seen.body["set_out"]["lanes"].as_array().unwrap().iter().find_map(|lane| lane["athletes"].get(0));
    assert_eq!(runner.unwrap()["not_permitted"]["code"], "resting");
    for answer in [seen, club.open(&paper).await.expect(200)] {
        let text = answer.readable();
        assert!(!text.contains("pain_reported") && !text.contains("injury was reported"), "{text}");
    }
    // Cleared, they run; what stands in the plan from before is still nobody's to read here.
    let cleared = json!({"id": uuid::Uuid::now_v7(), "athlete_id": club.mira, "kind": "clearance", "clears": report_id,
        "reported_on": Utc::now().date_naive()});
    club.admin.post("/wellbeing-records", json!({"wellbeing_records": [cleared]})).await.expect(200);
    let text = club.open(&href).await.expect(200).readable();
    assert!(!text.contains("pain_reported") && !text.contains("injury was reported"), "{text}");
}

#[sqlx::test]
async fn a_link_is_over_at_its_time_by_one_call_and_with_the_clubs_setting(pool: PgPool) {
    let club = Club::new(pool).await;
    let nothing = club.closed("/v1/session-sheets?link=nonsense").await;
    let (id, href) = club.link(&club.coach).await;
    let list = |by: Caller| {
        let path = club.path("/links");
        async move { by.get(&path).await.expect(200).body["items"].clone() }
    };
    let listed = list(club.coach.clone()).await;
    assert_eq!((&listed[0]["id"], &listed[0]["made_by"]), (&json!(id), &json!("Own Coach")));
    assert_eq!((&listed[0]["sheets_href"], &listed[0]["opened_at"]), (&Value::Null, &Value::Null));
    // The end of today in London, in winter and summer alike less than a day and an hour ahead.
    let until: DateTime<Utc> = listed[0]["expires_at"].as_str().unwrap().parse().unwrap();
    assert!(until > Utc::now() && until <= Utc::now() + Duration::hours(25), "{until}");
    club.open(&href).await.expect(200);
    assert!(list(club.admin.clone()).await[0]["opened_at"].is_string());
    // Nothing but a hash of the secret is kept.
    let secret = href.rsplit('=').next().unwrap();
    let kept: String = sqlx::query_scalar("select string_agg(x::text, '') from secret_links x")
        .fetch_one(&mut *club.tx().await)
        .await
        .unwrap();
    assert!(kept.contains(&id) && !kept.contains(secret), "{kept}");
    // One call, by any coach of the session, here of the other group.
    club.other.delete(&club.path(&format!("/links/{id}")), "").await.expect(204);
    assert_eq!(club.closed(&href).await, nothing);
    club.other.delete(&club.path(&format!("/links/{id}")), "").await.expect(404);
    assert_eq!(list(club.coach.clone()).await, json!([]));
    // Its time.
    let soon = Utc::now() + Duration::milliseconds(1_500);
    let made = club.coach.post(&club.path("/links"), json!({"expires_at": soon})).await.expect(201).body;
    let short = made["sheets_href"].as_str().unwrap().to_owned();
    crate::support::eventually("the time is over", async || club.app.get(&short).await.status == 404).await;
    assert_eq!(club.closed(&short).await, nothing);
    for at in [Utc::now() - Duration::minutes(1), Utc::now() + Duration::hours(26)] {
        let refused = club.coach.post(&club.path("/links"), json!({"expires_at": at})).await;
        refused.expect_fault(422, "/expires_at");
    }
    // The club.
    let (_, href) = club.link(&club.coach).await;
    club.open(&href).await.expect(200);
    let setting = |on: bool| {
        let admin = club.admin.clone();
        async move { admin.patch("", "*", json!({"helper_links": on})).await.expect(200) }
    };
    setting(false).await;
    assert_eq!(club.closed(&href).await, nothing);
    club.coach.post(&club.path("/links"), json!({})).await.expect(409);
    setting(true).await;
    assert_eq!(club.closed(&href).await, nothing, "what was ended stays so");
    let (_, href) = club.link(&club.coach).await;
    club.open(&href).await.expect(200);
    club.admin.delete(&club.path(""), "*").await.expect(204);
    assert_eq!(club.closed(&href).await, nothing, "the session is gone");
}

#[sqlx::test]
async fn a_link_shows_no_more_than_its_maker_may_see_at_that_moment(pool: PgPool) {
    let club = Club::new(pool).await;
    club.plan().await;
    let nothing = club.closed("/v1/session-sheets?link=nonsense").await;
    let change = async |to: Value| {
        club.admin.patch(&format!("/members/{}", club.coach.account), "*", to).await.expect(200);
    };
    let (_, href) = club.link(&club.coach).await;
    assert_eq!(club.open(&href).await.expect(200).body["cards"]["cards"].as_array().unwrap().len(), 1);
    // The group: the session is of both, but its athletes are another's now.
    change(json!({"group_ids": [club.others]})).await;
    let seen = club.open(&href).await.expect(200).body;
    assert_eq!((&seen["cards"]["cards"], &seen["set_out"]["lanes"][0]["others"]), (&json!([]), &json!(1)));
    let third = club.admin.group("Third").await;
    change(json!({"group_ids": [third]})).await;
    assert_eq!(club.closed(&href).await, nothing);
    change(json!({"group_ids": [club.mine]})).await;
    club.open(&href).await.expect(200);
    // The role.
    change(json!({"role": "viewer"})).await;
    assert_eq!(club.closed(&href).await, nothing);
    club.coach.post(&club.path("/links"), json!({})).await.expect(403);
    club.coach.get(&club.path("/links")).await.expect(403);
    change(json!({"role": "coach"})).await;
    club.open(&href).await.expect(200);
    // The sign-in with which it was made.
    let devices = club.coach.call(Method::GET, "/v1/me/devices", &[], None).await.expect(200);
    let device = devices.body["items"][0]["id"].as_str().unwrap().to_owned();
    let again = json!({"email": club.coach.email, "password": PASSWORD, "device_name": "Other phone"});
    let again = club.app.post("/v1/auth/sign-in", again).await.expect(200);
    let coach = Caller { token: again.body["access_token"].as_str().unwrap().to_owned(), ..club.coach.clone() };
    club.coach.call(Method::DELETE, &format!("/v1/me/devices/{device}"), &[], None).await.expect(204);
    assert_eq!(club.closed(&href).await, nothing);
    let (_, href) = club.link(&coach).await;
    club.open(&href).await.expect(200);
    // The membership.
    club.admin.delete(&format!("/members/{}", club.coach.account), "*").await.expect(204);
    assert_eq!(club.closed(&href).await, nothing);
    // Another club, and whoever does not see the session.
    let south = club.app.admin_of("South").await;
    let path = club.admin.path(&club.path("/links"));
    south.call(Method::POST, &path, &[], Some(json!({}))).await.expect(404);
    let stranger = club.admin.member("Third Coach", "coach", &[&third]).await;
    stranger.post(&club.path("/links"), json!({})).await.expect(404);
    stranger.get(&club.path("/links")).await.expect(404);
}

#[sqlx::test]
async fn secrets_cannot_be_guessed_in_numbers_nor_a_session_have_any_number_of_links(pool: PgPool) {
    let club = Club::new(pool).await;
    let (_, href) = club.link(&club.coach).await;
    let from = async |address: &str, href: &str| {
        club.app.send(Method::GET, href, &[("x-forwarded-for", address)], None).await.status
    };
    // A secret of the right form for this club, with other random bits.
    let mut wrong = href.clone();
    let last = wrong.pop().unwrap();
    wrong.push(if last == 'A' { 'Q' } else { 'A' });
    let mut tries = 0;
    while from("203.0.113.7", &wrong).await == 404 {
        tries += 1;
        assert!(tries < 500, "nobody counts");
    }
    assert!(tries >= 60, "{tries}");
    assert_eq!(from("203.0.113.7", &wrong).await, 429);
    assert_eq!(from("203.0.113.7", &href).await, 200, "who holds a secret is not held up by who guesses beside them");
    assert_eq!(from("203.0.113.8", &wrong).await, 404);
    for _ in 1..20 {
        club.link(&club.coach).await;
    }
    let full = club.coach.post(&club.path("/links"), json!({})).await.expect(409);
    assert!(full.body["detail"].as_str().unwrap().contains("20 links"));
}

#[sqlx::test]
async fn links_that_have_long_been_over_are_dropped(pool: PgPool) {
    let club = Club::new(pool.clone()).await;
    club.link(&club.coach).await;
    let (_, href) = club.link(&club.coach).await;
    let mut tx = club.tx().await;
    sqlx::query("update secret_links set expires_at = $1 where id = (select id from secret_links order by id limit 1)")
        .bind(Utc::now() - Duration::days(31))
        .execute(&mut *tx)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    let db = lanewright::platform::db::Db::lazy((*pool.connect_options()).clone(), 1);
    let dropped = lanewright::chores::compact(&db, Duration::zero()).await.unwrap().unwrap();
    assert_eq!(dropped.links, 1);
    club.open(&href).await.expect(200);
}

#[sqlx::test]
async fn a_link_shows_nobody_who_is_withheld_from_helpers_and_its_openings_are_in_the_audit(pool: PgPool) {
    let club = Club::new(pool).await;
    let (_, href) = club.link(&club.coach).await;
    club.plan().await;
    let shown = async || String::from_utf8(club.open(&href).await.expect(200).bytes).unwrap().contains("Mira");
    let say = async |purpose: &str, act: &str| {
        let body = json!({"purpose": purpose, "act": act, "on": Utc::now().date_naive(), "by": "guardian"});
        club.coach.post(&format!("/athletes/{}/consents", club.mira), body).await.expect(201);
    };
    assert!(shown().await);
    say("sharing_with_apps", "withdrawn").await;
    assert!(shown().await);
    say("sharing_with_helpers", "withdrawn").await;
    assert!(!shown().await);
    club.coach.get(&format!("/athletes/{}", club.mira)).await.expect(200);
    say("sharing_with_helpers", "given").await;
    assert!(shown().await);
    let mut openings = Vec::new();
    eventually("the openings are noted", async || {
        let rows = club.admin.get("/audit?act=read&limit=200").await.expect(200).body["items"].clone();
        openings = rows
            .as_array()
            .unwrap()
            .iter()
            .filter(|row| row["operation"] == "GET /v1/session-sheets")
            .cloned()
            .collect();
        openings.len() >= 4
    })
    .await;
    assert_eq!(openings.len(), 4);
    for row in &openings {
        assert_eq!((&row["account_id"], &row["reach"]), (&json!(club.coach.account), &json!("seen")));
        assert!(row["record_ids"].as_array().unwrap().contains(&json!(club.session)));
    }
}
