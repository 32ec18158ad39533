//! Stands between the service and its database and cuts the connection at one chosen statement.

use std::collections::HashMap;
use std::fs;
use std::io;
use std::os::unix::net::UnixListener;
use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;

use sqlx::postgres::{PgConnectOptions, PgSslMode};
use uuid::Uuid;

use super::wire::{Upstream, Wire, text};

/// Where the connection is cut.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cut {
    /// The server never sees the statement.
    Before,
    /// The server has carried it out; nothing of its answer comes through.
    After,
    /// The server has carried it out; half of its answer comes through.
    Torn,
}

/// What counts as a statement.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Count {
    /// What is carried out.
    Statements,
    /// Everything that is answered: also the opening of a connection and the preparation of a statement.
    Everything,
}

#[derive(Debug, Default)]
struct Plan {
    at: Option<(usize, Cut, Count)>,
    seen: usize,
    fired: Option<String>,
    open: Vec<(Wire, Wire)>,
}

impl Plan {
    /// Notes a statement; how to cut when it is the chosen one.
    fn meets(&mut self, label: String, executes: bool) -> Option<Cut> {
        let (at, cut, count) = self.at?;
        if !executes && count == Count::Statements {
            return None;
        }
        self.seen += 1;
        if self.seen != at {
            return None;
        }
        self.fired = Some(label);
        Some(cut)
    }
}

/// The proxy.
#[derive(Debug)]
pub struct Knife {
    folder: PathBuf,
    plan: Arc<Mutex<Plan>>,
}

impl Drop for Knife {
    fn drop(&mut self) {
        drop(fs::remove_dir_all(&self.folder));
    }
}

impl Knife {
    /// Starts a proxy before the database of these options. Its threads wait for connections until the process ends.
    pub fn before(options: &PgConnectOptions) -> Self {
        // A short path: that of a socket may have 107 bytes.
        let folder = std::env::temp_dir().join(format!("lw-{}", Uuid::new_v4().simple()));
        fs::create_dir(&folder).unwrap();
        let listener = UnixListener::bind(folder.join(format!(".s.PGSQL.{}", options.get_port()))).unwrap();
        let plan = Arc::new(Mutex::new(Plan::default()));
        let (upstream, shared) = (Upstream::of(options), Arc::clone(&plan));
        thread::spawn(move || {
            for client in listener.incoming() {
                let (upstream, plan) = (upstream.clone(), Arc::clone(&shared));
                // A connection that cannot be opened or breaks is what the service must stand.
                thread::spawn(move || client.and_then(|client| connection(Wire::Unix(client), &upstream, &plan)));
            }
        });
        Self { folder, plan }
    }

    /// The options that lead through the proxy.
    pub fn through(&self, options: PgConnectOptions) -> PgConnectOptions {
        options.socket(&self.folder).ssl_mode(PgSslMode::Disable)
    }

    /// Cuts at the statement `at`, counted from one.
    pub fn arm(&self, at: usize, cut: Cut, count: Count) {
        let mut plan = self.plan.lock().unwrap();
        (plan.at, plan.seen, plan.fired) = (Some((at, cut, count)), 0, None);
    }

    /// Leaves connections whole from now on; the statement that was cut.
    pub fn rest(&self) -> Option<String> {
        let mut plan = self.plan.lock().unwrap();
        plan.at = None;
        plan.fired.take()
    }

    /// Ends every connection that is open.
    pub fn end_all(&self) {
        for (client, server) in self.plan.lock().unwrap().open.drain(..) {
            client.end();
            server.end();
        }
    }
}

fn connection(mut client: Wire, upstream: &Upstream, plan: &Arc<Mutex<Plan>>) -> io::Result<()> {
    let startup = client.startup()?;
    let cut = plan.lock().unwrap().meets("(open a connection)".to_owned(), false);
    if cut == Some(Cut::Before) {
        client.end();
        return Ok(());
    }
    let mut server = upstream.connect()?;
    plan.lock().unwrap().open.push((client.twin()?, server.twin()?));
    let doom = Arc::new(Mutex::new(cut));
    let sent = Arc::new(AtomicUsize::new(1));
    let (mut to_client, mut from_server) = (client.twin()?, server.twin()?);
    let (doomed, count) = (Arc::clone(&doom), Arc::clone(&sent));
    let answers = thread::spawn(move || {
        let _ = answers(&mut from_server, &mut to_client, &doomed, &count);
        from_server.end();
        to_client.end();
    });
    server.send(&startup)?;
    if cut.is_none() {
        let whole = requests(&mut client, &mut server, plan, (&doom, &sent));
        if doom.lock().unwrap().is_none() {
            client.end();
            server.end();
        }
        whole?;
    }
    answers.join().map_err(|_| io::Error::other("the answers ended badly"))
}

/// Hands the service's messages on, round by round: a round ends with a Sync or is one simple query.
fn requests(
    client: &mut Wire,
    server: &mut Wire,
    plan: &Mutex<Plan>,
    (doom, sent): (&Mutex<Option<Cut>>, &AtomicUsize),
) -> io::Result<()> {
    let mut names: HashMap<String, String> = HashMap::new();
    let (mut round, mut label, mut executes) = (Vec::new(), "(sync)".to_owned(), false);
    loop {
        let message = client.message()?;
        let (kind, body) = (message[0], &message[5..]);
        match kind {
            b'P' => {
                let (name, rest) = text(body);
                label = text(rest).0.to_owned();
                names.insert(name.to_owned(), label.clone());
            }
            b'B' => {
                let name = text(text(body).1).0;
                label = names.get(name).cloned().unwrap_or_default();
            }
            b'E' => executes = true,
            b'Q' => (label, executes) = (text(body).0.to_owned(), true),
            _ => {}
        }
        round.extend(&message);
        let ends = matches!(kind, b'S' | b'Q');
        if ends {
            let cut = plan.lock().unwrap().meets(std::mem::replace(&mut label, "(sync)".to_owned()), executes);
            if cut == Some(Cut::Before) {
                return Ok(());
            }
            executes = false;
            sent.fetch_add(1, Ordering::SeqCst);
            *doom.lock().unwrap() = cut;
        }
        if ends || matches!(kind, b'p' | b'X') {
            server.send(&std::mem::take(&mut round))?;
        }
        if doom.lock().unwrap().is_some() {
            return Ok(());
        }
    }
}

/// Hands the server's answers on; of a connection that is cut, only as much as the cut lets through.
fn answers(server: &mut Wire, client: &mut Wire, doom: &Mutex<Option<Cut>>, sent: &AtomicUsize) -> io::Result<()> {
    let mut ready = 0;
    let mut kept = Vec::new();
    loop {
        let message = server.message()?;
        // Each round is answered with one of these, last.
        if message[0] == b'Z' {
            ready += 1;
        }
        let cut = *doom.lock().unwrap();
        if cut.is_none() {
            client.send(&message)?;
            continue;
        }
        kept.extend(&message);
        if ready == sent.load(Ordering::SeqCst) {
            if cut == Some(Cut::Torn) {
                client.send(&kept[..kept.len() / 2])?;
            }
            return Ok(());
        }
    }
}
