//! Touchdown times against a schedule: how late or early at each barrier.

use std::fmt::Write;

use super::axis::Scale;
use super::plot::{ACROSS, APART, Plot};
use crate::paper::line;
use crate::sheet::{Figure, Text};

/// Height of the plot, millimetres (mm).
const HIGH: f64 = 34.0;
/// Steps of its axis, seconds (s).
const STEPS: [f64; 9] = [0.02, 0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0];

/// A touchdown beside the schedule.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Touchdown {
    /// The barrier, from 1.
    pub barrier: usize,
    /// Time less schedule, seconds (s): above zero is late; none where the time is missing.
    pub late_s: Option<f64>,
}

/// The differences as points joined by a line, which is broken where a time is missing. None without a time.
///
/// ```
/// use lanewright_render::chart::{Touchdown, touchdowns};
///
/// let run = [(1, Some(0.02)), (2, None), (3, Some(-0.04))].map(|(barrier, late_s)| Touchdown { barrier, late_s });
/// assert_eq!(
///     touchdowns(&run).unwrap().alt,
///     "Touchdowns against the schedule: barrier 1 0.02 s late, barrier 2 missing, barrier 3 0.04 s early."
/// );
/// ```
pub fn touchdowns(run: &[Touchdown]) -> Option<Figure> {
    let known = || run.iter().filter_map(|one| one.late_s);
    known().next()?;
    let mut plot = Plot::new(std::iter::empty(), HIGH);
    let widest = known().map(f64::abs).fold(0.1, f64::max) * 1.15;
    // What is early is drawn above: faster is up.
    let (bottom, top) = plot.up();
    let up = Scale::new((-widest, widest), (top, bottom));
    #[allow(clippy::cast_precision_loss)] // at most 20
    let place = |barrier: usize| Scale::new((0.5, run.len() as f64 + 0.5), ACROSS).at(barrier as f64);
    plot.values(up, &up.figures(&STEPS, APART), |value| {
        format!("{:+.2}", if value.abs() < 1e-9 { 0.0 } else { value })
    });
    plot.places(run.iter().map(|one| (place(one.barrier), one.barrier.to_string())));
    line(&mut plot.out, ACROSS.0, up.at(0.0), ACROSS.1, up.at(0.0), 0.6);
    let mut before: Option<(f64, f64)> = None;
    for one in run {
        let here = one.late_s.map(|late| (place(one.barrier), up.at(late)));
        if let Some((x, y)) = here {
            let _ = write!(plot.out, r#"<circle cx="{x:.2}" cy="{y:.2}" r="1.2"/>"#);
            if let Some((x0, y0)) = before {
                line(&mut plot.out, x0, y0, x, y, 0.5);
            }
        }
        before = here;
    }
    let told: Vec<String> = run
        .iter()
        .map(|one| match one.late_s {
            None => format!("barrier {} missing", one.barrier),
            Some(late) if late < 0.0 => format!("barrier {} {:.2} s early", one.barrier, -late),
            Some(late) => format!("barrier {} {late:.2} s late", one.barrier),
        })
        .collect();
    let caption = "Seconds after the schedule at each barrier; above the thick line is ahead of it.";
    Some(Figure {
        svg: plot.finish(),
        alt: format!("Touchdowns against the schedule: {}.", told.join(", ")),
        caption: Text::own(caption),
    })
}
