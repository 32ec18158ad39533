//! Stands between the service and its database and cuts the connection at one chosen statement.

use std::collections::HashMap;
use std::fs;
use std::io;
use std::os::unix::net::UnixListener;
use std::path::PathBuf;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;

use sqlx::postgres::{PgConnectOptions, PgSslMode};
use uuid::Uuid;

use super::wire::{Upstream, Wire, text};
use crate::support::eventually;

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

/// Something that the service asks of the database.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Statement {
    pub label: String,
    /// Whether it is carried out, and not only prepared.
    pub executes: bool,
}

impl Statement {
    /// The opening of a connection.
    fn opening() -> Self {
        Self { label: "(open a connection)".to_owned(), executes: false }
    }
}

/// A place in what somebody does: a statement, and how many of the same are before it. A number in the list would name
/// another statement as soon as one more or less goes before.
#[derive(Clone, Debug)]
pub struct Place {
    pub statement: Statement,
    pub before: usize,
}

/// The places of a list of statements.
pub fn places(list: &[Statement], count: Count) -> Vec<Place> {
    let before = |at: usize| list[..at].iter().filter(|one| **one == list[at]).count();
    let all = list.iter().enumerate().map(|(at, one)| Place { statement: one.clone(), before: before(at) });
    all.filter(|place| place.statement.executes || count == Count::Everything).collect()
}

/// A statement as it was carried out: how the server knows it, and its values, in the binary form of their types.
#[derive(Clone, Debug)]
pub struct Bound {
    pub label: String,
    pub name: String,
    pub values: Vec<Option<Vec<u8>>>,
}

fn number(bytes: &[u8]) -> usize {
    bytes.iter().fold(0_usize, |sum, byte| sum << 8 | usize::from(*byte))
}

/// What a Bind message says, of a statement with this text.
fn bound(body: &[u8], label: &str) -> Bound {
    let (name, rest) = text(text(body).1);
    let (formats, rest) = rest.split_at(2);
    let (count, mut rest) = rest[2 * number(formats)..].split_at(2);
    let values = (0..number(count)).map(|_| {
        let (length, after) = rest.split_at(4);
        // A length of -1 is a null.
        let (value, after) = after.split_at(if length[0] == 0xff { 0 } else { number(length) });
        rest = after;
        (length[0] != 0xff).then(|| value.to_vec())
    });
    Bound { label: label.to_owned(), name: name.to_owned(), values: values.collect() }
}

#[derive(Debug, Default)]
struct Plan {
    at: Option<(Place, Cut)>,
    /// The statements since the knife was armed or watched.
    seen: Vec<Statement>,
    /// What was carried out since then, with its values.
    bound: Vec<Bound>,
    fired: bool,
    open: Vec<Open>,
}

#[derive(Debug)]
struct Open {
    client: Wire,
    server: Wire,
    rounds: Arc<Rounds>,
    aside: Aside,
}

/// The answer to a question of our own on the service's connection, which the service never sees; none when nobody asks.
type Aside = Arc<Mutex<Option<Vec<Vec<u8>>>>>;

/// The columns of a row, as text.
fn columns(row: &[u8]) -> Vec<String> {
    let mut rest = &row[7..];
    (0..number(&row[5..7]))
        .map(|_| {
            let (length, after) = rest.split_at(4);
            let (text, after) = after.split_at(number(length));
            rest = after;
            String::from_utf8(text.to_vec()).unwrap()
        })
        .collect()
}

/// How far a connection has come.
#[derive(Debug, Default)]
struct Rounds {
    sent: AtomicUsize,
    answered: AtomicUsize,
    /// The last round asks nothing: the service tries a connection so whenever it puts it back.
    put_back: AtomicBool,
}

impl Rounds {
    fn at_rest(&self) -> bool {
        let answered = self.answered.load(Ordering::SeqCst) == self.sent.load(Ordering::SeqCst);
        answered && self.put_back.load(Ordering::SeqCst)
    }
}

