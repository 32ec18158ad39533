//! A training group and its rules.

use crate::platform::fault::{Fault, Faults};

/// A training group.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Group {
    /// The name, unique in the club.
    pub name: String,
    /// The season it trains for, in the club's own words.
    pub season: Option<String>,
    /// Whether its time is over: it keeps its past and leaves the lists.
    pub archived: bool,
}

impl Group {
    /// Parses a group.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(name: &str, season: Option<&str>, archived: bool) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let name = faults.text("/name", name, 80);
        let season = faults.opt_text("/season", season, 40);
        faults.finish(name.map(|name| Self { name, season, archived }))
    }
}
