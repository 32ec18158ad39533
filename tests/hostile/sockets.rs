//! What no client library sends: odd paths and methods, bodies that are packed, cut off, miscounted or slow.

use std::io::Write;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpSocket, TcpStream};
use tokio::task::JoinSet;
use tokio::time::timeout;

use crate::full;
use crate::report::{Flaw, Report};
use crate::send::{Ask, all, judge};
use crate::world::World;

/// How long a socket may be silent before the service must have ended it.
const PATIENCE: Duration = Duration::from_secs(90);
/// What the service may use more after bombs, MiB.
const SPARE_MIB: u64 = 256;
/// Hostile sockets come from an address of their own, so that what they use up is theirs.
const HOSTILE_ADDRESS: &str = "127.0.0.9:0";

async fn connect(world: &World) -> std::io::Result<TcpStream> {
    let socket = TcpSocket::new_v4()?;
    // Where loopback has one address only, there is no other to come from.
    let _ = socket.bind(HOSTILE_ADDRESS.parse::<SocketAddr>().unwrap());
    socket.connect(world.service.address.parse::<SocketAddr>().unwrap()).await
}

/// Sends bytes and reads until the service closes; nothing when it does not.
async fn raw(world: &World, bytes: &[u8]) -> Option<Vec<u8>> {
    let mut socket = connect(world).await.ok()?;
    // The service may refuse before it has read everything.
    let _ = socket.write_all(bytes).await;
    let _ = socket.shutdown().await;
    let mut answer = Vec::new();
    match timeout(PATIENCE, socket.read_to_end(&mut answer)).await {
        Ok(_) => Some(answer),
        Err(_) => None,
    }
}

fn status_of(answer: &[u8]) -> u16 {
    let line = String::from_utf8_lossy(answer.split(|byte| *byte == b'\r').next().unwrap_or_default()).into_owned();
    line.split(' ').nth(1).and_then(|word| word.parse().ok()).unwrap_or_default()
}

/// Paths that nobody has, in the club at hand.
const ODD_PATHS: &[&str] = &[
    "/",
    "//",
    "/v1",
    "/v1/",
    "/v1//clubs",
    "/v1/clubs/%00",
    "/v1/clubs/%2f",
    "/v1/clubs/%2e%2e/%2e%2e/etc/passwd",
    "/v1/clubs/../../healthz",
    "/v1/clubs/./",
    "/v1/clubs/{club}/athletes/%00",
    "/v1/clubs/{club}/athletes/%2f",
    "/v1/clubs/{club}%2fathletes",
    "/v1/clubs/{club}/athletes/..%5c..",
    "/v1/clubs/{club}/athletes/%ff%fe",
    "/v1/clubs/{club}/athletes/%",
    "/v1/clubs/{club}/athletes/%zz",
    "/v1/clubs/{club}/athletes;x=1",
    "/v1/clubs/{club}/athletes/",
    "/V1/CLUBS/{club}",
    "/docs/%2e%2e/%2e%2e/etc/passwd",
    "/docs/../openapi.json",
    "/v1/clubs/{club}/athletes?q=%00",
    "/v1/clubs/{club}/athletes?%",
    "/v1/clubs/{club}/athletes??limit=1",
    "/v1/clubs/{club}#a",
    "*",
];

/// Well-formed requests for paths and with methods that nobody has.
pub async fn odd_paths(world: &Arc<World>, report: &Arc<Report>) {
    let club = world.place("own").id("club_id");
    let token = &world.person("admin").token;
    let paths: Vec<Vec<u8>> = ODD_PATHS
        .iter()
        .map(|path| path.replace("{club}", club).into_bytes())
        .chain([
            b"/v1/clubs/\xc3\x28".to_vec(),
            b"/v1/clubs/\xff".to_vec(),
            [b"/v1/".as_slice(), &vec![b'a'; 20_000]].concat(),
        ])
        .collect();
    let mut requests = Vec::new();
    for path in &paths {
        for method in if full() { ["GET", "DELETE", "POST"].as_slice() } else { ["GET"].as_slice() } {
            requests.push((*method, path.clone()));
        }
    }
    for method in ["TRACE", "CONNECT", "HEAD", "OPTIONS", "PATCH", "PUT", "FOO", "get", "LINK"] {
        for path in
            ["/healthz", "/v1/clubs", &format!("/v1/clubs/{club}"), &format!("/v1/clubs/{club}/athletes"), "/nowhere"]
        {
            requests.push((method, path.as_bytes().to_vec()));
        }
    }
    let count = requests.len();
    for (method, path) in requests {
        report.asked();
        let mut bytes = format!("{method} ").into_bytes();
        bytes.extend(&path);
        bytes.extend(
            format!(" HTTP/1.1\r\nhost: a\r\nauthorization: Bearer {token}\r\nconnection: close\r\n\r\n").as_bytes(),
        );
        let answer = raw(world, &bytes).await.unwrap_or_default();
        let (status, text) = (status_of(&answer), String::from_utf8_lossy(&answer).to_lowercase());
        let what = format!("{method} {}", crate::text::short(&String::from_utf8_lossy(&path), 60));
        if status >= 500 {
            report.found(Flaw::Broken, format!("{what}: {status}"));
        }
        // What is no HTTP at all is refused before anybody can say why.
        let readable = path.iter().all(u8::is_ascii_graphic)
            && path.len() < 8_000
            && path.starts_with(b"/")
            && method != "CONNECT";
        if readable && status >= 400 && method != "HEAD" && !text.contains("application/problem+json") {
            report.found(Flaw::Shape, format!("{what}: {status} is no problem document"));
        }
        if readable && status == 0 {
            report.found(Flaw::Broken, format!("{what}: no answer"));
        }
    }
    report.figure("odd paths and methods", count);
}

