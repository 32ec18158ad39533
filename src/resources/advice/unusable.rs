//! Somebody about whom nothing can be computed, because what is on file about them cannot be used.
//!
//! Decided here for every answer: one about many leaves them out and names them with what is wrong and the remedy, in one shape; one about
//! them alone is a conflict in the same words. A coach at the track needs the other twenty-three.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::Person;
use super::shapes::UnusableCode;
use crate::compute::advice::AdviceError;
use crate::platform::ids::AthleteId;
use crate::platform::problem::{Code, Problem};

/// What on file about an athlete cannot be used, and what would make it usable.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = UnusableRecord)]
pub struct UnusableView {
    /// Stable code.
    pub code: UnusableCode,
    /// What is wrong.
    #[schema(max_length = 300, example = "The latest stature must be from 0.9 to 2.3 metres.")]
    pub text: String,
    /// What to do about it.
    #[schema(max_length = 300, example = "Delete that measurement, or add the right one with a later day.")]
    pub remedy: String,
}

impl UnusableView {
    /// Both sentences, for a line of a document.
    pub fn words(&self) -> String {
        format!("{} {}", self.text, self.remedy)
    }
}

impl From<&AdviceError> for UnusableView {
    fn from(error: &AdviceError) -> Self {
        Self { code: UnusableCode::of(error), text: error.text(), remedy: error.remedy().to_owned() }
    }
}

/// An athlete whom an answer about many leaves out.
#[derive(Clone, Debug, Deserialize, Serialize, ToSchema)]
#[schema(as = NotComputedAthlete)]
pub struct NotComputedView {
    /// The athlete.
    pub athlete_id: AthleteId,
    /// How the squad calls them today; what a client sends is ignored.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    #[schema(max_length = 80, example = "Mira Osei", required)]
    pub display_name: String,
    /// What is wrong, and the remedy.
    pub unusable: UnusableView,
}

/// Somebody about whom nothing can be computed.
#[derive(Clone, Debug)]
pub struct Unusable {
    athlete: AthleteId,
    name: String,
    error: AdviceError,
}

impl Unusable {
    /// Names whom an error is about.
    pub fn new(person: &Person, error: AdviceError) -> Self {
        Self { athlete: person.id, name: person.display_name.clone(), error }
    }

    /// The entry of an answer about many.
    pub fn view(&self) -> NotComputedView {
        let (athlete_id, display_name) = (self.athlete, self.name.clone());
        NotComputedView { athlete_id, display_name, unusable: (&self.error).into() }
    }
}

impl From<Unusable> for Problem {
    fn from(one: Unusable) -> Self {
        let words = UnusableView::from(&one.error).words();
        Self::new(Code::Conflict, format!("Nothing can be computed for {}. {words}", one.name))
    }
}

/// Parts what was computed of many from those for whom nothing could be, both in the order given.
pub fn computed<T>(all: impl IntoIterator<Item = Result<T, Unusable>>) -> (Vec<T>, Vec<NotComputedView>) {
    let (mut done, mut left_out) = (Vec::new(), Vec::new());
    for one in all {
        match one {
            Ok(one) => done.push(one),
            Err(unusable) => left_out.push(unusable.view()),
        }
    }
    (done, left_out)
}
