//! Rhythm for the ear: the sound is what its JSON says, beat by beat, read back by a reader that is not its writer.

use chrono::{Duration, Utc};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;
use uuid::Uuid;

use crate::support::{Answer, Caller, TestApp};
use crate::wellbeing::{record, stored};

/// The samples of a WAV, from -1 to 1, and how many of them make a second.
fn samples(answer: &Answer) -> (Vec<f64>, f64) {
    assert_eq!(answer.header("content-type"), "audio/wav");
    let mut reader = hound::WavReader::new(answer.bytes.as_slice()).unwrap();
    let spec = reader.spec();
    assert_eq!((spec.channels, spec.bits_per_sample, spec.sample_format), (1, 16, hound::SampleFormat::Int));
    let all: Vec<f64> = reader.samples::<i16>().map(|one| f64::from(one.unwrap()) / 32_768.0).collect();
    assert_eq!(answer.bytes.len(), 44 + 2 * all.len(), "a head of 44 bytes, then samples");
    (all, f64::from(spec.sample_rate))
}

/// When tones begin, seconds: where there is energy after at least 20 ms without.
fn onsets(samples: &[f64], rate: f64) -> Vec<f64> {
    let (mut found, mut quiet) = (Vec::new(), usize::MAX / 2);
    for (at, value) in samples.iter().enumerate() {
        if value.abs() < 0.003 {
            quiet += 1;
        } else {
            if quiet as f64 > 0.02 * rate {
                found.push(at as f64 / rate);
            }
            quiet = 0;
        }
    }
    found
}

/// Energy at a pitch in the 35 ms after a time (Goertzel, "An Algorithm for the Evaluation of Finite Trigonometric Series", 1958).
fn energy(samples: &[f64], rate: f64, from_s: f64, pitch: f64) -> f64 {
    let factor = 2.0 * (std::f64::consts::TAU * pitch / rate).cos();
    let (mut one, mut two) = (0.0, 0.0);
    let from = (from_s * rate).round();
    let within = samples.iter().enumerate().filter(|(at, _)| (from..from + 0.035 * rate).contains(&(*at as f64)));
    for (_, value) in within {
        (one, two) = (value + factor * one - two, one);
    }
    one * one + two * two - factor * one * two
}

/// The loudest of the pitches after a time.
fn heard(samples: &[f64], rate: f64, from_s: f64) -> &'static str {
    let pitches = [("count", 660.0), ("landing", 880.0), ("take_off", 1_320.0), ("stride", 1_760.0)];
    let loudest = pitches.iter().max_by(|a, b| {
        let of = |pitch: f64| energy(samples, rate, from_s, pitch);
        of(a.1).total_cmp(&of(b.1))
    });
    loudest.unwrap().0
}

/// Every beat of the JSON is heard when it says, as what it says, and nothing else is.
fn assert_alike(cue: &Value, sound: &Answer) {
    let (samples, rate) = samples(sound);
    let length = cue["sound_length_s"].as_f64().unwrap();
    assert!((samples.len() as f64 / rate - length).abs() < 0.002);
    let first = cue["first_landing_at_s"].as_f64().unwrap();
    let counted = cue["count_in_s"].as_array().unwrap().iter().map(|at| (first + at.as_f64().unwrap(), "count"));
    let beats = cue["beats"].as_array().unwrap().iter().map(|beat| {
        let tone = match beat["step"].as_str().unwrap() {
            "landing" => "landing",
            "stride_3" => "take_off",
            _ => "stride",
        };
        (first + beat["at_s"].as_f64().unwrap(), tone)
    });
    let told: Vec<(f64, &str)> = counted.chain(beats).collect();
    let found = onsets(&samples, rate);
    assert_eq!(found.len(), told.len(), "{found:?}");
    for (at, (told_at, tone)) in found.iter().zip(&told) {
        assert!((at - told_at).abs() < 0.003, "{tone} at {told_at} is heard at {at}");
        assert_eq!(heard(&samples, rate, *at), *tone, "at {told_at}");
    }
    assert!(!cue["cautions"].as_array().unwrap().is_empty());
}

