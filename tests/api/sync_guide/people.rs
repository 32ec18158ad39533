//! Who may see and do what, and what becomes of a deleted athlete.

use lanewright::platform::access::ALL_SCOPES;
use lanewright::platform::db::Db;
use lanewright::platform::ids::{AccountId, DeviceId};
use lanewright::platform::token::Keys;
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use super::{GUIDE, plain, quoted, row, says};
use crate::support::Caller;
use crate::sync_pull::{Phone, Squad, athlete, run, squad};
use crate::sync_push::{batch, create, item, push, statuses};

/// The types that are recorded and not edited.
const FACTS: [&str; 6] = ["run", "assessment", "measurement", "decision", "race_result", "wellbeing_record"];

/// Whether somebody is kept from edits of a type before anything is read.
async fn barred(caller: &Caller, kind: &str) -> bool {
    let edit = item("PATCH", kind, &Uuid::now_v7().to_string(), json!({"base_rev": 1, "if_match": 1, "data": {}}));
    push(caller, &[edit]).await[0]["status"] == 403
}

fn edited_by_all() -> Vec<String> {
    quoted(row("coach")[1])
}

#[sqlx::test]
async fn each_role_edits_what_the_table_of_roles_says(pool: PgPool) {
    let squad = squad(pool).await;
    let viewer = squad.admin.member("A Viewer", "viewer", &[&squad.mine]).await;
    let coachs = edited_by_all();
    let text = plain(GUIDE);
    let admins = text.split(" are the admin's: from others 403").next().unwrap();
    let admins = quoted(admins.rsplit(". ").next().unwrap().rsplit(" | ").next().unwrap());
    let admins: Vec<String> = admins.into_iter().filter(|kind| !coachs.contains(kind)).collect();
    assert_eq!((coachs.len(), admins.len()), (13, 5), "{coachs:?} {admins:?}");
    for kind in coachs.iter().chain(&admins) {
        assert!(!barred(&squad.admin, kind).await, "admin, {kind}");
        assert_eq!(barred(&squad.coach, kind).await, admins.contains(kind), "coach, {kind}");
        assert!(barred(&viewer, kind).await, "viewer, {kind}");
    }
    says("viewer | nothing: an edit is answered 403, a recorded fact is held");
    let fact = create("run", run(&squad.session, &squad.athlete, squad.day));
    assert_eq!(statuses(&push(&viewer, &[fact]).await), [202]);
    says("puts nothing into groups that are not theirs");
    let foreign = create("session", json!({"held_on": squad.day, "state": "held", "group_ids": [squad.other]}));
    assert_eq!(statuses(&push(&squad.coach, &[foreign]).await), [422]);
}

#[sqlx::test]
async fn each_edit_needs_the_scope_that_the_guide_names(pool: PgPool) {
    let squad = squad(pool).await;
    let text = plain(GUIDE);
    let listed = text.split("The scopes are those of the routes: ").nth(1).unwrap().split(" ## ").next().unwrap();
    let mut wanted: Vec<(String, String)> = Vec::new();
    let mut scope = String::new();
    for word in quoted(listed) {
        if word.contains('.') {
            scope = word;
        } else {
            wanted.push((scope.clone(), word));
        }
    }
    assert_eq!(wanted.len(), edited_by_all().len(), "{wanted:?}");
    wanted.extend(["group", "venue"].map(|kind| (scope.clone(), kind.to_owned())));
    assert_eq!(scope, "club.admin");
    for all_but in ["session.write", "assessment.write", "plan.write", "club.admin"] {
        let scopes: Vec<&str> = ALL_SCOPES.split(' ').filter(|one| *one != all_but).collect();
        let without = with_scopes(&squad.admin, &scopes).await;
        for (scope, kind) in &wanted {
            assert_eq!(barred(&without, kind).await, scope == all_but, "{kind} without {all_but}");
        }
    }
    says("Both need an access token with the scope `sync`");
    let without = with_scopes(&squad.admin, &["squad.read", "session.write"]).await;
    without.get("/changes").await.expect(403);
    without.post("/changes", batch(&[])).await.expect(403);
}

