//! The two ordinary stacks beside the service: the programs of `benches/peers`, fetched by npm and pip.

use std::collections::BTreeMap;
use std::fs;
use std::os::unix::process::CommandExt;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use lanewright::platform::db::PLANNING;
use serde_json::{Value, json};

use super::load;
use super::meter::Whose;
use super::routes::Route;
use crate::sync_figures::Bench;
use crate::sync_figures::reference::Script;
use crate::sync_figures::wire::{self, Wire};

/// A stack that runs; dropping it ends all its processes.
pub struct Peer {
    /// How the table calls it.
    pub name: &'static str,
    child: Child,
    /// `host:port`.
    pub address: String,
}

/// Where the programs are and what they fetched stays.
fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("peers")
}

/// Runs a command in our folder; what it said when it fails.
fn does(program: &str, words: &[&str]) -> Result<(), String> {
    let done = Command::new(program).args(words).current_dir(folder()).stdin(Stdio::null()).output();
    let output = done.map_err(|error| format!("{program}: {error}"))?;
    if output.status.success() {
        return Ok(());
    }
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    Err(format!("{program}: {}", said.trim().lines().last().unwrap_or("failed")))
}

fn fetch_node() -> Result<(), String> {
    does("npm", &["install", "--no-fund", "--no-audit", "--no-package-lock", "--silent"])
}

fn fetch_python() -> Result<(), String> {
    if !folder().join("venv").exists() {
        does("python3", &["-m", "venv", "venv"])?;
    }
    does("venv/bin/pip", &["install", "--quiet", "--disable-pip-version-check", "-r", "requirements.txt"])
}

/// A way to fetch a stack.
type Fetch = fn() -> Result<(), String>;

