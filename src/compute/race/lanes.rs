//! Who runs in which lane of a heat: drawn by lot from a seed, so that anybody can repeat the draw.
//!
//! The draw is a function of seed, heat and field: whoever doubts it can repeat it. A new seed is a new draw.
//!
//! Lanes are filled from the middle outward, so a heat of three on eight lanes runs on 3, 4 and 5 (common practice, no
//! source).
//!
//! | athletes in the heat | groups that draw together (ranked) |
//! | --- | --- |
//! | 8 | 4, 2, 2 |
//! | 7 | 4, 2, 1 |
//! | 6 | 3, 2, 1 |
//! | 5 | 3, 2 |
//!
//! Eight lanes in the order in which they are given: 4, 5, 3, 6, 2, 7, 1, 8. Pinned athletes keep their lanes; the
//! others draw for the best lanes that are left.

use crate::lots::Lots;

/// How lanes are given.
///
/// Within a group every order is equally likely.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LaneDraw {
    /// The faster half draws the middle lanes, then each next pair the next lanes outward.
    Ranked,
    /// Everybody draws from all lanes in use.
    Lots,
}

impl LaneDraw {
    /// The word used in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Ranked => "ranked",
            Self::Lots => "lots",
        }
    }

    /// The draw that a word names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Ranked, Self::Lots].into_iter().find(|draw| draw.as_str() == word)
    }

    /// The rule as a sentence, with its source.
    ///
    /// Shown with the draw; it says itself what has no source.
    pub const fn text(self) -> &'static str {
        match self {
            Self::Ranked => {
                "By expected time: the faster half drew the middle lanes, then each next pair the next lanes outward. After \
                 World Athletics, Technical Rules, rule 20 (draws and qualification), where of eight athletes the four ranked \
                 highest draw the middle lanes; other numbers of athletes: common practice, no source. Check your competition's own rule."
            }
            Self::Lots => "Wholly by lot among the middle lanes that are needed. Common practice, no source.",
        }
    }
}

/// An athlete with a lane.
///
/// Lanes count from 1 as they are painted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct LaneDrawn {
    /// The athlete.
    pub athlete: u128,
    /// The lane.
    pub lane: u8,
}

/// The lanes in use: all from 1 to `lanes`, or lane 1 and every other one, which leaves a free lane between beginners.
///
/// Of eight lanes every other one: 1, 3, 5, 7. None of nought.
///
/// # Source
/// Free lane between runners: J. Tansley, "10 P.E. Lessons Plans for Track & Field", 2001; Missouri school track safety tips.
pub fn usable_lanes(lanes: u8, every_other: bool) -> Vec<u8> {
    (1..=lanes).step_by(if every_other { 2 } else { 1 }).collect()
}

