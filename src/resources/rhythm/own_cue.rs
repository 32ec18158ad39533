//! The beat of an athlete's own rhythm: at the tempo of their latest runs, or of a schedule they train towards.

use actix_web::web::Data;
use actix_web::{HttpRequest, HttpResponse};
use chrono::{Duration, NaiveDate};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::model::{Wanted, course};
use super::played::{EVEN, Played, PlayedView, WAV, refused, sound_href, spacing};
use super::schedules::thousandths;
use super::store;
use crate::compute::rhythm::{
    Calibration, Course, CueError, MAX_INTERVALS, Schedule, Series, TEMPO_DAYS, Tempo, cue_of,
};
use crate::compute::units::Length;
use crate::platform::access::{Permit, SquadRead};
use crate::platform::db::{ClubTx, Db, StoreError};
use crate::platform::fault::Fault;
use crate::platform::ids::AthleteId;
use crate::platform::lanes::Lanes;
use crate::platform::params::{Params, path_id};
use crate::platform::problem::{Code, Problem};
use crate::platform::route::routes;
use crate::resources::advice::{self, vocabulary};

/// Which beat.
#[derive(Clone, Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
struct OwnCueParams {
    /// Distance between barriers, metres, such as that of the athlete's lane today; that of their latest run, or of the event's course,
    /// when absent.
    #[param(minimum = 1, maximum = 20, example = 6.5)]
    spacing_m: Option<f64>,
    /// How many intervals; 4 when absent, at most those of the event's course.
    #[param(minimum = 1, maximum = 19, example = 4)]
    intervals: Option<usize>,
    /// Beats that count in; 4 when absent.
    #[param(minimum = 0, maximum = 8, example = 4)]
    count_in: Option<usize>,
    /// The event of a schedule to train towards; needs `final_time_s`. Without it the beat is that of the athlete's latest runs.
    #[param(min_length = 1, max_length = 20, example = "100H")]
    event_code: Option<String>,
    /// The final time to train towards, seconds.
    #[param(minimum = 5, maximum = 60, example = 15.2)]
    final_time_s: Option<f64>,
}

/// What an athlete's latest runs say of their tempo.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = OwnTempo)]
struct TempoView {
    /// Median speed between barriers, metres a second.
    #[schema(minimum = 0.1, maximum = 15, example = 6.1)]
    speed_mps: f64,
    /// Runs that it rests on, of the latest five in which the rhythm held.
    #[schema(minimum = 1, maximum = 5, example = 4)]
    runs: usize,
    /// Intervals that it rests on.
    #[schema(minimum = 1, maximum = 95, example = 16)]
    intervals: usize,
    /// Day of the first of these runs.
    first_on: NaiveDate,
    /// Day of the last of these runs.
    last_on: NaiveDate,
}

/// The beat of an athlete's own rhythm.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = AthleteRhythmCue)]
struct OwnCueView {
    /// The athlete.
    athlete_id: AthleteId,
    /// Where the tempo is from.
    #[schema(value_type = vocabulary::TempoFrom)]
    tempo_from: &'static str,
    /// What the latest runs say; with `runs`.
    #[serde(skip_serializing_if = "Option::is_none")]
    tempo: Option<TempoView>,
    /// Distance between barriers, metres.
    #[schema(minimum = 1, maximum = 20, example = 6.5)]
    spacing_m: f64,
    /// Time of each interval, seconds.
    #[schema(min_items = 1, max_items = 19, example = json!([1.065, 1.065, 1.065, 1.065]))]
    interval_times_s: Vec<f64>,
    /// What is heard, and when.
    #[serde(flatten)]
    played: PlayedView,
    /// What the beats rest on.
    #[schema(max_length = 900, example = "Evenly spaced beats, four an interval: design choice.")]
    source: String,
}

/// Intervals when nobody says how many: those of five barriers.
const INTERVALS: usize = 4;
/// Where the tempo of runs comes from.
const OF_RUNS: &str = "Tempo: median speed over the intervals of the latest five timed runs of eight weeks in which the rhythm \
held, none from before a return after a report or restriction; that another spacing is run at the same speed is a design choice.";

/// A schedule to train towards: the event's course, the one that is run, and the final time, seconds (s).
struct Target {
    full: Course,
    run: Course,
    final_time_s: f64,
}

/// What was found out for a beat.
struct Found {
    tempo: Option<TempoView>,
    spacing: Length,
    times_s: Vec<f64>,
}

fn missing(parameter: &str, other: &str) -> Problem {
    Problem::malformed(Fault::of(parameter, "missing", format!("is needed with {other}")))
}

