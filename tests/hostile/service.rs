//! The built program on a database of its own, reached over sockets like by anybody else.

use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::str::FromStr;

use jsonwebtoken::{Algorithm, EncodingKey, Header};
use serde_json::{Value, json};
use sqlx::postgres::{PgConnectOptions, PgConnection};
use sqlx::{Connection, Row};
use tokio::sync::OnceCell;
use uuid::Uuid;

use crate::document::Document;

/// Starts the program, tells its number, and stops it when our end of the pipe closes, however this process ends.
const KEEPER: &str = r#""$0" serve & child=$!; echo "pid $child"; read -r _; kill "$child"; wait "$child"; rm -rf "$LANEWRIGHT_DATA_DIR""#;

/// The running program, one for all tests.
pub struct Service {
    pub base: String,
    /// Address and port.
    pub address: String,
    pub pid: u32,
    pub document: Document,
    /// Where the service leaves its mail.
    mail: PathBuf,
    kid: String,
    signing: Vec<u8>,
    _keeper: Child,
}

static SERVICE: OnceCell<Service> = OnceCell::const_new();

impl Service {
    /// The program that all tests of this process share.
    pub async fn shared() -> &'static Self {
        SERVICE.get_or_init(Self::start).await
    }

    async fn start() -> Self {
        let url = std::env::var("DATABASE_URL").expect("DATABASE_URL: run `./dev hostile`, which starts a server");
        let server = PgConnectOptions::from_str(&url).unwrap();
        let name = format!("hostile_{}", std::process::id());
        let mut connection = PgConnection::connect_with(&server).await.unwrap();
        remove_leftovers(&mut connection).await;
        sqlx::raw_sql(sqlx::AssertSqlSafe(format!("create database {name}"))).execute(&mut connection).await.unwrap();
        let url = with_database(&url, &name);
        let folder = std::env::temp_dir().join(&name);
        let mut keeper = Command::new("sh")
            .args(["-c", KEEPER, env!("CARGO_BIN_EXE_lanewright")])
            .env("DATABASE_URL", &url)
            .env("LANEWRIGHT_LISTEN", "127.0.0.1:0")
            .env("LANEWRIGHT_BEHIND_PROXY", "true")
            .env("LANEWRIGHT_WORKERS", "2")
            // A slow machine is no flood.
            .env("LANEWRIGHT_WAIT_MS", "20000")
            .env("LANEWRIGHT_DATA_DIR", &folder)
            .env("LANEWRIGHT_LOG", std::env::var("LANEWRIGHT_LOG").unwrap_or_else(|_| "error".to_owned()))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let (mut pid, mut base) = (0, String::new());
        let mut lines = BufReader::new(keeper.stdout.take().unwrap()).lines();
        while base.is_empty() {
            let line = lines.next().expect("the service stopped before it served").unwrap();
            if let Some(number) = line.strip_prefix("pid ") {
                pid = number.parse().unwrap();
            }
            if let Some(at) = line.find("http://") {
                line[at..].split_whitespace().next().unwrap().clone_into(&mut base);
            }
        }
        let mut own = PgConnection::connect(&url).await.unwrap();
        let key = "select kid, private_pkcs8 from signing_keys where retired_at is null";
        let key = sqlx::query(key).fetch_one(&mut own).await.unwrap();
        let document = reqwest::get(format!("{base}/openapi.json")).await.unwrap().json::<Value>().await.unwrap();
        Self {
            address: base.trim_start_matches("http://").to_owned(),
            base,
            pid,
            document: Document::new(document),
            mail: folder.join("mail"),
            kid: key.get(0),
            signing: key.get(1),
            _keeper: keeper,
        }
    }

    /// The code in the mail that comes to an address.
    pub async fn mailed(&self, to: &str) -> String {
        for _ in 0..1_800 {
            for entry in std::fs::read_dir(&self.mail).into_iter().flatten().flatten() {
                let text = std::fs::read_to_string(entry.path()).unwrap_or_default().replace("=\r\n", "");
                let code =
                    text.split("/mail/").nth(1).map(|rest| rest.chars().take_while(|c| !c.is_whitespace()).collect());
                if let Some(code) = code.filter(|_| text.contains(&format!("To: {to}\r\n"))) {
                    return code;
                }
            }
            tokio::time::sleep(std::time::Duration::from_millis(100)).await;
        }
        panic!("no mail comes to {to}");
    }

    /// Throws away what came to an address.
    pub fn forget_mail(&self, to: &str) {
        for entry in std::fs::read_dir(&self.mail).into_iter().flatten().flatten() {
            let text = std::fs::read_to_string(entry.path()).unwrap_or_default();
            if text.contains(&format!("To: {to}\r\n")) {
                std::fs::remove_file(entry.path()).unwrap();
            }
        }
    }

    /// Signs these claims with the service's own key.
    pub fn sign(&self, claims: &Value) -> String {
        let mut header = Header::new(Algorithm::EdDSA);
        header.kid = Some(self.kid.clone());
        jsonwebtoken::encode(&header, claims, &EncodingKey::from_ed_der(&self.signing)).unwrap()
    }

    /// Tokens that look right and are not, by what is wrong with them.
    pub fn forged(&self, claims: &Value) -> Vec<(&'static str, String)> {
        let encode = |header: &Header, claims: &Value, key: &EncodingKey| jsonwebtoken::encode(header, claims, key);
        let with = |name: &str, value: Value| {
            let mut claims = claims.clone();
            claims[name] = value;
            self.sign(&claims)
        };
        let genuine = self.sign(claims);
        let (head, tail) = genuine.split_once('.').unwrap();
        let none = crate::text::base64url(format!(r#"{{"alg":"none","typ":"JWT","kid":"{}"}}"#, self.kid).as_bytes());
        let mut symmetric = Header::new(Algorithm::HS256);
        symmetric.kid = Some(self.kid.clone());
        let mut unknown = Header::new(Algorithm::EdDSA);
        unknown.kid = Some(Uuid::now_v7().to_string());
        let own = EncodingKey::from_ed_der(&self.signing);
        let mut stranger = Header::new(Algorithm::EdDSA);
        stranger.kid = Some(self.kid.clone());
        let foreign = EncodingKey::from_ed_der(&foreign_key());
        vec![
            ("garbage", "not.a.token".to_owned()),
            ("expired", with("exp", json!(chrono::Utc::now().timestamp() - 5))),
            ("other audience", with("aud", json!("someone-else"))),
            ("other issuer", with("iss", json!("someone-else"))),
            ("no algorithm", format!("{none}.{}.", tail.split('.').next().unwrap())),
            ("broken signature", format!("{head}.{}AAAA", &tail[..tail.len() - 4])),
            (
                "public key as secret",
                encode(&symmetric, claims, &EncodingKey::from_secret(self.kid.as_bytes())).unwrap(),
            ),
            ("unknown key", encode(&unknown, claims, &own).unwrap()),
            ("foreign key", encode(&stranger, claims, &foreign).unwrap()),
            ("unknown device", with("device", json!(Uuid::now_v7()))),
        ]
    }

    /// Memory of the program that is in use now, MiB; none where the system does not tell.
    pub fn memory_mib(&self) -> Option<u64> {
        let text = std::fs::read_to_string(format!("/proc/{}/status", self.pid)).ok()?;
        let line = text.lines().find_map(|line| line.strip_prefix("VmRSS:"))?;
        Some(line.trim().trim_end_matches(" kB").parse::<u64>().ok()? / 1024)
    }
}

/// An Ed25519 key that the service does not know.
fn foreign_key() -> Vec<u8> {
    let pair = aws_lc_rs::signature::Ed25519KeyPair::generate_pkcs8v1(&aws_lc_rs::rand::SystemRandom::new()).unwrap();
    pair.as_ref().to_vec()
}

/// Databases of runs that ended: nobody uses them.
async fn remove_leftovers(connection: &mut PgConnection) {
    let idle = "select datname from pg_database where datname ~ '^hostile_[0-9]+$' and not exists \
        (select from pg_stat_activity a where a.datname = pg_database.datname)";
    for row in sqlx::query(idle).fetch_all(&mut *connection).await.unwrap() {
        let name: String = row.get(0);
        // Another run may take it at this moment, which is as good.
        let _ = sqlx::raw_sql(sqlx::AssertSqlSafe(format!("drop database {name}"))).execute(&mut *connection).await;
    }
}

/// The same server, another database.
fn with_database(url: &str, name: &str) -> String {
    let (front, query) =
        url.split_once('?').map_or((url, String::new()), |(front, query)| (front, format!("?{query}")));
    let (scheme, rest) = front.split_once("://").unwrap();
    let authority = rest.split('/').next().unwrap();
    format!("{scheme}://{authority}/{name}{query}")
}
