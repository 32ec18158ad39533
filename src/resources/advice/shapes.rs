//! The JSON of what advice says: a stable code with its parameters, and the English sentence.

use std::borrow::Cow;
use std::fmt::Write as _;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use serde_json::json;
use utoipa::openapi::schema::{ObjectBuilder, Schema, SchemaFormat, Type};
use utoipa::openapi::{KnownFormat, OpenApi, Ref, RefOr};
use utoipa::{PartialSchema, ToSchema};

use crate::compute::advice::AdviceError;
use crate::compute::decision::{Caution, Missing, Reason, Surface, Wall};
use crate::compute::params::{CodeDoc, Kind, PARAMS, Param, Value};
use crate::compute::progress::{HeldUp, Note};
use crate::compute::standing::Standing;
use crate::resources::advice::vocabulary::{AdviceReport, AdviceSurface, BarrierKind, Criterion};

/// A word of a closed list of codes that the OpenAPI document spells out.
macro_rules! codes {
    ($(#[$doc:meta])* $name:ident, $says:literal, $codes:expr) => {
        $(#[$doc])*
        #[derive(Clone, Debug, Deserialize, Serialize)]
        #[serde(transparent)]
        pub struct $name(String);

        impl PartialSchema for $name {
            fn schema() -> RefOr<Schema> {
                code_schema($says, &$codes)
            }
        }

        impl ToSchema for $name {
            fn name() -> Cow<'static, str> {
                stringify!($name).into()
            }
        }
    };
}

codes!(
    /// Code of a reason.
    ReasonCode, "Why a decision was taken.", Reason::CODES
);
codes!(
    /// Code of what is missing.
    MissingCode, "What a step up still needs.", Missing::CODES
);
codes!(
    /// Code of a caution.
    CautionCode, "What to heed.", Caution::CODES
);
codes!(
    /// Code of an athlete's standing in a lane.
    StandingCode, "Why an athlete stands in a lane.", Standing::CODES
);

codes!(
    /// Code of a wall.
    WallCode, "Why an athlete may not run somewhere.", Wall::CODES
);

codes!(
    /// Code of a note on a forecast.
    NoteCode, "What a forecast rests on, or what weakens it.", Note::CODES
);

codes!(
    /// Code of what stands before every step up.
    HeldUpCode, "What stands before every step up and no training brings.", HeldUp::codes()
);

codes!(
    /// Code of what stands before the next step.
    ObstacleCode, "What stands before the next step: what it still needs, or a wall.", [&Missing::CODES[..], &Wall::CODES[..]].concat()
);

codes!(
    /// Code of what on file cannot be used.
    UnusableCode, "What on file about an athlete cannot be used.", AdviceError::CODES
);

impl UnusableCode {
    /// The code of an error.
    pub fn of(error: &AdviceError) -> Self {
        Self(error.code().to_owned())
    }

    /// As it is spelt.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// Adds the walls of an athlete's region to the codes of broken fields: what nobody may run is refused with their words.
pub fn describe(api: &mut OpenApi) {
    let Some(components) = &mut api.components else { return };
    let Some(RefOr::T(Schema::Object(codes))) = components.schemas.get_mut("FaultCode") else { return };
    for wall in Wall::CODES {
        codes.enum_values.get_or_insert_default().push(json!(wall.code));
        let lines = codes.description.get_or_insert_default();
        // Writing to a string cannot fail.
        let _ = write!(lines, "\n- `{}`: {}", wall.code, wall.means);
    }
}

fn code_schema(says: &str, codes: &[CodeDoc]) -> RefOr<Schema> {
    let mut description = format!("{says} The list is closed and a code never changes its meaning.\n");
    for one in codes {
        let with = if one.params.is_empty() { String::new() } else { format!(" ({})", one.params.join(", ")) };
        // Writing to a string cannot fail.
        let _ = write!(description, "\n- `{}`: {}{with}", one.code, one.means);
    }
    ObjectBuilder::new()
        .schema_type(Type::String)
        .enum_values(Some(codes.iter().map(|one| one.code)))
        .description(Some(description))
        .examples(codes.first().map(|one| one.code))
        .into()
}

/// The figures behind a sentence, each absent where it has no meaning.
#[derive(Clone, Debug, Default, Deserialize, Serialize)]
#[serde(transparent)]
pub struct Params(serde_json::Map<String, serde_json::Value>);

impl PartialSchema for Params {
    fn schema() -> RefOr<Schema> {
        let says = "The figures and words behind a sentence; which of them a code carries is listed with the codes.";
        PARAMS
            .iter()
            .fold(ObjectBuilder::new().description(Some(says)), |object, (name, kind, means)| {
                object.property(*name, param(name, *kind, means))
            })
            .examples([json!({"hits": 3, "barriers": 12})])
            .into()
    }
}

impl ToSchema for Params {
    fn name() -> Cow<'static, str> {
        "AdviceParams".into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push((Criterion::name().into_owned(), Criterion::schema()));
        schemas.push((BarrierKind::name().into_owned(), BarrierKind::schema()));
        schemas.push((AdviceReport::name().into_owned(), AdviceReport::schema()));
        schemas.push((AdviceSurface::name().into_owned(), AdviceSurface::schema()));
    }
}

/// The closed list of words that a parameter takes.
fn param(name: &str, kind: Kind, means: &str) -> RefOr<Schema> {
    if kind != Kind::Word {
        return param_schema(kind, means).into();
    }
    let list = match name {
        "criterion" => Criterion::name(),
        "report" => AdviceReport::name(),
        "surface" => AdviceSurface::name(),
        _ => BarrierKind::name(),
    };
    let mut place = Ref::from_schema_name(list);
    means.clone_into(&mut place.description);
    place.into()
}

fn param_schema(kind: Kind, means: &str) -> Schema {
    let unit = match kind {
        Kind::Metres => " Metres.",
        Kind::Share => " From 0 to 1.",
        Kind::Loss => " From 0 to 2.",
        Kind::Count | Kind::Level | Kind::Word | Kind::Date => "",
    };
    let object = ObjectBuilder::new().description(Some(format!("{means}{unit}")));
    match kind {
        Kind::Count => object.schema_type(Type::Integer).minimum(Some(0)),
        Kind::Level => object.schema_type(Type::Integer).minimum(Some(0)).maximum(Some(3)),
        Kind::Share => object.schema_type(Type::Number).minimum(Some(0)).maximum(Some(1)),
        Kind::Loss => object.schema_type(Type::Number).minimum(Some(0)).maximum(Some(2)),
        Kind::Metres => object.schema_type(Type::Number).minimum(Some(0)).maximum(Some(1_000)),
        Kind::Word => object.schema_type(Type::String).max_length(Some(20)),
        Kind::Date => object.schema_type(Type::String).format(Some(SchemaFormat::KnownFormat(KnownFormat::Date))),
    }
    .into()
}

impl From<Vec<Param>> for Params {
    fn from(params: Vec<Param>) -> Self {
        let json = |value| match value {
            Value::Count(n) => json!(n),
            Value::Number(x) => json!((x * 1_000.0).round() / 1_000.0),
            Value::Word(word) => json!(word),
            Value::Day(day) => json!(NaiveDate::from_epoch_days(day)),
        };
        Self(params.into_iter().map(|(name, value)| (name.to_owned(), json(value))).collect())
    }
}

/// A reason: code and figures for programs and translations, and the English sentence.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = AdviceReason)]
pub struct ReasonView {
    /// Stable code.
    pub code: ReasonCode,
    /// The figures.
    #[serde(default)]
    pub params: Params,
    /// The sentence.
    #[schema(max_length = 500, example = "3 of 12 barriers were hit while the rhythm held.")]
    pub text: String,
}

impl From<&Reason> for ReasonView {
    fn from(one: &Reason) -> Self {
        Self { code: ReasonCode(one.code().to_owned()), params: one.params().into(), text: one.text() }
    }
}

/// What a step up still needs: code and figures for programs and translations, and the English sentence.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = AdviceMissing)]
pub struct MissingView {
    /// Stable code.
    pub code: MissingCode,
    /// The figures.
    #[serde(default)]
    pub params: Params,
    /// The sentence.
    #[schema(max_length = 500, example = "A step up needs 4 more intervals.")]
    pub text: String,
}

impl From<&Missing> for MissingView {
    fn from(one: &Missing) -> Self {
        Self { code: MissingCode(one.code().to_owned()), params: one.params().into(), text: one.text() }
    }
}

/// A caution: code for programs and translations, and the English sentence.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = AdviceCaution)]
pub struct CautionView {
    /// Stable code.
    pub code: CautionCode,
    /// The figures; cautions have none yet.
    #[serde(default)]
    pub params: Params,
    /// The sentence.
    #[schema(max_length = 500, example = "Run barriers only in the direction they tip, never the reverse.")]
    pub text: String,
}

impl CautionView {
    /// The stable code.
    pub fn code(&self) -> &str {
        &self.code.0
    }
}

impl From<&Caution> for CautionView {
    fn from(one: &Caution) -> Self {
        Self { code: CautionCode(one.code().to_owned()), params: Params::default(), text: one.text().to_owned() }
    }
}

/// Why an athlete may not run somewhere: code and figures for programs and translations, and the English sentence.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = PermittedWall)]
pub struct WallView {
    /// Stable code.
    pub code: WallCode,
    /// The figures.
    #[serde(default)]
    pub params: Params,
    /// The sentence.
    #[schema(max_length = 500, example = "No more than 6.50 m apart is advised.")]
    pub text: String,
}

impl From<&Wall> for WallView {
    fn from(one: &Wall) -> Self {
        Self { code: WallCode(one.code().to_owned()), params: one.params().into(), text: one.text() }
    }
}

impl WallView {
    /// The stable code.
    pub fn code(&self) -> &str {
        &self.code.0
    }

    /// Whether the athlete's status is what is in the way.
    pub fn is_of_status(&self) -> bool {
        Wall::is_of_status(&self.code.0)
    }

    /// Whether it keeps the athlete from running anywhere.
    pub fn is_closed(&self) -> bool {
        Wall::closes(&self.code.0)
    }

    /// Whether the surface of the day is what is in the way.
    pub fn is_of_surface(&self) -> bool {
        self.code.0 == Wall::Surface { surface: Surface::Wet }.code()
    }
}

/// What is wrong with the surface, as these cautions tell.
pub fn told_surface(cautions: &[CautionView]) -> Option<Surface> {
    cautions.iter().find_map(of_surface)
}

/// Puts the caution of a surface in the place of that of another.
pub fn tell_surface(surface: Option<Surface>, cautions: &mut Vec<CautionView>) {
    cautions.retain(|one| of_surface(one).is_none());
    cautions.extend(surface.map(|surface| CautionView::from(&Caution::of_surface(surface))));
}

/// The surface that a caution is about, if it is about one.
fn of_surface(caution: &CautionView) -> Option<Surface> {
    Surface::ALL.into_iter().find(|surface| Caution::of_surface(*surface).code() == caution.code())
}

/// What a sheet says beside the name of somebody for whom something came that it does not heed, after it was planned or drawn.
pub fn overtaken_note(wall: Option<&WallView>) -> String {
    let rests = |wall: &WallView| format!("does not run: {}", wall.text.trim_end_matches('.'));
    wall.map_or_else(|| "what came since changes this: plan or draw anew".to_owned(), rests)
}

/// Why an athlete stands in a lane: code and figures for programs and translations, and the English sentence.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = LaneStanding)]
pub struct StandingView {
    /// Stable code.
    pub code: StandingCode,
    /// The figures.
    #[serde(default)]
    pub params: Params,
    /// The sentence.
    #[schema(max_length = 500, example = "The spacing is shorter than the athlete's best 6.50 m.")]
    pub text: String,
}

impl From<&Standing> for StandingView {
    fn from(one: &Standing) -> Self {
        Self { code: StandingCode(one.code().to_owned()), params: one.params().into(), text: one.text() }
    }
}
