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
//! # Complexity
//! Exponential in tasks; three groups of at most five have 756,756 orders, of which the bound leaves a small part.
//!
//! # Source
//! A. Sprecher, R. Kolisch, A. Drexl, "Semi-active, active, and non-delay schedules for the resource-constrained project scheduling
//! problem", European Journal of Operational Research 80, 1995 (from memory).

/// What one group does for some minutes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Task {
    /// How long, minutes.
    pub minutes: u32,
    /// The set-up that it needs for itself, by a number; none where nobody is in another's way.
    pub set_up: Option<usize>,
    /// Whether a coach watches it.
    pub watched: bool,
}

/// A task put at its time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Placed {
    group: usize,
    start: u32,
    task: Task,
}

/// When each task of each group begins, minutes, so that all end as early as possible; and when that is. Needs one coach at least.
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

struct Search<'a> {
    groups: &'a [Vec<Task>],
    coaches: usize,
    placed: Vec<Placed>,
    best: Option<(Vec<Placed>, u32)>,
}

impl Search<'_> {
    /// Goes on from what is placed; `next` is the next task of each group, `free` the minute from which the group is free.
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
    fn earliest(&self, task: Task, from: u32) -> u32 {
        let ends = self.placed.iter().map(|one| one.start + one.task.minutes).filter(|end| *end > from);
        let mut minutes: Vec<u32> = std::iter::once(from).chain(ends).collect();
        minutes.sort_unstable();
        // Nothing is placed after the last end, so that is always free.
        minutes.iter().copied().find(|start| self.fits(task, *start)).unwrap_or(from)
    }

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
