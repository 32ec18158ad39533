//! What was asked and what was found, and the table that says so.

use std::collections::BTreeSet;
use std::io::Write;
use std::sync::Mutex;

/// What a finding is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Flaw {
    /// An answer held something that the caller cannot read.
    Leak,
    /// Something was allowed that must not be, or changed what it must not.
    WrongAllow,
    /// Something was refused that must be allowed.
    WrongRefusal,
    /// 5xx, or no answer.
    Broken,
    /// Hidden and unknown were answered differently.
    ToldApart,
    /// An error that is no problem document, or an answer without its security headers.
    Shape,
    /// A repeat had an effect of its own.
    Twice,
}

impl Flaw {
    const ALL: [Self; 7] =
        [Self::Leak, Self::WrongAllow, Self::WrongRefusal, Self::Broken, Self::ToldApart, Self::Shape, Self::Twice];
}

/// How many findings of each kind are told one by one.
const SHOWN: usize = 40;

/// The counts of one part.
pub struct Report {
    part: &'static str,
    inner: Mutex<Inner>,
}

#[derive(Default)]
struct Inner {
    requests: u64,
    figures: Vec<(String, String)>,
    found: Vec<(Flaw, String)>,
}

/// Whether the header of the table was written.
static HEADED: Mutex<bool> = Mutex::new(false);

impl Report {
    pub fn new(part: &'static str) -> Self {
        Self { part, inner: Mutex::default() }
    }

    pub fn asked(&self) {
        self.inner.lock().unwrap().requests += 1;
    }

    pub fn found(&self, flaw: Flaw, what: String) {
        self.inner.lock().unwrap().found.push((flaw, what));
    }

    /// A figure of the part, such as how many callers there were.
    pub fn figure(&self, name: &str, value: impl std::fmt::Display) {
        self.inner.lock().unwrap().figures.push((name.to_owned(), value.to_string()));
    }

    /// Prints the part's row and fails when anything was found.
    pub fn close(self) {
        let inner = self.inner.into_inner().unwrap();
        let count = |flaw: Flaw| inner.found.iter().filter(|(found, _)| *found == flaw).count();
        let mut headed = HEADED.lock().unwrap();
        // Past the capture of the test runner, because the table is what somebody runs this for.
        let mut out = std::io::stderr();
        if !*headed {
            *headed = true;
            let head = "| part | requests | leaks | wrong allows | wrong refusals | 5xx | told apart | bad shape | twice | of which |";
            writeln!(out, "\n{head}\n|{}", " --- |".repeat(10)).unwrap();
        }
        let counts: Vec<String> = Flaw::ALL.iter().map(|flaw| count(*flaw).to_string()).collect();
        let figures: Vec<String> = inner.figures.iter().map(|(name, value)| format!("{name} {value}")).collect();
        let row = format!("| {} | {} | {} | {} |", self.part, inner.requests, counts.join(" | "), figures.join(", "));
        writeln!(out, "{row}").unwrap();
        drop(headed);
        assert!(inner.requests > 0, "{}: nothing was asked", self.part);
        let mut lines = Vec::new();
        for flaw in Flaw::ALL {
            let all: BTreeSet<&str> =
                inner.found.iter().filter(|(found, _)| *found == flaw).map(|(_, what)| what.as_str()).collect();
            lines.extend(all.iter().take(SHOWN).map(|what| format!("{flaw:?}: {what}")));
            if let Some(more) = all.len().checked_sub(SHOWN + 1) {
                lines.push(format!("{flaw:?}: and {} more", more + 1));
            }
        }
        assert!(lines.is_empty(), "{}\n{}", self.part, lines.join("\n"));
    }
}
