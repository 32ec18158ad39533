//! Rows of barrier configurations.

use super::model::Configuration;
use crate::compute::units::BarrierKind;
use crate::platform::db::{StoreError, plain_store};
use crate::platform::ids::BarrierConfigurationId;
use crate::resources::advice::{length, mm};

/// What does not parse when a row does not.
const WHAT: &str = "barrier configuration";

plain_store! {
    BarrierConfiguration, BarrierConfigurationId, Configuration,
    "barrier_configurations" unique "barrier_configurations_name";
    "name, barrier_kind, height_mm, spacing_mm, approach_mm, barriers" = "$4, $5, $6, $7, $8, $9";
    row => Configuration {
        name: row.name,
        kind: BarrierKind::from_word(&row.barrier_kind).ok_or(StoreError::Corrupt(WHAT))?,
        height: length(row.height_mm, WHAT)?,
        spacing: length(row.spacing_mm, WHAT)?,
        approach: length(row.approach_mm, WHAT)?,
        barriers: row.barriers,
    };
    value => value.name, value.kind.as_str(), mm(value.height), mm(value.spacing), mm(value.approach), value.barriers;
}
