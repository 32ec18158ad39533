//! The bad network: what can become of a request and of its answer.

use std::rc::Rc;

use serde_json::Value;

use super::world::World;
use crate::phone::{Lost, Reply, Request};

/// A request that the network delivers much later.
pub struct Late {
    due: i64,
    device: usize,
    request: Request,
}

/// An answer that the network delivers to a later request.
pub struct Kept {
    push: bool,
    reply: Reply,
}

impl World {
    /// The service answers a request of a phone; what it says is checked and noted.
    pub async fn ask(&mut self, device: usize, request: &Request) -> Reply {
        let service = Rc::clone(&self.service);
        let one = &self.devices[device];
        let club = self.clubs[one.club].id;
        let (reply, sent) = service.carry(&one.token, club, request).await;
        let text = || String::from_utf8_lossy(&reply.body).into_owned();
        assert!(reply.status < 500, "the service broke: {} {}", reply.status, text());
        self.note(device, request, &reply, sent).await;
        reply
    }

    /// Checks and notes an answer.
    pub async fn note(&mut self, device: usize, request: &Request, reply: &Reply, sent: usize) {
        self.figures.requests += 1;
        match request {
            Request::Pull { .. } => {
                self.figures.down(reply);
                if reply.status == 200 {
                    self.check_page(device, reply).await;
                }
            }
            Request::Push { body, .. } => {
                self.figures.up(body, sent);
                // A body that was cut is no push.
                if let (200, Ok(push)) = (reply.status, serde_json::from_slice::<Value>(body)) {
                    self.note_results(device, &push, reply);
                }
            }
        }
    }

    /// Serves one waiting phone, as well or badly as the dice say.
    pub async fn serve(&mut self, at: usize) {
        let Some(device) = self.queue.remove(at) else { return };
        if at > 0 {
            self.figures.fault("reordered");
        }
        let Some((request, answer)) = self.devices[device].running.as_mut().and_then(|one| one.asked.take()) else {
            return;
        };
        let fate = if self.plan.faults { self.dice.pick(100) } else { 99 };
        let reply = self.travel(device, &request, fate).await;
        answer.send(reply).ok();
        self.next(device).await;
    }

    async fn travel(&mut self, device: usize, request: &Request, fate: u32) -> Result<Reply, Lost> {
        match fate {
            0..3 => {
                self.figures.fault("request dropped");
                Err(Lost)
            }
            3..6 => {
                self.figures.fault("answer dropped");
                self.ask(device, request).await;
                Err(Lost)
            }
            6..9 => {
                self.figures.fault("duplicated");
                let first = self.ask(device, request).await;
                let second = self.ask(device, request).await;
                Ok(if fate == 6 { first } else { second })
            }
            9..12 => {
                self.figures.fault("delayed 0 to 90 days");
                #[allow(clippy::cast_possible_truncation)] // 90 days
                let wait = (self.dice.share() * 90.0 * 86_400.0) as i64;
                self.late.push(Late { due: self.service.date.get() + wait, device, request: request.clone() });
                Err(Lost)
            }
            12..15 => {
                let reply = self.ask(device, request).await;
                self.devices[device].kept.push(Kept { push: is_push(request), reply });
                Err(Lost)
            }
            15..18 => Ok(self.late_answer(device, request).await),
            18..20 => {
                self.figures.fault("answer cut");
                let mut reply = self.ask(device, request).await;
                let length = u32::try_from(reply.body.len()).unwrap();
                reply.body.truncate(self.dice.pick(length.max(1)) as usize);
                Ok(reply)
            }
            20..22 => {
                if let Request::Push { body, gzip } = request {
                    self.figures.fault("request cut");
                    let length = self.dice.pick(u32::try_from(body.len()).unwrap()) as usize;
                    self.ask(device, &Request::Push { body: body[..length].to_vec(), gzip: *gzip }).await;
                }
                Err(Lost)
            }
            22..24 => {
                self.figures.fault("overloaded (429, 503)");
                let status = if fate == 22 { 429 } else { 503 };
                Ok(Reply { status, body: b"{}".to_vec(), date: self.service.date.get(), retry_after: Some(2) })
            }
            _ => Ok(self.ask(device, request).await),
        }
    }

    /// An answer to an earlier request comes instead, whatever becomes of this one.
    async fn late_answer(&mut self, device: usize, request: &Request) -> Reply {
        let reply = self.ask(device, request).await;
        let push = is_push(request);
        let kept = &mut self.devices[device].kept;
        match kept.iter().position(|one| one.push == push) {
            Some(at) => {
                self.figures.fault("late answer");
                kept.swap_remove(at).reply
            }
            None => reply,
        }
    }

    /// Delivers the requests whose time has come; all of them at the end.
    pub async fn deliver_late(&mut self, all: bool) {
        let now = self.service.date.get();
        while let Some(at) = self.late.iter().position(|one| all || one.due <= now) {
            let Late { device, request, .. } = self.late.swap_remove(at);
            self.ask(device, &request).await;
        }
    }
}

fn is_push(request: &Request) -> bool {
    matches!(request, Request::Push { .. })
}
