//! The private server, in the situations that real machines bring: two starts, killed owners, killed servers,
//! half-made data, strangers' files. Every test has a folder of its own and needs the server programs.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a test says what broke by ending")]

use std::fs::{self, DirBuilder};
use std::io::{BufRead, BufReader};
use std::os::unix::fs::{DirBuilderExt, MetadataExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};

use lanewright::platform::cluster::{Cluster, ClusterError, Options};
use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{Connection, Executor};

/// A folder that goes when the test ends, however it ends.
struct Scratch(PathBuf);

impl Scratch {
    fn new(test: &str) -> Self {
        let folder = std::env::temp_dir().join(format!("lanewright-test-{}-{test}", std::process::id()));
        DirBuilder::new().mode(0o711).create(&folder).unwrap();
        Self(folder)
    }

    fn join(&self, name: &str) -> PathBuf {
        self.0.join(name)
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        drop(fs::remove_dir_all(&self.0));
    }
}

/// Starts a durable server, or ends the test with the line that a person would see.
async fn open(folder: &Path) -> Cluster {
    let opened = Cluster::open(Options::durable(folder.to_owned())).await;
    opened.unwrap_or_else(|error| panic!("{error}"))
}

fn refusal(folder: &Path) -> ClusterError {
    Cluster::start(&Options::throw_away(folder.to_owned())).unwrap_err()
}

async fn execute(options: &PgConnectOptions, sql: &'static str) {
    let mut connection = PgConnection::connect_with(options).await.unwrap();
    connection.execute(sql).await.unwrap();
    connection.close().await.unwrap();
}

async fn number(options: &PgConnectOptions, sql: &'static str) -> i64 {
    let mut connection = PgConnection::connect_with(options).await.unwrap();
    let number = sqlx::query_scalar(sql).fetch_one(&mut connection).await.unwrap();
    connection.close().await.unwrap();
    number
}

/// The program as a person runs it, with its folders inside `scratch`.
fn program(scratch: &Scratch, command: &[&str]) -> Command {
    let mut program = Command::new(env!("CARGO_BIN_EXE_lanewright"));
    program.args(["cluster", "--"]).args(command).env("TMPDIR", &scratch.0);
    program.stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    program
}

/// Runs `script` beside a server and waits for its first line; the script ends when `stdin` closes.
fn running(scratch: &Scratch, script: &str) -> (Child, PathBuf) {
    let mut child = program(scratch, &["sh", "-c", script]).spawn().unwrap();
    let mut line = String::new();
    BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
    if line.trim() != "ready" {
        let output = child.wait_with_output().unwrap();
        panic!("{}", String::from_utf8_lossy(&output.stderr));
    }
    let folder = scratch.join(&format!("lanewright-cluster-{}", child.id()));
    (child, folder)
}

fn send(signal: &str, pid: u32) {
    let sent = Command::new("sh").args(["-c", "kill -\"$0\" \"$1\"", signal, &pid.to_string()]).status();
    assert!(sent.unwrap().success());
}

/// A process that has ended but was not collected by its parent yet (a zombie) does not count.
fn is_alive(pid: u32) -> bool {
    let asked = "kill -0 \"$0\" 2>/dev/null && ! grep -qs '^State:.Z' \"/proc/$0/status\"";
    Command::new("sh").args(["-c", asked, &pid.to_string()]).status().unwrap().success()
}

fn server_pid(folder: &Path) -> u32 {
    let text = fs::read_to_string(folder.join("data/postmaster.pid")).unwrap();
    text.lines().next().unwrap().parse().unwrap()
}

fn entries(folder: &Path) -> Vec<String> {
    let names = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().to_string_lossy().into_owned());
    names.collect()
}

#[tokio::test]
async fn data_survives_a_stop_and_a_second_start() {
    let scratch = Scratch::new("restart");
    let cluster = open(&scratch.0).await;
    execute(&cluster.connect_options(), "create table kept as select 7 as barriers").await;
    let pid = cluster.server_pid();
    cluster.close().await.unwrap();
    assert!(!is_alive(pid), "the server outlived its stop");
    assert!(!scratch.join("data/postmaster.pid").exists());

    let cluster = open(&scratch.0).await;
    assert_eq!(number(&cluster.connect_options(), "select barriers::int8 from kept").await, 7);
    cluster.close().await.unwrap();
}

