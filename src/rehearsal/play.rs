//! Plays the scenes one after another: hands the driver its steps and judges what came of them.

use std::collections::VecDeque;
use std::time::Instant;

use serde_json::{Value, json};
use uuid::Uuid;

use super::deeds::{Act, Deed, Key, Place};
use super::report::{Report, Verdict};
use super::rules;
use super::scenes::{Ends, Scene, Step};
use super::stage::{Answer, Stage};

/// Changes on a page, so that a copy of few records takes several.
const PAGE: usize = 3;

/// What the driver was asked last.
#[derive(Clone, Copy, Debug)]
enum Asked {
    Nothing,
    Something,
    Sync(Ends),
    Show,
}

/// A rehearsal under way.
#[derive(Debug)]
pub(super) struct Play {
    scenes: VecDeque<Scene>,
    steps: VecDeque<Step>,
    now: Option<(&'static str, &'static str)>,
    asked: Asked,
    pub club: Uuid,
    pub stage: Stage,
    pub report: Report,
    /// When somebody asked last.
    pub heard: Instant,
}

impl Play {
    pub(super) fn new(scenes: Vec<Scene>) -> Self {
        Self {
            scenes: scenes.into(),
            steps: VecDeque::new(),
            now: None,
            asked: Asked::Nothing,
            club: Uuid::now_v7(),
            stage: Stage::default(),
            report: Report::default(),
            heard: Instant::now(),
        }
    }

    /// Judges the driver's answer to the last step; the next one.
    pub(super) fn next(&mut self, answer: &Value) -> Value {
        match std::mem::replace(&mut self.asked, Asked::Something) {
            Asked::Nothing | Asked::Something => {}
            Asked::Sync(ends) => self.round_ended(ends, answer),
            Asked::Show => self.shown(answer),
        }
        loop {
            if !self.stage.findings.is_empty() {
                self.steps.clear();
            }
            let Some(step) = self.steps.pop_front() else {
                self.end_scene();
                let Some(scene) = self.scenes.pop_front() else {
                    self.report.complete = true;
                    return json!({"do": "end"});
                };
                return self.begin(scene);
            };
            if let Some(told) = self.take(step) {
                return told;
            }
        }
    }

    fn end_scene(&mut self) {
        let Some((scene, about)) = self.now.take() else { return };
        let findings = std::mem::take(&mut self.stage.findings);
        self.report.verdicts.push(Verdict { scene, about, findings });
    }

    /// Ends the rehearsal before its last scene has.
    pub(super) fn give_up(&mut self) -> Report {
        self.end_scene();
        self.report.clone()
    }

    fn begin(&mut self, scene: Scene) -> Value {
        self.club = Uuid::now_v7();
        self.stage = Stage::new(format!("rehearsal-{}", Uuid::now_v7()), PAGE);
        self.now = Some((scene.name, scene.about));
        self.steps = scene.steps.into();
        json!({"do": "begin", "scene": scene.name, "about": scene.about, "club_id": self.club,
            "access_token": self.stage.access})
    }

    /// A step of the scene: something for the driver, or something that happens to the service.
    fn take(&mut self, step: Step) -> Option<Value> {
        match step {
            Step::Record(key, data) => Some(self.does(Act::Record, key, data)),
            Step::Change(key, data) => Some(self.does(Act::Change, key, data)),
            Step::Delete(key) => Some(self.does(Act::Delete, key, Value::Null)),
            Step::Insist(at) => self.insists(at),
            Step::SignIn => {
                self.stage.access = format!("rehearsal-{}", Uuid::now_v7());
                Some(json!({"do": "sign_in", "access_token": self.stage.access}))
            }
            Step::Sync(ends) => {
                self.stage.round = super::stage::Round::default();
                self.stage.deeds.iter_mut().for_each(|deed| deed.asked = false);
                self.asked = Asked::Sync(ends);
                Some(json!({"do": "sync"}))
            }
            Step::Show => {
                self.asked = Asked::Show;
                Some(json!({"do": "show"}))
            }
            Step::Happens(happens) => {
                happens(&mut self.stage);
                None
            }
        }
    }

    fn does(&mut self, act: Act, key: Key, data: Value) -> Value {
        let word = match act {
            Act::Record => "record",
            Act::Change => "change",
            Act::Delete => "delete",
        };
        let mut told = json!({"do": word, "type": key.0, "id": key.1});
        if act != Act::Delete {
            told["data"] = data.clone();
        }
        let parts = if act == Act::Change { Deed::parts(&key, &data) } else { vec![data] };
        for part in parts {
            let mut deed = Deed::new(act, key.clone(), part, None);
            deed.base = self.stage.base_of(&deed).filter(|_| act != Act::Record);
            self.stage.deeds.push(deed);
        }
        told
    }

    /// The person insists on what was refused: it goes again as another item, on the version that the refusal told.
    fn insists(&mut self, at: usize) -> Option<Value> {
        let deed = self.stage.deeds.get_mut(at)?;
        deed.place = Place::Gone;
        let again =
            Deed { base: deed.current.or(deed.base), place: Place::Outbox, first: None, asked: false, ..deed.clone() };
        let told = json!({"do": "insist", "type": deed.key.0, "id": deed.key.1, "op_id": deed.op_id()});
        self.stage.deeds.push(again);
        Some(told)
    }

