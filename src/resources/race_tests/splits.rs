//! The splits of a result beside the schedule, each with what is wrong with it.

use super::draw_shapes::seconds;
use super::outcome::Outcome;
use super::results_shapes::{SplitFinding, SplitView};
use crate::compute::race::Course;
use crate::compute::rhythm::{self, Schedule, Shape, Timing, analyse};

/// The splits of a result; empty without touchdown times. None of them is corrected or left out.
pub fn splits(one: &Outcome, course: &Course) -> Vec<SplitView> {
    let Some(times) = &one.touchdowns_ms else { return vec![] };
    let schedule = course.run_in().and_then(|run_in| {
        let over = rhythm::Course::new(course.approach, course.spacing, course.barriers, run_in).ok()?;
        Schedule::new(&over, seconds(one.counting_ms()?), &Shape::default()).ok()
    });
    let rounded = |s: f64| (s * 1e3).round() / 1e3;
    let mut views: Vec<SplitView> = (1..)
        .zip(times)
        .map(|(barrier, time)| {
            let time_s = time.map(seconds);
            let scheduled = schedule.as_ref().and_then(|one| one.touchdown_times_s.get(barrier - 1).copied());
            SplitView {
                barrier,
                time_s,
                scheduled_s: scheduled.map(rounded),
                difference_s: time_s.zip(scheduled).map(|(time, scheduled)| rounded(time - scheduled)),
                findings: vec![],
            }
        })
        .collect();
    for (barrier, finding) in findings(one, times, course) {
        if let Some(view) = views.get_mut(barrier - 1) {
            view.findings.push(finding);
        }
    }
    views
}

/// What is wrong with single times, by barrier, from 1.
fn findings(one: &Outcome, times: &[Option<i32>], course: &Course) -> Vec<(usize, SplitFinding)> {
    let read: Vec<Option<f64>> = times.iter().map(|time| time.map(seconds)).collect();
    let timing = one.timing.and_then(|method| Timing::parse(method.as_str(), one.video_fps.map(i64::from)).ok());
    let mut found = Vec::new();
    match timing.map(|timing| analyse(course.spacing, &read, timing)) {
        Some(Ok(analysis)) => {
            let wrong = analysis.findings.into_iter().filter(|finding| finding.flag.leaves_out());
            found.extend(wrong.map(|one| (one.touchdown, SplitFinding { code: one.flag.code(), text: one.text })));
        }
        // A race over one barrier has no interval to analyse.
        _ => found.extend((1..).zip(&read).filter(|(_, time)| time.is_none()).map(|(barrier, _)| {
            (barrier, SplitFinding { code: "missing", text: format!("Touchdown {barrier} is missing.") })
        })),
    }
    if let Some(end) = one.final_time_ms {
        let late =
            (1..).zip(times).filter_map(|(barrier, time)| Some((barrier, (*time)?))).filter(|(_, time)| *time >= end);
        found.extend(late.map(|(barrier, time)| {
            let (time, end) = (seconds(time), seconds(end));
            let text = format!(
                "Touchdown {barrier} at {time:.3} s is not before the finish at {end:.3} s; the final time stands."
            );
            (barrier, SplitFinding { code: "after_finish", text })
        }));
    }
    found
}