#[tokio::test]
async fn a_dropped_cluster_stops_its_server() {
    let scratch = Scratch::new("dropped");
    let cluster = open(&scratch.0).await;
    let pid = cluster.server_pid();
    drop(cluster);
    assert!(!is_alive(pid));
}

#[tokio::test]
async fn the_service_role_may_create_databases_but_passes_no_row_security() {
    let scratch = Scratch::new("roles");
    let cluster = open(&scratch.0).await;
    let options = cluster.connect_options();
    let rights = "select count(*) from pg_roles where rolname = current_user and rolname = 'lanewright'
        and rolcreatedb and not rolsuper and not rolbypassrls";
    assert_eq!(number(&options, rights).await, 1);
    let acting = "select count(*) from pg_roles where rolname = 'club_app' and not rolcanlogin and not rolsuper
        and not rolbypassrls and pg_has_role(current_user, 'club_app', 'member')";
    assert_eq!(number(&options, acting).await, 1);
    execute(&options, "create database another").await;
    execute(&options, "create table own (id int)").await;
    cluster.close().await.unwrap();
}

#[tokio::test]
async fn the_servers_log_holds_no_values_of_rows() {
    let scratch = Scratch::new("log");
    let cluster = open(&scratch.0).await;
    let mut connection = PgConnection::connect_with(&cluster.connect_options()).await.unwrap();
    connection.execute("create table people (name text unique check (length(name) < 20))").await.unwrap();
    let mut refused = 0;
    for name in ["Zquill Osei", "Zquill Osei", "Zquill with a name that is too long"] {
        let done = sqlx::query("insert into people (name) values ($1)").bind(name).execute(&mut connection).await;
        refused += u8::from(done.is_err());
    }
    connection.close().await.unwrap();
    assert_eq!(refused, 2);
    let log = fs::read_to_string(scratch.join("postgres.log")).unwrap();
    assert!(log.contains("people_name_key") && log.contains("people_name_check"), "{log}");
    assert!(!log.contains("Zquill"), "{log}");
    cluster.close().await.unwrap();
}

#[tokio::test]
async fn the_url_reaches_the_same_database() {
    let scratch = Scratch::new("url with a space");
    let cluster = open(&scratch.0).await;
    execute(&cluster.connect_options(), "create table seen as select 3 as lanes").await;
    let by_url: PgConnectOptions = cluster.url().parse().unwrap();
    assert_eq!(number(&by_url, "select lanes::int8 from seen").await, 3);
    cluster.close().await.unwrap();
}

#[tokio::test]
async fn nothing_listens_on_the_network_and_no_other_account_reaches_the_socket() {
    let scratch = Scratch::new("private");
    let cluster = open(&scratch.0).await;
    let options = cluster.connect_options();
    assert_eq!(number(&options, "select length(current_setting('listen_addresses'))::int8").await, 0);
    assert_eq!(fs::metadata(cluster.socket_folder()).unwrap().mode() & 0o777, 0o700);
    assert_eq!(fs::metadata(scratch.join("data")).unwrap().mode() & 0o777, 0o700);
    cluster.close().await.unwrap();
}

#[tokio::test]
async fn a_second_start_on_one_folder_is_refused_and_names_the_first_process() {
    let scratch = Scratch::new("second");
    let mut cluster = open(&scratch.0).await;
    let error = refusal(&scratch.0);
    let expected = format!("in use by process {}", std::process::id());
    assert!(error.to_string().contains(&expected), "{error}");
    cluster.check().unwrap();
    cluster.close().await.unwrap();
}

