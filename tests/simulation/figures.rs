//! What simulated seasons add up to.

use super::season::{Session, Tried};

/// The width of the bar for the mean of true probabilities above the wanted one.
pub const BAND: f64 = 0.12;
/// Sessions after which a recommendation is judged.
pub const SESSIONS_BEFORE: usize = 2;

/// Mean and standard deviation.
pub fn mean_and_sd(values: &[f64]) -> (f64, f64) {
    let n = values.len() as f64;
    let mean = values.iter().sum::<f64>() / n;
    (mean, libm::sqrt(values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n))
}

/// How well the limit is known.
#[derive(Clone, Copy, Debug)]
pub struct LimitFigures {
    /// Share of sessions whose 90 % interval covers the true limit.
    pub coverage: f64,
    /// Root mean square error, metres (m).
    pub error_m: f64,
    /// Mean error, metres (m).
    pub bias_m: f64,
}

/// How well the limit is known after each session.
pub fn limit_figures<'a>(sessions: impl IntoIterator<Item = &'a Session>) -> LimitFigures {
    let (mut seen, mut covered, mut squares, mut sum) = (0.0, 0.0, 0.0, 0.0);
    for session in sessions {
        let Some(believed) = session.believed else { continue };
        let error = believed.mean - session.limit_m;
        seen += 1.0;
        covered += f64::from(u8::from((believed.p05..=believed.p95).contains(&session.limit_m)));
        squares += error * error;
        sum += error;
    }
    LimitFigures { coverage: covered / seen, error_m: libm::sqrt(squares / seen), bias_m: sum / seen }
}

/// How lanes suit a wanted probability.
#[derive(Clone, Copy, Debug)]
pub struct LaneFigures {
    pub mean: f64,
    pub sd: f64,
    /// Share of sessions inside the wanted probability and [`BAND`] above it.
    pub inside: f64,
}

/// How true probabilities of holding suit a wanted one.
pub fn lane_figures(holds: &[f64], wanted: f64) -> LaneFigures {
    let (mean, sd) = mean_and_sd(holds);
    let inside = holds.iter().filter(|hold| (wanted..=wanted + BAND).contains(hold)).count();
    LaneFigures { mean, sd, inside: inside as f64 / holds.len() as f64 }
}

/// True probabilities of holding from the third session on.
pub fn holds<'a>(sessions: impl IntoIterator<Item = &'a Session>) -> Vec<f64> {
    sessions.into_iter().filter(|session| session.number >= SESSIONS_BEFORE).map(|session| session.hold).collect()
}

/// How good predictions of holding are.
#[derive(Clone, Debug)]
pub struct Predictions {
    /// Mean square of predicted minus recorded (G. W. Brier, Monthly Weather Review 78, 1950).
    pub brier: f64,
    /// The same for the truth: the least that chance allows.
    pub brier_at_best: f64,
    /// The same for the share held over all: what needs no prediction.
    pub brier_of_mean: f64,
    /// Slope and intercept of recorded on predicted, both as log odds (D. R. Cox, Biometrika 45, 1958): 1 and 0 at best.
    pub slope: f64,
    pub intercept: f64,
    /// Ten bins of predicted probability.
    pub bins: [Bin; 10],
}

/// One bin of a reliability table.
#[derive(Clone, Copy, Debug, Default)]
pub struct Bin {
    pub predicted: f64,
    pub held: f64,
    pub intervals: u32,
}

/// Compares predictions with what was recorded, interval by interval.
pub fn predictions(tried: &[Tried]) -> Predictions {
    let all: f64 = tried.iter().map(|one| f64::from(one.intervals)).sum();
    let held: f64 = tried.iter().map(|one| f64::from(one.held)).sum();
    let brier = |of: &dyn Fn(&Tried) -> f64| {
        let squares = |one: &Tried| {
            let p = of(one);
            f64::from(one.held) * (1.0 - p) * (1.0 - p) + f64::from(one.intervals - one.held) * p * p
        };
        tried.iter().map(squares).sum::<f64>() / all
    };
    let (intercept, slope) = calibration(tried);
    Predictions {
        brier: brier(&|one| one.predicted),
        brier_at_best: brier(&|one| one.at_best),
        brier_of_mean: brier(&|_| held / all),
        slope,
        intercept,
        bins: bins(tried),
    }
}

fn bins(tried: &[Tried]) -> [Bin; 10] {
    let mut bins = [Bin::default(); 10];
    for one in tried {
        #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)] // 0 to 9
        let bin = &mut bins[((one.predicted * 10.0) as usize).min(9)];
        bin.predicted += one.predicted * f64::from(one.intervals);
        bin.held += f64::from(one.held);
        bin.intervals += one.intervals;
    }
    for bin in bins.iter_mut().filter(|bin| bin.intervals > 0) {
        bin.predicted /= f64::from(bin.intervals);
        bin.held /= f64::from(bin.intervals);
    }
    bins
}

/// Intercept and slope of a logistic regression, by Newton's method.
fn calibration(tried: &[Tried]) -> (f64, f64) {
    let (mut a, mut b) = (0.0, 1.0);
    for _ in 0..20 {
        let (mut ga, mut gb, mut haa, mut hab, mut hbb) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for one in tried {
            let x = libm::log(one.predicted / (1.0 - one.predicted));
            let p = 1.0 / (1.0 + libm::exp(-(a + b * x)));
            let n = f64::from(one.intervals);
            let (residual, weight) = (f64::from(one.held) - n * p, n * p * (1.0 - p));
            ga += residual;
            gb += residual * x;
            haa += weight;
            hab += weight * x;
            hbb += weight * x * x;
        }
        let determinant = haa * hbb - hab * hab;
        a += (hbb * ga - hab * gb) / determinant;
        b += (haa * gb - hab * ga) / determinant;
    }
    (a, b)
}
