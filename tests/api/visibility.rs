//! What a member sees inside what others share, in every representation; and that what is hidden is as unknown as what
//! never was.

use chrono::{Duration, NaiveDate, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Answer, Caller, TestApp, spread};
use crate::sync_pull::{Phone, athlete};
use crate::sync_push::{item, push};
use crate::wellbeing::restrict;

/// A session of two groups, with everything that names people of both.
pub struct Shared {
    pub admin: Caller,
    /// Coaches the first group.
    pub coach: Caller,
    /// Reads the first group.
    pub viewer: Caller,
    pub mine: String,
    pub other: String,
    pub athletes: Vec<String>,
    pub hidden: Vec<String>,
    pub session: String,
    pub race: String,
    pub plan: Value,
    pub day: NaiveDate,
}

pub async fn shared(pool: PgPool) -> Shared {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let (mine, other) = (admin.group("Mine").await, admin.group("Other").await);
    let coach = admin.member("Own Coach", "coach", &[&mine]).await;
    let viewer = admin.member("Own Viewer", "viewer", &[&mine]).await;
    let day = Utc::now().date_naive() - Duration::days(2);
    let (mut athletes, mut hidden) = (Vec::new(), Vec::new());
    for n in 0..3 {
        athletes.push(athlete(&admin, &format!("Seen {n}"), &[&mine]).await);
        hidden.push(athlete(&admin, &format!("Secret {n}"), &[&other]).await);
    }
    // One of each group does not run: that, too, is nobody else's to know.
    for rests in [&athletes[2], &hidden[2]] {
        restrict(&admin, rests, day, day + Duration::days(20)).await;
    }
    let stock = json!({"barrier_kind": "wicket", "heights_m": [0.3], "count": 40});
    admin.post("/equipment", stock).await.expect(201);
    let venue = json!({"name": "Track", "environment": "outdoor", "straight_m": 110, "lanes": 4});
    let venue = admin.post("/venues", venue).await.expect(201).id();
    let session = json!({"held_on": day, "state": "held", "group_ids": [mine, other], "venue_id": venue});
    let session = admin.post("/sessions", session).await.expect(201).id();
    let everybody: Vec<&String> = athletes.iter().chain(&hidden).collect();
    admin.put(&format!("/sessions/{session}/attendance"), "", json!({"present": everybody})).await.expect(200);
    let wish = json!({"lanes": 2, "capacity": 6, "barriers": {"min": 4, "max": 5}, "athlete_ids": everybody,
        "pins": [{"athlete_id": hidden[0], "lane": 1}, {"athlete_id": athletes[0], "lane": 1}],
        "apart": [[hidden[0], hidden[1]], [athletes[0], athletes[1]], [athletes[1], hidden[0]]]});
    let plan = admin.post(&format!("/sessions/{session}/lane-plans"), wish).await.expect(201).body;
    let race = json!({"session_id": session, "name": "Test", "dimensions": {"race_distance_m": 60, "barriers": 6,
        "height_m": 0.6, "approach_m": 11.5, "spacing_m": 7, "discounted": true}});
    let race = admin.post("/race-tests", race).await.expect(201);
    let (race, tag) = (race.id(), race.header("etag").to_owned());
    let entered = [&athletes[0], &athletes[1], &hidden[0], &hidden[1]];
    let entered = json!({"athlete_ids": entered, "coach_accepts": entered});
    let entered = admin.put(&format!("/race-tests/{race}/entries"), &tag, entered).await.expect(200);
    let draw = json!({"lanes": 4, "seed": 5, "pins": [{"athlete_id": hidden[0], "heat": 1}, {"athlete_id": athletes[0], "heat": 1}],
        "apart": []});
    let heats = admin.path(&format!("/race-tests/{race}/heats"));
    admin.call(Method::POST, &heats, &[("if-match", entered.header("etag"))], Some(draw)).await.expect(200);
    let finish = |athlete: &str, time: f64| {
        json!({"id": Uuid::now_v7(), "athlete_id": athlete, "status": "finished",
        "final_time_s": time})
    };
    let results = json!({"results": [finish(&athletes[0], 11.5), finish(&hidden[0], 10.5)]});
    admin.post(&format!("/race-tests/{race}/results"), results).await.expect(200);
    Shared { admin, coach, viewer, mine, other, athletes, hidden, session, race, plan, day }
}

