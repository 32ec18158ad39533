//! What a rehearsal found.

use std::fmt::{Display, Formatter};

/// Something that the phone did wrong.
#[derive(Clone, Debug)]
pub struct Finding {
    /// The sentence of the guide.
    pub rule: &'static str,
    /// What was seen instead.
    pub seen: String,
}

/// What came of a scene.
#[derive(Clone, Debug)]
pub struct Verdict {
    /// The scene.
    pub scene: &'static str,
    /// What happens in it.
    pub about: &'static str,
    /// What was wrong, in the order it was seen; empty when the phone passed.
    pub findings: Vec<Finding>,
}

/// What came of the scenes so far.
#[derive(Clone, Debug, Default)]
pub struct Report {
    /// In the order they were played.
    pub verdicts: Vec<Verdict>,
    /// Whether every wanted scene was played to its end.
    pub complete: bool,
}

impl Report {
    /// Whether the phone passed every scene.
    pub fn passed(&self) -> bool {
        self.complete && self.verdicts.iter().all(|one| one.findings.is_empty())
    }
}

impl Display for Report {
    fn fmt(&self, f: &mut Formatter<'_>) -> std::fmt::Result {
        for Verdict { scene, about, findings } in &self.verdicts {
            let word = if findings.is_empty() { "pass" } else { "FAIL" };
            writeln!(f, "{word}  {scene}: {about}")?;
            for Finding { rule, seen } in findings {
                writeln!(f, "      {seen}\n      The guide: {rule}")?;
            }
        }
        let passed = self.verdicts.iter().filter(|one| one.findings.is_empty()).count();
        write!(f, "{passed} of {} scenes passed", self.verdicts.len())?;
        if self.complete { Ok(()) } else { write!(f, "; the driver stopped asking before the last scene ended") }
    }
}
