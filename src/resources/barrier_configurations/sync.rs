//! Barrier configurations as phones carry them.

use super::model::Configuration;
use super::shapes::{Fields, View};
use super::store;
use crate::platform::ids::BarrierConfigurationId;
use crate::platform::ops::plain_records;

plain_records!(
    "barrier configuration",
    BarrierConfiguration,
    "barrier_configuration_id",
    Configuration,
    BarrierConfigurationId,
    |fields: Fields| fields.parse()
);
