//! The barriers of a club as a plan counts them. Clubs write their equipment down in as many rows as they like; rows that
//! can be set to the same of the heights that matter are one stock of the plan, whose use is shared out to the rows again.

use std::collections::{BTreeMap, BTreeSet};

use uuid::Uuid;

use super::model::Equipment;
use super::shapes::StockView;
use crate::compute::lane_plan::{Candidate, MAX_UNITS, StockItem, StockUse};
use crate::compute::units::{BarrierKind, Length};
use crate::platform::ids::EquipmentId;

/// Rows that can be set to the same of the candidates' heights, by kind and heights; those that serve none are left out.
fn alike<'a>(
    equipment: &'a [Equipment],
    candidates: &[Candidate],
) -> BTreeMap<(BarrierKind, Vec<Length>), Vec<&'a Equipment>> {
    let asked: BTreeSet<(BarrierKind, Length)> = candidates.iter().map(|one| (one.kind, one.height)).collect();
    let mut all: BTreeMap<_, Vec<&Equipment>> = BTreeMap::new();
    for one in equipment.iter().filter(|one| one.count > 0) {
        let heights: BTreeSet<Length> =
            one.heights.iter().copied().filter(|height| asked.contains(&(one.kind, *height))).collect();
        if !heights.is_empty() {
            all.entry((one.kind, heights.into_iter().collect())).or_default().push(one);
        }
    }
    all
}

/// The stocks of a plan; each has the id of its first row.
pub fn stocks(equipment: &[Equipment], candidates: &[Candidate]) -> Vec<StockItem> {
    let stock = |((kind, heights), rows): ((BarrierKind, Vec<Length>), Vec<&Equipment>)| {
        let count = rows.iter().map(|row| row.count).fold(0, u32::saturating_add).min(MAX_UNITS);
        rows.first().map(|first| StockItem { id: first.id.as_u128(), kind, heights, count })
    };
    alike(equipment, candidates).into_iter().filter_map(stock).collect()
}

/// What a plan takes from each row: the rows of a stock are used up one after the other.
pub fn taken(equipment: &[Equipment], candidates: &[Candidate], used: &[StockUse]) -> Vec<StockView> {
    let mut left: BTreeMap<u128, Vec<(Uuid, u32)>> = BTreeMap::new();
    for rows in alike(equipment, candidates).into_values() {
        if let Some(first) = rows.first() {
            left.insert(first.id.as_u128(), rows.iter().rev().map(|row| (row.id, row.count)).collect());
        }
    }
    let mut views = Vec::new();
    for one in used {
        let mut wanted = one.count;
        let Some(rows) = left.get_mut(&one.item) else { continue };
        while wanted > 0
            && let Some((id, there)) = rows.pop()
        {
            let count = wanted.min(there);
            wanted -= count;
            views.push(StockView { equipment_id: EquipmentId(id), height_m: one.height.metres(), count });
            if there > count {
                rows.push((id, there - count));
            }
        }
    }
    views
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_alike_are_one_stock_and_share_its_use() {
        let (low, high) = (Length::from_mm(500), Length::from_mm(700));
        let row = |id: u128, heights: &[Length], count| Equipment {
            id: Uuid::from_u128(id),
            kind: BarrierKind::Hurdle,
            heights: heights.to_vec(),
            count,
        };
        let other = Length::from_mm(900);
        let rows = [
            row(1, &[low, high], 3),
            row(2, &[high, low, other], 4),
            row(3, &[low], 5),
            row(4, &[other], 9),
            row(5, &[low], 0),
        ];
        let candidate = |height| Candidate {
            kind: BarrierKind::Hurdle,
            height,
            spacing: Length::from_mm(7_000),
            approach: Length::from_mm(12_000),
        };
        let candidates = [candidate(low), candidate(high)];
        let stocks = stocks(&rows, &candidates);
        let counts: Vec<(u128, u32)> = stocks.iter().map(|one| (one.id, one.count)).collect();
        assert_eq!(counts, [(3, 5), (1, 7)]);
        let used = [StockUse { item: 1, height: low, count: 5 }, StockUse { item: 1, height: high, count: 2 }];
        let views = taken(&rows, &candidates, &used);
        let views: Vec<(u128, u32)> = views.iter().map(|one| (one.equipment_id.0.as_u128(), one.count)).collect();
        assert_eq!(views, [(1, 3), (2, 2), (2, 2)]);
    }
}
