//! A private database server of a test, with processes that can be killed and data that can be copied.

use std::fs::{self, DirBuilder};
use std::os::unix::fs::DirBuilderExt;
use std::path::PathBuf;
use std::process::Command;
use std::time::Duration;

use lanewright::platform::cluster::{Cluster, Durability, Options};
use lanewright::platform::db::MIGRATOR;
use sqlx::postgres::PgConnectOptions;
use sqlx::{ConnectOptions, PgConnection, PgPool};
use uuid::Uuid;

use crate::support::eventually;

/// The server. Its folder goes when the test ends, however it ends.
pub struct Ground {
    cluster: Option<Cluster>,
    folder: PathBuf,
    durability: Durability,
}

impl Drop for Ground {
    fn drop(&mut self) {
        drop(self.cluster.take());
        drop(fs::remove_dir_all(&self.folder));
    }
}

fn shell(script: &str, words: &[&str]) {
    let done = Command::new("sh").args(["-c", script, "sh"]).args(words).status().unwrap();
    assert!(done.success(), "{script} {words:?}");
}

/// Ends a process at once; one that has ended already is as good.
pub fn kill(pid: u32) {
    let killed = Command::new("sh").args(["-c", "kill -KILL \"$0\" 2>/dev/null || true", &pid.to_string()]).status();
    assert!(killed.unwrap().success());
}

/// The processes that a process has started, where the system tells.
fn children(parent: u32) -> Vec<u32> {
    let all = fs::read_dir("/proc").into_iter().flatten().flatten();
    let pids = all.filter_map(|entry| entry.file_name().to_str()?.parse::<u32>().ok());
    let of = |pid: &u32| {
        let stat = fs::read_to_string(format!("/proc/{pid}/stat")).unwrap_or_default();
        // The name of the program stands in brackets and may hold anything; state and parent follow.
        let parent_of = stat.rsplit(')').next().and_then(|rest| rest.split_whitespace().nth(1)?.parse::<u32>().ok());
        parent_of == Some(parent)
    };
    pids.filter(of).collect()
}

impl Ground {
    /// A new server with the schema of the service.
    pub async fn new(durability: Durability) -> Self {
        let folder = std::env::temp_dir().join(format!("lanewright-faults-{}", Uuid::new_v4().simple()));
        DirBuilder::new().mode(0o711).create(&folder).unwrap();
        let mut ground = Self { cluster: None, folder, durability };
        ground.start().await;
        let mut connection: PgConnection = ground.options().connect().await.unwrap();
        MIGRATOR.run(&mut connection).await.unwrap();
        ground
    }

    fn cluster(&mut self) -> &mut Cluster {
        self.cluster.as_mut().unwrap()
    }

    pub fn options(&self) -> PgConnectOptions {
        self.cluster.as_ref().unwrap().connect_options()
    }

    /// Connections of the test itself.
    pub fn pool(&self) -> PgPool {
        sqlx::postgres::PgPoolOptions::new().max_connections(2).connect_lazy_with(self.options())
    }

    pub async fn start(&mut self) {
        let options = Options { folder: self.folder.clone(), durability: self.durability };
        self.cluster = Some(Cluster::open(options).await.unwrap_or_else(|error| panic!("{error}")));
    }

    pub async fn stop(&mut self) {
        self.cluster.take().unwrap().close().await.unwrap();
    }

    /// Kills the server with all its processes; it is gone afterwards.
    pub async fn kill_server(&mut self) {
        let server = self.cluster().server_pid();
        let all = children(server);
        kill(server);
        all.into_iter().for_each(kill);
        eventually("the killed server is gone", async || self.cluster().check().is_err()).await;
        let cluster = self.cluster.take();
        tokio::task::spawn_blocking(move || drop(cluster)).await.unwrap();
    }

    /// Copies the data of the stopped server.
    pub fn copy(&self) {
        shell("cp -a \"$1/data\" \"$1/copy\"", &[&self.folder.display().to_string()]);
    }

    /// Puts the copy in the place of the data of the stopped server.
    pub fn restore(&self) {
        shell("rm -rf \"$1/data\" && mv \"$1/copy\" \"$1/data\"", &[&self.folder.display().to_string()]);
    }

    /// Starts the restored copy as a standby and promotes it, as a fail-over does.
    pub async fn promote(&mut self) {
        let data = self.folder.join("data").display().to_string();
        shell("cp -a \"$1/PG_VERSION\" \"$1/standby.signal\"", &[&data]);
        let sockets = self.folder.join("run");
        let promoting = tokio::spawn(async move {
            let options = PgConnectOptions::new_without_pgpass().socket(sockets).port(5432).username("postgres");
            loop {
                tokio::time::sleep(Duration::from_millis(20)).await;
                let Ok(mut standby) = options.clone().database("postgres").connect().await else { continue };
                if sqlx::query("select pg_promote(false)").execute(&mut standby).await.is_ok() {
                    return;
                }
            }
        });
        // A standby cannot be prepared: it is started again until it is none.
        eventually("the promoted server starts", async || {
            let options = Options { folder: self.folder.clone(), durability: self.durability };
            self.cluster = Cluster::open(options).await.ok();
            self.cluster.is_some()
        })
        .await;
        promoting.await.unwrap();
    }
}
