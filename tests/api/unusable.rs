//! One athlete with something on file that cannot be used keeps nobody else from an answer: they are named, with what is wrong and the
//! remedy, alike wherever many are computed together.

use chrono::Utc;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp};

/// What is said of an athlete whose first run is too old.
pub const TEXT: &str = "The first run lies more than 20 years before the day that is asked for.";
/// What mends it.
pub const REMEDY: &str = "Correct the day of its session, or withdraw the runs of that time.";

/// Records a run of an athlete in a session whose year was mistyped: nothing can be computed for them any more.
pub async fn misdate(caller: &Caller, athlete: &str) -> Value {
    let groups = caller.get(&format!("/athletes/{athlete}")).await.expect(200).body["group_ids"].clone();
    let session = json!({"held_on": "2001-05-05", "state": "held", "group_ids": groups});
    let session = caller.post("/sessions", session).await.expect(201).id();
    let run = json!({"id": Uuid::now_v7(), "session_id": session, "athlete_id": athlete,
        "run_at": "2001-05-05T12:00:00Z", "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 5.5, "barriers": 5, "intervals": {"held": 4}});
    record(caller, &run).await;
    run
}

/// Records a run.
pub async fn record(caller: &Caller, run: &Value) {
    let answer = caller.post("/runs", json!({"runs": [run]})).await.expect(200);
    assert_eq!(answer.body["results"][0]["status"], "created", "{}", answer.body);
}

/// Withdraws a run as it was sent.
pub async fn withdraw(caller: &Caller, run: &Value) {
    let mut gone = run.clone();
    gone["supersedes"] = run["id"].clone();
    gone["id"] = json!(Uuid::now_v7());
    gone["void"] = json!(true);
    record(caller, &gone).await;
}

struct Squad {
    app: TestApp,
    coach: Caller,
    stranger: Caller,
    group: String,
    session: String,
    mira: String,
    noor: String,
}

impl Squad {
    async fn new(pool: PgPool) -> Self {
        let app = TestApp::spawn(pool).await;
        let admin = app.admin_of("North").await;
        let (group, other) = (admin.group("Mine").await, admin.group("Other").await);
        let coach = admin.member("Own Coach", "coach", &[&group]).await;
        let stranger = admin.member("Other Coach", "coach", &[&other]).await;
        let wickets = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 30});
        admin.post("/equipment", wickets).await.expect(201);
        let venue = json!({"name": "Track", "environment": "outdoor", "straight_m": 80, "lanes": 6});
        let venue = admin.post("/venues", venue).await.expect(201).id();
        let session = json!({"held_on": Utc::now().date_naive(), "state": "planned", "group_ids": [group, other],
            "venue_id": venue});
        let session = admin.post("/sessions", session).await.expect(201).id();
        let athlete = async |name: &str| {
            let body = json!({"display_name": name, "sex": "F", "birth_year": 2013, "group_ids": [group],
                "experience": "novice",
                "measurements": [{"kind": "stature_m", "value": 1.55, "measured_on": "2026-01-10"}]});
            admin.post("/athletes", body).await.expect(201).id()
        };
        let (mira, noor) = (athlete("Mira").await, athlete("Noor").await);
        Self { app, coach, stranger, group, session, mira, noor }
    }

    /// Where many are computed together, with the list of those who were.
    fn answers(&self) -> [(String, &'static str); 4] {
        [
            (format!("/groups/{}/recommendations", self.group), "athletes"),
            (format!("/groups/{}/board", self.group), "athletes"),
            (format!("/groups/{}/progression", self.group), "athletes"),
            (format!("/sessions/{}/cards", self.session), "cards"),
        ]
    }

    async fn get(&self, path: &str) -> Value {
        self.coach.get(path).await.expect(200).body
    }

    async fn form(&self, path: &str, accept: &str) -> String {
        let answer = self.coach.call(Method::GET, &self.coach.path(path), &[("accept", accept)], None).await;
        String::from_utf8(answer.expect(200).bytes).unwrap()
    }

    async fn plan(&self) -> Value {
        let wish = json!({"lanes": 3, "capacity": 4, "barriers": {"min": 4, "max": 5}});
        self.coach.post(&format!("/sessions/{}/lane-plans", self.session), wish).await.expect(201).body
    }

    /// What is said of Noor.
    fn named(&self) -> Value {
        let unusable = json!({"code": "first_run", "text": TEXT, "remedy": REMEDY});
        json!([{"athlete_id": self.noor, "display_name": "Noor", "unusable": unusable}])
    }
}

fn ids(list: &Value) -> Vec<&str> {
    list.as_array().unwrap().iter().map(|one| one["athlete_id"].as_str().unwrap()).collect()
}

#[sqlx::test]
async fn a_record_that_cannot_be_used_is_named_with_its_remedy_and_the_others_are_answered(pool: PgPool) {
    let squad = Squad::new(pool).await;
    for (path, list) in squad.answers() {
        let whole = squad.get(&path).await;
        assert_eq!((whole[list].as_array().unwrap().len(), &whole["not_computed"]), (2, &json!([])), "{path}: {whole}");
    }
    let run = misdate(&squad.coach, &squad.noor).await;
    for (path, list) in squad.answers() {
        let answer = squad.get(&path).await;
        assert_eq!(answer["not_computed"], squad.named(), "{path}");
        assert_eq!(ids(&answer[list]), [squad.mira.as_str()], "{path}");
    }
    let advice = squad.get(&squad.answers()[0].0).await;
    let counted: u64 = advice["counts"].as_array().unwrap().iter().map(|one| one["athletes"].as_u64().unwrap()).sum();
    assert_eq!(counted, 1, "{advice}");
    let proposal = squad.get(&format!("/sessions/{}/proposal", squad.session)).await;
    assert_eq!(proposal["not_computed"], squad.named());
    let does: Vec<&Value> = proposal["explained"].as_array().unwrap().iter().map(|one| &one["athletes"]).collect();
    assert!(does.iter().all(|all| !ids(all).contains(&squad.noor.as_str())), "{proposal}");

    // Asked for alone it is a conflict in the same words.
    for what in ["recommendation", "progression"] {
        let refused = squad.coach.get(&format!("/athletes/{}/{what}", squad.noor)).await.expect(409);
        let detail = refused.body["detail"].as_str().unwrap();
        assert!(["Noor", TEXT, REMEDY].iter().all(|words| detail.contains(words)), "{what}: {detail}");
        squad.coach.get(&format!("/athletes/{}/{what}", squad.mira)).await.expect(200);
    }
    withdraw(&squad.coach, &run).await;
    for (path, list) in squad.answers() {
        let mended = squad.get(&path).await;
        assert_eq!((mended[list].as_array().unwrap().len(), &mended["not_computed"]), (2, &json!([])), "{path}");
    }
}

#[sqlx::test]
async fn a_plan_has_lanes_for_the_others_and_tells_only_those_who_see_the_athlete(pool: PgPool) {
    let squad = Squad::new(pool).await;
    misdate(&squad.coach, &squad.noor).await;
    let plan = squad.plan().await;
    let placed = plan["lanes"].as_array().unwrap().iter().flat_map(|lane| ids(&lane["athletes"]));
    assert_eq!(placed.collect::<Vec<_>>(), [squad.mira.as_str()], "{plan}");
    assert_eq!((&plan["not_computed"], &plan["resting"]), (&squad.named(), &json!([])));
    let path = format!("/sessions/{}/lane-plans/{}", squad.session, plan["id"].as_str().unwrap());
    assert_eq!(squad.get(&path).await["not_computed"], squad.named());
    let sheet = squad.form(&format!("{path}/set-out"), "text/html").await;
    assert!(sheet.contains("No advice") && sheet.contains(TEXT), "{sheet}");
    let other = squad.stranger.get(&path).await.expect(200).body;
    assert!(other.get("not_computed").is_none() && !other.to_string().contains(&squad.noor), "{other}");
    // Helpers learn who runs where, and of nobody's records.
    let link = squad.coach.post(&format!("/sessions/{}/links", squad.session), json!({})).await.expect(201).body;
    let shown = squad.app.get(link["sheets_href"].as_str().unwrap()).await.expect(200).body.to_string();
    assert!(shown.contains("Mira") && !shown.contains("Noor") && !shown.contains("first_run"), "{shown}");
}

#[sqlx::test]
async fn every_form_of_an_answer_says_whom_it_leaves_out(pool: PgPool) {
    let squad = Squad::new(pool).await;
    let yesterday = Utc::now().date_naive().pred_opt().unwrap();
    let session = json!({"held_on": yesterday, "state": "held", "group_ids": [squad.group]});
    let session = squad.coach.post("/sessions", session).await.expect(201).id();
    let present = json!({"present": [squad.mira, squad.noor]});
    squad.coach.put(&format!("/sessions/{session}/attendance"), "", present).await.expect(200);
    misdate(&squad.coach, &squad.noor).await;
    let [_, (board, _), (progress, _), (cards, _)] = squad.answers();
    let attendance = squad.get(&progress).await["attendance"].clone();
    assert_eq!(
        (&attendance["present"], &attendance["share"]),
        (&json!(2), &json!(1.0)),
        "that they came needs no figures"
    );
    assert_eq!(squad.get(&board).await["sessions"][0]["present"], 2);
    for path in [&board, &progress, &cards] {
        let page = squad.form(path, "text/html").await;
        assert!(page.contains("Noor") && page.contains(TEXT) && page.contains(REMEDY), "{path}: {page}");
    }
    let table = squad.form(&board, "text/csv").await;
    let row = table.lines().find(|line| line.starts_with("Noor")).unwrap();
    assert!(row.contains(TEXT) && row.contains(&squad.noor), "{table}");
    let table = squad.form(&progress, "text/csv").await;
    let row = table.lines().find(|line| line.starts_with("Noor")).unwrap();
    assert!(row.contains("first_run") && row.contains(&squad.noor), "{table}");
    let chart = squad.form(&progress, "image/svg+xml").await;
    assert!(chart.contains("Noor: "), "{chart}");
}
