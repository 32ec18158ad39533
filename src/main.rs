//! Commands.

use std::ffi::OsString;
use std::process::ExitCode;

use clap::{Parser, Subcommand};
use lanewright::platform::cluster;

#[derive(Parser)]
struct Arguments {
    #[command(subcommand)]
    command: Commands,
}

#[derive(Subcommand)]
enum Commands {
    /// Runs a command beside a throw-away database.
    Cluster {
        /// The command and its arguments, after `--`.
        #[arg(last = true, required = true)]
        command: Vec<OsString>,
    },
}

#[tokio::main]
async fn main() -> ExitCode {
    let Commands::Cluster { command } = Arguments::parse().command;
    cluster::run_with_ephemeral_cluster(command)
        .await
        .unwrap_or_else(|error| {
            eprintln!("lanewright: {error}");
            ExitCode::from(error.exit_code())
        })
}
