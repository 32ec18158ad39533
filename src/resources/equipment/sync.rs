//! Stocks of barriers as phones carry them.

use super::model::Equipment;
use super::shapes::{Fields, View};
use super::store;
use crate::platform::ids::EquipmentId;
use crate::platform::ops::plain_records;

plain_records!("equipment", Equipment, "equipment_id", Equipment, EquipmentId, |fields: Fields| fields.parse());
