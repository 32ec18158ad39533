//! A pure model of server and phones, written from the contract and the guide alone.
//!
//! Two clubs share a server whose transactions other transactions interrupt at every step (begin, each item under its
//! locks, the counter, the commit), whose process dies and whose database comes back as an older copy. Six phones follow
//! the guide behind a network that delays, drops, repeats, reorders and cuts. A history is a list of events drawn by a
//! seed; it ends with the last writer's return and a drain without faults. Each written value is one of a kind and each
//! edit carries what its author saw, so that a lost or blind edit shows.
//!
//! | invariant | checked |
//! | --- | --- |
//! | I1, I12 every recorded fact is stored, held or (its author left) on the phone, also after a restore | at rest |
//! | I2 one effect for each operation; nothing stored is answered as lost; nothing refused is carried out later | each commit, each answer |
//! | I3 a copy is what its member may see, from the day on that the phone keeps: ids, numbers, content | at rest |
//! | I4 no page shows what is hidden; a stub is empty | each page, each commit |
//! | I5 numbers never fall along a chain of tokens | each applied page |
//! | I6 no page for a foreign or edited token | each forged token |
//! | I7 an edit replaces only what its author had seen; the value that loses is kept; an accepted one lasts | each commit, at rest |
//! | I8 facts never change | each commit |
//! | I9 no hole in the numbers but that of a new epoch | at rest |
//! | I10 without the other club, the same state | second run |
//! | I11 outboxes are empty within six rounds, no fact is parked, every feed ends | at rest |
//! | I13 rows read for a page | each page |
//! | I14 with other clocks, the same state but for what clocks claim | second and third run |
//! | other pages, other cuts of pushes, other polls: the same state | second run |

pub mod engine;

use crate::dice;
use engine::proof::{rows, run, score};

/// Histories in CI. Every fault below is found in far fewer.
const HISTORIES: u64 = 20_000;

#[test]
fn no_history_breaks_an_invariant() {
    let figures = run(0..HISTORIES, None);
    println!("{figures}");
    let broken: Vec<String> = figures.broken.iter().map(ToString::to_string).collect();
    assert!(broken.is_empty(), "{}", broken.join("\n"));
    assert_eq!(figures.histories, HISTORIES);
}

#[test]
fn every_built_in_fault_is_found_in_the_same_histories() {
    let found = score(&(0..HISTORIES));
    let table = rows(&found).join("\n");
    println!("{table}");
    let missed: Vec<&str> =
        found.iter().filter(|(_, figures)| figures.broken.is_empty()).map(|(flaw, _)| flaw.words()).collect();
    assert!(missed.is_empty(), "not found: {missed:#?}\n{table}");
}
