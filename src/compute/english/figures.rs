//! Figures, lengths, lists and dates as a coach reads them.
//!
//! Every figure of a sentence is written here, once, so that a length looks the same in a reason, on a sheet
//! and on a card. Rounding is for reading alone: codes carry the figures unrounded here ([`crate::params`]).
//!
//! | what | given | written |
//! | --- | --- | --- |
//! | length | 6 500 mm | 6.50 m |
//! | length with millimetres | 762 mm | 0.762 m |
//! | share | 0.843 | 84 % |
//! | probability with its range | mean 0.84, 5 % and 95 % quantiles 0.66 and 0.95 | 84 % held (likely 66 to 95 %) |
//! | configuration | low barriers, 450 mm, 6 500 mm | low barriers at 0.45 m, 6.50 m apart |
//! | count | 1 and 2 of "interval" | 1 interval, 2 intervals |
//! | day | 20 000 | 2024-10-04 |

use crate::decision::{Configuration, Hold};
use crate::units::{BarrierKind, Length};

/// "84 % held (likely 66 to 95 %)": the mean of a probability and its 90 % range, in whole per cent. The unit
/// stands once behind the range.
pub(super) fn likely(hold: Hold) -> String {
    format!("{} held (likely {:.0} to {})", percent(hold.mean), hold.p05 * 100.0, percent(hold.p95))
}

/// "low barriers at 0.45 m, 6.50 m apart": what a lane carries, as a noun in the plural.
pub(super) fn place(at: Configuration) -> String {
    format!("{}, {} apart", set_to(at), metres(at.spacing))
}

/// "low barriers at 0.45 m": kind and height without the spacing, where that was said just before.
pub(super) fn set_to(at: Configuration) -> String {
    format!("{} at {}", plural(at.barrier_kind), metres(at.height))
}

/// "lead leg, trail leg and walkover"; of more than three the first two and how many more, "others" being at
/// least two. Empty for none.
pub(super) fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [most @ .., last] if words.len() <= 3 => format!("{} and {last}", most.join(", ")),
        [first, second, others @ ..] => format!("{first}, {second} and {} others", others.len()),
    }
}

/// The kind's everyday plural. Without its last letter it is the singular, for each of the four.
pub(super) const fn plural(kind: BarrierKind) -> &'static str {
    match kind {
        BarrierKind::Wicket => "wickets",
        BarrierKind::Foam => "foam barriers",
        BarrierKind::LowBarrier => "low barriers",
        BarrierKind::Hurdle => "hurdles",
    }
}

/// Metres to the centimetre, or to the millimetre where the length has some: nothing is rounded away, and
/// heights converted from inches (0.762 m) keep their third decimal.
pub fn metres(length: Length) -> String {
    if length.mm().is_multiple_of(10) {
        format!("{:.2} m", length.metres())
    } else {
        format!("{:.3} m", length.metres())
    }
}

/// Words as a reader counts them: a unit belongs to its figure, so "6.50 m," is one word and "84 %" is one. For
/// the limit of an explanation.
pub(super) fn words(text: &str) -> usize {
    let unit = |word: &str| matches!(word.trim_end_matches([',', '.', ':', ')']), "m" | "%");
    text.split_whitespace().filter(|word| !unit(word)).count()
}

/// A clause as a sentence: its first letter a capital, a full stop at its end. An empty clause stays empty. A
/// figure at the beginning stays as it is.
pub(super) fn sentence(clause: &str) -> String {
    let mut letters = clause.chars();
    letters.next().map_or_else(String::new, |first| format!("{}{}.", first.to_uppercase(), letters.as_str()))
}

/// A share (0 to 1) in whole per cent, "84 %"; a share just below a limit may read like the limit itself.
pub(super) fn percent(share: f64) -> String {
    format!("{:.0} %", share * 100.0)
}

/// So many of a thing, with an "s" unless it is one: for things whose plural is regular. "0 intervals" for
/// none.
pub(super) fn count(n: u32, thing: &str) -> String {
    format!("{n} {thing}{}", if n == 1 { "" } else { "s" })
}

/// The ISO 8601 date of a day since 1970-01-01, of any number: records may hold a day that is no
/// [`Day`](crate::day::Day).
///
/// Days are counted from 0000-03-01 in eras of 400 years, which all have 146 097 days; within an era the year
/// follows from the leap days before, and the month from the pattern of 153 days in five months from March on.
///
/// # Source
/// Counting years from 1 March makes the leap day the last of its year (common practice, no source).
pub(super) fn date(day: i32) -> String {
    let z = i64::from(day) + 719_468;
    let era = z.div_euclid(146_097);
    let day_of_era = z.rem_euclid(146_097);
    let year_of_era = (day_of_era - day_of_era / 1_460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let shifted = (5 * day_of_year + 2) / 153;
    let month = if shifted < 10 { shifted + 3 } else { shifted - 9 };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    format!("{year:04}-{month:02}-{:02}", day_of_year - (153 * shifted + 2) / 5 + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_list_names_three_and_counts_the_rest() {
        assert_eq!(listed(&["lead leg"]), "lead leg");
        assert_eq!(listed(&["lead leg", "trail leg"]), "lead leg and trail leg");
        assert_eq!(listed(&["lead leg", "trail leg", "walkover"]), "lead leg, trail leg and walkover");
        assert_eq!(listed(&["lead leg", "trail leg", "walkover", "arms"]), "lead leg, trail leg and 2 others");
    }

    #[test]
    fn days_since_1970_read_as_dates() {
        assert_eq!(date(0), "1970-01-01");
        assert_eq!(date(-1), "1969-12-31");
        assert_eq!(date(11_016), "2000-02-29");
        assert_eq!(date(20_000), "2024-10-04");
    }
}