/// The same person with a token that carries these scopes alone.
async fn with_scopes(caller: &Caller, scopes: &[&str]) -> Caller {
    let keys = Keys::load(&Db::lazy((*caller.app.pool.connect_options()).clone(), 1)).await.unwrap();
    let account = AccountId(caller.account.parse().unwrap());
    let device: Uuid = sqlx::query_scalar("select id from devices where account_id = $1")
        .bind(account.0)
        .fetch_one(&caller.app.pool)
        .await
        .unwrap();
    let token = keys.sign(account, DeviceId(device), &scopes.join(" "), chrono::Utc::now()).unwrap();
    Caller { token, ..caller.clone() }
}

#[sqlx::test]
async fn a_member_sees_their_groups_what_lies_below_and_what_the_club_has_in_common(pool: PgPool) {
    says(
        "A member sees the athletes and sessions of the groups that they are assigned to, with all that lies below; those \
          groups; and what the club has in common",
    );
    let squad = squad(pool).await;
    let venue = json!({"name": "V", "environment": "outdoor", "straight_m": 80, "lanes": 4});
    squad.admin.post("/venues", venue).await.expect(201);
    let facts = [&squad.athlete, &squad.hidden].map(|id| create("run", run(&squad.session, id, squad.day)));
    push(&squad.admin, &facts).await;
    let (mut phone, mut all) = (Phone::default(), Phone::default());
    phone.pull(&squad.coach, 500).await;
    all.pull(&squad.admin, 500).await;
    assert_eq!(phone.ids("athlete"), [squad.athlete.as_str()]);
    assert_eq!(phone.ids("group"), [squad.mine.as_str()]);
    assert_eq!((phone.ids("run").len(), phone.ids("venue").len(), phone.ids("club").len()), (1, 1, 1));
    says("An admin sees everything.");
    assert_eq!((all.ids("athlete").len(), all.ids("group").len(), all.ids("run").len()), (2, 2, 2));
}

#[sqlx::test]
async fn who_loses_a_group_is_sent_a_removed_for_each_athlete_and_session(pool: PgPool) {
    says("Who gets a group is sent what is in it; who loses it, a `removed` (`changed`) for each athlete and session.");
    let squad = squad(pool).await;
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let before = phone.token.clone().unwrap();
    let member = format!("/members/{}", squad.coach.account);
    let change = async |groups: Value| {
        let tag = squad.admin.get(&member).await.expect(200).header("etag").to_owned();
        squad.admin.patch(&member, &tag, json!({"group_ids": groups})).await.expect(200);
    };
    change(json!([squad.other])).await;
    let page = squad.coach.get(&format!("/changes?sync_token={before}&limit=2000")).await.expect(200).body;
    let changes = page["changes"].as_array().unwrap();
    let told =
        |id: &str| changes.iter().find(|one| one["id"] == id).unwrap_or_else(|| panic!("nothing of {id}: {page}"));
    for id in [&squad.athlete, &squad.session] {
        assert_eq!(told(id)["removed"]["reason"], "changed", "{page}");
    }
    phone.pull(&squad.coach, 500).await;
    assert_eq!(phone.ids("athlete"), [squad.hidden.as_str()]);
    change(json!([squad.mine, squad.other])).await;
    phone.pull(&squad.coach, 500).await;
    assert_eq!((phone.ids("athlete").len(), phone.ids("session").len()), (2, 1));
}

impl Squad {
    async fn deletion(&self, athlete: &str) -> Value {
        let rev = self.admin.get(&format!("/athletes/{athlete}")).await.expect(200).body["rev"].clone();
        item("DELETE", "athlete", athlete, json!({"if_match": rev}))
    }
}

