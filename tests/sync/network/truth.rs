//! What is stored, read past the service: what each page may hold, and what must be there at the end.

use std::collections::{BTreeMap, BTreeSet, HashSet, btree_map::Entry, hash_map::DefaultHasher};
use std::hash::{Hash, Hasher};

use serde_json::Value;
use uuid::Uuid;

use super::ledger::{ERASED, Edited, Told, holds};
use super::world::{Keeps, World};
use crate::phone::{Reply, Request};

/// Records by type and id.
pub type Copy = BTreeMap<(String, Uuid), Value>;

/// Those of these roots that a member may not see: by the tables alone, not by the code that answers phones.
const HIDDEN: &str = "
    select count(*) from unnest($3::uuid[]) as wanted (id)
    where not exists (
      select from scope_grant g
      where g.club_id = $1 and g.member_id = $2 and not g.revoked and (
        (g.scope_id = wanted.id and exists (select from groups x where x.club_id = $1 and x.id = wanted.id and x.deleted_at is null))
        or exists (
          select from athletes x where x.club_id = $1 and x.id = wanted.id and x.deleted_at is null
            and (g.scope_id = '00000000-0000-0000-0000-000000000000' or exists (
              select from root_scope s
              where s.club_id = $1 and s.kind = 'athlete' and s.root_id = x.id and s.scope_id = g.scope_id)))
        or exists (
          select from sessions x where x.club_id = $1 and x.id = wanted.id and x.deleted_at is null
            and (g.scope_id = '00000000-0000-0000-0000-000000000000' or exists (
              select from root_scope s
              where s.club_id = $1 and s.kind = 'session' and s.root_id = x.id and s.scope_id = g.scope_id)))
        or (g.scope_id = '00000000-0000-0000-0000-000000000000' and exists (
          select from groups x where x.club_id = $1 and x.id = wanted.id and x.deleted_at is null))))";

/// Everything that a member sees, with its version: of what is about a day, that from $3 on; of the
/// groups $4 where they are named.
const VISIBLE: &str = "
    with granted as (
      select scope_id from scope_grant where club_id = $1 and member_id = $2 and not revoked
    ), g as (
      select scope_id from granted where $4::uuid[] is null or scope_id = $1 or scope_id = any ($4)
      union
      select named.id from unnest($4::uuid[]) as named (id)
      where exists (select from granted where scope_id = '00000000-0000-0000-0000-000000000000')
    ), w as (
      select exists (select from g where scope_id = '00000000-0000-0000-0000-000000000000') as everything,
        exists (select from g where scope_id = $1) as club_wide
    ), recent as (
      select x.id from sessions x where x.club_id = $1 and ($3::date is null or x.held_on >= $3)
    ), recent_tests as (
      select x.id from race_tests x join recent r on r.id = x.session_id where x.club_id = $1
    ), root as (
      select 'athlete' as kind, x.id, x.rev from athletes x, w
      where x.club_id = $1 and x.deleted_at is null and (w.everything or exists (
        select from root_scope s join g on g.scope_id = s.scope_id
        where s.club_id = $1 and s.kind = 'athlete' and s.root_id = x.id))
      union all
      select 'session', x.id, x.rev from sessions x, w
      where x.club_id = $1 and x.deleted_at is null and (w.everything or exists (
        select from root_scope s join g on g.scope_id = s.scope_id
        where s.club_id = $1 and s.kind = 'session' and s.root_id = x.id))
      union all
      select 'group', x.id, x.rev from groups x, w
      where x.club_id = $1 and x.deleted_at is null and (w.everything or x.id in (select scope_id from g))
      union all
      select 'venue', x.id, x.rev from venues x, w where x.club_id = $1 and x.deleted_at is null and w.club_wide
      union all
      select 'equipment', x.id, x.rev from equipment x, w where x.club_id = $1 and x.deleted_at is null and w.club_wide
      union all
      select 'age_group', x.id, x.rev from age_groups x, w where x.club_id = $1 and x.deleted_at is null and w.club_wide
      union all
      select 'competition_spec', x.id, x.rev from competition_specs x, w
      where x.club_id = $1 and x.deleted_at is null and w.club_wide
      union all
      select 'barrier_configuration', x.id, x.rev from barrier_configurations x, w
      where x.club_id = $1 and x.deleted_at is null and w.club_wide
    )
    select kind, id, rev from root
    union all
    select 'measurement', x.id, x.rev from measurements x join root r on r.kind = 'athlete' and r.id = x.athlete_id
    where x.club_id = $1 and x.deleted_at is null
    union all
    select 'attendance', x.id, x.rev from attendance x join root r on r.kind = 'athlete' and r.id = x.athlete_id
    where x.club_id = $1 and x.deleted_at is null and x.session_id in (select id from recent)
    union all
    select 'lane_plan', x.id, x.rev from lane_plans x join root r on r.kind = 'session' and r.id = x.session_id
    where x.club_id = $1 and x.deleted_at is null and x.session_id in (select id from recent)
    union all
    select 'run', x.id, x.rev from runs x join root r on r.kind = 'athlete' and r.id = x.athlete_id where x.club_id = $1
      and x.session_id in (select id from recent)
    union all
    select 'assessment', x.id, x.rev from assessments x join root r on r.kind = 'athlete' and r.id = x.athlete_id where x.club_id = $1
      and (x.session_id in (select id from recent)
        or (x.session_id is null and ($3::date is null or (x.assessed_at at time zone 'UTC')::date >= $3)))
    union all
    select 'decision', x.id, x.rev from recommendations x join root r on r.kind = 'athlete' and r.id = x.athlete_id where x.club_id = $1
      and ($3::date is null or x.on_date >= $3)
    union all
    select 'race_test', x.id, x.rev from race_tests x join root r on r.kind = 'session' and r.id = x.session_id
    where x.club_id = $1 and x.deleted_at is null and x.session_id in (select id from recent)
    union all
    select 'race_entry', x.id, x.rev from race_entries x join root r on r.kind = 'athlete' and r.id = x.athlete_id where x.club_id = $1
      and x.race_test_id in (select id from recent_tests)
    union all
    select 'race_result', x.id, x.rev from race_results x join root r on r.kind = 'athlete' and r.id = x.athlete_id where x.club_id = $1
      and x.race_test_id in (select id from recent_tests)
    union all
    select 'wellbeing_record', x.id, x.rev from wellbeing_records x join root r on r.kind = 'athlete' and r.id = x.athlete_id where x.club_id = $1";