/// The stacks that can be fetched, started, with the statements and keys of the service.
pub fn start(bench: &Bench, scripts: &[(&Route, Script)]) -> Vec<Peer> {
    let (from, to) = (concat!(env!("CARGO_MANIFEST_DIR"), "/benches/peers"), folder());
    fs::create_dir_all(&to).expect("the folder of the build");
    for file in fs::read_dir(from).expect("our programs").flatten() {
        fs::copy(file.path(), to.join(file.file_name())).expect("the folder of the build");
    }
    let asked = |script: &Script| {
        let all = script.logged.iter().filter(|one| one.sql.contains("$1"));
        all.map(|one| one.sql.clone()).collect::<Vec<_>>()
    };
    let statements: serde_json::Map<String, Value> = scripts
        .iter()
        .filter(|(route, _)| route.peers)
        .map(|(route, script)| (route.key.into(), json!(asked(script))))
        .collect();
    let spec = json!({"jwks": bench.keys.jwks(), "issuer": "lanewright", "audience": "lanewright-api",
        "sockets": bench.cluster.socket_folder(), "user": "lanewright", "database": "lanewright", "planning": PLANNING.into_iter().collect::<BTreeMap<_, _>>(), "statements": statements});
    fs::write(to.join("spec.json"), spec.to_string()).expect("the folder of the build");
    let stacks: [(&'static str, Fetch, &[&str]); 2] =
        [("node", fetch_node, &["node", "server.mjs"]), ("python", fetch_python, &["venv/bin/python", "server.py"])];
    let mut peers = Vec::new();
    for (name, fetch, words) in stacks {
        match fetch().and_then(|()| Peer::start(name, words)) {
            Ok(peer) => peers.push(peer),
            Err(why) => println!("http: {name} is left out: {why}"),
        }
    }
    peers
}

impl Peer {
    fn start(name: &'static str, words: &[&str]) -> Result<Self, String> {
        let (program, rest) = words.split_first().expect("a program");
        let free = std::net::TcpListener::bind("127.0.0.1:0").and_then(|one| one.local_addr()).expect("a free port");
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        let log = fs::File::create(folder().join(format!("{name}.log"))).expect("the folder of the build");
        let child = Command::new(program)
            .args(rest)
            .current_dir(folder())
            .env("PORT", free.port().to_string())
            .env("PROCESSES", cores.to_string())
            .stdin(Stdio::null())
            .stdout(log.try_clone().expect("a file"))
            .stderr(log)
            .process_group(0)
            .spawn()
            .map_err(|error| error.to_string())?;
        let peer = Self { name, child, address: free.to_string() };
        let begun = Instant::now();
        while std::net::TcpStream::connect(&peer.address).is_err() {
            if begun.elapsed() > Duration::from_secs(30) {
                return Err(format!("it does not come up; see {name}.log in {}", folder().display()));
            }
            std::thread::sleep(Duration::from_millis(100));
        }
        // Every process of it.
        std::thread::sleep(Duration::from_secs(1));
        Ok(peer)
    }

    /// Its processes.
    pub fn whose(&self) -> Whose {
        Whose::Group(self.child.id())
    }

    /// The route as it is asked of this stack: where the phone has read until stands in a token of its own. The service may
    /// have stopped within a change: its next page tells where.
    pub fn route(&self, service: &str, route: Route, script: &Script) -> Route {
        if !script.logged.iter().any(|one| one.sql.contains("from club_change")) || route.status != 200 {
            return route;
        }
        let text = String::from_utf8(route.marked()).expect("text");
        let Some((head, rest)) = text.split_once("sync_token=") else { return route };
        let mut wire = Wire::open(service);
        load::send(&mut wire, &route, text.as_bytes());
        let first = wire.json().pointer("/changes/0/rev").and_then(Value::as_i64).expect("a change");
        let who = script.logged.iter().find(|one| one.sql.contains("join devices d")).expect("who asks");
        let [Some(club), Some(account), ..] = who.parameters.as_slice() else { panic!("{who:?}") };
        let mut wire = Wire::open(&self.address);
        wire.call(&wire::get(&format!("/token/{club}/{account}/{}", first - 1), ""));
        let own = wire.json().as_str().expect("a token").to_owned();
        let call = format!("{head}sync_token={own} {}", rest.split_once(' ').expect("a version").1).into_bytes();
        Route { call: Box::new(move |_, _| call.clone()), ..route }
    }

    /// Compares an answer of its with that of the service, as JSON.
    pub fn check(&self, address: &str, ours: &Route, theirs: &Route) {
        let ask = |address: &str, route: &Route| {
            let mut wire = Wire::open(address);
            load::send(&mut wire, route, &(route.call)(0, load::once()));
            comparable(wire.json())
        };
        let (service, peer) = (ask(address, ours), ask(&self.address, theirs));
        assert!(service == peer, "{} answers {} otherwise:\n{service}\n{peer}", self.name, ours.name);
    }
}

/// Numbers as what they are worth: 11 is 11.0.
fn plain(value: &mut Value) {
    match value {
        Value::Number(number) => *value = json!(number.as_f64()),
        Value::Array(all) => all.iter_mut().for_each(plain),
        Value::Object(all) => all.values_mut().for_each(plain),
        _ => {}
    }
}

/// What must be the same: all but tokens, and the numbers of changes by how far they are from the first.
fn comparable(mut answer: Value) -> Value {
    if let Some(page) = answer.as_object_mut() {
        page.remove("from");
        page.remove("sync_token");
        page.remove("next");
    }
    if let Some(results) = answer.get_mut("results").and_then(Value::as_array_mut) {
        let first = results.first().and_then(|one| one.get("rev")?.as_i64()).unwrap_or_default();
        for one in results.iter_mut().filter_map(Value::as_object_mut) {
            one.remove("op_id");
            if let Some(rev) = one.get_mut("rev") {
                *rev = json!(rev.as_i64().unwrap_or_default() - first);
            }
        }
    }
    plain(&mut answer);
    answer
}

impl Drop for Peer {
    fn drop(&mut self) {
        let group = rustix::process::Pid::from_child(&self.child);
        // All of them; the first may have ended by itself.
        let _ = rustix::process::kill_process_group(group, rustix::process::Signal::KILL);
        let _ = self.child.wait();
    }
}
