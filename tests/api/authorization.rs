//! Every operation × every kind of caller.

use std::collections::BTreeMap;

use chrono::{Duration, Utc};
use lanewright::platform::db::Db;
use lanewright::platform::ids::{AccountId, DeviceId};
use lanewright::platform::token::Keys;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Caller, TestApp};

/// Who may perform an operation, and about what it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Rule {
    /// Everybody, without signing in.
    Public,
    /// Every account, about itself.
    Account,
    /// Every account whose token has the scope.
    ScopedAccount,
    /// Every member of the club.
    Member,
    /// Members who see the athlete or session in the path.
    Seen,
    /// Admins and coaches.
    Coach,
    /// Admins and coaches who see the athlete or session in the path.
    SeenCoach,
    /// Admins.
    Admin,
}

/// Operation and rule. Bodies are broken on purpose: access is decided first.
const TABLE: &[(&str, Rule)] = &[
    ("get_liveness", Rule::Public),
    ("get_readiness", Rule::Public),
    ("get_key_set", Rule::Public),
    ("sign_up", Rule::Public),
    ("sign_in", Rule::Public),
    ("refresh", Rule::Public),
    ("sign_out", Rule::Public),
    ("list_published_specs", Rule::Public),
    ("list_rulesets", Rule::Public),
    ("analyse_rhythm", Rule::Public),
    ("get_rhythm_schedule", Rule::Public),
    ("forecast_final_time", Rule::Public),
    ("get_stride_marks", Rule::Public),
    ("get_rhythm_cue", Rule::Public),
    ("change_password", Rule::Account),
    ("get_me", Rule::Account),
    ("list_devices", Rule::Account),
    ("delete_device", Rule::Account),
    ("create_club", Rule::ScopedAccount),
    ("accept_invitation", Rule::Account),
    ("get_club", Rule::Member),
    ("update_club", Rule::Admin),
    ("list_members", Rule::Admin),
    ("get_member", Rule::Admin),
    ("update_member", Rule::Admin),
    ("delete_member", Rule::Admin),
    ("create_invitation", Rule::Admin),
    ("list_invitations", Rule::Admin),
    ("delete_invitation", Rule::Admin),
    ("create_group", Rule::Admin),
    ("list_groups", Rule::Member),
    ("get_group", Rule::Seen),
    ("update_group", Rule::Admin),
    ("delete_group", Rule::Admin),
    ("import_athletes", Rule::Admin),
    ("export_athletes", Rule::Admin),
    ("create_athlete", Rule::Coach),
    ("list_athletes", Rule::Member),
    ("get_athlete", Rule::Seen),
    ("update_athlete", Rule::SeenCoach),
    ("delete_athlete", Rule::SeenCoach),
    ("create_measurement", Rule::SeenCoach),
    ("list_measurements", Rule::Seen),
    ("delete_measurement", Rule::SeenCoach),
    ("create_venue", Rule::Admin),
    ("list_venues", Rule::Member),
    ("get_venue", Rule::Member),
    ("update_venue", Rule::Admin),
    ("delete_venue", Rule::Admin),
    ("create_equipment", Rule::Admin),
    ("list_all_equipment", Rule::Member),
    ("get_equipment", Rule::Member),
    ("update_equipment", Rule::Admin),
    ("delete_equipment", Rule::Admin),
    ("create_barrier_configuration", Rule::Coach),
    ("list_barrier_configurations", Rule::Member),
    ("get_barrier_configuration", Rule::Member),
    ("update_barrier_configuration", Rule::Coach),
    ("delete_barrier_configuration", Rule::Coach),
    ("create_age_group", Rule::Admin),
    ("list_age_groups", Rule::Member),
    ("get_age_group", Rule::Member),
    ("update_age_group", Rule::Admin),
    ("delete_age_group", Rule::Admin),
    ("create_competition_spec", Rule::Admin),
    ("adopt_competition_specs", Rule::Admin),
    ("list_competition_specs", Rule::Member),
    ("get_competition_spec", Rule::Member),
    ("update_competition_spec", Rule::Admin),
    ("delete_competition_spec", Rule::Admin),
    ("list_applicable_specs", Rule::Member),
    ("create_session", Rule::Coach),
    ("list_sessions", Rule::Member),
    ("get_session", Rule::Seen),
    ("update_session", Rule::SeenCoach),
    ("delete_session", Rule::SeenCoach),
    ("get_attendance", Rule::Seen),
    ("set_attendance", Rule::SeenCoach),
    ("create_runs", Rule::Coach),
    ("list_runs", Rule::Member),
    ("get_run", Rule::Seen),
    ("get_run_rhythm", Rule::Seen),
    ("get_club_rhythm_schedule", Rule::Member),
    ("create_assessments", Rule::Coach),
    ("list_assessments", Rule::Member),
    ("get_assessment", Rule::Seen),
    ("get_recommendation", Rule::Seen),
    ("list_recommendations", Rule::Seen),
    ("get_athlete_progression", Rule::Seen),
    ("get_group_progression", Rule::Seen),
    ("create_decision", Rule::SeenCoach),
    ("list_decisions", Rule::Seen),
    ("get_decision", Rule::Seen),
    ("create_lane_plan", Rule::SeenCoach),
    ("list_lane_plans", Rule::Seen),
    ("get_lane_plan", Rule::Seen),
    ("delete_lane_plan", Rule::SeenCoach),
    ("get_set_out", Rule::Seen),
    ("create_race_test", Rule::Coach),
    ("list_race_tests", Rule::Member),
    ("get_race_test", Rule::Seen),
    ("update_race_test", Rule::SeenCoach),
    ("delete_race_test", Rule::SeenCoach),
    ("set_race_entries", Rule::SeenCoach),
    ("create_race_heats", Rule::SeenCoach),
    ("get_race_heats", Rule::Seen),
    ("create_race_results", Rule::SeenCoach),
    ("list_race_results", Rule::Seen),
    ("list_personal_bests", Rule::Seen),
    ("list_changes", Rule::Member),
    ("push_changes", Rule::Member),
    ("list_held_items", Rule::Admin),
    ("accept_held_item", Rule::Admin),
    ("reject_held_item", Rule::Admin),
    ("list_refused_edits", Rule::Admin),
    ("list_sync_devices", Rule::Admin),
    ("resync_device", Rule::Admin),
];

