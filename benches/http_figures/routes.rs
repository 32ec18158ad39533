//! What is asked for, of a squad that trained for a season and of clubs with a long log.

use serde_json::json;

use crate::flood_figures::squad::Squad;
use crate::sync_figures::reference::{MARK, Source};
use crate::sync_figures::wire::{self, Wire};
use crate::sync_figures::{Bench, clubs, pushes};

/// The squad of the season: athletes, days since each session.
pub const ATHLETES: usize = 60;
const SESSIONS: i64 = 52;
const EVERY: i64 = 3;
/// Who runs in the lane plan, over so many lanes.
const RUNNERS: usize = 40;
const LANES: u32 = 6;
/// The log that is read: so many changes, and so many pages before its last one.
const CHANGES: u32 = 50_000;
const BEFORE_LAST: usize = 30;
/// Clubs that are pushed to, one a client.
const PUSHED: u32 = 8;

/// A route.
pub struct Route {
    /// How the table calls it.
    pub name: &'static str,
    /// How files and peers call it.
    pub key: &'static str,
    /// Clients at once.
    pub clients: u32,
    /// The status of success.
    pub status: u16,
    /// A request of a client; the number is chance.
    pub call: Box<dyn Fn(u32, u64) -> Vec<u8> + Sync>,
    /// Where its statements are recorded for pgbench.
    pub source: (Option<u32>, usize),
    /// At least this share of what pgbench reaches.
    pub ceiling: Option<f64>,
    /// At most so much processor time of the service a request, ms.
    pub cpu: Option<f64>,
    /// Whether the ordinary stacks answer it too.
    pub peers: bool,
}

impl Route {
    fn get(name: &'static str, key: &'static str, path: &str, access: &str) -> Self {
        let call = wire::get(path, access);
        Self {
            name,
            key,
            clients: 8,
            status: 200,
            call: Box::new(move |_, _| call.clone()),
            source: (None, 0),
            ceiling: None,
            cpu: None,
            peers: false,
        }
    }

    /// Where its statements come from.
    pub fn source(&self) -> Source<'_> {
        Source { name: self.key, club: self.source.0, changes: self.source.1 }
    }

    /// The request with the mark in its new ids.
    pub fn marked(&self) -> Vec<u8> {
        (self.call)(0, MARKED)
    }
}

/// The chance that leaves the mark as it is.
const MARKED: u64 = 0;

/// Puts chance in the place of the mark.
fn unmarked(text: &str, random: u64) -> String {
    if random == MARKED {
        return text.to_owned();
    }
    text.replace(MARK, &format!("{:08x}-{:04x}", random >> 32, random >> 16 & 0xffff))
}

/// What the routes are asked about.
pub struct Ground {
    squad: Squad,
    token: String,
    /// The club whose log is read; those that are pushed to follow.
    logged: u32,
}

impl Ground {
    /// Fills the database: the squad through the service, the clubs with a log straight into the tables, from this number on.
    pub fn fill(bench: &Bench, address: &str, logged: u32) -> Self {
        let mut wire = Wire::open(address);
        let days: Vec<i64> = (1..=SESSIONS).rev().map(|number| number * EVERY).collect();
        let squad = Squad::found(&mut wire, &format!("season-{logged}"), ATHLETES, &days);
        bench.sql(async |conn| {
            clubs::found(conn, logged, logged + PUSHED, 1).await;
        });
        // A token of a phone that is up to date, before the log grows beyond it.
        let access = clubs::access(&bench.keys, logged, 1);
        let page = format!("/v1/clubs/{}/changes?limit=500", clubs::club_id(logged));
        wire.call(&wire::get(&page, &access));
        let mut tokens = Vec::new();
        let mut next = |wire: &Wire| {
            let page = wire.json();
            tokens.push(page.get("sync_token").and_then(|one| one.as_str()).expect("a token").to_owned());
            (
                tokens.last().cloned().unwrap_or_default(),
                page.get("more").and_then(serde_json::Value::as_bool) == Some(true),
            )
        };
        let (mut last, _) = next(&wire);
        bench.sql(async |conn| clubs::fill(conn, logged, clubs::ATHLETES, CHANGES).await);
        loop {
            wire.call(&wire::get(&format!("{page}&sync_token={last}"), &access));
            let (token, more) = next(&wire);
            last = token;
            if !more {
                break;
            }
        }
        // Its athletes came first, each with all that was recorded since: what follows is what a phone reads from day to day.
        let token = tokens.swap_remove(tokens.len() - BEFORE_LAST);
        bench.settle();
        Self { squad, token, logged }
    }

