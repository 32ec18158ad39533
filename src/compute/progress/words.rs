//! How coaches' words turned out: what was held while each governed, beside what the advice promised.
//!
//! A decision governs from its day to its last day, the day before the next decision, or the end of the period. All
//! intervals run in these days count, wherever they were run: a coach asks whether the athlete kept the rhythm.
//!
//! | goes in | comes out |
//! | --- | --- |
//! | [`Taken`] of one athlete in order, runs, height cost | [`TurnedOut`], one for each |
//! | those of a squad | [`Sum`] for each [`Way`] |
//!
//! What is asked is not whether coach or advice was right, for nobody ran the other; it is what became of the days
//! that a word governed, beside the probability that the advice gave for its own configuration. Small numbers stay
//! small: counts are told with every share.
//!
//! # Worked
//!
//! Advised: low barrier of 0.40 m at 6.00 m with 0.80. Days 10 and 11 under an accepted word, 12 intervals, 12 held.
//! On day 12 the coach overrides with 6.50 m: harder, 6 intervals, 2 held, a fall. On day 14 with wickets at 6.00 m:
//! easier; runs before the word of that day do not count.

use crate::advice::RunRecord;
use crate::decision::{Configuration, rung};

/// Demands this close are one, metres (m): well below what a tape and chalk can tell apart (design choice).
///
/// Demand is spacing plus height cost times the height above 0.30 m.
const SAME_M: f64 = 0.02;

/// A decision of a coach.
///
/// In the order in which they govern, each with the first day whose runs came after it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Taken {
    /// Its day, days since 1970-01-01.
    pub on: i32,
    /// The first day whose runs were recorded after it, days since 1970-01-01.
    ///
    /// The day after `on` where the athlete had run before the coach spoke.
    pub since: i32,
    /// The last day on which it stands, days since 1970-01-01.
    ///
    /// Ends earlier when the next decision is taken.
    pub until: i32,
    /// Whether the coach chose otherwise than advised.
    pub overridden: bool,
    /// What was advised; none for rest.
    pub advised: Option<Configuration>,
    /// The mean probability of holding an interval there, 0 to 1.
    ///
    /// As told on that day, not computed again.
    pub advised_hold: Option<f64>,
    /// What the word makes the athlete run over; none where it names nothing.
    pub chosen: Option<Configuration>,
}

/// Which way a word went.
///
/// A harder kind of barrier is harder whatever the spacing; among equal kinds demand decides.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Way {
    /// The advice was accepted.
    Accepted,
    /// Overridden with something harder.
    Harder,
    /// Overridden with something easier.
    Easier,
    /// Overridden with something as demanding, or with no configuration.
    Otherwise,
}

impl Way {
    /// Every way.
    pub const ALL: [Self; 4] = [Self::Accepted, Self::Harder, Self::Easier, Self::Otherwise];

    /// The word used in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Accepted => "accepted",
            Self::Harder => "harder",
            Self::Easier => "easier",
            Self::Otherwise => "otherwise",
        }
    }

    /// `height_cost` is the athlete's mean at the end of the period, one for all words.
    fn of(taken: &Taken, height_cost: f64) -> Self {
        let (Some(from), Some(to)) = (taken.advised, taken.chosen) else {
            return if taken.overridden { Self::Otherwise } else { Self::Accepted };
        };
        let more = to.demand_m(height_cost) - from.demand_m(height_cost);
        match rung(to.barrier_kind).cmp(&rung(from.barrier_kind)) {
            _ if !taken.overridden => Self::Accepted,
            std::cmp::Ordering::Greater => Self::Harder,
            _ if more > SAME_M => Self::Harder,
            std::cmp::Ordering::Less => Self::Easier,
            std::cmp::Ordering::Equal if more < -SAME_M => Self::Easier,
            std::cmp::Ordering::Equal => Self::Otherwise,
        }
    }
}

/// How one word turned out.
///
/// All nought where nothing was run while it governed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TurnedOut {
    /// The word.
    pub taken: Taken,
    /// Which way it went.
    pub way: Way,
    /// Intervals held while it governed.
    pub held: u32,
    /// Intervals run.
    pub intervals: u32,
    /// Falls.
    pub falls: u32,
}

