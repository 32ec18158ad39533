//! Age groups of the club's own as phones carry them.

use super::model::Group;
use super::shapes::{Fields, View};
use super::store;
use crate::platform::ids::AgeGroupId;
use crate::platform::ops::plain_records;

plain_records!("age group", AgeGroup, "age_group_id", Group, AgeGroupId, |fields: Fields| fields.parse());
