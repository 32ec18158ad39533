//! What is heard of a rhythm, and when: beats with their count-in, in JSON and as sound.

use serde::Serialize;
use utoipa::ToSchema;

use super::model::SPACING;
use super::schedules::{CautionView, cautions, thousandths};
use crate::compute::card::strides;
use crate::compute::rhythm::{Beat, MAX_COUNT_IN, count_in};
use crate::compute::set_out::MarkKind;
use crate::compute::units::Length;
use crate::platform::fault::Fault;
use crate::platform::problem::{Code, Problem};
use crate::render::cue::{Note, Tone, wav};
use crate::resources::advice::vocabulary;

/// The media type of the sound.
pub const WAV: &str = "audio/wav";
/// What the beats rest on.
pub const EVEN: &str = "Evenly spaced beats, four an interval: design choice.";
/// Beats that count in when nobody says how many: one interval.
const COUNT_IN: usize = 4;
/// Silence before the first tone and after the last began, seconds (s): players swallow the first moment.
const REST_S: f64 = 0.25;

/// A query parameter that cannot be used.
pub fn refused(parameter: &str, code: &str, detail: impl std::fmt::Display) -> Problem {
    Problem::malformed(Fault::of(parameter, code, detail.to_string()))
}

/// The spacing that a query asks for.
pub fn spacing(metres: f64) -> Result<Length, Problem> {
    Length::between(metres, SPACING.0, SPACING.1).map_err(|error| refused("spacing_m", "out_of_range", error))
}

/// The address of a sound, with the parameters that it needs.
pub fn sound_href(path: &str, parameters: &[(&str, Option<String>)]) -> String {
    let given = parameters.iter().filter_map(|(name, value)| Some((name, value.as_ref()?)));
    let query = form_urlencoded::Serializer::new(String::new()).extend_pairs(given).finish();
    if query.is_empty() { path.to_owned() } else { format!("{path}?{query}") }
}

/// Beats with the count-in before them.
#[derive(Debug)]
pub struct Played {
    beats: Vec<Beat>,
    /// Seconds (s) before the first landing, below nought.
    count_in: Vec<f64>,
    /// Where landing and strides 1 to 3 come down behind a barrier.
    feet: Option<[Length; 4]>,
}

impl Played {
    /// Beats, behind so many that count in, over this spacing.
    ///
    /// # Errors
    /// 400 for a count-in that is too long, and a spacing without marks.
    pub fn new(beats: Vec<Beat>, counted: Option<usize>, spacing: Option<Length>) -> Result<Self, Problem> {
        let counted = counted.unwrap_or(COUNT_IN);
        if counted > MAX_COUNT_IN {
            return Err(refused("count_in", "out_of_range", format!("must be from 0 to {MAX_COUNT_IN}")));
        }
        let first = beats.iter().find(|beat| beat.interval == 2).map_or(0.0, |beat| beat.at_s);
        let feet = spacing.map(|spacing| strides(Length::default(), spacing)).transpose();
        let feet = feet.map_err(|error| refused("spacing_m", "out_of_range", error))?;
        Ok(Self { count_in: count_in(first, counted), beats, feet })
    }

    /// How far into the sound the first landing is, seconds (s).
    fn first_landing_s(&self) -> f64 {
        REST_S - self.count_in.first().copied().unwrap_or_default()
    }

    fn length_s(&self) -> f64 {
        self.first_landing_s() + self.beats.last().map_or(0.0, |beat| beat.at_s) + REST_S
    }

    /// The sound, as the bytes of a file.
    ///
    /// # Errors
    /// 500 when it is longer than a sound may be, which no beats here are.
    pub fn sound(&self) -> Result<Vec<u8>, Problem> {
        let from = self.first_landing_s();
        let counted = self.count_in.iter().map(|at| Note { at_s: from + at, tone: Tone::CountIn });
        let beats = self.beats.iter().map(|beat| {
            let tone = match beat.step {
                MarkKind::Landing => Tone::Landing,
                MarkKind::Stride3 => Tone::TakeOff,
                _ => Tone::Stride,
            };
            Note { at_s: from + beat.at_s, tone }
        });
        wav(&counted.chain(beats).collect::<Vec<_>>(), self.length_s())
            .map_err(|error| Problem::new(Code::Internal, format!("The sound could not be made: it {error}.")))
    }
}

/// One beat.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = RhythmBeat)]
pub struct BeatView {
    /// When, seconds after the first landing.
    #[schema(minimum = 0, maximum = 60, example = 0.27)]
    at_s: f64,
    /// `landing`, `stride_1`, `stride_2` or `stride_3`, the take-off.
    #[schema(value_type = vocabulary::RhythmStep)]
    step: &'static str,
    /// The interval, from 1; the landing behind the last barrier counts as the next.
    #[schema(minimum = 1, maximum = 20, example = 1)]
    interval: usize,
    /// Where that foot comes down, metres behind the barrier just cleared, to the centimetre; with a spacing.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0, maximum = 20, example = 2.6)]
    at_m: Option<f64>,
}

/// What is heard of a rhythm.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = PlayedRhythm)]
pub struct PlayedView {
    /// The beats: four an interval, and the landing that ends the last.
    #[schema(min_items = 5, max_items = 77)]
    beats: Vec<BeatView>,
    /// The beats that count in, seconds before the first landing as numbers below nought; as far apart as the first strides.
    #[schema(max_items = 8, example = json!([-1.08, -0.81, -0.54, -0.27]))]
    count_in_s: Vec<f64>,
    /// The same to listen to, as WAV.
    #[schema(max_length = 300, example = "/v1/rhythm/cue.wav?interval_time_s=1.08&intervals=4")]
    sound_href: String,
    /// How far into the sound the first landing is, seconds.
    #[schema(minimum = 0.25, maximum = 10, example = 1.33)]
    first_landing_at_s: f64,
    /// How long the sound is, seconds.
    #[schema(minimum = 1, maximum = 70, example = 5.9)]
    sound_length_s: f64,
    /// Cautions; show them wherever the beats are shown or the sound is offered.
    #[schema(max_items = 30)]
    cautions: Vec<CautionView>,
}

impl PlayedView {
    /// Of beats, and where their sound is.
    pub fn new(played: &Played, sound_href: String) -> Self {
        let order = [MarkKind::Landing, MarkKind::Stride1, MarkKind::Stride2, MarkKind::Stride3];
        let beat = |beat: &Beat| {
            let foot = order.iter().position(|step| *step == beat.step);
            let at = played.feet.and_then(|feet| feet.get(foot?).copied());
            BeatView {
                at_s: thousandths(beat.at_s),
                step: beat.step.as_str(),
                interval: beat.interval,
                at_m: at.map(|at| f64::from((at.mm() + 5) / 10) / 100.0),
            }
        };
        Self {
            beats: played.beats.iter().map(beat).collect(),
            count_in_s: played.count_in.iter().copied().map(thousandths).collect(),
            sound_href,
            first_landing_at_s: thousandths(played.first_landing_s()),
            sound_length_s: thousandths(played.length_s()),
            cautions: cautions(),
        }
    }
}
