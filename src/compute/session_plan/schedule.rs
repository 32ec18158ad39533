//! Who does what when: the shortest order of what several groups do, at most so much of it watched at once.
//!
//! Each group has its tasks in order. A task takes whole minutes; a set-up holds one group at a time; of the tasks that a coach
//! must watch at most so many run at once as there are coaches. The end of the last task is made as early as it can be:
//!
//! ```text
//! minimise  max end(t)
//! start(t') >= end(t)                         t before t' in one group
//! start(t') >= end(t) or start(t) >= end(t')  t and t' at one set-up
//! watched tasks at any minute <= coaches
//! ```
//!
//! That is a small job shop. Putting tasks one by one at their earliest possible minute, in every order that keeps the groups' own,
//! meets a shortest plan among them (semi-active schedules hold an optimum of any measure that an earlier end never hurts), so
//! trying all of them, cut off where even an undisturbed rest could not end earlier, proves it.
//!
//! # Why not a rule of thumb
//! A coach loses minutes at the set, where two groups want to be at once, and nobody finds the order that avoids it at a glance. The problem
//! is so small that the best order costs less than an explanation of why another was good enough.
//!
//! # Example by hand
//! Three groups with tasks (minutes, place): A wall 5, set 7, lanes 11; B set 10, lanes 11; C set 11, lanes 16; each has lanes of its own,
//! and there are two coaches. Alone they would end at 23, 21 and 27. The longest at the set first, C, B, A, looks sensible, and ends at 45: at
//! minute 21 both coaches stand at the lanes of B and C, so that A waits for the set until 27. B, C, A ends at 39:
//!
//! ```text
//! minute     0       5       10      21      28      37  39
//! A          wall    waits           set     lanes--------
//! B          set---------- lanes----
//! C          waits-------- set------ lanes-----------
//! watched    1               2       2       2       1
//! ```
//!
//! and nothing ends earlier: 28 minutes at the set in a row, and lanes of 11 minutes at least after whoever had it last. One coach alone
//! would need 66 minutes, all that is watched one after another; a third coach gains nothing.
//!
//! ```
//! use lanewright_compute::session_plan::{Task, shortest};
//!
//! let task = |minutes, set_up: Option<usize>, watched| Task { minutes, set_up, watched };
//! let groups = [
//!     vec![task(5, None, false), task(7, Some(0), true), task(11, None, true)],
//!     vec![task(10, Some(0), true), task(11, None, true)],
//!     vec![task(11, Some(0), true), task(16, None, true)],
//! ];
//! assert_eq!([1, 2, 3].map(|coaches| shortest(&groups, coaches).1), [66, 39, 39]);
//! assert_eq!(shortest(&groups, 2).0, [vec![0, 21, 28], vec![0, 10], vec![10, 21]]);
//! ```
//!
//! # Complexity
//! Exponential in tasks; three groups of at most five have 756,756 orders, of which the bound leaves a small part.
//!
//! # Source
//! A. Sprecher, R. Kolisch, A. Drexl, "Semi-active, active, and non-delay schedules for the resource-constrained project scheduling
//! problem", European Journal of Operational Research 80, 1995 (from memory).

/// What one group does for some minutes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Task {
    /// How long, minutes; what it takes to get there included.
    pub minutes: u32,
    /// The set-up that it needs for itself, by a number; none where nobody is in another's way.
    pub set_up: Option<usize>,
    /// Whether a coach watches it, from its first minute to its last.
    pub watched: bool,
}

/// A task put at its time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Placed {
    /// Its group, by its place in the input.
    group: usize,
    /// The minute in which it begins.
    start: u32,
    /// What it is.
    task: Task,
}

