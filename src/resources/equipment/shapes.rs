//! The JSON of equipment.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::model::Equipment;
use crate::platform::fault::Fault;
use crate::platform::ids::EquipmentId;
use crate::platform::page;
use crate::platform::shape::{Create, Kept};
use crate::resources::advice::vocabulary;

/// A stock of barriers.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = EquipmentFields, example = json!({"barrier_kind": "low_barrier", "heights_m": [0.4, 0.5, 0.6], "count": 24}))]
pub struct Fields {
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(value_type = vocabulary::BarrierKind)]
    pub barrier_kind: String,
    /// Heights that each of them can be set to, metres.
    #[schema(min_items = 1, max_items = 12, example = json!([0.4, 0.5, 0.6]))]
    pub heights_m: Vec<f64>,
    /// How many there are.
    #[schema(minimum = 1, maximum = 500, example = 24)]
    pub count: i16,
    /// Remark.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(min_length = 1, max_length = 200, example = "Blue feet, in the container")]
    pub note: Option<String>,
}

impl Fields {
    /// Parses the equipment.
    ///
    /// # Errors
    /// Every broken field.
    pub fn parse(&self) -> Result<Equipment, Vec<Fault>> {
        Equipment::parse(&self.barrier_kind, &self.heights_m, self.count, self.note.as_deref())
    }
}

impl From<&Equipment> for Fields {
    fn from(value: &Equipment) -> Self {
        Self {
            barrier_kind: value.kind.as_str().to_owned(),
            heights_m: value.heights.iter().map(|height| height.metres()).collect(),
            count: value.count,
            note: value.note.clone(),
        }
    }
}

/// A new equipment.
pub type New = Create<EquipmentId, Fields>;

/// A stock of barriers.
pub type View = Kept<EquipmentId, Fields>;

/// A page of equipment.
pub type Page = page::Page<View>;