#[tokio::test]
async fn after_a_killed_owner_the_next_start_stops_the_orphan_and_keeps_the_data() {
    let scratch = Scratch::new("orphan");
    let (mut owner, folder) = running(&scratch, "echo ready; exec cat");
    let socket = PgConnectOptions::new_without_pgpass().socket(folder.join("run")).port(5432);
    execute(&socket.username("lanewright").database("lanewright"), "create table kept as select 9 as barriers").await;
    let orphan = server_pid(&folder);
    owner.kill().unwrap();
    owner.wait().unwrap();
    assert!(is_alive(orphan), "the server was to outlive its owner here");

    let cluster = open(&folder).await;
    assert!(!is_alive(orphan));
    assert_eq!(number(&cluster.connect_options(), "select barriers::int8 from kept").await, 9);
    cluster.close().await.unwrap();
}

#[test]
fn the_next_command_clears_away_what_a_killed_one_left() {
    let scratch = Scratch::new("abandoned");
    let (mut owner, folder) = running(&scratch, "echo ready; exec cat");
    let orphan = server_pid(&folder);
    owner.kill().unwrap();
    owner.wait().unwrap();

    let output = program(&scratch, &["true"]).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    assert!(!is_alive(orphan));
    assert_eq!(entries(&scratch.0), [""; 0]);
}

#[tokio::test]
async fn a_killed_server_is_noticed_and_the_next_start_recovers_every_commit() {
    let scratch = Scratch::new("recovery");
    let mut cluster = open(&scratch.0).await;
    execute(&cluster.connect_options(), "create table kept as select generate_series(1, 1000) as run").await;
    send("KILL", cluster.server_pid());
    let error = cluster.watch().await;
    assert!(matches!(error, ClusterError::Exited { .. }), "{error}");
    drop(cluster);

    let cluster = open(&scratch.0).await;
    assert_eq!(number(&cluster.connect_options(), "select count(*) from kept").await, 1000);
    cluster.close().await.unwrap();
}

#[tokio::test]
async fn a_half_made_data_folder_is_cleared_away() {
    let scratch = Scratch::new("half-made");
    fs::create_dir_all(scratch.join("data.new.1/base")).unwrap();
    fs::write(scratch.join("data.new.1/PG_VERSION"), "15\n").unwrap();
    open(&scratch.0).await.close().await.unwrap();
    assert!(!scratch.join("data.new.1").exists());
    assert!(scratch.join("data/PG_VERSION").exists());
}

#[tokio::test]
async fn a_path_too_long_for_a_socket_gets_a_short_one() {
    let scratch = Scratch::new("long");
    let folder = scratch.join(&"a".repeat(60)).join("b".repeat(60));
    let cluster = open(&folder).await;
    assert!(cluster.socket_folder().starts_with("/tmp") && !cluster.socket_folder().starts_with(&folder));
    assert_eq!(number(&cluster.connect_options(), "select 1::int8").await, 1);
    let sockets = cluster.socket_folder().to_owned();
    cluster.close().await.unwrap();
    assert!(!sockets.exists());
}

#[tokio::test]
async fn a_pid_file_that_names_a_stranger_harms_neither() {
    let scratch = Scratch::new("stranger");
    open(&scratch.0).await.close().await.unwrap();
    let mut stranger = Command::new("sh").args(["-c", "read line"]).stdin(Stdio::piped()).spawn().unwrap();
    let data = scratch.join("data");
    let pid_file = format!("{}\n{}\n1700000000\n5432\n\n\n\nready\n", stranger.id(), data.display());
    fs::write(data.join("postmaster.pid"), pid_file).unwrap();

    let cluster = open(&scratch.0).await;
    assert_eq!(number(&cluster.connect_options(), "select 1::int8").await, 1);
    cluster.close().await.unwrap();
    assert!(stranger.try_wait().unwrap().is_none(), "the stranger was stopped");
    stranger.kill().unwrap();
    stranger.wait().unwrap();
}

#[test]
fn a_folder_with_other_content_is_refused_and_left_alone() {
    let scratch = Scratch::new("other-content");
    fs::create_dir(scratch.join("data")).unwrap();
    fs::write(scratch.join("data/letter.txt"), "dear squad").unwrap();
    assert!(matches!(refusal(&scratch.0), ClusterError::NotACluster(_)));
    assert_eq!(fs::read_to_string(scratch.join("data/letter.txt")).unwrap(), "dear squad");
}

