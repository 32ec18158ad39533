//! Batches of append-only facts: one result for each item, in the order of the request.

use std::collections::{HashMap, HashSet};
use std::hash::BuildHasher;
use std::ops::Range;

use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::db::ClubTx;
use super::fault::{Fault, Faults};
use super::problem::{Code, Problem, ProblemBody};

/// Most items of a batch.
pub const MAX_ITEMS: usize = 500;

/// What became of an item.
///
/// - `created`: It is stored now.
/// - `unchanged`: It was stored before, with the same content.
/// - `held`: It is kept in the holding area; `problem` says why, and who decides.
/// - `rejected`: It was not stored; `problem` says why.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ItemStatus {
    /// It is stored now.
    Created,
    /// It was stored before, with the same content.
    Unchanged,
    /// It is kept in the holding area; `problem` says why, and who decides.
    Held,
    /// It was not stored; `problem` says why.
    Rejected,
}

/// The outcome of one item.
#[derive(Debug, Serialize, ToSchema)]
pub struct ItemResult {
    /// The item's id.
    pub id: Uuid,
    /// What became of it.
    pub status: ItemStatus,
    /// Number of the change that stored it.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1, example = 42)]
    pub rev: Option<i64>,
    /// Why it was rejected, or is held.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub problem: Option<ProblemBody>,
}

/// The outcome of a batch.
#[derive(Debug, Serialize, ToSchema)]
pub struct BatchResult {
    /// One entry for each item, in the order of the request.
    #[schema(max_items = 500)]
    pub results: Vec<ItemResult>,
}

/// An item on its way in.
#[derive(Debug)]
pub struct Item<T> {
    /// Its id.
    pub id: Uuid,
    /// The fact, or why it is refused.
    pub value: Result<T, Problem>,
}

/// Refuses a batch that is empty or too long.
///
/// # Errors
/// 422 at `pointer`.
pub fn check_length(pointer: &str, count: usize) -> Result<(), Problem> {
    if (1..=MAX_ITEMS).contains(&count) {
        return Ok(());
    }
    Err(Problem::invalid(vec![Fault::at(pointer, "length", format!("must have 1 to {MAX_ITEMS} items"))]))
}

/// The problem of an item whose faults have pointers relative to it.
pub fn invalid_item(prefix: &str, mut faults: Vec<Fault>) -> Problem {
    for fault in &mut faults {
        fault.pointer = fault.pointer.take().map(|pointer| format!("{prefix}{pointer}"));
    }
    Problem::invalid(faults)
}

/// Refuses a correction of a fact that is not there, is about something else, or was corrected already.
///
/// `earlier` is the stored fact: whether it is about the same, as `rule` (what it is called, and what it must be) demands,
/// and what corrected it before. `replaced` are the facts that the batch corrected so far, with what corrected each.
pub fn check_correction<S: BuildHasher>(
    faults: &mut Faults,
    (id, replaces): (Uuid, Uuid),
    earlier: Option<(bool, Option<Uuid>)>,
    replaced: &mut HashMap<Uuid, Uuid, S>,
    (called, rule): (&str, &str),
) {
    let later =
        replaced.get(&replaces).copied().or_else(|| earlier.and_then(|(_, later)| later)).filter(|one| *one != id);
    match earlier {
        None => faults.add("/supersedes", "unknown_id", format!("there is no such {called}")),
        Some((false, _)) => faults.add("/supersedes", "other_athlete", rule),
        Some(_) => match later {
            Some(later) => {
                faults.add("/supersedes", "superseded", format!("was corrected before, by {later}; correct that one"));
            }
            // One that is broken corrects nothing.
            None if faults.is_empty() => drop(replaced.insert(replaces, id)),
            None => {}
        },
    }
}

