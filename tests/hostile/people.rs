//! Who calls.

use chrono::Utc;
use serde_json::{Value, json};

use crate::service::Service;
use crate::text;
use crate::world::Scope;

/// The password of everybody.
pub const PASSWORD: &str = "five wickets in a row";

/// Every scope that a token can carry.
pub const SCOPES: [&str; 6] = ["squad.read", "session.write", "assessment.write", "plan.write", "sync", "club.admin"];

/// Somebody with an account.
#[derive(Clone, Debug)]
pub struct Person {
    pub name: &'static str,
    pub account: String,
    pub email: String,
    pub refresh: String,
    pub device: String,
    /// Empty without one.
    pub club: String,
    /// Lasts an hour, whatever the service gives, so that a long run needs no refresh.
    pub token: String,
    claims: Value,
    sees: Vec<Scope>,
    /// `admin`, `coach` or `viewer`; empty for those outside.
    pub role: &'static str,
    /// The place whose records are theirs.
    pub home: &'static str,
}

impl Person {
    /// Somebody who has just signed up.
    pub fn of(service: &Service, name: &'static str, email: &str, signed_up: &Value) -> Self {
        let text = |value: &Value| value.as_str().unwrap_or_default().to_owned();
        let genuine = text(&signed_up["tokens"]["access_token"]);
        let mut claims = text::claims(&genuine);
        claims["exp"] = json!(Utc::now().timestamp() + 3_600);
        let club = text(&signed_up["club"]["id"]);
        let mut person = Self {
            name,
            account: text(&signed_up["account"]["id"]),
            email: email.to_owned(),
            refresh: text(&signed_up["tokens"]["refresh_token"]),
            device: text(&claims["device"]),
            token: service.sign(&claims),
            claims,
            sees: Vec::new(),
            role: "",
            home: "own",
            club: String::new(),
        };
        if !club.is_empty() {
            person.join(club, name);
        }
        person
    }

    /// Says what somebody may see once they are in the club.
    pub fn join(&mut self, club: String, name: &str) {
        use Scope::{Admin, Club, Other, Own, Shared, South};
        self.club = club;
        (self.role, self.home, self.sees) = match name {
            "admin" => ("admin", "own", vec![Own, Other, Shared, Club, Admin]),
            "south admin" => ("admin", "south", vec![South]),
            "coach" => ("coach", "own", vec![Own, Shared, Club]),
            "other coach" => ("coach", "other", vec![Other, Shared, Club]),
            "both coach" => ("coach", "own", vec![Own, Other, Shared, Club]),
            "viewer" => ("viewer", "own", vec![Own, Shared, Club]),
            "other viewer" => ("viewer", "other", vec![Other, Shared, Club]),
            "leaver" => ("", "own", Vec::new()),
            other => panic!("{other} is in no club"),
        };
    }

    pub fn sees(&self, scope: Scope) -> bool {
        self.sees.contains(&scope)
    }

    /// A token with other scopes, as a third party's application has.
    pub fn with_scopes(&self, service: &Service, scopes: &str) -> Self {
        let mut claims = self.claims.clone();
        claims["scope"] = json!(scopes);
        Self { token: service.sign(&claims), ..self.clone() }
    }

    /// Tokens that look like theirs and are not.
    pub fn forged(&self, service: &Service) -> Vec<(&'static str, String)> {
        service.forged(&self.claims)
    }
}