/// How the words of one way turned out.
///
/// Shares are for the reader to make; `held <= intervals`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sum {
    /// The way.
    pub way: Way,
    /// How many words.
    pub words: usize,
    /// Intervals held while they governed.
    pub held: u32,
    /// Intervals run.
    pub intervals: u32,
    /// Falls.
    pub falls: u32,
    /// The probability that the advice promised for what it advised, by intervals; none without any.
    ///
    /// A mean weighted by the intervals run under each word.
    pub advised_hold: Option<f64>,
}

/// How an athlete's words, in the order in which they govern, turned out up to a day (days since 1970-01-01).
///
/// One entry for each word, in order. A word whose days are over before its first run has nothing. Words times runs.
pub fn turned_out(words: &[Taken], runs: &[RunRecord], height_cost: f64, to: i32) -> Vec<TurnedOut> {
    let next = words.iter().skip(1).map(|next| next.on - 1).chain([i32::MAX]);
    let of = |(taken, before_next): (&Taken, i32)| {
        let last = taken.until.min(before_next).min(to);
        let runs = || runs.iter().filter(|run| (taken.since..=last).contains(&run.day));
        TurnedOut {
            taken: *taken,
            way: Way::of(taken, height_cost),
            held: runs().map(|run| u32::from(run.held)).sum(),
            intervals: runs().map(RunRecord::intervals).sum(),
            falls: runs().map(|run| u32::from(run.fell)).sum(),
        }
    };
    words.iter().zip(next).map(of).collect()
}

/// Sums words up, one entry for each way in the order of [`Way::ALL`].
///
/// Also for ways that did not occur, with nought words.
pub fn sums(all: &[TurnedOut]) -> [Sum; 4] {
    Way::ALL.map(|way| {
        let of = || all.iter().filter(|one| one.way == way);
        let promised = of().filter_map(|one| Some((one.taken.advised_hold?, f64::from(one.intervals))));
        let (hold, weight) = promised.fold((0.0, 0.0), |(hold, all), (p, n)| (hold + p * n, all + n));
        Sum {
            way,
            words: of().count(),
            held: of().map(|one| one.held).sum(),
            intervals: of().map(|one| one.intervals).sum(),
            falls: of().map(|one| one.falls).sum(),
            advised_hold: (weight > 0.0).then(|| hold / weight),
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{BarrierKind, Length};

    fn at(kind: BarrierKind, height: u32, spacing: u32) -> Configuration {
        Configuration { barrier_kind: kind, height: Length::from_mm(height), spacing: Length::from_mm(spacing) }
    }

    fn run(day: i32, held: u16, over_reached: u16) -> RunRecord {
        RunRecord {
            day,
            barrier_kind: BarrierKind::LowBarrier,
            height: Length::from_mm(400),
            spacing: Length::from_mm(6_000),
            barriers: held + over_reached + 1,
            held,
            over_reached,
            crowded: 0,
            broken: 0,
            hits: 0,
            fell: over_reached > 3,
        }
    }

    #[test]
    fn a_word_governs_until_the_next_and_tells_which_way_it_went() {
        let advised = at(BarrierKind::LowBarrier, 400, 6_000);
        let word = |on, overridden, chosen| Taken {
            on,
            since: on,
            until: on + 7,
            overridden,
            advised: Some(advised),
            advised_hold: Some(0.8),
            chosen,
        };
        let words = [
            word(10, false, Some(advised)),
            word(12, true, Some(at(BarrierKind::LowBarrier, 400, 6_500))),
            Taken { since: 15, ..word(14, true, Some(at(BarrierKind::Wicket, 300, 6_000))) },
            word(40, true, None),
        ];
        let runs = [run(10, 6, 0), run(11, 6, 0), run(12, 2, 4), run(14, 5, 0), run(16, 4, 0), run(30, 9, 0)];
        let found = turned_out(&words, &runs, 1.0, 50);
        let seen: Vec<_> = found.iter().map(|one| (one.way, one.held, one.intervals, one.falls)).collect();
        let expected =
            [(Way::Accepted, 12, 12, 0), (Way::Harder, 2, 6, 1), (Way::Easier, 4, 4, 0), (Way::Otherwise, 0, 0, 0)];
        assert_eq!(seen, expected, "day 14 was run before the word, day 30 is after its end");
        let [accepted, harder, _, otherwise] = sums(&found);
        assert_eq!((accepted.words, accepted.advised_hold.map(|p| (p * 100.0).round())), (1, Some(80.0)));
        assert_eq!((harder.held, harder.intervals, otherwise.advised_hold), (2, 6, None));
    }
}
