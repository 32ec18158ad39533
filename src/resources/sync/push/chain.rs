//! Edits of one record in one push follow each other: a later one was made on what an earlier one led to, although it can
//! only name the version that both were made on.

use std::collections::HashMap;

use uuid::Uuid;

use crate::platform::ops::{Done, Method, Op};
use crate::resources::athletes::merge;
use crate::resources::sync::items::Kind;
use crate::resources::sync::model::Type;

/// What stands for the whole record, beside the names of field groups.
const WHOLE: &str = "";

/// For records that this push changed: the version an item named, and the one it led to.
///
/// An edit of an athlete is merged with what others changed meanwhile, which its author has not seen. So it speaks for
/// the field groups it is about, and for the whole record only when nobody else changed it in between.
#[derive(Debug, Default)]
pub(super) struct Chain(HashMap<(Kind, Uuid, &'static str), (i64, i64)>);

fn is_merge(kind: Kind, op: &Op) -> bool {
    kind == Kind::Record(Type::Athlete) && op.method == Method::Patch
}

impl Chain {
    fn led_to(&self, (kind, id): (Kind, Uuid), part: &'static str, named: i64) -> Option<i64> {
        self.0.get(&(kind, id, part)).filter(|(before, _)| *before == named).map(|(_, led_to)| *led_to)
    }

    /// Puts the version that earlier items led to in the place of the one an item names.
    pub(super) fn follow(&self, kind: Kind, id: Uuid, op: &mut Op) {
        let groups = if is_merge(kind, op) { merge::groups_of(&op.data) } else { Vec::new() };
        let follow = |named: i64| {
            let parts =
                || groups.iter().map(|group| self.led_to((kind, id), group, named)).collect::<Option<Vec<i64>>>();
            self.led_to((kind, id), WHOLE, named).or_else(|| parts()?.into_iter().min()).unwrap_or(named)
        };
        op.if_match = op.if_match.map(follow);
        op.base_rev = op.base_rev.map(follow);
    }

    /// Notes what an item led to.
    pub(super) fn note(&mut self, kind: Kind, id: Uuid, op: &Op, done: &Done, rev: i64) {
        let Some(named) = op.if_match.or(op.base_rev) else { return };
        if !is_merge(kind, op) {
            self.0.insert((kind, id, WHOLE), (named, rev));
            return;
        }
        let before = self.led_to((kind, id), WHOLE, named).unwrap_or(named);
        if done.rev == before && done.conflicts.is_empty() {
            self.0.insert((kind, id, WHOLE), (named, rev));
        } else {
            self.0.remove(&(kind, id, WHOLE));
        }
        // A repeat does not say again which groups it changed: all of them.
        let groups = if done.conflicts.is_empty() { merge::groups_of(&op.data) } else { done.applied.clone() };
        self.0.extend(groups.into_iter().map(|group| ((kind, id, group), (named, rev))));
    }
}
