//! The service as people run it: its own process beside its database.

use std::fs;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

/// A running service; dropping it kills it.
pub struct Service {
    child: Child,
    /// `host:port`.
    pub address: String,
}

impl Service {
    /// Starts it on a free port; its log goes nowhere, its settings are its own defaults.
    pub fn start(database: &str) -> Self {
        Self::start_with(database, &[])
    }

    /// Starts it with these settings.
    pub fn start_with(database: &str, settings: &[(&str, &str)]) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_lanewright"))
            .arg("serve")
            .env("DATABASE_URL", database)
            .env("LANEWRIGHT_LISTEN", "127.0.0.1:0")
            .envs(settings.iter().copied())
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .expect("the service starts");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("piped")).read_line(&mut line).expect("a line");
        let address = line.split("http://").nth(1).and_then(|rest| rest.split(' ').next());
        let address = address.unwrap_or_else(|| panic!("the service did not start: {line:?}")).to_owned();
        Self { child, address }
    }

    /// Its process.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Resident memory now and at its peak (MB).
    pub fn memory(&self) -> (f64, f64) {
        let text = fs::read_to_string(format!("/proc/{}/status", self.child.id())).expect("Linux tells");
        let megabytes = |name: &str| {
            let line = text.lines().find_map(|line| line.strip_prefix(name)).expect("a line of memory");
            line.trim().trim_end_matches(" kB").trim().parse::<f64>().expect("kilobytes") / 1024.0
        };
        (megabytes("VmRSS:"), megabytes("VmHWM:"))
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        // As a power cut would: nothing is lost by it, and nobody has to wait.
        self.child.kill().expect("our child");
        self.child.wait().expect("our child");
    }
}
