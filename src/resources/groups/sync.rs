//! Training groups as phones carry them.

use super::http::{Fields, View};
use super::model::Group;
use super::store;
use crate::platform::ids::GroupId;
use crate::platform::ops::plain_records;

plain_records!("group", Group, "group_id", Group, GroupId, Group::try_from);
