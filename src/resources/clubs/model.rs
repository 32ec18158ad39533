//! A club's settings and their rules.

use chrono_tz::Tz;

use crate::compute::units::Length;
use crate::platform::fault::{Fault, Faults};
use crate::platform::print_units::PrintUnits;
use crate::resources::advice::{PolicyFields, policy_of};

/// Finest and coarsest change of spacing that a club sets out.
const STEP: (Length, Length) = (Length::from_mm(50), Length::from_mm(1_000));

/// A club's settings.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    /// Name of the club.
    pub name: String,
    /// Decides what "today" is.
    pub time_zone: Tz,
    /// The rule set its athletes race under.
    pub ruleset: String,
    /// Smallest change of spacing that the club sets out.
    pub spacing_step: Length,
    /// The units in which it prints.
    pub print_units: PrintUnits,
    /// The club's own numbers for the progression rules.
    pub policy: PolicyFields,
    /// Whether coaches may show a session's sheets to helpers without an account.
    pub helper_links: bool,
}

impl Settings {
    /// Parses settings.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(
        [name, time_zone, ruleset, print_units]: [&str; 4],
        spacing_step_m: f64,
        policy: PolicyFields,
        helper_links: bool,
    ) -> Result<Self, Vec<Fault>> {
        let mut faults = Faults::new();
        let name = faults.text("/name", name, 100);
        let zone = time_zone.parse::<Tz>().map_err(|_| "must be an IANA time zone such as Europe/Vienna");
        let time_zone = faults.take("/time_zone", "time_zone", zone);
        let ruleset = faults.text("/ruleset", ruleset, 40);
        let print_units = faults.take("/print_units", "word", PrintUnits::parse(print_units));
        let step = Length::between(spacing_step_m, STEP.0, STEP.1);
        let spacing_step = faults.take("/spacing_step_m", "out_of_range", step);
        if let Some(step) = spacing_step {
            let (broken, unsafe_fields) = match policy_of(&policy, step) {
                Ok(policy) => (Vec::new(), policy.check_safe()),
                Err(broken) => (broken, Vec::new()),
            };
            for fault in broken {
                faults.add(format!("/policy/{}", fault.field), "out_of_range", fault.must);
            }
            for fault in unsafe_fields {
                faults.add(format!("/policy/{}", fault.field), "unsafe", fault.must);
            }
        }
        for fault in policy.start.constants().check_safe() {
            faults.add(format!("/policy/start/{}", fault.field), "unsafe", fault.to_string());
        }
        let value = (|| {
            Some(Self {
                name: name?,
                time_zone: time_zone?,
                ruleset: ruleset?,
                spacing_step: spacing_step?,
                print_units: print_units?,
                policy,
                helper_links,
            })
        })();
        faults.finish(value)
    }
}