impl OwnCueParams {
    fn spacing(&self) -> Result<Option<Length>, Problem> {
        self.spacing_m.map(spacing).transpose()
    }

    fn target(&self) -> Result<Option<Target>, Problem> {
        let (event_code, final_time_s) = match (&self.event_code, self.final_time_s) {
            (None, None) => return Ok(None),
            (Some(event_code), Some(time)) => (event_code, time),
            (Some(_), None) => return Err(missing("final_time_s", "event_code")),
            (None, Some(_)) => return Err(missing("event_code", "final_time_s")),
        };
        let unknown = |(parameter, code, detail)| Problem::malformed(Fault::of(parameter, code, detail));
        let own = course(event_code, &Wanted { spacing_m: self.spacing_m, ..Wanted::default() });
        let full = own.or_else(|_| course(event_code, &Wanted::default())).map_err(unknown)?;
        let spacing = self.spacing()?.unwrap_or(full.spacing());
        let run = Course::new(full.approach(), spacing, full.barriers(), full.run_in());
        let run = run.map_err(|error| refused("spacing_m", "no_schedule", error))?;
        Ok(Some(Target { full, run, final_time_s }))
    }
}

impl Target {
    /// The times of its first intervals, as the club runs them.
    fn found(&self, club: &[Series], intervals: Option<usize>) -> Result<Found, Problem> {
        let shape = Calibration::learn(&self.full, club).shape.within(&self.run);
        let schedule = Schedule::discounted(&self.full, self.final_time_s, &self.run, &shape)
            .map_err(|error| refused("final_time_s", "out_of_range", error))?;
        let mut times_s = schedule.interval_times_s();
        if intervals.is_some_and(|wanted| wanted > times_s.len()) {
            let detail = format!("must be at most {}, the intervals of the event", times_s.len());
            return Err(refused("intervals", "out_of_range", detail));
        }
        times_s.truncate(intervals.unwrap_or(INTERVALS));
        Ok(Found { tempo: None, spacing: self.run.spacing(), times_s })
    }
}

/// The tempo of the latest runs, over the spacing that is wanted or that of the latest.
fn of_runs(runs: &[store::Held], wanted: Option<Length>, intervals: Option<usize>) -> Result<Found, Problem> {
    let timed: Vec<_> = runs.iter().map(|run| run.timed.clone()).collect();
    let tempo = Tempo::of(&timed).map_err(|_| StoreError::Corrupt("run"))?;
    let (Some(tempo), Some(last), Some(first)) = (tempo, runs.first(), runs.last()) else {
        let detail = "No run of the last eight weeks has touchdown times and a rhythm that held, those from before a return after a \
                      report or restriction left out, so the athlete has no tempo of their own yet. Ask with event_code and final_time_s, or for /v1/rhythm/cue with an interval time.";
        return Err(Problem::new(Code::Conflict, detail));
    };
    let spacing = wanted.unwrap_or(last.timed.spacing);
    let view = TempoView {
        speed_mps: thousandths(tempo.speed_mps),
        runs: tempo.runs,
        intervals: tempo.intervals,
        first_on: first.on,
        last_on: last.on,
    };
    let count = intervals.unwrap_or(INTERVALS).min(MAX_INTERVALS + 1);
    Ok(Found { tempo: Some(view), spacing, times_s: vec![tempo.interval_time_s(spacing); count] })
}

fn played(found: &Found, counted: Option<usize>) -> Result<Played, Problem> {
    let beats = cue_of(&found.times_s).map_err(|error| match error {
        CueError::IntervalTime => {
            let time = found.times_s.first().copied().unwrap_or_default();
            let detail = format!("would be run in {time:.2} s at that tempo; an interval time {error}");
            refused("spacing_m", "out_of_range", detail)
        }
        CueError::Intervals => refused("intervals", "out_of_range", error),
    })?;
    Played::new(beats, counted, Some(found.spacing))
}

/// The first day whose runs tell a tempo of today: eight weeks back, and not before a return, as for a step of the progression.
async fn tells_from(tx: &mut ClubTx, athlete: AthleteId, today: NaiveDate) -> Result<NaiveDate, StoreError> {
    let weeks = today - Duration::days(TEMPO_DAYS);
    let standing = advice::standings(tx, &[athlete.0], today).await?.remove(&athlete.0).unwrap_or_default();
    let back = standing.back.and_then(|back| NaiveDate::from_epoch_days(back.since));
    Ok(back.map_or(weeks, |day| day.max(weeks)))
}