impl Shared {
    fn plan_path(&self) -> String {
        format!("/sessions/{}/lane-plans/{}", self.session, self.plan["id"].as_str().unwrap())
    }

    /// Fails when an answer names somebody of the other group, by name or id.
    #[track_caller]
    fn clean(&self, what: &str, answer: &str) {
        let told = self.hidden.iter().map(String::as_str).chain(["Secret"]).find(|word| answer.contains(word));
        assert_eq!(told, None, "{what}: {answer}");
    }

    /// Gives the coach or the viewer other groups.
    async fn assign(&self, who: &Caller, groups: &[&String]) {
        let path = format!("/members/{}", who.account);
        let tag = self.admin.get(&path).await.header("etag").to_owned();
        self.admin.patch(&path, &tag, json!({"group_ids": groups})).await.expect(200);
    }
}

async fn get_as(caller: &Caller, path: &str, accept: &str) -> Answer {
    caller.call(Method::GET, &caller.path(path), &[("accept", accept)], None).await.expect(200)
}

/// How many of other groups the lanes count.
fn others(plan: &Value) -> u64 {
    plan["lanes"].as_array().unwrap().iter().filter_map(|lane| lane["others"].as_u64()).sum()
}

/// Who runs in the lanes.
fn placed(plan: &Value) -> Vec<&str> {
    let lanes = plan["lanes"].as_array().unwrap().iter();
    lanes.flat_map(|lane| lane["athletes"].as_array().unwrap()).map(|one| one["athlete_id"].as_str().unwrap()).collect()
}

#[sqlx::test]
async fn a_shared_session_shows_each_member_their_own_people_in_every_form(pool: PgPool) {
    let shared = shared(pool).await;
    let path = shared.plan_path();
    let whole = shared.admin.get(&path).await.expect(200).body;
    assert_eq!((placed(&whole).len(), others(&whole)), (4, 0));
    assert_eq!(whole["resting"].as_array().unwrap().len(), 2);
    assert!(whole.to_string().contains("Secret 0"), "who sees everybody reads everybody");
    for reader in [&shared.coach, &shared.viewer] {
        let plan = reader.get(&path).await.expect(200).body;
        assert_eq!((placed(&plan).len(), others(&plan)), (2, 2));
        assert_eq!(plan["resting"].as_array().unwrap().len(), 1);
        assert_eq!(plan["total_regret"], whole["total_regret"]);
        assert_eq!(plan["request"]["athlete_ids"], json!(shared.athletes));
        assert_eq!(plan["request"]["pins"].as_array().unwrap().len(), 1);
        assert_eq!(plan["request"]["apart"], json!([[shared.athletes[0], shared.athletes[1]]]));
        let race = format!("/race-tests/{}", shared.race);
        for path in [
            path.clone(),
            format!("/sessions/{}/lane-plans", shared.session),
            format!("/sessions/{}/attendance", shared.session),
            format!("/sessions/{}", shared.session),
            race.clone(),
            format!("{race}/heats"),
            format!("{race}/results"),
            "/race-tests".to_owned(),
            "/changes?limit=2000".to_owned(),
        ] {
            let answer = reader.get(&path).await.expect(200);
            shared.clean(&path, &String::from_utf8_lossy(&answer.bytes));
        }
        let set_out = format!("{path}/set-out");
        for (path, accept, says) in [
            (&set_out, "application/json", ""),
            (&set_out, "text/csv", "other"),
            (&set_out, "image/svg+xml", "other"),
            (&set_out, "text/html", "of groups that you do not see"),
            (&format!("{race}/heats"), "text/csv", "Seen"),
            (&format!("{race}/heats"), "text/html", "of a group that you do not see"),
            (&set_out, "application/pdf", "of groups that you do not see"),
            (&format!("{race}/heats"), "application/pdf", "of a group that you do not see"),
            (&format!("{race}/results"), "text/html", "Results"),
            (&format!("{race}/results"), "application/pdf", "Results"),
            (&format!("/sessions/{}/cards", shared.session), "text/html", "Cards"),
            (&format!("/sessions/{}/cards", shared.session), "application/pdf", "Cards"),
        ] {
            let text = get_as(reader, path, accept).await.readable();
            // Narrow columns break lines where they like.
            let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
            shared.clean(accept, &text);
            assert!(text.contains(says), "{says} in {text}");
        }
    }
    // The bodies of refusals are cut by the same rule.
    let id = shared.plan["id"].as_str().unwrap();
    let plan = shared.coach.get(&path).await.body;
    let data = json!({"session_id": shared.session, "request": plan["request"], "lanes": plan["lanes"],
        "resting": [], "total_regret": 0.0, "largest_regret": 0.0, "proven_optimal": false, "lower_bound": 0.0,
        "stock_used": [], "run_out_m": 9.0, "cautions": []});
    let stale = shared.coach.delete(&path, "\"1\"").await.expect(412);
    assert_eq!(others(&stale.body["current"]), 2);
    shared.clean("412 of the route", &stale.body.to_string());
    for (more, status) in
        [(json!({"if_match": 1, "data": data}), 412), (json!({"if_none_match": "*", "data": data}), 409)]
    {
        let refused = push(&shared.coach, &[item("PUT", "lane_plan", id, more)]).await;
        assert_eq!((&refused[0]["status"], others(&refused[0]["current"]["data"])), (&json!(status), 2), "{refused:?}");
        shared.clean("push", &refused[0].to_string());
    }
}