#[tokio::test]
async fn a_folder_of_a_version_that_is_not_installed_is_refused_naming_both() {
    let scratch = Scratch::new("version");
    open(&scratch.0).await.close().await.unwrap();
    let version = scratch.join("data/PG_VERSION");
    let installed = fs::read_to_string(&version).unwrap();
    fs::write(&version, "9\n").unwrap();
    let error = refusal(&scratch.0);
    assert!(matches!(error, ClusterError::OtherVersion { .. }), "{error}");
    let line = error.to_string();
    assert!(line.contains("PostgreSQL 9 ") && line.contains(installed.trim()), "{line}");
}

#[test]
fn root_is_told_which_folder_the_server_account_cannot_enter() {
    let scratch = Scratch::new("closed");
    let closed = scratch.join("closed");
    DirBuilder::new().mode(0o700).create(&closed).unwrap();
    let started = Cluster::start(&Options::throw_away(closed.join("state")));
    if fs::metadata(&closed).unwrap().uid() == 0 {
        let error = started.unwrap_err();
        assert!(matches!(&error, ClusterError::CannotEnter { folder, .. } if *folder == closed), "{error}");
    } else {
        // An ordinary user runs the server as oneself and may enter.
        started.unwrap().stop().unwrap();
    }
}

#[test]
fn the_command_finds_the_server_in_its_environment_and_no_setting_of_another_one() {
    let scratch = Scratch::new("environment");
    let script = "test -n \"$DATABASE_URL\" && test -S \"$PGHOST/.s.PGSQL.$PGPORT\" && test -z \"$PGSSLMODE\"";
    let output = program(&scratch, &["sh", "-c", script]).env("PGSSLMODE", "require").output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
}

/// Hundreds of requests load the invented clubs; what a newcomer reads next must not scroll away above them.
#[test]
fn loading_the_demo_says_one_line_an_event_in_the_form_that_was_asked_for() {
    let scratch = Scratch::new("console");
    for (form, starts) in [("json", '{'), ("text", '2')] {
        let seed = [env!("CARGO_BIN_EXE_lanewright"), "seed"];
        let output = program(&scratch, &seed).env("LANEWRIGHT_LOG_FORMAT", form).output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr);
        assert!(output.status.success(), "{said}");
        let ours: Vec<&str> = said.lines().filter(|line| line.contains("the invented clubs are loaded")).collect();
        assert!(ours.len() == 1 && ours[0].starts_with(starts), "{said}");
        assert!(said.lines().count() < 20, "{said}");
    }
    let mut wrong = program(&scratch, &[env!("CARGO_BIN_EXE_lanewright"), "seed"]);
    let output = wrong.env("LANEWRIGHT_LOG_FORMAT", "colour").output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success() && said.contains("LANEWRIGHT_LOG_FORMAT is \"colour\""), "{said}");
}

/// What loading takes is not kept by the service; what there is to try names the address that it got.
#[test]
fn the_demo_is_loaded_beside_the_service_which_says_what_to_try() {
    let scratch = Scratch::new("demo");
    let script = r#""$0" serve --demo >"$TMPDIR/said" & service=$!
        until grep -q 'Or with the clubs that are here' "$TMPDIR/said"; do kill -0 $service || exit 1; sleep 0.1; done
        if [ -r /proc/$service/environ ]; then tr '\0' '\n' </proc/$service/environ >"$TMPDIR/settings"; fi
        kill $service; wait $service"#;
    let mut program = program(&scratch, &["sh", "-c", script, env!("CARGO_BIN_EXE_lanewright")]);
    let output =
        program.env("LANEWRIGHT_LISTEN", "127.0.0.1:0").env("LANEWRIGHT_DATA_DIR", scratch.join("data")).output();
    let output = output.unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    let said = fs::read_to_string(scratch.join("said")).unwrap();
    let address = said.split("serves on ").nth(1).and_then(|rest| rest.split(' ').next()).unwrap();
    assert!(!address.ends_with(":0") && said.contains(&format!("curl -s {address}/v1/auth/sign-in")), "{said}");
    // Nor is what it frees: the allocator is told so when the program begins.
    if cfg!(all(target_os = "linux", target_env = "gnu")) {
        assert!(fs::read_to_string(scratch.join("settings")).unwrap().contains("MALLOC_MMAP_THRESHOLD_=1048576"));
    }
    let seed = [env!("CARGO_BIN_EXE_lanewright"), "seed", "--serves-on", "192.0.2.7:81"];
    let output = self::program(&scratch, &seed).output().unwrap();
    assert!(String::from_utf8_lossy(&output.stdout).contains("curl -s http://192.0.2.7:81/v1/auth/sign-in"));
}