/// What a call may be answered with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Outcome {
    /// Not signed in.
    SignIn,
    /// Hidden: there is no such record for this caller.
    Hidden,
    /// Forbidden.
    Forbidden,
    /// Let through; whatever the body then deserves.
    Through,
}

#[allow(clippy::match_same_arms)] // the order of the questions is what reads
fn expected(rule: Rule, caller: &str) -> Outcome {
    use Outcome::{Forbidden, Hidden, SignIn, Through};
    match (rule, caller) {
        (Rule::Public, _) => Through,
        (_, "nobody") => SignIn,
        (Rule::ScopedAccount, "no scope") => Forbidden,
        (Rule::Account | Rule::ScopedAccount, _) => Through,
        (_, "other club") => Hidden,
        (_, "no scope") => Forbidden,
        (Rule::Member, _) | (_, "admin") => Through,
        (Rule::Admin, _) | (Rule::Coach | Rule::SeenCoach, "viewer") => Forbidden,
        (Rule::Seen | Rule::SeenCoach, "coach of another group") => Hidden,
        _ => Through,
    }
}

fn fits(outcome: Outcome, status: u16) -> bool {
    match outcome {
        Outcome::SignIn => status == 401,
        Outcome::Hidden => status == 404,
        Outcome::Forbidden => status == 403,
        Outcome::Through => !matches!(status, 401 | 403 | 404 | 500..),
    }
}