    /// The routes, with tokens that are new.
    #[allow(clippy::too_many_lines)] // one entry for each route
    pub fn routes(&self, bench: &Bench) -> Vec<Route> {
        let Squad { club, athletes, groups: [all, twelve], session, .. } = &self.squad;
        let access = renewed(bench, &self.squad.access);
        let get = |name, key, path: String| Route::get(name, key, &format!("{club}{path}"), &access);
        let log = format!("/v1/clubs/{}/changes?limit=500&sync_token={}", clubs::club_id(self.logged), self.token);
        let athlete = &athletes[athletes.len() / 2];
        let season = chrono::Utc::now().date_naive() - chrono::Duration::days(SESSIONS * EVERY);
        let plan = json!({"id": format!("{MARK}-7000-8000-00000000aaaa"), "lanes": LANES, "capacity": 8,
            "barriers": {"min": 4, "max": 6}, "athlete_ids": athletes[..RUNNERS], "objective": "total"});
        let (plan, plans) = (plan.to_string(), format!("{club}/sessions/{session}/lane-plans"));
        let of_plan = access.clone();
        let body = pushes::body();
        let pushed = self.logged + 1;
        let phones: Vec<(String, String)> = (pushed..pushed + PUSHED)
            .map(|club| (format!("/v1/clubs/{}/changes", clubs::club_id(club)), clubs::access(&bench.keys, club, 1)))
            .collect();
        vec![
            Route { ceiling: Some(0.6), peers: true, ..get("one athlete", "one", format!("/athletes/{athlete}")) },
            Route { peers: true, ..get("50 athletes", "fifty", "/athletes?limit=50".to_owned()) },
            Route {
                cpu: Some(2.5),
                ..get("one recommendation", "recommendation", format!("/athletes/{athlete}/recommendation"))
            },
            Route {
                clients: 4,
                cpu: Some(12.0),
                ..get(
                    "recommendations of a group of 12",
                    "recommendations",
                    format!("/groups/{twelve}/recommendations"),
                )
            },
            Route {
                clients: 2,
                ..get("summary of 60 over a season", "summary", format!("/groups/{all}/progression?from={season}"))
            },
            Route {
                clients: 2,
                status: 201,
                source: (None, 1),
                call: Box::new(move |_, random| wire::post(&plans, &of_plan, unmarked(&plan, random).as_bytes())),
                ..get("lane plan, 40 athletes, 6 lanes", "plan", String::new())
            },
            Route {
                source: (Some(pushed), pushes::ITEMS as usize),
                call: Box::new(move |client, random| {
                    let (path, access) = phones.get(client as usize).expect("a club for each client");
                    wire::post(path, access, unmarked(&body, random).as_bytes())
                }),
                ceiling: Some(0.8),
                peers: true,
                ..get("push of 50 runs", "push", String::new())
            },
            Route {
                ceiling: Some(0.8),
                peers: true,
                ..Route::get("page of 500 changes", "page", &log, &clubs::access(&bench.keys, self.logged, 1))
            },
            get("200 runs", "runs", "/runs?limit=200".to_owned()),
        ]
    }
}

/// A new access token of the same sign-in: they last a quarter of an hour.
fn renewed(bench: &Bench, access: &str) -> String {
    let claims = bench.keys.verify(access).expect("our token");
    bench.keys.sign(claims.sub, claims.device, &claims.scope, chrono::Utc::now()).expect("a key")
}