#[test]
fn the_exit_code_of_the_command_is_passed_on_and_nothing_stays_behind() {
    let scratch = Scratch::new("exit-code");
    let code = |script: &str| {
        let output: Output = program(&scratch, &["sh", "-c", script]).output().unwrap();
        output.status.code()
    };
    assert_eq!(code("exit 0"), Some(0));
    assert_eq!(code("exit 7"), Some(7));
    assert_eq!(code("kill -KILL $$"), Some(128 + 9));
    assert_eq!(entries(&scratch.0), [""; 0]);
}

#[test]
fn a_request_to_end_ends_the_command_and_the_server() {
    for signal in ["TERM", "INT", "HUP"] {
        let scratch = Scratch::new(signal);
        let (mut owner, folder) = running(&scratch, "echo ready; exec cat");
        // Waiting would close it, and the command would end by itself in the time it has after an interrupt.
        let stdin = owner.stdin.take();
        let server = server_pid(&folder);
        send(signal, owner.id());
        assert_eq!(owner.wait().unwrap().code(), Some(128 + 15), "after {signal}");
        drop(stdin);
        assert!(!is_alive(server), "after {signal}");
        assert_eq!(entries(&scratch.0), [""; 0], "after {signal}");
    }
}

#[test]
fn a_command_whose_server_dies_is_ended_with_a_word() {
    let scratch = Scratch::new("dead-server");
    let script = "kill -KILL $(head -n 1 \"$PGHOST/../data/postmaster.pid\"); read line";
    let mut child = program(&scratch, &["sh", "-c", script]).spawn().unwrap();
    // Held open until the end, so that only the program can end the script.
    let stdin = child.stdin.take();
    let output = child.wait_with_output().unwrap();
    drop(stdin);
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(4), "{said}");
    assert!(said.contains("stopped by itself"), "{said}");
    assert_eq!(entries(&scratch.0), [""; 0]);
}

#[test]
fn a_wrong_pg_bindir_is_named_in_one_line() {
    let scratch = Scratch::new("no-programs");
    let output = program(&scratch, &["true"]).env("PG_BINDIR", &scratch.0).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(!output.status.success() && said.contains("PG_BINDIR"), "{said}");
    assert_eq!(said.lines().count(), 1, "{said}");
}

#[tokio::test]
async fn folders_that_others_could_read_or_write_are_closed_or_refused_with_the_remedy() {
    let mode = |path: &Path| fs::metadata(path).unwrap().mode() & 0o7777;
    let set = |path: &Path, mode: u32| fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    let scratch = Scratch::new("modes");
    let state = scratch.join("state");
    open(&state).await.close().await.unwrap();
    for (of_state, of_data) in [(0o711, 0o755), (0o775, 0o777), (0o777, 0o700)] {
        set(&state, of_state);
        set(&state.join("data"), of_data);
        let cluster = open(&state).await;
        assert_eq!(number(&cluster.connect_options(), "select 1::int8").await, 1);
        assert_eq!((mode(&state) & 0o022, mode(&state.join("data"))), (0, 0o700), "{of_state:o} {of_data:o}");
        cluster.close().await.unwrap();
    }
    // A folder that is shared on purpose is not ours to close.
    set(&state, 0o1777);
    let error = refusal(&state);
    assert!(matches!(error, ClusterError::OpenToOthers(_)), "{error}");
    assert!(error.to_string().contains("chmod go-w"), "{error}");
}