fn zeros(write: impl FnOnce(&mut dyn FnMut(&mut dyn Write)), mib: usize) {
    let block = vec![b' '; 1 << 20];
    write(&mut |out| (0..mib).for_each(|_| out.write_all(&block).unwrap()));
}

/// Small bodies that unpack to very much, by coding.
pub fn bombs(mib: usize) -> Vec<(&'static str, Vec<u8>)> {
    let mut gzip = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
    zeros(|fill| fill(&mut gzip), mib);
    let mut zstd = zstd::Encoder::new(Vec::new(), 3).unwrap();
    zeros(|fill| fill(&mut zstd), mib);
    let mut brotli = brotli::CompressorWriter::new(Vec::new(), 1 << 16, 5, 22);
    zeros(|fill| fill(&mut brotli), mib);
    let mut deflate = flate2::write::ZlibEncoder::new(Vec::new(), flate2::Compression::best());
    zeros(|fill| fill(&mut deflate), mib);
    vec![
        ("gzip", gzip.finish().unwrap()),
        ("zstd", zstd.finish().unwrap()),
        ("br", brotli.into_inner()),
        ("deflate", deflate.finish().unwrap()),
    ]
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_packed_body_costs_more_than_its_limit() {
    let (world, report) = (Arc::new(World::simple().await), Arc::new(Report::new("packed bodies")));
    let mib = if full() { 512 } else { 32 };
    let (place, admin) = (world.place("own"), world.person("admin"));
    let mut asks = Vec::new();
    for (coding, body) in bombs(mib) {
        for operation in world.service.document.operations.iter().filter(|one| one.body.is_some()) {
            let (media, _) = operation.body.as_ref().unwrap();
            let ask =
                world.ask(operation, place, admin).header("content-type", media).header("content-encoding", coding);
            asks.push(ask.bytes(body.clone()).noted(coding));
        }
        let cut = body[..body.len() / 2].to_vec();
        let ask = Ask::new("POST", "/v1/rhythm/analysis").header("content-type", "application/json");
        asks.push(ask.clone().header("content-encoding", coding).bytes(cut).noted(&format!("{coding} cut off")));
        asks.push(ask.header("content-encoding", coding).bytes(vec![0xff; 4_096]).noted(&format!("{coding} of noise")));
    }
    report.figure("bombs", asks.len());
    let before = world.service.memory_mib();
    for (ask, answer) in all(&world, &report, asks).await {
        if answer.good() {
            report.found(Flaw::WrongAllow, format!("{}: {}", ask.name, answer.text()));
        }
    }
    if let (Some(before), Some(after)) = (before, world.service.memory_mib()) {
        report.figure("MiB before", before);
        report.figure("MiB after", after);
        if after > before + SPARE_MIB {
            report.found(Flaw::Broken, format!("{after} MiB in use after bombs, {before} before"));
        }
    }
    Arc::into_inner(report).unwrap().close();
}

/// Requests whose length is not what they say.
fn miscounted(token: &str) -> Vec<(&'static str, String)> {
    let head = format!(
        "POST /v1/rhythm/analysis HTTP/1.1\r\nhost: a\r\nauthorization: Bearer {token}\r\ncontent-type: application/json\r\n"
    );
    let with = |rest: &str| format!("{head}{rest}");
    vec![
        ("cut off", with("content-length: 1000\r\n\r\n{\"a\"")),
        ("negative", with("content-length: -1\r\n\r\n{}")),
        ("not a number", with("content-length: many\r\n\r\n{}")),
        ("huge", with("content-length: 99999999999999999999\r\n\r\n{}")),
        ("larger than allowed", with("content-length: 9999999999\r\n\r\n{}")),
        ("two lengths", with("content-length: 2\r\ncontent-length: 3\r\n\r\n{}x")),
        (
            "length and chunks",
            with(
                "content-length: 2\r\ntransfer-encoding: chunked\r\n\r\n0\r\n\r\nGET /healthz HTTP/1.1\r\nhost: a\r\n\r\n",
            ),
        ),
        ("bad chunk", with("transfer-encoding: chunked\r\n\r\nzz\r\n{}\r\n0\r\n\r\n")),
        ("huge chunk", with("transfer-encoding: chunked\r\n\r\nffffffffffffffff\r\n{}")),
        ("chunk cut off", with("transfer-encoding: chunked\r\n\r\n10\r\n{}")),
        ("odd coding", with("transfer-encoding: chunked, gzip\r\n\r\n0\r\n\r\n")),
        ("space before colon", with("content-length : 2\r\n\r\n{}")),
        ("line folding", with("x-a: b\r\n c\r\ncontent-length: 2\r\n\r\n{}")),
        ("no host", "GET /healthz HTTP/1.1\r\n\r\n".to_owned()),
        ("http 0.9", "GET /healthz\r\n\r\n".to_owned()),
        ("http 3.7", "GET /healthz HTTP/3.7\r\n\r\n".to_owned()),
        ("zero in a header", with("x-a: a\0b\r\n\r\n")),
        ("large header", with(&format!("x-a: {}\r\n\r\n", "a".repeat(200_000)))),
        ("many headers", with(&format!("{}\r\n", "x-a: b\r\n".repeat(5_000)))),
        ("noise", "\u{0}\u{1}\u{2}\u{3}\u{16}\u{3}\u{1}".repeat(50)),
        ("nothing", String::new()),
    ]
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_socket_stops_the_service() {
    let (world, report) = (Arc::new(World::simple().await), Arc::new(Report::new("sockets")));
    let token = world.person("admin").token.clone();
    for (what, request) in miscounted(&token) {
        report.asked();
        match raw(&world, request.as_bytes()).await {
            None => report.found(Flaw::Broken, format!("{what}: the service holds the connection")),
            Some(answer) if status_of(&answer) >= 500 => {
                report.found(
                    Flaw::Broken,
                    format!("{what}: {}", crate::text::short(&String::from_utf8_lossy(&answer), 200)),
                );
            }
            Some(_) => {}
        }
    }
    slow(&world, &report, &token).await;
    Arc::into_inner(report).unwrap().close();
}

/// Heads and bodies that never come to an end: others are served meanwhile, and the service ends them by itself.
async fn slow(world: &Arc<World>, report: &Arc<Report>, token: &str) {
    let each = if full() { 1_500 } else { 40 };
    let starts = [
        "POST /v1/auth/sign-in HTTP/1.1\r\nhost: a\r\ncontent-type: application/json\r\ncontent-length: 500\r\n\r\n{"
            .to_owned(),
        format!(
            "POST /v1/rhythm/analysis HTTP/1.1\r\nhost: a\r\nauthorization: Bearer {token}\r\ncontent-type: application/json\r\ntransfer-encoding: chunked\r\n\r\n1\r\n{{\r\n"
        ),
        "GET /healthz HTTP/1.1\r\nhost: a\r\nx-a: ".to_owned(),
        String::new(),
    ];
    let mut open = JoinSet::new();
    for start in starts {
        for _ in 0..each {
            report.asked();
            // Refused at the door is as good as ended.
            let Ok(Ok(mut socket)) = timeout(Duration::from_secs(5), connect(world)).await else { continue };
            let start = start.clone();
            open.spawn(async move {
                if socket.write_all(start.as_bytes()).await.is_err() {
                    return true;
                }
                // One byte from time to time, so that the connection is never idle.
                let ended = async {
                    let mut buffer = [0; 512];
                    loop {
                        match timeout(Duration::from_secs(2), socket.read(&mut buffer)).await {
                            Ok(Ok(0) | Err(_)) => return,
                            Ok(Ok(_)) => {}
                            Err(_) if start.is_empty() => {}
                            Err(_) => {
                                if socket
                                    .write_all(if start.contains("chunked") { b"1\r\na\r\n" } else { b"a" })
                                    .await
                                    .is_err()
                                {
                                    return;
                                }
                            }
                        }
                    }
                };
                timeout(PATIENCE, ended).await.is_ok()
            });
        }
    }
    report.figure("slow sockets", open.len());
    for _ in 0..20 {
        for path in ["/healthz", "/readyz", "/v1/rulesets"] {
            let ask = Ask::new("GET", path).noted("beside slow sockets");
            let answer = ask.once(world).await;
            judge(world, report, &ask, &answer);
            if answer.status != 200 {
                report.found(Flaw::Broken, format!("{}: {}", ask.name, answer.text()));
            }
        }
    }
    let held = open.join_all().await.into_iter().filter(|ended| !ended).count();
    if held > 0 {
        report.found(Flaw::Broken, format!("{held} slow sockets were still open after {} s", PATIENCE.as_secs()));
    }
}
