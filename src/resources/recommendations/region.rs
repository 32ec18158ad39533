//! The JSON of where an athlete may run today.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::compute::decision::{Bound, Limit, Region};
use crate::resources::advice::WallView;
use crate::resources::advice::vocabulary;

/// A spacing at which the permitted ones end.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = PermittedLimit)]
pub struct LimitView {
    /// The last spacing that is permitted, metres.
    #[schema(minimum = 0, maximum = 20, example = 6.5)]
    spacing_m: f64,
    /// Why not further.
    why: WallView,
}

impl From<Limit> for LimitView {
    fn from(limit: Limit) -> Self {
        Self { spacing_m: limit.spacing.metres(), why: WallView::from(&limit.why) }
    }
}

/// A barrier that may be run over, and the spacings.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = PermittedBarrier)]
pub struct BoundView {
    /// `wicket`, `foam`, `low_barrier` or `hurdle`.
    #[schema(value_type = vocabulary::BarrierKind)]
    barrier_kind: String,
    /// Height, metres.
    #[schema(minimum = 0, maximum = 1.5, example = 0.5)]
    height_m: f64,
    /// The shortest spacing.
    shortest: LimitView,
    /// The longest spacing.
    longest: LimitView,
    /// The longest spacing where an interval holds with `wider_hold`; absent where that opens nothing.
    #[serde(skip_serializing_if = "Option::is_none")]
    wider: Option<LimitView>,
}

impl From<&Bound> for BoundView {
    fn from(bound: &Bound) -> Self {
        Self {
            barrier_kind: bound.barrier_kind.as_str().to_owned(),
            height_m: bound.height.metres(),
            shortest: bound.shortest.into(),
            longest: bound.longest.into(),
            wider: bound.beyond.map(Into::into),
        }
    }
}

/// Where the athlete may run today. Lane plans, the fitting lane and race-test entries keep to it. What a coach chooses instead of
/// the advice keeps to its hard walls: rest, what the club owns, the target; the others open at a second confirmation.
#[derive(Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = PermittedRegion)]
pub struct RegionView {
    /// Why the athlete runs nowhere today; absent when they may run.
    #[serde(skip_serializing_if = "Option::is_none")]
    closed: Option<WallView>,
    /// The least P(hold) anywhere, but for `below_floor`.
    #[schema(minimum = 0.6, maximum = 1, example = 0.65)]
    hold_floor: f64,
    /// The P(hold) needed where a spacing is wider than advised.
    #[schema(minimum = 0.6, maximum = 1, example = 0.8)]
    wider_hold: f64,
    /// Whether the advised configuration, and no other, may be run below `hold_floor` once a coach confirms: the way out for
    /// a crowded athlete, who would hold even less in any closer lane.
    #[serde(default)]
    below_floor: bool,
    /// The barriers, softest and lowest first.
    #[schema(max_items = 200)]
    barriers: Vec<BoundView>,
}

impl From<&Region> for RegionView {
    fn from(region: &Region) -> Self {
        Self {
            closed: region.closed().as_ref().map(WallView::from),
            hold_floor: region.floor(),
            wider_hold: region.wider_hold(),
            below_floor: region.below_floor(),
            barriers: region.bounds().iter().map(BoundView::from).collect(),
        }
    }
}