/// Facts with their rows of the log: one each, or none when the log does not go back that far.
const FACTS: &str = "
    with put as materialized (
      select entity_id, count(*) as rows from club_change where club_id = $1 and op = 'put' group by entity_id
    )
    select t.kind, t.id, coalesce(p.rows, 0), t.rev >= (select oldest_seq from club_clock where club_id = $1)
    from (
      select 'run' as kind, id, rev from runs where club_id = $1
      union all select 'assessment', id, rev from assessments where club_id = $1
      union all select 'decision', id, rev from recommendations where club_id = $1
      union all select 'race_result', id, rev from race_results where club_id = $1
      union all select 'wellbeing_record', id, rev from wellbeing_records where club_id = $1
      union all select 'measurement', id, case when deleted_at is null then rev else 0 end from measurements where club_id = $1
    ) t left join put p on p.entity_id = t.id";

/// The types that people edit here.
const TYPES: [&str; 18] = [
    "age_group",
    "competition_spec",
    "group",
    "venue",
    "equipment",
    "barrier_configuration",
    "athlete",
    "session",
    "measurement",
    "attendance",
    "lane_plan",
    "run",
    "assessment",
    "decision",
    "race_test",
    "race_entry",
    "race_result",
    "wellbeing_record",
];

fn version((key, data): (&(String, Uuid), &Value)) -> ((String, Uuid), i64) {
    (key.clone(), data["rev"].as_i64().unwrap())
}

/// Type, id, rows of the log, whether the log goes back to it.
type StoredFact = (String, Uuid, i64, bool);

fn root_of(change: &Value) -> Option<Uuid> {
    let data = change.get("data")?;
    let id = match change["type"].as_str()? {
        "athlete" | "session" | "group" => &change["id"],
        "lane_plan" | "race_test" => &data["session_id"],
        "run" | "assessment" | "measurement" | "decision" | "attendance" | "race_entry" | "race_result"
        | "wellbeing_record" => &data["athlete_id"],
        _ => return None,
    };
    id.as_str()?.parse().ok()
}