#[sqlx::test]
async fn a_plan_for_a_shared_session_is_for_those_whom_its_maker_sees(pool: PgPool) {
    let shared = shared(pool).await;
    let path = format!("/sessions/{}/lane-plans", shared.session);
    let wish = json!({"lanes": 2, "capacity": 6, "barriers": {"min": 4, "max": 5}});
    let made = shared.coach.post(&path, wish.clone()).await.expect(201);
    assert_eq!((placed(&made.body).len(), others(&made.body)), (2, 0), "of those who attend");
    shared.clean("create", &made.body.to_string());
    let mut named = wish.clone();
    named["athlete_ids"] = json!([shared.hidden[0]]);
    let hidden = shared.coach.post(&path, named.clone()).await.expect_fault(422, "/athlete_ids/0");
    named["athlete_ids"] = json!([Uuid::now_v7()]);
    let unknown = shared.coach.post(&path, named).await.expect_fault(422, "/athlete_ids/0");
    let code = |answer: &Answer| answer.body["errors"][0]["code"].clone();
    assert_eq!(code(&hidden), code(&unknown));
    // Where only others attend, nobody does.
    shared
        .coach
        .put(&format!("/sessions/{}/attendance", shared.session), "*", json!({"present": []}))
        .await
        .expect(200);
    shared.coach.post(&path, wish).await.expect_fault(422, "/athlete_ids");
}