impl Plan {
    /// Notes a statement; how to cut when it is the chosen one.
    fn meets(&mut self, statement: Statement) -> Option<Cut> {
        let chosen = self.at.as_ref().and_then(|(place, cut)| {
            let before = || self.seen.iter().filter(|one| **one == statement).count();
            (place.statement == statement && place.before == before()).then_some(*cut)
        });
        self.seen.push(statement);
        self.fired |= chosen.is_some();
        chosen
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

    fn begin(&self, at: Option<(Place, Cut)>) {
        let mut plan = self.plan.lock().unwrap();
        (plan.at, plan.seen, plan.bound, plan.fired) = (at, Vec::new(), Vec::new(), false);
    }

    /// Cuts nothing and notes every statement from now on.
    pub fn watch(&self) {
        self.begin(None);
    }

    /// Notes every statement from now on and cuts at this place.
    pub fn arm(&self, place: Place, cut: Cut) {
        self.begin(Some((place, cut)));
    }

    /// Leaves connections whole from now on; what was asked since the knife was armed or watched, and whether it cut.
    /// Somebody has the answer already, but their connection may still be on its way back.
    pub async fn rest(&self) -> (Vec<Statement>, bool) {
        eventually("the connection is put back", async || {
            let plan = self.plan.lock().unwrap();
            plan.fired || plan.open.last().is_some_and(|open| open.rounds.at_rest())
        })
        .await;
        let mut plan = self.plan.lock().unwrap();
        plan.at = None;
        (std::mem::take(&mut plan.seen), plan.fired)
    }

    /// What was carried out since the knife was watched, with its values.
    pub fn bound(&self) -> Vec<Bound> {
        std::mem::take(&mut self.plan.lock().unwrap().bound)
    }

    /// Asks the server something on the service's own connection, which is at rest; columns of rows without nulls.
    pub async fn ask(&self, sql: &str) -> Vec<Vec<String>> {
        let aside = {
            let mut plan = self.plan.lock().unwrap();
            let open = plan.open.last_mut().unwrap();
            *open.aside.lock().unwrap() = Some(Vec::new());
            let length = u32::try_from(sql.len() + 5).unwrap().to_be_bytes();
            open.server.send(&[&b"Q"[..], &length, sql.as_bytes(), &[0]].concat()).unwrap();
            Arc::clone(&open.aside)
        };
        let whole = |aside: &Aside| aside.lock().unwrap().iter().flatten().any(|message| message[0] == b'Z');
        eventually("the server answers", async || whole(&aside)).await;
        let answer = aside.lock().unwrap().take().unwrap();
        assert!(answer.iter().all(|message| message[0] != b'E'), "{sql}");
        answer.iter().filter(|message| message[0] == b'D').map(|row| columns(row)).collect()
    }

    /// Ends every connection that is open.
    pub fn end_all(&self) {
        for open in self.plan.lock().unwrap().open.drain(..) {
            open.client.end();
            open.server.end();
        }
    }
}

fn connection(mut client: Wire, upstream: &Upstream, plan: &Arc<Mutex<Plan>>) -> io::Result<()> {
    let startup = client.startup()?;
    let cut = plan.lock().unwrap().meets(Statement::opening());
    if cut == Some(Cut::Before) {
        client.end();
        return Ok(());
    }
    let mut server = upstream.connect()?;
    let rounds = Arc::new(Rounds { sent: AtomicUsize::new(1), ..Rounds::default() });
    let aside = Aside::default();
    let (client_too, server_too) = (client.twin()?, server.twin()?);
    let open = Open { client: client_too, server: server_too, rounds: Arc::clone(&rounds), aside: Arc::clone(&aside) };
    plan.lock().unwrap().open.push(open);
    let doom = Arc::new(Mutex::new(cut));
    let (mut to_client, mut from_server) = (client.twin()?, server.twin()?);
    let (doomed, count) = (Arc::clone(&doom), Arc::clone(&rounds));
    let answers = thread::spawn(move || {
        let _ = answers((&mut from_server, &mut to_client), &doomed, &count, &aside);
        from_server.end();
        to_client.end();
    });
    server.send(&startup)?;
    if cut.is_none() {
        let whole = requests(&mut client, &mut server, plan, (&doom, &rounds));
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
    (doom, rounds): (&Mutex<Option<Cut>>, &Rounds),
) -> io::Result<()> {
    let mut names: HashMap<String, String> = HashMap::new();
    let nothing = || Statement { label: "(sync)".to_owned(), executes: false };
    let (mut round, mut asked) = (Vec::new(), nothing());
    loop {
        let message = client.message()?;
        let (kind, body) = (message[0], &message[5..]);
        match kind {
            b'P' => {
                let (name, rest) = text(body);
                text(rest).0.clone_into(&mut asked.label);
                names.insert(name.to_owned(), asked.label.clone());
            }
            b'B' => {
                let name = text(text(body).1).0;
                asked.label = names.get(name).cloned().unwrap_or_default();
                plan.lock().unwrap().bound.push(bound(body, &asked.label));
            }
            b'E' => asked.executes = true,
            b'Q' => asked = Statement { label: text(body).0.to_owned(), executes: true },
            _ => {}
        }
        round.extend(&message);
        let ends = matches!(kind, b'S' | b'Q');
        if ends {
            let asked = std::mem::replace(&mut asked, nothing());
            let put_back = asked == nothing();
            let cut = plan.lock().unwrap().meets(asked);
            if cut == Some(Cut::Before) {
                return Ok(());
            }
            rounds.sent.fetch_add(1, Ordering::SeqCst);
            rounds.put_back.store(put_back, Ordering::SeqCst);
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
fn answers(
    (server, client): (&mut Wire, &mut Wire),
    doom: &Mutex<Option<Cut>>,
    rounds: &Rounds,
    aside: &Aside,
) -> io::Result<()> {
    let mut kept = Vec::new();
    loop {
        let message = server.message()?;
        if let Some(answer) = aside.lock().unwrap().as_mut() {
            answer.push(message);
            continue;
        }
        let cut = *doom.lock().unwrap();
        if cut.is_none() {
            client.send(&message)?;
        } else {
            kept.extend(&message);
        }
        // Each round is answered with one of these, last.
        if message[0] == b'Z' {
            rounds.answered.fetch_add(1, Ordering::SeqCst);
        }
        if cut.is_some() && rounds.answered.load(Ordering::SeqCst) == rounds.sent.load(Ordering::SeqCst) {
            if cut == Some(Cut::Torn) {
                client.send(&kept[..kept.len() / 2])?;
            }
            return Ok(());
        }
    }
}
