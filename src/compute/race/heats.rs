//! Who runs in which heat.
//!
//! The heats are an assignment of at most 120 athletes to at most 60 heats of given sizes that minimises a list of
//! aims, compared in order: the first aim that differs decides. All aims are whole numbers, so no rounding decides a
//! tie.
//!
//! Worked: six athletes expected at 12.0, 12.2, 12.5, 12.9, 13.4 and 14.0 s on three lanes need two heats. `Balanced`
//! wants one of each pair of neighbours (12.0 and 12.2, 12.5 and 12.9, 13.4 and 14.0) in each heat and the means as
//! near as that allows: 12.0, 12.5, 14.0 against 12.2, 12.9, 13.4, both with a mean of 12.833 s. `LikeTimes` puts
//! 12.9, 13.4 and 14.0 first and 12.0, 12.2 and 12.5 last.

mod board;

use thiserror::Error;

use board::Board;

/// The most athletes of one race test.
///
/// Design choice; the tiers of a field fit the bits of one number.
pub const MAX_ENTRIES: usize = 120;
/// The most heats.
///
/// Design choice: half of the entries, two to a heat.
pub const MAX_HEATS: u8 = 60;
/// The most lanes.
///
/// Design choice: more than any straight has. Heats of at most twelve are what makes exact means cheap.
pub const MAX_LANES: u8 = 12;

/// How heats are made up.
///
/// Design choice which of the two a club takes; practice knows both.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seeding {
    /// Each heat has the same mix of fast and slow, and the means of the heats differ as little as possible.
    Balanced,
    /// Athletes of similar expected time run together; the fastest heat comes last.
    LikeTimes,
}

impl Seeding {
    /// The word used in JSON.
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Balanced => "balanced",
            Self::LikeTimes => "like_times",
        }
    }

    /// The seeding that a word names, if any.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Balanced, Self::LikeTimes].into_iter().find(|seeding| seeding.as_str() == word)
    }
}

/// An athlete who runs.
///
/// Hand in the median or expected time; its standard error does not enter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Entry {
    /// The athlete.
    pub athlete: u128,
    /// Expected time, milliseconds (ms); none when unknown.
    pub expected_ms: Option<u32>,
}

/// An athlete with a heat or a lane of the coach's choice.
///
/// Heat alone, lane alone, both, or neither, which pins nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pin {
    /// The athlete.
    pub athlete: u128,
    /// The heat, from 1.
    pub heat: Option<u8>,
    /// The lane.
    pub lane: Option<u8>,
}

/// What a coach asks for.
///
/// Ids in pins and pairs must be entered.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Wish {
    /// Lanes in use, ascending; see [`usable_lanes`](super::usable_lanes).
    ///
    /// Their number is the size of a full heat; which they are matters for pins only.
    pub lanes: Vec<u8>,
    /// Heats wanted; the fewest that hold everybody when absent.
    pub heats: Option<u8>,
    /// How they are made up.
    pub seeding: Seeding,
    /// Heats and lanes that are fixed, at most one entry for each athlete.
    pub pins: Vec<Pin>,
    /// Pairs of athletes who do not run in the same heat.
    ///
    /// In any order, repeated or not.
    pub apart: Vec<(u128, u128)>,
}

/// The heats.
///
/// Heats are counted from 1 by their place in the list.
#[derive(Clone, Debug, PartialEq)]
pub struct Heats {
    /// The athletes of each heat, fastest expected first, those without an expected time last.
    pub heats: Vec<Vec<u128>>,
    /// Largest less smallest mean expected time of a heat, milliseconds (ms); none when fewer than two heats have one.
    ///
    /// Fractions of a millisecond occur: means are divided by the size of the heat.
    pub spread_ms: Option<f64>,
    /// Whether every arrangement was compared, so that none is better.
    ///
    /// Of small fields always true; of large ones false even when the answer happens to be the best.
    pub exact: bool,
}

