//! Processor time of processes, as Linux accounts it.

use std::fs;
use std::time::Duration;

/// Ticks a second in `/proc`, the same on every Linux that runs here.
const TICKS: u64 = 100;

/// Whose time is counted.
#[derive(Clone, Copy, Debug)]
pub enum Whose {
    /// One process.
    Process(u32),
    /// A process group.
    Group(u32),
    /// A process, its children, and those of its children that have ended.
    Family(u32),
}

/// The fields of `/proc/PID/stat` after the name: parent, group, own ticks, those of children that were waited for.
fn stat(pid: &str) -> Option<(u32, u32, u64, u64)> {
    let text = fs::read_to_string(format!("/proc/{pid}/stat")).ok()?;
    let fields: Vec<&str> = text.rsplit_once(')')?.1.split_whitespace().collect();
    let number = |at: usize| fields.get(at)?.parse::<u64>().ok();
    let id = |at: usize| fields.get(at)?.parse::<u32>().ok();
    Some((id(1)?, id(2)?, number(11)? + number(12)?, number(13)? + number(14)?))
}

/// What they have used so far.
pub fn used(whose: Whose) -> Duration {
    let ticks = match whose {
        Whose::Process(pid) => stat(&pid.to_string()).map_or(0, |(_, _, own, _)| own),
        Whose::Group(group) => all().filter(|(_, one)| one.1 == group).map(|(_, one)| one.2).sum(),
        Whose::Family(head) => all()
            .map(|(pid, one)| match (pid == head, one.0 == head) {
                (true, _) => one.2 + one.3,
                (_, true) => one.2,
                _ => 0,
            })
            .sum(),
    };
    Duration::from_millis(ticks * 1_000 / TICKS)
}

fn all() -> impl Iterator<Item = (u32, (u32, u32, u64, u64))> {
    let names =
        fs::read_dir("/proc").into_iter().flatten().flatten().filter_map(|one| one.file_name().into_string().ok());
    names.filter_map(|name| Some((name.parse().ok()?, stat(&name)?)))
}
