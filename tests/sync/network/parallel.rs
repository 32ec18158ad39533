//! Requests of several phones that the instances serve at the same time.

use std::collections::HashSet;
use std::rc::Rc;

use futures_util::future::join_all;
use serde_json::Value;
use tokio::sync::oneshot;

use super::world::World;
use crate::phone::{Lost, Reply, Request};

/// The most requests at once.
const MOST: usize = 4;

/// A phone that waits for an answer.
type Waiting = (usize, Request, oneshot::Sender<Result<Reply, Lost>>);

/// What a push edits or removes, by record; facts stand beside each other whatever their order.
fn edited(request: &Request) -> HashSet<String> {
    let Request::Push { body, .. } = request else { return HashSet::new() };
    let push: Value = serde_json::from_slice(body).unwrap_or_default();
    let facts = ["run", "assessment", "decision", "race_result", "wellbeing_record"];
    let edits = push["items"].as_array().into_iter().flatten().filter(|item| {
        let kind = item["type"].as_str().unwrap_or_default();
        let measures = kind == "measurement" && item["method"] == "PUT";
        !facts.contains(&kind) && !measures
    });
    let named = |item: &Value| [item["id"].clone(), item["data"]["athlete_id"].clone()];
    edits.flat_map(named).filter_map(|id| id.as_str().map(str::to_owned)).collect()
}

impl World {
    /// Serves several waiting phones at the same time, over a good network. Two that edit the same record are not among them:
    /// which of their edits came first would not show in the answers. Nor are two phones' pages and another's edits of the
    /// same club: what a page may hold is judged by what is stored when it has come.
    pub async fn serve_together(&mut self) {
        let mut chosen: Vec<Waiting> = Vec::new();
        let mut taken: HashSet<String> = HashSet::new();
        let (mut pulled, mut pushed) = (HashSet::new(), HashSet::new());
        let mut later = Vec::new();
        while let Some(device) = self.queue.pop_front() {
            let club = self.devices[device].club;
            let Some(asked) = self.devices[device].running.as_ref().and_then(|one| one.asked.as_ref()) else {
                continue;
            };
            let edits = edited(&asked.0);
            let pulls = matches!(asked.0, Request::Pull { .. });
            let apart = if pulls { pushed.contains(&club) } else { pulled.contains(&club) && !edits.is_empty() };
            if chosen.len() == MOST || apart || !edits.is_disjoint(&taken) {
                later.push(device);
                continue;
            }
            taken.extend(edits.iter().cloned());
            match (pulls, edits.is_empty()) {
                (true, _) => pulled.insert(club),
                (_, false) => pushed.insert(club),
                _ => false,
            };
            let (request, answer) = self.devices[device].running.as_mut().and_then(|one| one.asked.take()).unwrap();
            chosen.push((device, request, answer));
        }
        self.queue.extend(later);
        let service = Rc::clone(&self.service);
        if chosen.len() > 1 {
            self.figures.fault("at the same time");
        }
        let calls = chosen.iter().map(|(device, request, _)| {
            let one = &self.devices[*device];
            service.carry(&one.token, self.clubs[one.club].id, request)
        });
        let replies = join_all(calls).await;
        for ((device, request, answer), (reply, sent)) in chosen.into_iter().zip(replies) {
            // Who waits too long for another's lock is told to come again.
            let text = || String::from_utf8_lossy(&reply.body).into_owned();
            assert!(reply.status < 500 || reply.status == 503, "the service broke: {} {}", reply.status, text());
            self.note(device, &request, &reply, sent).await;
            answer.send(Ok(reply)).ok();
            self.next(device).await;
        }
    }
}