/// Cuts a batch so that no fact is about another of its own part: what it corrects or clears is stored when its turn comes.
///
/// `facts` are ids, each with those that it is about.
fn parts<E: IntoIterator<Item = Uuid>>(facts: impl Iterator<Item = (Uuid, E)>) -> Vec<Range<usize>> {
    let (mut parts, mut begun, mut seen, mut count) = (Vec::new(), 0, HashSet::new(), 0);
    for (at, (id, about)) in facts.enumerate() {
        if about.into_iter().any(|earlier| seen.contains(&earlier)) {
            parts.push(begun..at);
            begun = at;
            seen.clear();
        }
        seen.insert(id);
        count = at + 1;
    }
    parts.push(begun..count);
    parts
}

/// Files a batch part by part, so that a fact may correct an earlier one of the batch; what became of its items, in order.
///
/// The facts and what they correct are the batch's own until its commit: of two batches that share facts, in whichever
/// order, the second meets what the first stored.
///
/// `names` gives a fact's id and those that it corrects or clears; `file` gets a part and the place of its first item in the batch.
///
/// # Errors
/// Those of `file`.
pub async fn in_parts<F, T, E: IntoIterator<Item = Uuid>>(
    tx: &mut ClubTx,
    sent: &[F],
    names: impl Fn(&F) -> (Uuid, E),
    mut file: impl AsyncFnMut(&mut ClubTx, &[F], usize) -> Result<(Vec<Item<T>>, Vec<Decision>), Problem>,
) -> Result<(Vec<Item<T>>, Vec<Decision>), Problem> {
    let records = sent.iter().map(&names).flat_map(|(id, about)| std::iter::once(id).chain(about));
    tx.alone_all(records).await?;
    let (mut items, mut decisions) = (Vec::with_capacity(sent.len()), Vec::with_capacity(sent.len()));
    for part in parts(sent.iter().map(names)) {
        let from = part.start;
        let filed = file(tx, sent.get(part).unwrap_or_default(), from).await?;
        items.extend(filed.0);
        decisions.extend(filed.1);
    }
    Ok((items, decisions))
}

/// What became of each fact as it was parsed: what is new is checked, what is stored already passes, because what it
/// refers to may be gone by now.
///
/// `repeated` makes a stored fact comparable; `check` gets the facts that the batch corrected so far; `prefix` gives the
/// JSON pointer of an item.
pub fn judge<T, V, S: BuildHasher>(
    parsed: Vec<(Uuid, Result<T, Vec<Fault>>)>,
    taken: &HashMap<Uuid, V, S>,
    repeated: impl Fn(&mut T),
    check: impl Fn(&T, Uuid, &mut HashMap<Uuid, Uuid>) -> Result<(), Vec<Fault>>,
    prefix: impl Fn(usize) -> String,
) -> Vec<Item<T>> {
    let (mut replaced, mut seen) = (HashMap::new(), HashSet::new());
    let judged = parsed.into_iter().enumerate().map(|(at, (id, one))| {
        let checked = one.and_then(|mut one| {
            if taken.contains_key(&id) {
                repeated(&mut one);
                return Ok(one);
            }
            // A repeat inside the batch corrects nothing anew.
            let mut nothing = HashMap::new();
            let replaced = if seen.insert(id) { &mut replaced } else { &mut nothing };
            check(&one, id, replaced).map(|()| one)
        });
        Item { id, value: checked.map_err(|faults| invalid_item(&prefix(at), faults)) }
    });
    judged.collect()
}

/// The facts to insert.
pub fn fresh<'a, T>(items: &'a [Item<T>], decisions: &[Decision]) -> Vec<(Uuid, &'a T)> {
    let new = items.iter().zip(decisions).filter(|(_, decision)| **decision == Decision::Insert);
    new.filter_map(|(item, _)| item.value.as_ref().ok().map(|one| (item.id, one))).collect()
}