#[sqlx::test]
async fn an_edit_of_a_shared_plan_leaves_others_where_they_are(pool: PgPool) {
    let shared = shared(pool).await;
    let (path, id) = (shared.plan_path(), shared.plan["id"].as_str().unwrap());
    let seen = shared.coach.get(&path).await.expect(200).body;
    let send = async |change: &dyn Fn(&mut Value)| {
        let mut data = seen.clone();
        change(&mut data);
        for name in ["id", "rev"] {
            data.as_object_mut().unwrap().remove(name);
        }
        let rev = shared.coach.get(&path).await.body["rev"].clone();
        push(&shared.coach, &[item("PUT", "lane_plan", id, json!({"if_match": rev, "data": data}))]).await.remove(0)
    };
    let at = |plan: &Value, athlete: &str| {
        let lanes = plan["lanes"].as_array().unwrap();
        let runs = |lane: &&Value| lane["athletes"].as_array().unwrap().iter().any(|one| one["athlete_id"] == athlete);
        lanes.iter().find(runs).map(|lane| lane["lane"].clone())
    };
    let before = shared.admin.get(&path).await.body;
    let moved = send(&|data| {
        let all: Vec<Value> = data["lanes"]
            .as_array_mut()
            .unwrap()
            .iter_mut()
            .flat_map(|lane| std::mem::take(lane["athletes"].as_array_mut().unwrap()))
            .collect();
        data["lanes"][0]["athletes"] = json!(all);
        data["lanes"][0]["others"] = json!(77);
    })
    .await;
    assert_eq!(moved["status"], 200, "{moved}");
    let after = shared.admin.get(&path).await.body;
    for hidden in &shared.hidden[..2] {
        assert_eq!(at(&after, hidden), at(&before, hidden));
    }
    assert_eq!((at(&after, &shared.athletes[0]), at(&after, &shared.athletes[1])), (Some(json!(1)), Some(json!(1))));
    assert_eq!(after["request"]["pins"].as_array().unwrap().len(), 2);
    assert_eq!(after["resting"].as_array().unwrap().len(), 2);
    assert_eq!(others(&shared.coach.get(&path).await.body), 2);
    // The lane in which others run stays as it is.
    let dropped = send(&|data| {
        data["lanes"].as_array_mut().unwrap().remove(0);
    })
    .await;
    assert_eq!(
        (&dropped["status"], &dropped["problem"]["errors"][0]["code"]),
        (&json!(422), &json!("others")),
        "{dropped}"
    );
    let wider = send(&|data| {
        for lane in data["lanes"].as_array_mut().unwrap() {
            lane["spacing_m"] = json!(6.1);
        }
    })
    .await;
    assert_eq!((&wider["status"], &wider["problem"]["errors"][0]["code"]), (&json!(422), &json!("others")), "{wider}");
    // Nor is it theirs to delete.
    let tag = shared.coach.get(&path).await.header("etag").to_owned();
    shared.coach.delete(&path, &tag).await.expect(403);
    let rev = shared.coach.get(&path).await.body["rev"].clone();
    let refused = push(&shared.coach, &[item("DELETE", "lane_plan", id, json!({"if_match": rev}))]).await;
    assert_eq!(refused[0]["status"], 403);
    let tag = shared.admin.get(&path).await.header("etag").to_owned();
    shared.admin.delete(&path, &tag).await.expect(204);
}

#[sqlx::test]
async fn a_phone_follows_who_is_seen_in_a_plan_and_what_they_are_called(pool: PgPool) {
    let shared = shared(pool).await;
    let (path, id) = (shared.plan_path(), shared.plan["id"].as_str().unwrap());
    let key = ("lane_plan".to_owned(), id.to_owned());
    let mut phone = Phone::default();
    let mut alike = async |what: &str, count: u64| {
        phone.pull(&shared.coach, 500).await;
        let plan = shared.coach.get(&path).await.expect(200).body;
        assert_eq!(phone.copy[&key], plan, "{what}");
        assert_eq!(others(&plan), count, "{what}");
        if count == 2 {
            shared.clean(what, &phone.copy.values().map(ToString::to_string).collect::<String>());
        }
    };
    alike("first", 2).await;
    shared.assign(&shared.coach, &[&shared.mine, &shared.other]).await;
    alike("a group more", 0).await;
    shared.assign(&shared.coach, &[&shared.mine]).await;
    alike("a group less", 2).await;
    let change = async |athlete: &str, change: Value| {
        let path = format!("/athletes/{athlete}");
        let tag = shared.admin.get(&path).await.header("etag").to_owned();
        shared.admin.patch(&path, &tag, change).await.expect(200);
    };
    change(&shared.athletes[0], json!({"display_name": "Renamed"})).await;
    alike("another name", 2).await;
    assert!(shared.coach.get(&path).await.body.to_string().contains("Renamed"));
    change(&shared.athletes[1], json!({"group_ids": [shared.other]})).await;
    alike("one moved away", 3).await;
    change(&shared.athletes[1], json!({"group_ids": [shared.mine]})).await;
    alike("and back", 2).await;
    let erased = format!("/athletes/{}", shared.hidden[0]);
    let tag = shared.admin.get(&erased).await.header("etag").to_owned();
    shared.admin.delete(&erased, &tag).await.expect(204);
    alike("one of the others deleted", 1).await;
    let whole = shared.admin.get(&path).await.body.to_string();
    assert!(!whole.contains(&shared.hidden[0]) && !whole.contains("Secret 0"), "{whole}");
}

