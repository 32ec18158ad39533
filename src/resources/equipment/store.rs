//! Rows of equipment.

use super::model::Equipment;
use crate::compute::units::BarrierKind;
use crate::platform::db::{StoreError, plain_store};
use crate::platform::ids::EquipmentId;
use crate::resources::advice::{length, mm};

plain_store! {
    Equipment, EquipmentId, Equipment, "equipment";
    "barrier_kind, heights_mm, count, note" = "$4, $5, $6, $7";
    row => Equipment {
        kind: BarrierKind::from_word(&row.barrier_kind).ok_or(StoreError::Corrupt("equipment"))?,
        heights: row.heights_mm.into_iter().map(|height| length(height, "equipment")).collect::<Result<_, _>>()?,
        count: row.count,
        note: row.note,
    };
    value => value.kind.as_str(), &value.heights.iter().copied().map(mm).collect::<Vec<_>>(), value.count, value.note;
}