/// Why there are no heats.
///
/// Ids say who is meant, so that the caller can name them. Checked in the order entries, lanes, twice, count, pins,
/// pairs, room for pins; [`HeatsError::Apart`] comes last, after a search.
#[derive(Clone, Copy, Debug, Error, PartialEq, Eq)]
pub enum HeatsError {
    /// Nobody, or too many.
    #[error("needs 1 to {MAX_ENTRIES} athletes, not {0}")]
    Entries(usize),
    /// No lane, or too many.
    #[error("needs 1 to {MAX_LANES} lanes, not {0}")]
    Lanes(usize),
    /// The heats wanted do not hold everybody, or would be empty.
    ///
    /// Where none was wanted and even the most heats do not hold everybody, `wanted` is that most.
    #[error("{wanted} heats do not do: it takes {least} to {most}")]
    Count {
        /// Heats wanted.
        wanted: u8,
        /// The fewest that hold everybody.
        least: usize,
        /// The most that are not empty.
        most: usize,
    },
    /// An athlete is entered or pinned twice, or kept apart from themselves.
    #[error("an athlete is named twice")]
    Twice(u128),
    /// Somebody is pinned or kept apart who is not entered.
    #[error("is not entered")]
    NotEntered(u128),
    /// A pin names a heat or lane that is not in use.
    #[error("this heat or lane is not in use")]
    PinOutside(u128),
    /// Two athletes are pinned to one place.
    #[error("two athletes have the same heat and lane")]
    PinClash(u128, u128),
    /// More athletes are pinned to a heat or lane than it holds.
    #[error("more athletes are pinned here than there are places")]
    PinsFull(u128),
    /// Two athletes who are to be kept apart are pinned to one heat.
    #[error("two athletes who are kept apart are pinned to the same heat")]
    PinnedTogether(u128, u128),
    /// No arrangement was found that keeps everybody apart as asked.
    ///
    /// In large fields the search gives up after 100 000 placements, so an arrangement may still exist.
    #[error("no arrangement was found that keeps these athletes apart; more heats or fewer pairs would do")]
    Apart,
}

/// Makes up the heats: the fewest that fit the lanes (or the wanted count), sizes that differ by at most one.
///
/// `Balanced` puts, in this order: athletes kept apart, those without an expected time spread evenly, the same mix in each
/// heat (of the H fastest one in each heat, of the next H one in each, and so on), the smallest spread of the heats' means.
/// `LikeTimes` puts: apart, spread of the unknown, the smallest sum of squared distances from the means of the heats.
/// Small fields are searched in full; larger ones start from a serpentine (or from the order of times) and are improved by
/// swaps. The answer does not depend on the order of the entries; ties go by athlete id.
///
/// The best of equally good arrangements is the first in the order of the search, which goes by athlete id and then by
/// heat.
///
/// # Errors
/// [`HeatsError`].
///
/// # Complexity
/// At most 50 000 arrangements of the full search, or 60 passes over all pairs.
///
/// # Source
/// Serpentine and slow heats first: common practice, no source. The order of the aims: design choice.
///
/// ```
/// use lanewright_compute::race::{Entry, Seeding, Wish, heats};
///
/// let entries: Vec<Entry> =
///     (0..4).map(|n| Entry { athlete: u128::from(n), expected_ms: Some(12_000 + 100 * n) }).collect();
/// let mut wish =
///     Wish { lanes: vec![1, 2], heats: None, seeding: Seeding::Balanced, pins: vec![], apart: vec![] };
/// assert_eq!(heats(&entries, &wish).unwrap().heats, [[0, 3], [1, 2]]);
/// wish.seeding = Seeding::LikeTimes;
/// assert_eq!(heats(&entries, &wish).unwrap().heats, [[2, 3], [0, 1]]);
/// ```
pub fn heats(entries: &[Entry], wish: &Wish) -> Result<Heats, HeatsError> {
    let mut sorted = entries.to_vec();
    sorted.sort_unstable_by_key(|entry| entry.athlete);
    let count = check_counts(&sorted, wish)?;
    let board = Board::new(&sorted, wish, count)?;
    let (assigned, exact) = board.solve()?;
    Ok(Heats { heats: board.lists(&assigned), spread_ms: board.spread_ms(&assigned), exact })
}

/// The number of heats.
///
/// From `least`, the entries over the lanes rounded up, to `most`, one athlete a heat and at most [`MAX_HEATS`].
fn check_counts(sorted: &[Entry], wish: &Wish) -> Result<usize, HeatsError> {
    if !(1..=MAX_ENTRIES).contains(&sorted.len()) {
        return Err(HeatsError::Entries(sorted.len()));
    }
    if !(1..=usize::from(MAX_LANES)).contains(&wish.lanes.len()) {
        return Err(HeatsError::Lanes(wish.lanes.len()));
    }
    if let Some(twice) = sorted.windows(2).find_map(|pair| match pair {
        [a, b] if a.athlete == b.athlete => Some(a.athlete),
        _ => None,
    }) {
        return Err(HeatsError::Twice(twice));
    }
    let least = sorted.len().div_ceil(wish.lanes.len());
    let most = sorted.len().min(usize::from(MAX_HEATS));
    let wanted = wish.heats.map_or(least, usize::from);
    if wanted < least || wanted > most {
        return Err(HeatsError::Count { wanted: wish.heats.unwrap_or(MAX_HEATS), least, most });
    }
    Ok(wanted)
}