/// When each task of each group begins, minutes, so that all end as early as possible; and when that is. Needs one coach at least: none
/// counts as one, since nothing watched could begin.
///
/// Of several plans that end alike the one is given that places tasks first in the order of the groups, so the same input gives the same plan.
/// No group, or groups without tasks, end at 0. Minutes count from the first task, not from the warm-up.
///
/// ```
/// use lanewright_compute::session_plan::{Task, shortest};
///
/// // Two groups want the same set-up: one of them does its wall drill first.
/// let task = |minutes, set_up: Option<usize>| Task { minutes, set_up, watched: set_up.is_some() };
/// let (starts, end) = shortest(&[vec![task(5, None), task(10, Some(0))], vec![task(10, Some(0)), task(5, None)]], 2);
/// assert_eq!((starts, end), (vec![vec![0, 10], vec![0, 10]], 20));
/// ```
pub fn shortest(groups: &[Vec<Task>], coaches: usize) -> (Vec<Vec<u32>>, u32) {
    let mut search = Search { groups, coaches: coaches.max(1), placed: Vec::new(), best: None };
    search.go(&mut vec![0; groups.len()], &mut vec![0; groups.len()]);
    let (placed, end) = search.best.unwrap_or_default();
    let mut starts: Vec<Vec<u32>> = vec![Vec::new(); groups.len()];
    for one in placed {
        starts[one.group].push(one.start);
    }
    (starts, end)
}

/// The search: what was asked, what is placed on the way, and the best plan so far.
struct Search<'a> {
    /// The tasks of each group, in its order.
    groups: &'a [Vec<Task>],
    /// Coaches, one at least.
    coaches: usize,
    /// The tasks placed on the way, in the order in which they were.
    placed: Vec<Placed>,
    /// The plan that ends earliest so far, and when.
    best: Option<(Vec<Placed>, u32)>,
}

impl Search<'_> {
    /// Goes on from what is placed; `next` is the next task of each group, `free` the minute from which the group is free.
    ///
    /// The bound is the latest of `free` plus everything a group still has to do, as if nobody were in its way: no plan from here ends
    /// before it, so one that cannot beat the best is not followed. Each group's next task is tried in turn, and undone.
    fn go(&mut self, next: &mut Vec<usize>, free: &mut Vec<u32>) {
        let rest = |group: usize| -> u32 { self.groups[group][next[group]..].iter().map(|task| task.minutes).sum() };
        let bound = (0..self.groups.len()).map(|group| free[group] + rest(group)).max().unwrap_or(0);
        if self.best.as_ref().is_some_and(|(_, end)| *end <= bound) {
            return;
        }
        let mut done = true;
        for group in 0..self.groups.len() {
            let Some(task) = self.groups[group].get(next[group]).copied() else { continue };
            done = false;
            let (start, was) = (self.earliest(task, free[group]), free[group]);
            self.placed.push(Placed { group, start, task });
            next[group] += 1;
            free[group] = start + task.minutes;
            self.go(next, free);
            free[group] = was;
            next[group] -= 1;
            self.placed.pop();
        }
        if done {
            self.best = Some((self.placed.clone(), bound));
        }
    }

    /// The first minute from which a task can run to its end beside what is placed.
    ///
    /// Only the group's own first free minute and the ends of what is placed are tried: what does not fit at a minute fits first where
    /// something in its way ends.
    fn earliest(&self, task: Task, from: u32) -> u32 {
        let ends = self.placed.iter().map(|one| one.start + one.task.minutes).filter(|end| *end > from);
        let mut minutes: Vec<u32> = std::iter::once(from).chain(ends).collect();
        minutes.sort_unstable();
        // Nothing is placed after the last end, so that is always free.
        minutes.iter().copied().find(|start| self.fits(task, *start)).unwrap_or(from)
    }

    /// Whether a task may run from a minute on: its set-up is free all the while, and at no minute more is watched than there are coaches.
    fn fits(&self, task: Task, start: u32) -> bool {
        let end = start + task.minutes;
        let meets = |one: &&Placed| one.start < end && start < one.start + one.task.minutes;
        let beside: Vec<&Placed> = self.placed.iter().filter(meets).collect();
        if task.set_up.is_some() && beside.iter().any(|one| one.task.set_up == task.set_up) {
            return false;
        }
        if !task.watched {
            return true;
        }
        // The most watched at once begins where one of them begins.
        let watched: Vec<&&Placed> = beside.iter().filter(|one| one.task.watched).collect();
        let at = |minute: u32| {
            watched.iter().filter(|one| one.start <= minute && minute < one.start + one.task.minutes).count()
        };
        let begins = watched.iter().map(|one| one.start.max(start)).chain([start]);
        begins.map(at).all(|count| count < self.coaches)
    }
}
