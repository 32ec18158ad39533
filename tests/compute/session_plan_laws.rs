//! A proposed session keeps its limits, and its order is the shortest there is: told anew, for random squads.

use lanewright_compute::decision::{Stage, Surface};
use lanewright_compute::session_plan::{Ask, BANDS, Block, COOL_DOWN, DRILLS, SetUp, Task, WARM_UP, propose, shortest};
use proptest::prelude::*;

/// Whether so many minutes are enough, by trying every start of every task in them.
fn can_end_by(groups: &[Vec<Task>], coaches: usize, end: u32) -> bool {
    fn go(
        groups: &[Vec<Task>],
        coaches: usize,
        end: u32,
        placed: &mut Vec<(u32, Task)>,
        group: usize,
        at: usize,
        free: u32,
    ) -> bool {
        let Some(tasks) = groups.get(group) else { return true };
        let Some(task) = tasks.get(at) else { return go(groups, coaches, end, placed, group + 1, 0, 0) };
        let mut start = free;
        while start + task.minutes <= end {
            placed.push((start, *task));
            if allowed(placed, coaches) && go(groups, coaches, end, placed, group, at + 1, start + task.minutes) {
                return true;
            }
            placed.pop();
            start += 1;
        }
        false
    }
    go(groups, coaches, end, &mut Vec::new(), 0, 0, 0)
}

/// Whether set-ups hold one group and coaches watch everything watched, minute by minute.
fn allowed(placed: &[(u32, Task)], coaches: usize) -> bool {
    let last = placed.iter().map(|(start, task)| start + task.minutes).max().unwrap_or(0);
    (0..last).all(|minute| {
        let now: Vec<&Task> = placed
            .iter()
            .filter(|(start, task)| (*start..start + task.minutes).contains(&minute))
            .map(|(_, task)| task)
            .collect();
        let twice = |set_up: usize| now.iter().filter(|task| task.set_up == Some(set_up)).count() > 1;
        now.iter().filter(|task| task.watched).count() <= coaches && !(0..3).any(twice)
    })
}

fn task() -> impl Strategy<Value = Task> {
    (1..5_u32, prop::option::of(0..2_usize), any::<bool>()).prop_map(|(minutes, set_up, watched)| Task {
        minutes,
        set_up,
        watched,
    })
}

/// Stages, minutes, coaches, soft barriers, whether lanes are shared, and the surface.
type Squad = (Vec<Stage>, u32, usize, u32, bool, Option<Surface>);

fn squad() -> impl Strategy<Value = Squad> {
    let stages = prop::collection::vec(prop::sample::select(Stage::ALL.to_vec()), 0..40);
    (
        stages,
        20..150_u32,
        1..5_usize,
        0..40_u32,
        any::<bool>(),
        prop::option::of(prop::sample::select(Surface::ALL.to_vec())),
    )
}