#[sqlx::test]
async fn the_sound_of_a_rhythm_has_its_beats_when_and_as_the_json_says(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    for query in [
        "interval_time_s=1.08&intervals=4",
        "interval_time_s=0.6&intervals=1&count_in=0",
        "interval_time_s=1.3&intervals=3&count_in=8",
        "interval_time_s=3&intervals=19&count_in=8",
    ] {
        let cue = app.get(&format!("/v1/rhythm/cue?{query}")).await.expect(200).body;
        let path = cue["sound_href"].as_str().unwrap();
        assert!(path.starts_with("/v1/rhythm/cue.wav?"), "{path}");
        let sound = app.get(path).await.expect(200);
        assert_alike(&cue, &sound);
        assert!(sound.bytes.len() < 2_300_000, "{}", sound.bytes.len());
        assert_eq!(app.get(path).await.expect(200).bytes, sound.bytes, "the same question, the same bytes");
    }
    let counted = app.get("/v1/rhythm/cue?interval_time_s=1.2&intervals=1").await.expect(200).body;
    assert_eq!(counted["count_in_s"], json!([-1.2, -0.9, -0.6, -0.3]));
    assert_eq!(counted["beats"][1]["at_m"], Value::Null);
    let there = app.get("/v1/rhythm/cue?interval_time_s=1.2&intervals=1&spacing_m=8.5").await.expect(200).body;
    let marks = app.get("/v1/rhythm/stride-marks?spacing_m=8.5").await.expect(200).body;
    for at in 0..4 {
        assert_eq!(there["beats"][at]["at_m"], marks["marks"][at]["at_m"]);
    }
    for form in ["cue", "cue.wav"] {
        for (query, parameter) in [
            ("interval_time_s=0.5&intervals=2", "interval_time_s"),
            ("interval_time_s=1&intervals=20", "intervals"),
            ("interval_time_s=1&intervals=2&count_in=9", "count_in"),
            ("interval_time_s=1&intervals=2&spacing_m=0.5", "spacing_m"),
        ] {
            app.get(&format!("/v1/rhythm/{form}?{query}")).await.expect_fault(400, parameter);
        }
    }
}

struct Squad {
    admin: Caller,
    athlete: String,
    group: String,
}

impl Squad {
    async fn run(&self, days_ago: i64, spacing_m: f64, interval_s: f64, more: Value) {
        let at = Utc::now() - Duration::days(days_ago);
        let session = json!({"held_on": at.date_naive(), "state": "held", "group_ids": [self.group]});
        let session = self.admin.post("/sessions", session).await.expect(201).id();
        let times: Vec<f64> = (0..5).map(|n| 2.6 + f64::from(n) * interval_s).collect();
        let mut run = json!({"id": Uuid::now_v7(), "session_id": session, "athlete_id": self.athlete, "run_at": at,
            "barrier_kind": "wicket", "height_m": 0.3, "spacing_m": spacing_m, "barriers": 5, "intervals": {"held": 4},
            "touchdown_times_s": times, "timing_method": "gate"});
        run.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        let recorded = self.admin.post("/runs", json!({"runs": [run]})).await.expect(200);
        assert_eq!(recorded.body["results"][0]["status"], "created", "{}", recorded.body);
    }

    async fn cue(&self, query: &str) -> Answer {
        self.admin.get(&format!("/athletes/{}/rhythm/cue{query}", self.athlete)).await
    }
}