/// Whom a plan names, in lanes, resting or in what was asked: each of them must be seen, not the plan alone.
fn people_of(plan: &Value) -> Vec<Uuid> {
    let list = |value: &Value| value.as_array().cloned().unwrap_or_default();
    let placed = list(&plan["lanes"]).iter().flat_map(|lane| list(&lane["athletes"])).collect::<Vec<_>>();
    let named = placed.into_iter().chain(list(&plan["resting"])).map(|one| one["athlete_id"].clone());
    named.chain(list(&plan["request"]["athlete_ids"])).filter_map(|id| id.as_str()?.parse().ok()).collect()
}

impl World {
    /// I4 and I8: a page holds nothing that its reader may not see at this moment, and facts never change.
    pub async fn check_page(&mut self, device: usize, reply: &Reply) {
        let page: Value = serde_json::from_slice(&reply.body).unwrap();
        let changes = page["changes"].as_array().unwrap();
        self.figures.changes_sent += changes.len() as u64;
        let number = self.devices[device].club;
        for change in changes {
            if !matches!(
                change["type"].as_str(),
                Some("run" | "assessment" | "decision" | "measurement" | "race_result" | "wellbeing_record")
            ) {
                continue;
            }
            let Some(data) = change.get("data") else { continue };
            let mut hasher = DefaultHasher::new();
            data.to_string().hash(&mut hasher);
            let bytes = hasher.finish();
            let id = change["id"].as_str().unwrap().parse().unwrap();
            let first = *self.clubs[number].ledger.shown.entry(id).or_insert(bytes);
            assert_eq!(first, bytes, "a recorded fact changed: {change}");
        }
        let mut roots: BTreeSet<Uuid> = changes.iter().filter_map(root_of).collect();
        roots.extend(changes.iter().filter_map(|change| change.get("data")).flat_map(people_of));
        if roots.is_empty() {
            return;
        }
        let (club, person) = (&self.clubs[number], self.devices[device].person);
        let mut tx = self.service.look(club.id).await;
        let hidden: i64 = sqlx::query_scalar(HIDDEN)
            .bind(club.id)
            .bind(club.people[person].signed_in.account)
            .bind(roots.into_iter().collect::<Vec<_>>())
            .fetch_one(&mut *tx)
            .await
            .unwrap();
        assert_eq!(hidden, 0, "a page holds what its reader may not see: {page}");
    }

    /// I3: every replica is what its member may see: ids, versions and bytes.
    pub async fn check_replicas(&mut self) {
        for number in 0..self.clubs.len() {
            let mut fresh: BTreeMap<(usize, Keeps), Copy> = BTreeMap::new();
            let mut read = BTreeSet::new();
            for device in 0..self.devices.len() {
                if self.devices[device].club != number {
                    continue;
                }
                let person = self.devices[device].person;
                if read.insert(person) && self.clubs[number].people[person].member {
                    // Routes know nothing of what a phone keeps, so they are held against a copy of everything.
                    let whole = self.fresh_copy(device, &(None, None)).await;
                    self.compare_with_routes(device, &whole).await;
                }
                let who = (person, self.devices[device].keeps.clone());
                if let Entry::Vacant(place) = fresh.entry(who.clone()) {
                    let copy = self.fresh_copy(device, &who.1).await;
                    self.compare_with_tables(number, &who, &copy).await;
                    place.insert(copy);
                }
                let copy = self.devices[device].phone.as_ref().unwrap().copy();
                self.figures.records_compared += copy.len() as u64;
                assert_same(&copy, &fresh[&who], &format!("phone {device} of club {number}"));
            }
        }
    }

