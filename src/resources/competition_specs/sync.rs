//! Competition specifications of the club's own as phones carry them.

use super::model::Own;
use super::shapes::{Fields, View};
use super::store;
use crate::platform::ids::CompetitionSpecId;
use crate::platform::ops::plain_records;

plain_records!(
    "competition specification",
    CompetitionSpec,
    "competition_spec_id",
    Own,
    CompetitionSpecId,
    |fields: Fields| fields.parse()
);