    /// The phone says how its round ended.
    fn round_ended(&mut self, ends: Ends, answer: &Value) {
        let outcome = answer.get("outcome").and_then(Value::as_str).unwrap_or_default();
        let wait = answer.get("seconds").and_then(Value::as_u64).unwrap_or_default();
        if !(self.stage.pulls.is_empty() && self.stage.pushes.is_empty()) {
            self.stage.find(rules::LOOP, "the round ended before the phone asked for all that the scene has ready");
            return;
        }
        let wrong = match ends {
            Ends::Done if outcome != "done" => Some((rules::LOOP, "done".to_owned())),
            Ends::Later(least) if outcome != "later" || wait < least => {
                Some((rules::STOP, format!("later, after {least} seconds or more")))
            }
            Ends::SignIn if outcome != "sign_in" => Some((rules::SIGN_IN, "sign_in".to_owned())),
            Ends::Forgotten if outcome != "forgotten" => Some((rules::FORGET, "forgotten".to_owned())),
            Ends::Left if outcome != "left" => Some((rules::LEFT, "left".to_owned())),
            _ => None,
        };
        if let Some((rule, wanted)) = wrong {
            self.stage.find(rule, format!("the round ended with {answer}, not {wanted}"));
        }
        if ends != Ends::Done {
            return;
        }
        if !self.stage.round.finished {
            self.stage.find(rules::PULL, "the round ended although the last page said that there is more");
        }
        let waits = self.stage.deeds.iter().find(|deed| deed.can_go() && !deed.asked);
        if let Some((rule, seen)) =
            waits.map(|deed| (deed.why, format!("the round ended before {} {} was handed in", deed.key.0, deed.key.1)))
        {
            self.stage.find(rule, seen);
        }
    }

    /// The phone says what it shows and keeps.
    fn shown(&mut self, answer: &Value) {
        let list = answer.get("records").and_then(Value::as_array).cloned().unwrap_or_default();
        let (shown, wanted) = (Stage::read_shown(&list), self.stage.shown());
        for (key, data) in &wanted {
            match shown.get(key) {
                None => self.stage.find(rules::WHOLE, format!("the phone does not show {} {}", key.0, key.1)),
                Some(other) if other != data => {
                    let lacks = data.as_object().into_iter().flatten().any(|(name, _)| other.get(name).is_none());
                    let rule = if lacks { rules::MEMBERS } else { rules::WHOLE };
                    self.stage.find(rule, format!("the phone shows {} {} as {other}, not {data}", key.0, key.1));
                }
                Some(_) => {}
            }
        }
        for key in shown.keys().filter(|key| !wanted.contains_key(*key)) {
            self.stage.find(rules::REMOVED, format!("the phone still shows {} {}", key.0, key.1));
        }
        let count = |name: &str| answer.get(name).and_then(Value::as_u64);
        let are = |place: Place| self.stage.deeds.iter().filter(|deed| deed.place == place).count() as u64;
        let (waiting, parked, erased) = (are(Place::Outbox), are(Place::Parked), are(Place::Erased));
        let said = count("waiting").unwrap_or_default();
        if said != waiting {
            let rule = self.outbox_rule(said > waiting);
            self.stage.find(rule, format!("{said} items wait in the outbox, not {waiting}"));
        }
        if count("parked") != Some(parked) {
            let seen = format!("{:?} items are parked, not {parked}", count("parked").unwrap_or_default());
            let rule = if erased > 0 { rules::ERASED } else { rules::PARK };
            self.stage.find(rule, seen);
        }
    }

    /// What a phone breaks whose outbox holds more or less than it should.
    fn outbox_rule(&self, more: bool) -> &'static str {
        let deeds = || self.stage.deeds.iter();
        if more {
            if deeds().any(|deed| deed.place == Place::Erased) {
                return rules::ERASED;
            }
            let held = deeds().any(|deed| matches!(deed.place, Place::Journal(_)) && deed.led_to.is_none());
            return if held { rules::HELD } else { rules::CONFIRMED };
        }
        let why = deeds().find(|deed| deed.place == Place::Outbox).map(|deed| deed.why);
        why.filter(|why| *why != rules::LOOP).unwrap_or(rules::OUTBOX)
    }

    /// Answers a call of the phone.
    pub(super) fn hear(&mut self, club: &str, token: &str, call: Call<'_>) -> Answer {
        if club != self.club.to_string() || token != self.stage.access {
            let seen =
                format!("a call for club {club} with access token {token:?}, not those of the last begin or sign_in");
            self.stage.find(rules::SIGN_IN, seen);
            return Answer::Json(401, json!({"type": "/problems/unauthenticated", "status": 401}), None);
        }
        match call {
            Call::Pull(query) => self.stage.hear_pull(query),
            Call::Push(body) => self.stage.hear_push(body),
        }
    }
}

/// What the phone asks.
#[derive(Clone, Copy, Debug)]
pub(super) enum Call<'a> {
    Pull(&'a [(String, String)]),
    Push(&'a [u8]),
}