/// What a phone that waits is sent is cut by what its owner sees when it is sent, not when they began to wait.
#[sqlx::test]
async fn a_poll_that_waits_is_answered_by_what_is_seen_at_its_end(pool: PgPool) {
    let shared = shared(pool).await;
    shared.assign(&shared.coach, &[&shared.mine, &shared.other]).await;
    let mut phone = Phone::default();
    phone.pull(&shared.coach, 500).await;
    let path = shared.coach.path(&format!("/changes?sync_token={}", phone.token.clone().unwrap()));
    let waiting = shared.coach.call(Method::GET, &path, &[("prefer", "wait=25")], None);
    let taking = async {
        // So that it usually waits already.
        tokio::time::sleep(std::time::Duration::from_millis(300)).await;
        shared.assign(&shared.coach, &[&shared.mine]).await;
    };
    let (answer, ()) = tokio::join!(waiting, taking);
    let sent = answer.expect(200).body;
    let plan = sent["changes"].as_array().unwrap().iter().find(|one| one["type"] == "lane_plan").unwrap();
    assert_eq!(others(&plan["data"]), 2);
    shared.clean("the plan", &plan.to_string());
}

#[sqlx::test]
async fn a_validator_covers_what_the_caller_may_see(pool: PgPool) {
    let shared = shared(pool).await;
    let race = format!("/race-tests/{}", shared.race);
    let attendance = format!("/sessions/{}/attendance", shared.session);
    let paths = [shared.plan_path(), race.clone(), format!("{race}/heats"), attendance.clone()];
    let known = async |path: &str, tag: &str| {
        shared.coach.call(Method::GET, &shared.coach.path(path), &[("if-none-match", tag)], None).await
    };
    let (both, one) = (vec![&shared.mine, &shared.other], vec![&shared.mine]);
    for groups in [&both, &one] {
        let mut tags = Vec::new();
        for path in &paths {
            let tag = shared.coach.get(path).await.expect(200).header("etag").to_owned();
            known(path, &tag).await.expect(304);
            tags.push(tag);
        }
        shared.assign(&shared.coach, groups).await;
        for (path, tag) in paths.iter().zip(&tags) {
            let fresh = known(path, tag).await.expect(200);
            assert_eq!(fresh.bytes, shared.coach.get(path).await.bytes, "{path}");
            assert_ne!(fresh.header("etag"), tag, "{path}");
        }
    }
    // What is called otherwise is another answer too.
    let tag = shared.coach.get(&shared.plan_path()).await.header("etag").to_owned();
    let name = format!("/athletes/{}", shared.athletes[0]);
    let name_tag = shared.admin.get(&name).await.header("etag").to_owned();
    shared.admin.patch(&name, &name_tag, json!({"display_name": "Renamed"})).await.expect(200);
    known(&shared.plan_path(), &tag).await.expect(200);
    // An edit stands on the version, so a tag that was read with other groups still allows it; so does the bare number.
    let tag = shared.coach.get(&race).await.header("etag").to_owned();
    shared.assign(&shared.coach, &[&shared.mine, &shared.other]).await;
    let held = shared.coach.patch(&race, &tag, json!({"state": "held"})).await.expect(200);
    let rev = format!("\"{}\"", held.body["rev"]);
    shared.coach.patch(&race, &rev, json!({"name": "Other"})).await.expect(200);
    shared.coach.patch(&race, &rev, json!({"name": "Third"})).await.expect(412);
    shared.coach.patch(&race, &tag, json!({"name": "Third"})).await.expect(412);
}