/// One record of each resource, by the name of its path parameter.
async fn records(admin: &Caller, group: &str) -> BTreeMap<&'static str, String> {
    let day = Utc::now().date_naive() - Duration::days(2);
    let mut ids = BTreeMap::from([("club_id", admin.club.clone()), ("group_id", group.to_owned())]);
    let person = json!({"display_name": "A", "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice",
        "measurements": [{"kind": "stature_m", "value": 1.5, "measured_on": day}]});
    let person = admin.post("/athletes", person).await.expect(201);
    let athlete = person.id();
    ids.insert("measurement_id", person.body["measurements"][0]["id"].as_str().unwrap().to_owned());
    ids.insert("athlete_id", athlete.clone());
    let mut make = async |name: &'static str, path: &str, body: Value| {
        let id = admin.post(path, body).await.expect(201).id();
        ids.insert(name, id.clone());
        id
    };
    make("venue_id", "/venues", json!({"name": "V", "environment": "outdoor", "straight_m": 80, "lanes": 4})).await;
    make("equipment_id", "/equipment", json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 20})).await;
    let recipe = json!({"name": "R", "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6, "approach_m": 12, "barriers": 5});
    make("barrier_configuration_id", "/barrier-configurations", recipe).await;
    let age =
        json!({"ruleset": "X", "age_group": "G", "rule": "end_of_year", "valid_from": "2026-01-01", "source": "us"});
    make("age_group_id", "/age-groups", age).await;
    let spec = json!({"ruleset": "X", "event_code": "60H", "environment": "indoor", "sex": "X", "age_group": "G",
        "race_distance_m": 60, "barriers": 6, "height_m": 0.6, "to_first_m": 12, "between_m": 7, "run_in_m": 13,
        "valid_from": "2026-01-01", "source": "us"});
    make("competition_spec_id", "/competition-specs", spec).await;
    let session = json!({"held_on": day, "state": "held", "group_ids": [group]});
    let session = make("session_id", "/sessions", session).await;
    let decision = format!("/athletes/{athlete}/recommendation/decisions");
    make("decision_id", &decision, json!({"outcome": "accepted"})).await;
    let plan = json!({"lanes": 2, "capacity": 4, "barriers": {"min": 4, "max": 5}, "straight_m": 80, "athlete_ids": [athlete]});
    make("plan_id", &format!("/sessions/{session}/lane-plans"), plan).await;
    let race = json!({"session_id": session, "dimensions": {"race_distance_m": 50, "barriers": 5, "height_m": 0.5,
        "approach_m": 11, "spacing_m": 6.5}});
    let race = make("race_test_id", "/race-tests", race).await;
    let entered = json!({"athlete_ids": [athlete]});
    let entered = admin.put(&format!("/race-tests/{race}/entries"), "*", entered).await.expect(200);
    let tag = [("if-match", entered.header("etag"))];
    let heats = admin.path(&format!("/race-tests/{race}/heats"));
    admin.call(Method::POST, &heats, &tag, Some(json!({"lanes": 4}))).await.expect(200);
    let guest = json!({"email": "guest@people.example", "role": "viewer", "group_ids": [group]});
    make("invitation_id", "/invitations", guest).await;
    let (run, rating) = (Uuid::now_v7(), Uuid::now_v7());
    let body = json!({"id": run, "session_id": session, "athlete_id": athlete, "run_at": format!("{day}T12:00:00Z"),
        "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6, "barriers": 5, "intervals": {"held": 4}});
    admin.post("/runs", json!({"runs": [body]})).await.expect(200);
    let body = json!({"id": rating, "athlete_id": athlete, "assessed_at": Utc::now(), "ratings": {"arms": 1}});
    admin.post("/assessments", json!({"assessments": [body]})).await.expect(200);
    // A fact of an unknown session is held for an admin, and the device is noted.
    let lost = json!({"session_id": Uuid::now_v7(), "athlete_id": athlete, "run_at": format!("{day}T12:00:00Z"),
        "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6, "barriers": 5, "intervals": {"held": 4}, "hits": 0, "fell": false});
    let (held, op) = (Uuid::now_v7(), Uuid::now_v7());
    let item = json!({"op_id": op, "method": "PUT", "type": "run", "id": held, "if_none_match": "*", "data": lost});
    let push = json!({"device_id": op, "schema": 1, "sent_at": Utc::now(), "items": [item]});
    assert_eq!(admin.post("/changes", push).await.expect(200).body["results"][0]["status"], 202);
    let device = admin.get("/sync-devices").await.expect(200).body["items"][0]["id"].as_str().unwrap().to_owned();
    ids.extend([("held_item_id", held.to_string()), ("sync_device_id", device)]);
    ids.extend([("run_id", run.to_string()), ("assessment_id", rating.to_string())]);
    ids
}

/// A token of the admin that carries no scope at all.
async fn without_scope(app: &TestApp, admin: &Caller) -> Caller {
    let devices = admin.call(Method::GET, "/v1/me/devices", &[], None).await.expect(200);
    let device = Uuid::parse_str(devices.body["items"][0]["id"].as_str().unwrap()).unwrap();
    let keys = Keys::load(&Db::lazy((*app.pool.connect_options()).clone(), 1)).await.unwrap();
    let account = AccountId(Uuid::parse_str(&admin.account).unwrap());
    let token = keys.sign(account, DeviceId(device), "", Utc::now()).unwrap();
    Caller { token, ..admin.clone() }
}

#[sqlx::test]
async fn every_operation_lets_exactly_the_right_callers_through(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let (group, other_group) = (admin.group("Mine").await, admin.group("Other").await);
    let mut ids = records(&admin, &group).await;
    let mut callers = BTreeMap::from([
        ("admin", admin.clone()),
        ("other club", app.admin_of("South").await),
        ("coach of own group", admin.member("Own Coach", "coach", &[&group]).await),
        ("coach of another group", admin.member("Other Coach", "coach", &[&other_group]).await),
        ("viewer", admin.member("A Viewer", "viewer", &[&group]).await),
        ("no scope", without_scope(&app, &admin).await),
    ]);
    ids.insert("member_id", callers["viewer"].account.clone());
    callers.insert("nobody", Caller { token: String::new(), ..admin.clone() });

    let document = app.get("/openapi.json").await.expect(200).body;
    let rules: BTreeMap<&str, Rule> = TABLE.iter().copied().collect();
    let (mut seen, mut wrong) = (Vec::new(), Vec::new());
    for (path, item) in document["paths"].as_object().unwrap() {
        for (method, operation) in item.as_object().unwrap() {
            let id = operation["operationId"].as_str().unwrap();
            let Some(&rule) = rules.get(id) else { panic!("{id} has no row in the table") };
            seen.push(id.to_owned());
            let public = operation["security"] == json!([{}]) || operation["security"] == json!([]);
            assert_eq!(public, rule == Rule::Public, "{id}: the document says {}", operation["security"]);
            let mut filled = path.clone();
            for (name, value) in &ids {
                filled = filled.replace(&format!("{{{name}}}"), value);
            }
            for (name, caller) in &callers {
                let outcome = expected(rule, name);
                // Acting for real would change what the next caller meets.
                if outcome == Outcome::Through && matches!(id, "delete_device" | "accept_invitation") {
                    continue;
                }
                let method = Method::from_bytes(method.to_uppercase().as_bytes()).unwrap();
                let body = (method != Method::GET && method != Method::DELETE).then(|| json!({"unknown": true}));
                let content = if id == "import_athletes" { "text/csv" } else { "application/json" };
                let status = caller.call(method, &filled, &[("content-type", content)], body).await.status;
                if !fits(outcome, status) {
                    wrong.push(format!("{id} by {name}: {status}, expected {outcome:?}"));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong:#?}");
    let missing: Vec<&&str> = rules.keys().filter(|id| !seen.iter().any(|one| one == *id)).collect();
    assert!(missing.is_empty(), "rows without an operation: {missing:?}");
}
