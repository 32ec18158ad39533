//! A venue and its rules.

use crate::compute::specs::Environment;
use crate::compute::units::Length;
use crate::platform::fault::{Fault, Faults};

/// Shortest and longest straight.
const STRAIGHT: (Length, Length) = (Length::from_mm(10_000), Length::from_mm(400_000));
/// Most lanes.
const MAX_LANES: i16 = 20;

/// A venue.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Venue {
    /// The name, unique in the club.
    pub name: String,
    /// Under a roof or not.
    pub environment: Environment,
    /// Usable straight.
    pub straight: Length,
    /// Lanes.
    pub lanes: i16,
    /// Surface in the club's own words.
    pub surface: Option<String>,
}

impl Venue {
    /// Parses a venue.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(
        name: &str,
        environment: &str,
        straight_m: f64,
        lanes: i16,
        surface: Option<&str>,
    ) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let name = faults.text("/name", name, 80);
        let environment = Environment::from_word(environment).ok_or("must be indoor or outdoor");
        let environment = faults.take("/environment", "word", environment);
        let straight = Length::between(straight_m, STRAIGHT.0, STRAIGHT.1);
        let straight = faults.take("/straight_m", "out_of_range", straight);
        if !(1..=MAX_LANES).contains(&lanes) {
            faults.add("/lanes", "out_of_range", format!("must be from 1 to {MAX_LANES}"));
        }
        let surface = faults.opt_text("/surface", surface, 60);
        let parts = name.zip(environment).zip(straight);
        faults.finish(parts.map(|((name, environment), straight)| Self { name, environment, straight, lanes, surface }))
    }
}