    /// What a member's new phone would get that keeps so much.
    pub async fn fresh_copy(&mut self, device: usize, (day, groups): &Keeps) -> Copy {
        let mut copy = Copy::new();
        if !self.clubs[self.devices[device].club].people[self.devices[device].person].member {
            return copy;
        }
        let groups = groups.as_ref().map(|groups| groups.iter().map(Uuid::to_string).collect::<Vec<_>>().join(","));
        let groups = groups.map(|groups| format!("&groups={groups}")).unwrap_or_default();
        let mut token = day.map(|day| format!("&history_from={day}")).unwrap_or_default();
        loop {
            let request = Request::Pull { query: format!("limit=2000{groups}{token}") };
            let reply = self.ask(device, &request).await;
            assert_eq!(reply.status, 200, "{}", String::from_utf8_lossy(&reply.body));
            let page: Value = serde_json::from_slice(&reply.body).unwrap();
            for change in page["changes"].as_array().unwrap() {
                assert!(change["data"].is_object(), "a full copy at rest removes nothing: {change}");
                let key =
                    (change["type"].as_str().unwrap().to_owned(), change["id"].as_str().unwrap().parse().unwrap());
                assert!(copy.insert(key, change["data"].clone()).is_none(), "a full copy at rest sends once: {change}");
            }
            token = format!("&sync_token={}", page["sync_token"].as_str().unwrap());
            if page["more"] == false {
                return copy;
            }
        }
    }

    async fn compare_with_tables(&self, number: usize, who: &(usize, Keeps), copy: &Copy) {
        let (person, (history_from, groups)) = who;
        let club = &self.clubs[number];
        let mut tx = self.service.look(club.id).await;
        let rows: Vec<(String, Uuid, i64)> = sqlx::query_as(VISIBLE)
            .bind(club.id)
            .bind(club.people[*person].signed_in.account)
            .bind(history_from)
            .bind(groups)
            .fetch_all(&mut *tx)
            .await
            .unwrap();
        let stored: BTreeMap<(String, Uuid), i64> = rows.into_iter().map(|(kind, id, rev)| ((kind, id), rev)).collect();
        let sent: BTreeMap<(String, Uuid), i64> =
            copy.iter().filter(|((kind, _), _)| TYPES.contains(&kind.as_str())).map(version).collect();
        assert_eq!(sent, stored, "a full copy of club {number}, person {person}, is not what the tables show");
    }

    /// I1, I2, I7, I9, I10: what was promised is there, once, in the right club.
    pub async fn check_ledgers(&mut self) {
        for number in 0..self.clubs.len() {
            let id = self.clubs[number].id;
            let mut tx = self.service.look(id).await;
            let facts: Vec<StoredFact> = sqlx::query_as(FACTS).bind(id).fetch_all(&mut *tx).await.unwrap();
            let held: Vec<(Uuid, bool)> =
                sqlx::query_as("select id, outcome is not distinct from 'accepted' from held_item where club_id = $1")
                    .bind(id)
                    .fetch_all(&mut *tx)
                    .await
                    .unwrap();
            let refused: Vec<Uuid> = sqlx::query_scalar("select op_id from refused_edit where club_id = $1")
                .bind(id)
                .fetch_all(&mut *tx)
                .await
                .unwrap();
            let (rows, lowest, highest, last): (i64, i64, i64, i64) = sqlx::query_as(
                "select count(*), min(c.seq), max(c.seq), (select seq from club_clock where club_id = $1)
                 from club_change c where c.club_id = $1",
            )
            .bind(id)
            .fetch_one(&mut *tx)
            .await
            .unwrap();
            assert_eq!((rows, last), (highest - lowest + 1, highest), "the log of club {number} has a hole");
            self.figures.changes += highest;
            let log: Vec<(String, Uuid, i64)> = sqlx::query_as(
                "select kind, entity_id, seq from club_change where club_id = $1
                 and kind in ('venue', 'equipment', 'barrier_configuration', 'group', 'session', 'lane_plan', 'athlete', 'race_test',
                   'age_group', 'competition_spec')",
            )
            .bind(id)
            .fetch_all(&mut *tx)
            .await
            .unwrap();
            drop(tx);
            self.check_facts(number, &facts, &held);
            self.check_edits(number, &log, &refused).await;
        }
    }