/// Decides each item against what is stored and against earlier items of the batch.
///
/// `stored` holds the content and version of the ids that are taken, `hidden` those that are taken by what the caller must
/// not learn of. Returns, for each item, its status, and the items
/// to insert are those that are [`ItemStatus::Created`].
pub fn decide<T: PartialEq, S: BuildHasher, H: BuildHasher>(
    items: &[Item<T>],
    stored: &HashMap<Uuid, (T, i64), S>,
    hidden: &HashSet<Uuid, H>,
) -> Vec<Decision> {
    let mut fresh: HashMap<Uuid, &T> = HashMap::new();
    items
        .iter()
        .map(|item| {
            let Ok(value) = &item.value else {
                return Decision::Refused;
            };
            if hidden.contains(&item.id) {
                return Decision::Hidden;
            }
            let known = stored.get(&item.id).map(|(value, rev)| (value, Some(*rev)));
            match known.or_else(|| fresh.get(&item.id).map(|value| (*value, None))) {
                Some((other, rev)) if other == value => Decision::Unchanged(rev),
                Some(_) => Decision::Clash,
                None => {
                    fresh.insert(item.id, value);
                    Decision::Insert
                }
            }
        })
        .collect()
}

/// What is to be done with an item.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decision {
    /// Insert it.
    Insert,
    /// It is stored with this version, or stands earlier in the batch.
    Unchanged(Option<i64>),
    /// Its id is taken by other content.
    Clash,
    /// Its id is taken by what the caller must not learn of, whatever its content.
    Hidden,
    /// It is broken.
    Refused,
}

/// Puts the decisions into results; `rev_of` knows the versions that the commit gave.
pub fn results<T>(items: Vec<Item<T>>, decisions: &[Decision], rev_of: impl Fn(Uuid) -> Option<i64>) -> BatchResult {
    let one = |(item, decision): (Item<T>, &Decision)| {
        let id = item.id;
        let (status, rev, problem) = match (decision, item.value) {
            (_, Err(problem)) if problem.code() == Code::Held => (ItemStatus::Held, None, Some(problem.body())),
            (_, Err(problem)) => (ItemStatus::Rejected, None, Some(problem.body())),
            (Decision::Insert, _) => (ItemStatus::Created, rev_of(id), None),
            // One that an earlier part of the batch stored has its version from this very commit.
            (Decision::Unchanged(rev), _) => (ItemStatus::Unchanged, rev_of(id).or(*rev), None),
            (Decision::Clash | Decision::Hidden | Decision::Refused, _) => {
                let detail = "This id is already used by a record with other content. Send a new id, or correct the \
                              stored record with `supersedes`.";
                (ItemStatus::Rejected, None, Some(Problem::new(Code::Conflict, detail).body()))
            }
        };
        ItemResult { id, status, rev, problem }
    };
    BatchResult { results: items.into_iter().zip(decisions).map(one).collect() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_correction_of_an_earlier_fact_of_the_batch_begins_a_new_part() {
        let [a, b, c, elsewhere] = [(); 4].map(|()| Uuid::now_v7());
        let cut = |facts: &[(Uuid, Option<Uuid>)]| parts(facts.iter().copied());
        assert_eq!(cut(&[(a, None), (b, Some(a)), (c, Some(b))]), [0..1, 1..2, 2..3]);
        assert_eq!(cut(&[(a, None), (b, None), (c, Some(a)), (elsewhere, Some(b))]), [0..2, 2..4]);
        assert_eq!(cut(&[(a, Some(elsewhere)), (b, Some(c)), (c, None)]), std::slice::from_ref(&(0..3)));
        assert_eq!(cut(&[]), std::slice::from_ref(&(0..0)));
    }

    #[test]
    fn an_item_is_judged_against_the_store_and_the_batch() {
        let id = [Uuid::now_v7(), Uuid::now_v7(), Uuid::now_v7()];
        let ok = |id, value| Item { id, value: Ok(value) };
        let items = [
            ok(id[0], 1),
            ok(id[0], 1),
            ok(id[0], 2),
            ok(id[1], 5),
            ok(id[1], 6),
            Item { id: id[2], value: Err(Problem::gone()) },
        ];
        let stored = HashMap::from([(id[1], (5, 9))]);
        assert_eq!(
            decide(&items, &stored, &HashSet::<Uuid>::new()),
            [
                Decision::Insert,
                Decision::Unchanged(None),
                Decision::Clash,
                Decision::Unchanged(Some(9)),
                Decision::Clash,
                Decision::Refused
            ]
        );
    }
}