/// Gives each athlete of a heat a lane; by lane.
///
/// `ranked` lists the athletes, the highest ranked first; `pins` the lanes that a coach has fixed; `usable` the lanes in use,
/// ascending and at least as many as there are athletes. An athlete without a lane left is not in the answer. The same
/// seed and heat give the same draw.
///
/// A pin of somebody who is not in the heat is left aside. Two pins on one lane are not checked here: the heats refuse
/// them before.
///
/// # Source
/// Draw of the higher-ranked for the middle lanes: World Athletics, *Technical Rules*, rule 20; the cut of the groups for other
/// numbers than eight is common practice, no source. Shuffle: R. Durstenfeld, algorithm 235, *Communications of the ACM* 7 (7),
/// 1964.
///
/// ```
/// use lanewright_compute::race::{LaneDraw, draw_lanes, usable_lanes};
///
/// let drawn = draw_lanes(&[10, 11, 12], &[(12, 2)], &usable_lanes(6, false), LaneDraw::Ranked, 7, 1);
/// assert_eq!(drawn.iter().map(|one| one.lane).collect::<Vec<_>>(), [2, 3, 4]);
/// assert_eq!(drawn[0].athlete, 12);
/// ```
pub fn draw_lanes(
    ranked: &[u128],
    pins: &[(u128, u8)],
    usable: &[u8],
    draw: LaneDraw,
    seed: u32,
    heat: u8,
) -> Vec<LaneDrawn> {
    let mut drawn: Vec<LaneDrawn> = pins
        .iter()
        .filter(|(athlete, _)| ranked.contains(athlete))
        .map(|(athlete, lane)| LaneDrawn { athlete: *athlete, lane: *lane })
        .collect();
    let taken: Vec<u8> = drawn.iter().map(|one| one.lane).collect();
    let mut free: Vec<u128> =
        ranked.iter().copied().filter(|athlete| drawn.iter().all(|one| one.athlete != *athlete)).collect();
    let lanes: Vec<u8> = middle_out(usable).into_iter().filter(|lane| !taken.contains(lane)).take(free.len()).collect();
    let mut lots = Lots::of(u64::from(seed) << 8 | u64::from(heat));
    let groups = match draw {
        LaneDraw::Ranked => groups(free.len()),
        LaneDraw::Lots => vec![free.len()],
    };
    let mut rest = free.as_mut_slice();
    for size in groups {
        let (group, later) = rest.split_at_mut(size);
        lots.shuffle(group);
        rest = later;
    }
    drawn.extend(free.into_iter().zip(lanes).map(|(athlete, lane)| LaneDrawn { athlete, lane }));
    drawn.sort_unstable_by_key(|one| one.lane);
    drawn
}

/// The lanes from the middle outward; of two as far from it, the lower first.
///
/// Of an even number the two in the middle are as far from it; the lower is first.
fn middle_out(usable: &[u8]) -> Vec<u8> {
    let last = usable.len().saturating_sub(1);
    let mut order: Vec<(usize, u8)> =
        usable.iter().enumerate().map(|(at, lane)| ((2 * at).abs_diff(last), *lane)).collect();
    order.sort_unstable();
    order.into_iter().map(|(_, lane)| lane).collect()
}

/// Sizes of the groups that draw together: half, then pairs.
///
/// They sum to `count`; nothing drawn for nought.
fn groups(count: usize) -> Vec<usize> {
    let half = count.div_ceil(2);
    let mut sizes = vec![half];
    let mut rest = count - half;
    while rest > 0 {
        sizes.push(rest.min(2));
        rest -= rest.min(2);
    }
    sizes
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_eight_the_four_highest_draw_the_four_middle_lanes() {
        let usable = usable_lanes(8, false);
        let ranked: Vec<u128> = (1..=8).collect();
        let mut lanes_of_first = Vec::new();
        for seed in 0..200 {
            let drawn = draw_lanes(&ranked, &[], &usable, LaneDraw::Ranked, seed, 1);
            let lane = |athlete: u128| drawn.iter().find(|one| one.athlete == athlete).unwrap().lane;
            assert!((1..=4).all(|athlete| (3..=6).contains(&lane(athlete))));
            assert!((5..=6).all(|athlete| [2, 7].contains(&lane(athlete))));
            assert!((7..=8).all(|athlete| [1, 8].contains(&lane(athlete))));
            lanes_of_first.push(lane(1));
        }
        for lane in 3..=6_u8 {
            let times: u32 = lanes_of_first.iter().map(|one| u32::from(*one == lane)).sum();
            assert!((25..=80).contains(&times), "lane {lane}: {times} of 200");
        }
    }

    #[test]
    fn lots_reach_every_lane_and_a_seed_repeats_the_draw() {
        let (ranked, usable) = ([1, 2, 3, 4], usable_lanes(7, true));
        assert_eq!(usable, [1, 3, 5, 7]);
        let draw = |seed, heat| draw_lanes(&ranked, &[], &usable, LaneDraw::Lots, seed, heat);
        assert_eq!(draw(5, 2), draw(5, 2));
        assert!((0..50).any(|seed| draw(seed, 1) != draw(seed, 2)), "heats draw apart");
        for lane in usable.clone() {
            assert!((0..100).any(|seed| draw(seed, 1).iter().any(|one| (one.athlete, one.lane) == (1, lane))));
        }
    }
}
