//! What happens in each scene.

mod copy;
mod items;
mod network;
mod outbox;

use chrono::Utc;
use serde_json::{Value, json};
use uuid::Uuid;

use super::deeds::Key;
use super::stage::Stage;

/// How a round of the phone's loop must end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ends {
    /// All was handed in, parked or is stuck, and all was fetched.
    Done,
    /// It goes on after so many seconds or more.
    Later(u64),
    /// It needs another access token.
    SignIn,
    /// Its member has left.
    Left,
    /// The app was revoked, and has forgotten everything.
    Forgotten,
    /// Either of them.
    Any,
}

/// What happens next.
pub(super) enum Step {
    /// The person records or creates.
    Record(Key, Value),
    /// The person changes fields of what the phone shows.
    Change(Key, Value),
    /// The person deletes.
    Delete(Key),
    /// The person insists on the deed of this number, which was refused.
    Insist(usize),
    /// The phone gets another access token.
    SignIn,
    /// The phone goes through its loop once.
    Sync(Ends),
    /// The phone says what it shows.
    Show,
    /// Something happens to the service.
    Happens(Box<dyn Fn(&mut Stage) + Send>),
}

impl std::fmt::Debug for Step {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Step")
    }
}

/// A scene.
#[derive(Debug)]
pub(super) struct Scene {
    pub name: &'static str,
    pub about: &'static str,
    pub steps: Vec<Step>,
}

/// All of them, the plain ones first.
pub(super) fn all() -> Vec<Scene> {
    [copy::scenes(), outbox::scenes(), items::scenes(), network::scenes()].into_iter().flatten().collect()
}

fn scene(name: &'static str, about: &'static str, steps: Vec<Step>) -> Scene {
    Scene { name, about, steps }
}

fn happens(what: impl Fn(&mut Stage) + Send + 'static) -> Step {
    Step::Happens(Box::new(what))
}

/// The service gets a record from elsewhere.
fn there_is(key: &Key, data: Value) -> Step {
    let key = key.clone();
    happens(move |stage| {
        stage.put(key.clone(), data.clone());
    })
}

const DONE: Step = Step::Sync(Ends::Done);

/// A new name for a record of a type.
fn new(kind: &str) -> Key {
    (kind.to_owned(), Uuid::now_v7())
}

fn athlete(name: &str) -> Value {
    json!({"display_name": name, "sex": "F", "birth_year": 2012, "experience": "novice", "group_ids": [Uuid::nil()]})
}

fn session() -> Value {
    json!({"held_on": Utc::now().date_naive(), "state": "held", "group_ids": [Uuid::nil()]})
}

fn venue(name: &str, lanes: u8) -> Value {
    json!({"name": name, "environment": "outdoor", "straight_m": 80.0, "lanes": lanes})
}

fn run(of: &Key, hits: u8) -> Value {
    json!({"athlete_id": of.1, "session_id": Uuid::nil(), "run_at": format!("{}T08:00:00Z", Utc::now().date_naive()),
        "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": 6.25, "barriers": 5, "hits": hits, "fell": false,
        "intervals": {"held": 4}})
}