/// What a beat is made of, read and computed.
async fn found(
    req: &HttpRequest,
    permit: &Permit<SquadRead>,
    (db, lanes): (&Db, &Lanes),
    asked: &OwnCueParams,
) -> Result<(AthleteId, Found), Problem> {
    let athlete = AthleteId(path_id(req, "athlete_id", "athlete")?);
    let turn = permit.turn(db, &lanes.athletes).await?;
    let mut tx = permit.read(db).await?;
    if !store::sees(&mut tx, athlete).await? {
        return Err(Problem::not_found("athlete"));
    }
    let (wanted, intervals) = (asked.spacing()?, asked.intervals);
    let found = if let Some(target) = asked.target()? {
        let club = store::race_series(&mut tx, &target.full).await?;
        drop(tx);
        turn.run(move || target.found(&club, intervals)).await??
    } else {
        let today = tx.today().await?;
        let from = tells_from(&mut tx, athlete, today).await?;
        let runs = store::held_runs(&mut tx, athlete, from, today).await?;
        drop(tx);
        turn.run(move || of_runs(&runs, wanted, intervals)).await??
    };
    Ok((athlete, found))
}

/// The beat of an athlete's own rhythm over a spacing: at the tempo of their latest runs, or of a schedule to train towards.
///
/// Ask with the spacing of the athlete's lane: the beats then tell where each foot comes down there. The tempo is the median speed
/// over the intervals of their latest five timed runs of eight weeks in which the rhythm held, by the days of their sessions, carried to the
/// spacing; what was run before a return after a report or restriction is left out. With `event_code` and
/// `final_time_s` it is that of the club's schedule, whose intervals differ along the lane.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/rhythm/cue", impl_for = get_athlete_rhythm_cue, tag = "rhythm",
    responses(
        (status = 200, description = "The beats", body = OwnCueView),
        (status = 409, description = "There is no timed run in which the rhythm held")
    )
)]
async fn get_athlete_rhythm_cue(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    params: Result<Params<OwnCueParams>, Problem>,
) -> Result<HttpResponse, Problem> {
    let asked = params?.0;
    let (athlete_id, found) = found(&req, &permit, (&db, &lanes), &asked).await?;
    let number = |value: Option<usize>| value.map(|value| value.to_string());
    let path = format!("/v1/clubs/{}/athletes/{athlete_id}/rhythm/cue.wav", permit.club);
    let href = sound_href(
        &path,
        &[
            ("spacing_m", asked.spacing_m.map(|m| m.to_string())),
            ("intervals", number(asked.intervals)),
            ("count_in", number(asked.count_in)),
            ("event_code", asked.event_code.clone()),
            ("final_time_s", asked.final_time_s.map(|s| s.to_string())),
        ],
    );
    let played = PlayedView::new(&played(&found, asked.count_in)?, href);
    let (tempo_from, source) = match &found.tempo {
        Some(_) => ("runs", format!("{EVEN} {OF_RUNS}")),
        None => ("schedule", format!("{EVEN} {}", crate::compute::rhythm::SOURCE)),
    };
    let view = OwnCueView {
        athlete_id,
        tempo_from,
        spacing_m: found.spacing.metres(),
        interval_times_s: found.times_s.iter().copied().map(thousandths).collect(),
        tempo: found.tempo,
        played,
        source,
    };
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).json(view))
}

/// The beat of an athlete's own rhythm as a sound to run to: WAV, one channel, at most 70 seconds and 2.3 MB.
///
/// The tones are those of `/v1/rhythm/cue.wav`; `first_landing_at_s` of the JSON tells where in the sound its times begin, and its
/// cautions hold for the sound.
#[utoipa::path(
    get, path = "/v1/clubs/{club_id}/athletes/{athlete_id}/rhythm/cue.wav", impl_for = get_athlete_rhythm_cue_wav, tag = "rhythm",
    responses(
        (status = 200, description = "The sound", body = Vec<u8>, content_type = "audio/wav"),
        (status = 409, description = "There is no timed run in which the rhythm held")
    )
)]
async fn get_athlete_rhythm_cue_wav(
    req: HttpRequest,
    permit: Permit<SquadRead>,
    db: Data<Db>,
    lanes: Data<Lanes>,
    params: Result<Params<OwnCueParams>, Problem>,
) -> Result<HttpResponse, Problem> {
    let asked = params?.0;
    let (_, found) = found(&req, &permit, (&db, &lanes), &asked).await?;
    let played = played(&found, asked.count_in)?;
    let turn = lanes.athletes.turn(permit.who()).await?;
    let sound = turn.run(move || played.sound()).await??;
    Ok(HttpResponse::Ok().insert_header(("cache-control", "private, no-cache")).content_type(WAV).body(sound))
}

routes!(get_athlete_rhythm_cue, get_athlete_rhythm_cue_wav);