    fn check_facts(&mut self, number: usize, facts: &[StoredFact], held: &[(Uuid, bool)]) {
        for (id, _) in held.iter().filter(|(_, accepted)| *accepted) {
            // Filed later, by an admin or with what it waited for; its phone need not have heard.
            let fact = self.clubs[number].ledger.facts.get_mut(id).unwrap();
            if fact.told == Told::Held {
                fact.told = Told::Stored(0);
            }
        }
        let ledger = &self.clubs[number].ledger;
        let stored: BTreeSet<(&str, Uuid)> = facts.iter().map(|(kind, id, ..)| (kind.as_str(), *id)).collect();
        let of = |wanted: bool| {
            let told = ledger.facts.iter().filter(|(_, fact)| matches!(fact.told, Told::Stored(_)) == wanted);
            let there = told.filter(|(_, fact)| {
                // What was measured of somebody is erased with them.
                !(wanted && ERASED.contains(&fact.kind.as_str()) && ledger.is_deleted(fact.athlete))
            });
            there.map(|(id, fact)| (fact.kind.as_str(), *id)).collect::<BTreeSet<_>>()
        };
        assert_eq!(of(true), stored, "facts that were confirmed, and those of the database, of club {number}");
        let held: BTreeSet<Uuid> = held.iter().filter(|(_, accepted)| !accepted).map(|(id, _)| *id).collect();
        // What is about somebody who was deleted is not held, and what was measured of them goes with them.
        let about_nobody = |id: &Uuid| ledger.facts.get(id).is_some_and(|fact| ledger.is_deleted(fact.athlete));
        let waiting = of(false).into_iter().map(|(_, id)| id).filter(|id| held.contains(id) || !about_nobody(id));
        let waiting: BTreeSet<Uuid> = waiting.collect();
        assert_eq!(waiting, held, "facts that are held, of club {number}");
        for (kind, id, rows, logged) in facts {
            assert!(*rows == 1 || (*rows == 0 && !logged), "{kind} {id} has {rows} rows in the log");
        }
        self.figures.facts += (stored.len() + held.len()) as u64;
    }

    async fn check_edits(&mut self, number: usize, log: &[(String, Uuid, i64)], refused: &[Uuid]) {
        let device = self.devices.iter().position(|one| one.club == number).unwrap();
        let all = self.fresh_copy(device, &(None, None)).await;
        let ledger = &self.clubs[number].ledger;
        for (kind, id, seq) in log {
            // A plan is also sent anew when one of its people comes into or out of somebody's sight.
            let edit = |one: &Edited| one.revs.contains(seq) || kind == "lane_plan";
            let known = ledger.edited.get(id).is_some_and(edit) || ledger.raced.contains(id);
            assert!(known, "club {number} has a change that nobody made: {kind} {id} at {seq}");
        }
        for (id, edited) in &ledger.edited {
            let stored = all.get(&(edited.kind.clone(), *id));
            match stored {
                Some(stored) if !edited.deleted => {
                    assert!(holds(stored, &edited.fields), "an edit is lost: {stored} should have {:?}", edited.fields);
                }
                Some(stored) => panic!("a deleted record is back: {stored}"),
                // A plan goes with its session.
                None => assert!(edited.deleted || edited.kind == "lane_plan", "{} {id} is lost", edited.kind),
            }
        }
        let kept: HashSet<Uuid> = refused.iter().copied().collect();
        // What was said about a person goes with the person.
        let lost: Vec<_> =
            ledger.refused.iter().filter(|(op, id)| !kept.contains(op) && !ledger.is_deleted(**id)).collect();
        assert!(lost.is_empty(), "refused values that were not kept: {lost:?}");
        for (id, (data, present)) in &ledger.present {
            let there = all.contains_key(&("attendance".to_owned(), *id));
            let alive = |kind: &str, field: &str| {
                let id = data[field].as_str().and_then(|id| id.parse::<Uuid>().ok());
                id.is_some_and(|id| all.contains_key(&(kind.to_owned(), id)))
            };
            let alive = alive("session", "session_id") && alive("athlete", "athlete_id");
            assert!(!there || *present, "an attendance that was taken back is there: {data}");
            assert!(there || !*present || !alive, "an attendance is lost: {data}");
        }
    }
}

fn assert_same(copy: &Copy, fresh: &Copy, whose: &str) {
    for (key, data) in copy {
        match fresh.get(key) {
            None => panic!("{whose} still shows {key:?}: {data}"),
            Some(other) => assert_eq!(data, other, "{whose} shows another {key:?}"),
        }
    }
    for (key, data) in fresh {
        assert!(copy.contains_key(key), "{whose} lacks {key:?}: {data}");
    }
}