#[sqlx::test(migrations = false)]
async fn plans_from_before_lose_their_names_and_say_whom_they_are_about(pool: PgPool) {
    if spread(&pool).await {
        return;
    }
    let mut earlier = sqlx::migrate!();
    earlier.migrations = earlier.migrations.iter().filter(|one| one.version < 19).cloned().collect::<Vec<_>>().into();
    earlier.run(&pool).await.unwrap();
    let mut ids: Vec<Uuid> = (0..5).map(|_| Uuid::now_v7()).collect();
    ids.sort_unstable();
    let request = json!({"lanes": 1, "athlete_ids": [ids[0]], "pins": [{"athlete_id": ids[1], "lane": 1}], "apart": [[ids[2], ids[0]]]});
    let plan = json!({"lanes": [{"lane": 1, "athletes": [{"athlete_id": ids[0], "display_name": "Mira Osei", "regret": 0.5},
        {"athlete_id": ids[3], "display_name": "Ida \"Quick\" Lund", "regret": 0}]}, {"lane": 2, "athletes": []}],
        "resting": [{"athlete_id": ids[4], "display_name": "Nils Berg", "explanation": "Rests."}], "total_regret": 0.5});
    let mut tx = pool.begin().await.unwrap();
    let ground = format!(
        "set local app.club_id = '{0}';
         insert into clubs (id, name, time_zone, ruleset, created_at, updated_at) values ('{0}', 'N', 'UTC', 'UKA', now(), now());
         insert into sessions (club_id, id, held_on, state, created_at, updated_at) values ('{0}', '{0}', now(), 'held', now(), now())",
        ids[0]
    );
    sqlx::raw_sql(sqlx::AssertSqlSafe(ground)).execute(&mut *tx).await.unwrap();
    let insert = "insert into lane_plans
          (club_id, id, session_id, request, plan, created_by, created_at, updated_at, deleted_at)
        values ($1, $2, $1, $3, $4, $1, now(), now(), case when $5 then now() end)";
    for (request, plan, deleted) in [(&request, &plan, false), (&json!({}), &json!({}), true)] {
        let insert = sqlx::query(insert).bind(ids[0]).bind(Uuid::now_v7()).bind(request).bind(plan).bind(deleted);
        insert.execute(&mut *tx).await.unwrap();
    }
    tx.commit().await.unwrap();
    sqlx::migrate!().run(&pool).await.unwrap();
    let mut tx = pool.begin().await.unwrap();
    let enter = format!("set local app.club_id = '{}'", ids[0]);
    sqlx::raw_sql(sqlx::AssertSqlSafe(enter)).execute(&mut *tx).await.unwrap();
    let rows: Vec<(Value, Vec<Uuid>)> =
        sqlx::query_as("select plan, people from lane_plans order by deleted_at nulls first")
            .fetch_all(&mut *tx)
            .await
            .unwrap();
    let mut kept = plan.clone();
    for one in kept["lanes"][0]["athletes"].as_array_mut().unwrap() {
        one.as_object_mut().unwrap().remove("display_name");
    }
    kept["resting"][0].as_object_mut().unwrap().remove("display_name");
    assert_eq!(rows[0].0, kept);
    let mut people = rows[0].1.clone();
    people.sort_unstable();
    assert_eq!(people, ids);
    assert_eq!(rows[1], (json!({}), Vec::new()));
}