#[sqlx::test]
async fn an_athlete_is_deleted_by_who_has_all_of_their_groups(pool: PgPool) {
    says(
        "An `athlete` is deleted by who has all of the athlete's groups, or an admin (otherwise 403), with `if_match` = the \
          rev shown.",
    );
    let squad = squad(pool).await;
    let shared = athlete(&squad.admin, "Shared", &[&squad.mine, &squad.other]).await;
    assert_eq!(statuses(&push(&squad.coach, &[squad.deletion(&shared).await]).await), [403]);
    let bare = item("DELETE", "athlete", &squad.athlete, json!({}));
    assert_eq!(statuses(&push(&squad.coach, &[bare]).await), [428]);
    assert_eq!(statuses(&push(&squad.coach, &[squad.deletion(&squad.athlete).await]).await), [200]);
    assert_eq!(statuses(&push(&squad.admin, &[squad.deletion(&shared).await]).await), [200]);
}

#[sqlx::test]
async fn phones_are_sent_one_removed_for_a_deleted_athlete_and_what_is_personal_is_gone(pool: PgPool) {
    says(
        "Phones are sent one `removed` (`deleted`) for the athlete and drop what lies below. Edits and facts that come later \
          are answered 410, facts with an error `erased`: they are neither stored nor held;",
    );
    says(
        "What is personal is erased at once and for good: the name, measurements, well-being records, notes. Runs, \
          assessments, decisions and results stay on the server as facts about nobody, without remarks.",
    );
    let squad = squad(pool).await;
    let fact = || create("run", run(&squad.session, &squad.athlete, squad.day));
    let rested =
        json!({"athlete_id": squad.athlete, "kind": "restriction", "reported_on": "2020-01-01", "until": "2020-01-02"});
    assert_eq!(statuses(&push(&squad.coach, &[fact(), create("wellbeing_record", rested)]).await), [201, 201]);
    let mut phone = Phone::default();
    phone.pull(&squad.coach, 500).await;
    let token = phone.token.clone().unwrap();
    let rev = squad.admin.get(&format!("/athletes/{}", squad.athlete)).await.body["rev"].clone();
    assert_eq!(statuses(&push(&squad.coach, &[squad.deletion(&squad.athlete).await]).await), [200]);
    let page = squad.coach.get(&format!("/changes?sync_token={token}")).await.expect(200).body;
    let told: Vec<&Value> = page["changes"].as_array().unwrap().iter().collect();
    assert_eq!(told.len(), 1, "{page}");
    assert_eq!((&told[0]["type"], &told[0]["removed"]["reason"]), (&json!("athlete"), &json!("deleted")));
    phone.pull(&squad.coach, 500).await;
    assert!(FACTS.iter().all(|kind| phone.ids(kind).is_empty()), "{:?}", phone.copy);
    let late = item("PATCH", "athlete", &squad.athlete, json!({"base_rev": rev, "data": {"display_name": "Back"}}));
    assert_eq!(statuses(&push(&squad.coach, &[late, fact()]).await), [410, 410]);
    let mut tx = squad.app.pool.begin().await.unwrap();
    let enter = format!("set local app.club_id = '{}'", squad.admin.club);
    sqlx::raw_sql(sqlx::AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
    let left: (i64, i64, i64, i64) = sqlx::query_as(
        "select (select count(*) from runs), (select count(*) from wellbeing_records),
           (select count(*) from measurements where athlete_id = $1),
           (select count(*) from athletes where display_name = 'Seen')",
    )
    .bind(squad.athlete.parse::<Uuid>().unwrap())
    .fetch_one(&mut *tx)
    .await
    .unwrap();
    assert_eq!(left, (1, 0, 0, 0));
}

#[sqlx::test]
async fn an_access_token_that_is_none_is_answered_401_and_somebody_elses_club_404(pool: PgPool) {
    says(
        "The push as a whole is answered 400 (cannot be read; an item without an `op_id`), 401, 403 (no scope), 404 (not \
          your club), 413",
    );
    let squad = squad(pool).await;
    let nobody = Caller { token: "x".to_owned(), ..squad.coach.clone() };
    nobody.post("/changes", batch(&[])).await.expect(401);
    nobody.get("/changes").await.expect(401);
    let stranger = Caller { club: squad.admin.club.clone(), ..squad.app.admin_of("South").await };
    stranger.post("/changes", batch(&[])).await.expect(404);
    let path = stranger.path("/changes");
    stranger.call(Method::GET, &path, &[], None).await.expect(404);
}