#[sqlx::test]
async fn an_athletes_own_beat_is_that_of_their_latest_held_runs_or_of_a_schedule(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let (group, other) = (admin.group("Mine").await, admin.group("Other").await);
    let body =
        json!({"display_name": "Mira", "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice"});
    let athlete = admin.post("/athletes", body).await.expect(201).id();
    let squad = Squad { admin, athlete, group };
    squad.cue("").await.expect(409);
    // What is too old, fell, or was not held in three strides sets no beat.
    squad.run(60, 6.0, 2.0, json!({})).await;
    squad.run(3, 6.0, 2.0, json!({"intervals": {"held": 2, "broken": 2}})).await;
    squad.run(3, 6.0, 2.0, json!({"fell": true, "hits": 1})).await;
    squad.cue("").await.expect(409);
    squad.run(5, 6.0, 1.0, json!({})).await;
    squad.run(4, 6.0, 1.0, json!({})).await;
    squad.run(2, 6.3, 1.05, json!({})).await;
    let cue = squad.cue("").await.expect(200).body;
    assert_eq!((&cue["tempo_from"], &cue["spacing_m"]), (&json!("runs"), &json!(6.3)), "the spacing of the latest run");
    assert_eq!(cue["tempo"]["speed_mps"], 6.0);
    assert_eq!((&cue["tempo"]["runs"], &cue["tempo"]["intervals"]), (&json!(3), &json!(12)));
    assert_eq!(cue["interval_times_s"], json!([1.05, 1.05, 1.05, 1.05]));
    let lane = squad.cue("?spacing_m=6.6&intervals=2&count_in=2").await.expect(200).body;
    assert_eq!(lane["interval_times_s"], json!([1.1, 1.1]));
    assert_eq!(lane["beats"][4], json!({"at_s": 1.1, "step": "landing", "interval": 2, "at_m": 0.78}));
    let headers = [("authorization", format!("Bearer {}", squad.admin.token))];
    let headers: Vec<(&str, &str)> = headers.iter().map(|(name, value)| (*name, value.as_str())).collect();
    for told in [&cue, &lane] {
        let path = told["sound_href"].as_str().unwrap();
        assert_alike(told, &app.send(Method::GET, path, &headers, None).await.expect(200));
    }
    // Towards a time: the schedule's own intervals, which differ along the lane, over the spacing of the lane.
    let target = squad.cue("?event_code=100H&final_time_s=15&intervals=9").await.expect(200).body;
    let schedule = squad.admin.get("/rhythm/schedule?event_code=100H&final_time_s=15").await.expect(200).body;
    assert_eq!((&target["tempo_from"], &target["tempo"]), (&json!("schedule"), &Value::Null));
    for (own, of_event) in
        target["interval_times_s"].as_array().unwrap().iter().zip(schedule["interval_times_s"].as_array().unwrap())
    {
        assert!((own.as_f64().unwrap() - of_event.as_f64().unwrap()).abs() < 0.0021, "{own} {of_event}");
    }
    let path = target["sound_href"].as_str().unwrap();
    assert_alike(&target, &app.send(Method::GET, path, &headers, None).await.expect(200));
    let short = squad.cue("?event_code=100H&final_time_s=15&spacing_m=7.5").await.expect(200).body;
    let first = |cue: &Value| cue["interval_times_s"][0].as_f64().unwrap();
    assert!(first(&short) < first(&target) && short["spacing_m"] == 7.5);
    for (query, parameter) in [
        ("?event_code=100H", "final_time_s"),
        ("?final_time_s=15", "event_code"),
        ("?event_code=400H&final_time_s=15", "event_code"),
        ("?event_code=100H&final_time_s=5", "final_time_s"),
        ("?event_code=100H&final_time_s=15&intervals=10", "intervals"),
        ("?event_code=100H&final_time_s=15&spacing_m=3", "spacing_m"),
        ("?spacing_m=20", "spacing_m"),
        ("?intervals=0", "intervals"),
        ("?count_in=9", "count_in"),
    ] {
        squad.cue(query).await.expect_fault(400, parameter);
    }
    let stranger = squad.admin.member("Other Coach", "coach", &[&other]).await;
    for form in ["cue", "cue.wav"] {
        stranger.get(&format!("/athletes/{}/rhythm/{form}", squad.athlete)).await.expect(404);
    }
}

#[sqlx::test]
async fn an_own_beat_goes_by_the_days_of_sessions_and_begins_anew_with_a_return(pool: PgPool) {
    let app = TestApp::spawn(pool).await;
    let admin = app.admin_of("North").await;
    let group = admin.group("Mine").await;
    let body =
        json!({"display_name": "Mira", "sex": "F", "birth_year": 2012, "group_ids": [group], "experience": "novice"});
    let athlete = admin.post("/athletes", body).await.expect(201).id();
    let squad = Squad { admin, athlete, group };
    // Eight weeks and some days ago, by a phone whose clock was ahead.
    squad.run(57, 6.0, 2.0, json!({"run_at": Utc::now() - Duration::days(55)})).await;
    squad.cue("").await.expect(409);
    squad.run(12, 6.0, 1.0, json!({})).await;
    assert_eq!(squad.cue("").await.expect(200).body["tempo"]["speed_mps"], 6.0);
    let today = Utc::now().date_naive();
    let report = record(&squad.athlete, "pain", today - Duration::days(10), &json!({}));
    stored(&squad.admin, report.clone()).await;
    let cleared = json!({"clears": report["id"]});
    stored(&squad.admin, record(&squad.athlete, "clearance", today - Duration::days(4), &cleared)).await;
    let none = squad.cue("").await.expect(409);
    assert!(none.body["detail"].as_str().unwrap().contains("return"), "{}", none.body);
    squad.run(2, 6.0, 1.25, json!({})).await;
    let cue = squad.cue("").await.expect(200).body;
    assert_eq!((&cue["tempo"]["speed_mps"], &cue["tempo"]["runs"]), (&json!(4.8), &json!(1)), "{cue}");
}