fn ask(squad: &Squad) -> Ask<'_> {
    let (stages, minutes, coaches, soft_barriers, lanes_shared, surface) = squad;
    Ask {
        minutes: *minutes,
        coaches: *coaches,
        stages,
        lanes: [1, 2, 3],
        lanes_shared: *lanes_shared,
        soft_barriers: *soft_barriers,
        surface: *surface,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Nothing that is tried minute by minute ends earlier, and what is planned is allowed.
    #[test]
    fn no_order_of_the_same_tasks_ends_earlier(groups in prop::collection::vec(prop::collection::vec(task(), 0..3), 0..4), coaches in 1..3_usize) {
        let (starts, end) = shortest(&groups, coaches);
        let mut placed = Vec::new();
        for (tasks, starts) in groups.iter().zip(&starts) {
            prop_assert_eq!(tasks.len(), starts.len());
            let mut free = 0;
            for (task, start) in tasks.iter().zip(starts) {
                prop_assert!(*start >= free, "a group is in one place");
                free = start + task.minutes;
                placed.push((*start, *task));
            }
        }
        prop_assert!(allowed(&placed, coaches));
        prop_assert_eq!(placed.iter().map(|(start, task)| start + task.minutes).max().unwrap_or(0), end);
        prop_assert!(end == 0 || !can_end_by(&groups, coaches, end - 1));
    }

    #[test]
    fn a_session_keeps_its_limits(squad in squad()) {
        let ask = ask(&squad);
        let plan = propose(&ask);
        prop_assert_eq!(plan.short_by, plan.ends.saturating_sub(ask.minutes));
        prop_assert_eq!(plan.ends, plan.blocks.iter().map(Block::end).max().unwrap());
        let (first, last) = (&plan.blocks[0], plan.blocks.iter().max_by_key(|one| one.end()).unwrap());
        prop_assert_eq!((first.drill, first.start, first.minutes), (None, 0, WARM_UP));
        prop_assert!(last.drill.is_none() && last.minutes == COOL_DOWN);
        for minute in 0..plan.ends {
            let now: Vec<&Block> = plan.blocks.iter().filter(|one| (one.start..one.end()).contains(&minute)).collect();
            let watched = now.iter().filter(|one| one.drill.is_some_and(|drill| drill.is_supervised())).count();
            prop_assert!(watched <= ask.coaches, "minute {}", minute);
            let sets = now.iter().filter(|one| matches!(one.drill.map(|drill| drill.set_up), Some(SetUp::Set(_)))).count();
            prop_assert!(sets <= 1);
            for athlete in 0..ask.stages.len() {
                prop_assert!(now.iter().filter(|one| one.athletes.contains(&athlete)).count() <= 1, "in two places at once");
            }
        }
        // Barriers come after the warm-up, everybody runs in lanes, and each is in a drill of their own group.
        for (athlete, stage) in ask.stages.iter().enumerate() {
            let own: Vec<&Block> = plan.blocks.iter().filter(|one| one.drill.is_some() && one.athletes.contains(&athlete)).collect();
            prop_assert!(own.iter().all(|one| one.start >= WARM_UP));
            prop_assert_eq!(own.iter().filter(|one| one.drill.unwrap().set_up == SetUp::Lanes).count(), 1);
            let band = BANDS.iter().find(|band| band.contains(stage)).unwrap();
            prop_assert!(own.iter().all(|one| one.drill.unwrap().stages.iter().any(|stage| band.contains(stage))));
        }
        for block in &plan.blocks {
            let Some(drill) = block.drill else { continue };
            prop_assert!(block.minutes * 60 >= drill.takes_s(block.athletes.len(), block.lines), "the dose and its rest fit");
        }
        prop_assert_eq!(plan.lacking, plan.carry.saturating_sub(ask.soft_barriers));
        let race_like = plan.blocks.iter().any(|one| one.drill.is_some_and(|drill| drill.set_up == SetUp::LaneStarts));
        prop_assert!(ask.surface.is_none() || !race_like, "at full speed over a wet or uneven surface");
    }

    #[test]
    fn more_minutes_never_leave_more_out(squad in squad(), more in 1..60_u32) {
        let (ask, plan) = (ask(&squad), propose(&ask(&squad)));
        let longer = propose(&Ask { minutes: ask.minutes + more, ..ask });
        prop_assert!(longer.left_out.len() <= plan.left_out.len());
        prop_assert!(plan.short_by == 0 || longer.short_by <= plan.short_by);
        let coach = propose(&Ask { coaches: ask.coaches + 1, ..ask });
        prop_assert!(coach.left_out.len() <= plan.left_out.len());
    }
}

#[test]
fn every_drill_says_what_it_teaches_and_where_it_is_written_and_every_stage_has_one() {
    let mut codes: Vec<&str> = DRILLS.iter().map(|one| one.code).collect();
    codes.sort_unstable();
    codes.dedup();
    assert_eq!(codes.len(), DRILLS.len());
    for one in DRILLS {
        assert!(one.name.len() <= 120 && !one.teaches.is_empty() && one.source.len() > 20, "{one:?}");
        assert_eq!(one.barriers == 0, matches!(one.set_up, SetUp::Wall | SetUp::Lanes), "{one:?}");
    }
    for stage in Stage::ALL {
        let of =
            |lanes: bool| DRILLS.iter().any(|one| one.stages.contains(&stage) && (one.set_up == SetUp::Lanes) == lanes);
        assert!(of(true) && of(false), "{stage:?}");
        assert_eq!(BANDS.iter().filter(|band| band.contains(&stage)).count(), 1);
    }
}
