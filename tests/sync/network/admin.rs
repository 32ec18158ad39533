//! What admins do: members and what they see, the holding area, phones that must copy afresh.

use std::rc::Rc;

use actix_web::http::Method;
use serde_json::{Value, json};
use uuid::Uuid;

use super::service::Answer;
use super::world::World;

impl World {
    pub async fn admin(&self, club: usize, method: Method, path: &str, etag: &str, body: Option<Value>) -> Answer {
        let club = &self.clubs[club];
        let path = format!("/v1/clubs/{}{path}", club.id);
        self.service.call(&club.people[0].signed_in.token, method, &path, etag, body).await
    }

    /// Some action of a club's admin.
    pub async fn act(&mut self, club: usize) {
        self.figures.actions += 1;
        let person = 1 + self.dice.pick(3) as usize;
        match self.dice.pick(14) {
            0..6 => self.regroup(club, person).await,
            6 => self.set_role(club, person).await,
            7 => self.come_or_go(club, person).await,
            8..11 => self.decide(club).await,
            11 => self.enter(club).await,
            12 => self.set_up(club).await,
            _ => self.resync(club).await,
        }
    }

    async fn change_member(&mut self, club: usize, person: usize, change: Value) {
        if !self.clubs[club].people[person].member {
            return;
        }
        let path = format!("/members/{}", self.clubs[club].people[person].signed_in.account);
        let member = self.admin(club, Method::GET, &path, "", None).await.expect(200);
        self.admin(club, Method::PATCH, &path, &member.etag, Some(change)).await.expect(200);
    }

    pub fn some_groups(&mut self, club: usize) -> Vec<Uuid> {
        let all = self.clubs[club].groups.clone();
        let first = self.dice.pick(3) as usize;
        let mut groups = vec![all[first]];
        groups
            .extend(all.iter().enumerate().filter(|(at, _)| *at != first && self.dice.chance(0.4)).map(|(_, id)| *id));
        groups
    }

    /// A coach gets other groups.
    async fn regroup(&mut self, club: usize, person: usize) {
        self.figures.fault("grants changed");
        let groups = self.some_groups(club);
        self.change_member(club, person, json!({"group_ids": groups})).await;
        self.clubs[club].people[person].groups = groups;
    }

    /// A coach may only look on, or may record again.
    async fn set_role(&mut self, club: usize, person: usize) {
        self.figures.fault("role changed");
        let role = if self.dice.chance(0.4) { "viewer" } else { "coach" };
        self.change_member(club, person, json!({"role": role})).await;
    }

    /// A member leaves, or comes back.
    pub async fn come_or_go(&mut self, club: usize, person: usize) {
        let service = Rc::clone(&self.service);
        let id = self.clubs[club].id;
        if self.clubs[club].people[person].member {
            self.figures.fault("member removed");
            let path = format!("/members/{}", self.clubs[club].people[person].signed_in.account);
            let member = self.admin(club, Method::GET, &path, "", None).await.expect(200);
            self.admin(club, Method::DELETE, &path, &member.etag, None).await.expect(204);
            self.clubs[club].people[person].member = false;
        } else {
            let groups = self.some_groups(club);
            let people = &self.clubs[club].people;
            service.join(id, &people[0].signed_in, &people[person].signed_in, "coach", &groups).await;
            let person = &mut self.clubs[club].people[person];
            (person.member, person.groups) = (true, groups);
        }
    }

    /// Decides on one held fact.
    async fn decide(&mut self, club: usize) {
        let list = self.admin(club, Method::GET, "/held-items?limit=20", "", None).await.expect(200).json();
        let Some(items) = list["items"].as_array().filter(|items| !items.is_empty()) else { return };
        let item = &items[self.dice.pick(u32::try_from(items.len()).unwrap()) as usize];
        self.figures.fault("held fact decided");
        let path = format!("/held-items/{}", item["id"].as_str().unwrap());
        if self.dice.chance(0.3) {
            let body = Some(json!({"reason": "Recorded twice by hand"}));
            self.admin(club, Method::POST, &format!("{path}/reject"), "", body).await.expect(200);
            return;
        }
        let at = format!("{}T00:00:00Z", self.today());
        let place = if item["reason"] == "clock" && item["type"] == "run" { json!({"at": at}) } else { json!({}) };
        let answer = self.admin(club, Method::POST, &format!("{path}/accept"), "", Some(place)).await;
        assert!(answer.status < 500, "{}", answer.json());
    }

    /// The club gets another name.
    async fn set_up(&mut self, club: usize) {
        self.figures.fault("club settings changed");
        let name = self.name(club, "Club");
        let shown = self.admin(club, Method::GET, "", "", None).await.expect(200);
        self.admin(club, Method::PATCH, "", &shown.etag, Some(json!({"name": name}))).await.expect(200);
    }

    /// A phone must copy afresh.
    async fn resync(&mut self, club: usize) {
        let list = self.admin(club, Method::GET, "/sync-devices", "", None).await.expect(200).json();
        let Some(items) = list["items"].as_array().filter(|items| !items.is_empty()) else { return };
        self.figures.fault("full copy forced");
        let item = &items[self.dice.pick(u32::try_from(items.len()).unwrap()) as usize];
        let path = format!("/sync-devices/{}/resync", item["id"].as_str().unwrap());
        self.admin(club, Method::POST, &path, "", None).await.expect(204);
    }
}
