//! Commands: serve, migrate, seed, openapi, rotate-keys, dead-letters, remove-second-factor, end-sign-ins, verify-audit, rehearsal, cluster.

use std::ffi::OsString;
use std::io::Write;
use std::net::SocketAddr;
use std::os::unix::process::CommandExt;
use std::process::{self, ExitCode};

use clap::{Parser, Subcommand};
use lanewright::platform::cluster;
use lanewright::{app, serve};
use uuid::Uuid;

/// Backend for sprint-hurdle squads.
#[derive(Parser)]
#[command(version)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Serves the API; without DATABASE_URL on a private database.
    Serve {
        /// Load the invented clubs when the database is empty, and print what to try.
        #[arg(long)]
        demo: bool,
    },
    /// Brings the database to the schema of this version.
    Migrate,
    /// Loads the invented clubs of the demo.
    Seed {
        /// Says what to try of them, with the service at this address.
        #[arg(long, value_name = "ADDRESS:PORT")]
        serves_on: Option<SocketAddr>,
    },
    /// Prints the OpenAPI document.
    Openapi,
    /// Makes a new key for signing access tokens: published at once, signing in ten minutes; the old one verifies until its
    /// last token has expired. Nothing is restarted.
    RotateKeys {
        /// The keys may be known to others: believe nothing any more that they signed.
        #[arg(long)]
        now: bool,
    },
    /// Must follow a restore from a copy: no change number is given twice, and phones hand in what was lost.
    AfterRestore,
    /// Drops what is kept long enough: records that clubs keep no longer, clubs whose last day has come, names of members who left,
    /// old rows of the change log, receipts, decided facts, ended sign-ins, old
    /// invitations, counters of limits and rows of the audit. The service does it by itself every six hours.
    Compact,
    /// Lists the mail that could not be sent, with the reasons; they are kept for 30 days.
    DeadLetters {
        /// Try all of it again from the start.
        #[arg(long)]
        send_again: bool,
    },
    /// Takes the second factor from an account and signs it out everywhere, for somebody who lost the authenticator and every
    /// recovery code. Make sure first whose account it is, not by mail alone: whoever reads its mail may be who stole it.
    RemoveSecondFactor {
        /// The e-mail address of the account.
        email: String,
    },
    /// Signs somebody out everywhere, also their apps, or everybody: at the next request, on every instance.
    #[command(group(clap::ArgGroup::new("whose").required(true).args(["email", "all"])))]
    EndSignIns {
        /// The e-mail address of the account.
        email: Option<String>,
        /// Of every account.
        #[arg(long)]
        all: bool,
    },
    /// Checks that no row of the audit is missing or changed, and prints the last row and its hash of each club: note them
    /// elsewhere. Ends with 1 when something is wrong.
    VerifyAudit {
        /// Only of this club.
        #[arg(long)]
        club: Option<Uuid>,
    },
    /// Plays the service for somebody else's phone, scene by scene, and says what the phone did wrong. The phone's test driver
    /// asks `POST /rehearsal/next` for what the person does next; see "Rehearse with the service's side" in
    /// `api-spec/sync-guide.md`. Ends with 1 when a scene failed.
    RehearsePhone {
        /// Where to listen: the loopback only.
        #[arg(long, default_value_t = 7_480)]
        port: u16,
        /// Plays these scenes alone; may be given several times.
        #[arg(long)]
        scene: Vec<String>,
        /// Lists the scenes.
        #[arg(long)]
        list: bool,
        /// Gives up when the driver asks nothing for so long, seconds.
        #[arg(long, default_value_t = 120)]
        patience: u64,
    },
    /// Runs a command beside a throw-away database.
    Cluster {
        /// The command and its arguments, after `--`.
        #[arg(last = true, required = true)]
        command: Vec<OsString>,
    },
}

/// Begins again, as the same process, with an allocator that gives large pieces back to the system at once. Else it keeps, for each
/// of its arenas, what hashing a password takes (19 MB); and it reads its settings when a program begins.
fn return_memory() {
    const SETTING: &str = "MALLOC_MMAP_THRESHOLD_";
    let glibc = cfg!(all(target_os = "linux", target_env = "gnu"));
    if let (true, None, Ok(own)) = (glibc, std::env::var_os(SETTING), std::env::current_exe()) {
        // Where that cannot be, nothing but memory is lost.
        let _ = process::Command::new(own).args(std::env::args_os().skip(1)).env(SETTING, "1048576").exec();
    }
}

fn main() -> ExitCode {
    let Arguments { command } = Arguments::parse();
    if matches!(command, Command::Serve { .. }) {
        return_memory();
    }
    carry_out(command)
}

#[tokio::main]
async fn carry_out(command: Command) -> ExitCode {
    let done = match command {
        Command::Serve { demo } => serve::serve(demo).await,
        Command::Migrate => serve::migrate().await,
        Command::Seed { serves_on } => serve::load_seed(serves_on).await,
        Command::RotateKeys { now } => serve::rotate_keys(now).await,
        Command::AfterRestore => serve::after_restore().await,
        Command::Compact => serve::compact().await,
        Command::DeadLetters { send_again } => serve::dead_letters(send_again).await,
        Command::RemoveSecondFactor { email } => serve::remove_second_factor(&email).await,
        Command::EndSignIns { email, all: _ } => serve::end_sign_ins(email.as_deref()).await,
        Command::VerifyAudit { club } => match serve::verify_audit(club).await {
            Ok(sound) => return if sound { ExitCode::SUCCESS } else { ExitCode::FAILURE },
            Err(error) => Err(error),
        },
        Command::Openapi => serve::print(&app::document_text()),
        Command::RehearsePhone { port, scene, list, patience } => {
            match serve::rehearse(port, &scene, list, patience).await {
                Ok(passed) => return if passed { ExitCode::SUCCESS } else { ExitCode::FAILURE },
                Err(error) => Err(error),
            }
        }
        Command::Cluster { command } => {
            return cluster::run_with_ephemeral_cluster(command).await.unwrap_or_else(|error| {
                report(&error);
                ExitCode::from(error.exit_code())
            });
        }
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            report(&error);
            ExitCode::from(error.exit_code())
        }
    }
}

fn report(error: &dyn std::fmt::Display) {
    // A closed standard error is no reason to panic.
    let _ = writeln!(std::io::stderr(), "lanewright: {error}");
}
