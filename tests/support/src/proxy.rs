//! The fault proxy: a road between device and server that a test can really break. No flag of the browser, but connections that
//! break, a port that refuses, lines that are slow, go silent or lose what is on them, and strangers who answer.
//!
//! | fault | call |
//! | --- | --- |
//! | nobody listens, what was open breaks | [`Proxy::cut`] |
//! | a guest network answers everything: status 200, HTML | [`Proxy::portal`] |
//! | everything is answered with one status: 500, 503, 507 | [`Proxy::answer`] |
//! | a front that answers some files with a redirect to where it has put them | [`Proxy::moves`] |
//! | each piece comes later | [`Line::delay`] |
//! | so many bytes a second, for all connections together | [`Line::bytes_per_s`] |
//! | a connection breaks after so many bytes, and the last of them are lost on the way | [`Line::cut_after`], [`Line::lost_at_cut`] |
//! | half open: after so many bytes nothing passes, and nobody is told | [`Line::silent_after`] |
//! | what is asked arrives and is done, the answer never comes | [`Line::no_answers`] |
//! | as before | [`Proxy::heal`] |
//!
//! [`Proxy::sent`] and [`Proxy::came_back`] count what went over it, HTTP's own bytes included.

use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};
use std::time::Duration;

use tokio::io::{AsyncRead, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::sync::{Mutex, Notify, watch};
use tokio::task::JoinHandle;
use tokio::time::Instant;

/// What a hotel or a guest network answers to everything before somebody has agreed to its terms.
const PORTAL: &str = "<!doctype html><title>Guest network</title><h1>Welcome</h1><p>Accept the terms to go on.</p>";
/// Browsers wait between attempts; the port is back long before they try again.
const REBIND_EVERY: Duration = Duration::from_millis(50);
/// Between two looks whether what was open has broken.
const LOOK_EVERY: Duration = Duration::from_millis(1);
const QUEUE: u32 = 256;
/// Below this the moved files are found.
const MOVED: &str = "/moved";
/// A head longer than this is none.
const HEAD_MAX: usize = 64 * 1024;
/// What is carried at once: small, so that a slow line is slow all the time and a cut comes where it was ordered.
const PIECE: usize = 8 * 1024;

/// How an open road behaves. The usual one passes everything at once.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Line {
    /// Each piece waits so long, there and back.
    pub delay: Duration,
    /// So many bytes pass in a second, there and back each, over all connections together.
    pub bytes_per_s: Option<u64>,
    /// A connection breaks after so many bytes to the server.
    pub cut_after: Option<u64>,
    /// Of those the last so many went out and never arrived: what is in the air when a link drops.
    pub lost_at_cut: u64,
    /// After so many bytes to the server a connection carries nothing any more, either way, and stays open.
    pub silent_after: Option<u64>,
    /// Nothing comes back.
    pub no_answers: bool,
}

/// What becomes of a connection.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Road {
    Open(Line),
    /// Nobody listens; what was open is broken.
    Cut,
    /// Everything is answered by somebody else, with this status.
    Stranger(u16),
    /// Files with this in their path are answered with a redirect.
    Moves(&'static str),
}

/// What the connections of a proxy share.
#[derive(Debug, Default)]
struct Shared {
    taken: AtomicUsize,
    /// Connections that are carried now.
    open: AtomicUsize,
    sent: AtomicU64,
    /// Rings whenever more was sent.
    moved: Notify,
    came_back: AtomicU64,
    /// When the line is free again, there and back.
    busy: [Mutex<Option<Instant>>; 2],
}

/// The proxy; it ends when this is dropped.
#[derive(Debug)]
pub struct Proxy {
    port: u16,
    road: watch::Sender<Road>,
    shared: Arc<Shared>,
    serving: JoinHandle<()>,
}

impl Proxy {
    /// Listens on a free loopback port and leads to `server`.
    ///
    /// # Panics
    /// No port is free.
    pub async fn start(server: SocketAddr) -> Self {
        let listener = listen(0).await;
        let port = listener.local_addr().expect("a bound listener has an address").port();
        let (road, watched) = watch::channel(Road::Open(Line::default()));
        let shared = Arc::new(Shared::default());
        let serving = tokio::spawn(serve(listener, port, server, watched, Arc::clone(&shared)));
        Self { port, road, shared, serving }
    }

    /// Where browsers knock.
    pub const fn port(&self) -> u16 {
        self.port
    }

    /// Where devices without a browser knock.
    pub fn address(&self) -> String {
        format!("http://127.0.0.1:{}", self.port)
    }

    /// Breaks every connection and refuses new ones. Returns once nobody listens and nothing is open.
    pub async fn cut(&self) {
        self.road.send_replace(Road::Cut);
        self.until(false).await;
        while self.shared.open.load(Ordering::Acquire) > 0 {
            tokio::time::sleep(LOOK_EVERY).await;
        }
    }

    /// Lets everything through again.
    pub async fn heal(&self) {
        self.line(Line::default()).await;
    }

    /// Everything takes this line; what was open breaks, if it is another one than before.
    pub async fn line(&self, line: Line) {
        self.road.send_replace(Road::Open(line));
        self.until(true).await;
    }

    /// Answers everything with a page of its own.
    pub async fn portal(&self) {
        self.answer(200).await;
    }

    /// From now on files whose path contains `part` are to be had below another path of the same front only, which it redirects to.
    /// Such a front closes each connection after one answer.
    pub async fn moves(&self, part: &'static str) {
        self.road.send_replace(Road::Moves(part));
        self.until(true).await;
    }

    /// Answers everything with this status and a page of its own.
    pub async fn answer(&self, status: u16) {
        self.road.send_replace(Road::Stranger(status));
        self.until(true).await;
    }

    /// How many connections were taken so far.
    pub fn taken(&self) -> usize {
        self.shared.taken.load(Ordering::Relaxed)
    }

    /// Bytes that went out to the server so far; those that were lost on the way count.
    pub fn sent(&self) -> u64 {
        self.shared.sent.load(Ordering::Relaxed)
    }

    /// Waits until so many have gone out.
    pub async fn until_sent(&self, bytes: u64) {
        loop {
            let moved = self.shared.moved.notified();
            if self.sent() >= bytes {
                return;
            }
            moved.await;
        }
    }

    /// Bytes that the server sent so far.
    pub fn came_back(&self) -> u64 {
        self.shared.came_back.load(Ordering::Relaxed)
    }

    async fn until(&self, listens: bool) {
        while TcpStream::connect((Ipv4Addr::LOCALHOST, self.port)).await.is_ok() != listens {
            tokio::time::sleep(REBIND_EVERY).await;
        }
    }
}

impl Drop for Proxy {
    fn drop(&mut self) {
        self.serving.abort();
    }
}

/// The port may be in its last throes after a cut: asked until it is given.
async fn listen(port: u16) -> TcpListener {
    loop {
        let socket = TcpSocket::new_v4().expect("a socket");
        socket.set_reuseaddr(true).expect("an option of every socket");
        if socket.bind(SocketAddr::from((Ipv4Addr::LOCALHOST, port))).is_ok()
            && let Ok(listener) = socket.listen(QUEUE)
        {
            return listener;
        }
        tokio::time::sleep(REBIND_EVERY).await;
    }
}

async fn serve(
    first: TcpListener,
    port: u16,
    server: SocketAddr,
    mut road: watch::Receiver<Road>,
    shared: Arc<Shared>,
) {
    let mut listener = Some(first);
    loop {
        let now = *road.borrow_and_update();
        match (now, &listener) {
            (Road::Cut, _) => {
                listener = None;
                if road.changed().await.is_err() {
                    return;
                }
            }
            (Road::Open(_) | Road::Stranger(_) | Road::Moves(_), None) => listener = Some(listen(port).await),
            (Road::Open(_) | Road::Stranger(_) | Road::Moves(_), Some(open)) => tokio::select! {
                changed = road.changed() => if changed.is_err() { return },
                accepted = open.accept() => if let Ok((client, _)) = accepted {
                    shared.taken.fetch_add(1, Ordering::Relaxed);
                    let carried = Carried::of(&shared);
                    tokio::spawn(carry(client, server, now, road.clone(), carried));
                },
            },
        }
    }
}

/// A connection that counts as open until this is dropped.
struct Carried(Arc<Shared>);

impl Carried {
    fn of(shared: &Arc<Shared>) -> Self {
        shared.open.fetch_add(1, Ordering::AcqRel);
        Self(Arc::clone(shared))
    }
}

impl Drop for Carried {
    fn drop(&mut self) {
        self.0.open.fetch_sub(1, Ordering::AcqRel);
    }
}

/// One connection, until an end closes it or the road changes.
async fn carry(client: TcpStream, server: SocketAddr, began: Road, mut road: watch::Receiver<Road>, carried: Carried) {
    let shared = &carried.0;
    let mut client = client;
    let work = async {
        match began {
            Road::Open(line) => {
                if let Ok(upstream) = TcpStream::connect(server).await {
                    let _ = (client.set_nodelay(true), upstream.set_nodelay(true));
                    over(line, client, upstream, shared).await;
                }
            }
            Road::Stranger(status) => answer_as_stranger(&mut client, status).await,
            Road::Moves(part) => over_a_front_that_moves(part, client, server).await,
            Road::Cut => {}
        }
    };
    tokio::select! {
        () = work => {}
        _ = road.wait_for(|now| *now != began) => {}
    }
}

/// How a direction ended.
#[derive(PartialEq, Eq)]
enum End {
    /// One side said that no more comes.
    Closed,
    /// It broke: the whole connection goes.
    Broken,
}

async fn over(line: Line, mut client: TcpStream, mut upstream: TcpStream, shared: &Shared) {
    let (went_silent, silent) = watch::channel(false);
    {
        let (mut client_read, mut client_write) = client.split();
        let (mut server_read, mut server_write) = upstream.split();
        let there = there(line, &mut client_read, &mut server_write, shared, &went_silent);
        let back = back(line, &mut server_read, &mut client_write, shared, silent);
        tokio::pin!(there, back);
        // One direction may end in good order while the other still carries.
        tokio::select! {
            end = &mut there => if end == End::Closed { back.await; },
            end = &mut back => if end == End::Closed { there.await; },
        }
    }
}

/// From the device to the server.
async fn there(
    line: Line,
    from: &mut (impl AsyncRead + Unpin),
    to: &mut (impl AsyncWrite + Unpin),
    shared: &Shared,
    went_silent: &watch::Sender<bool>,
) -> End {
    let mut piece = [0; PIECE];
    let mut gone: u64 = 0;
    loop {
        let room = line.cut_after.map_or(PIECE as u64, |all| all - gone).min(PIECE as u64);
        let read = match from.read(&mut piece[..room as usize]).await {
            Ok(0) => {
                let _ = to.shutdown().await;
                return End::Closed;
            }
            Ok(read) => read as u64,
            Err(_) => return End::Broken,
        };
        shared.sent.fetch_add(read, Ordering::Relaxed);
        shared.moved.notify_waiters();
        line.takes_its_time(read, &shared.busy[0]).await;
        let arrives = line.cut_after.map_or(read, |all| (all - line.lost_at_cut).saturating_sub(gone).min(read));
        gone += read;
        if line.silent_after.is_some_and(|limit| gone > limit) {
            went_silent.send_replace(true);
            std::future::pending::<()>().await;
        }
        if to.write_all(&piece[..arrives as usize]).await.is_err() || line.cut_after == Some(gone) {
            return End::Broken;
        }
    }
}

/// From the server to the device.
async fn back(
    line: Line,
    from: &mut (impl AsyncRead + Unpin),
    to: &mut (impl AsyncWrite + Unpin),
    shared: &Shared,
    silent: watch::Receiver<bool>,
) -> End {
    let mut piece = [0; PIECE];
    loop {
        let read = match from.read(&mut piece).await {
            Ok(0) => {
                let _ = to.shutdown().await;
                return End::Closed;
            }
            Ok(read) => read,
            Err(_) => return End::Broken,
        };
        shared.came_back.fetch_add(read as u64, Ordering::Relaxed);
        line.takes_its_time(read as u64, &shared.busy[1]).await;
        if *silent.borrow() || line.no_answers {
            continue;
        }
        if to.write_all(&piece[..read]).await.is_err() {
            return End::Broken;
        }
    }
}

impl Line {
    /// Waits until a piece has passed: whoever came before on the same line goes first.
    async fn takes_its_time(&self, bytes: u64, busy: &Mutex<Option<Instant>>) {
        if let Some(bytes_per_s) = self.bytes_per_s {
            let takes = Duration::from_micros(bytes.saturating_mul(1_000_000) / bytes_per_s.max(1));
            let free = {
                let mut busy = busy.lock().await;
                let now = Instant::now();
                let free = busy.unwrap_or(now).max(now) + takes;
                *busy = Some(free);
                free
            };
            tokio::time::sleep_until(free).await;
        }
        if !self.delay.is_zero() {
            tokio::time::sleep(self.delay).await;
        }
    }
}

/// One request, with which the connection ends.
async fn over_a_front_that_moves(part: &str, mut client: TcpStream, server: SocketAddr) {
    let Some((head, rest)) = read_head(&mut client).await else { return };
    let mut words = head.splitn(3, ' ');
    let (Some(method), Some(path), Some(more)) = (words.next(), words.next(), words.next()) else { return };
    let path = match path.strip_prefix(MOVED) {
        Some(moved) => moved,
        None if path.contains(part) => {
            let answer =
                format!("HTTP/1.1 302 X\r\nlocation: {MOVED}{path}\r\ncontent-length: 0\r\nconnection: close\r\n\r\n");
            let _ = client.write_all(answer.as_bytes()).await;
            let _ = client.shutdown().await;
            return;
        }
        None => path,
    };
    let lines: Vec<&str> =
        more.split("\r\n").filter(|line| !line.to_ascii_lowercase().starts_with("connection:")).collect();
    let Some((version, fields)) = lines.split_first() else { return };
    let head = format!("{method} {path} {version}\r\nconnection: close\r\n{}", fields.join("\r\n"));
    let Ok(mut upstream) = TcpStream::connect(server).await else { return };
    if upstream.write_all(head.as_bytes()).await.is_ok() && upstream.write_all(&rest).await.is_ok() {
        let _ = tokio::io::copy_bidirectional(&mut client, &mut upstream).await;
    }
}

/// A request's head with its empty line, and what came of its body with it.
async fn read_head(client: &mut TcpStream) -> Option<(String, Vec<u8>)> {
    const END: &[u8] = b"\r\n\r\n";
    let (mut head, mut part) = (Vec::new(), [0; 4096]);
    loop {
        if let Some(end) = head.windows(END.len()).position(|here| here == END) {
            let rest = head.split_off(end + END.len());
            return Some((String::from_utf8(head).ok()?, rest));
        }
        match client.read(&mut part).await {
            Ok(read) if read > 0 && head.len() < HEAD_MAX => head.extend_from_slice(&part[..read]),
            Ok(_) | Err(_) => return None,
        }
    }
}

async fn answer_as_stranger(client: &mut TcpStream, status: u16) {
    if read_head(client).await.is_none() {
        return;
    }
    let answer = format!(
        "HTTP/1.1 {status} X\r\ncontent-type: text/html\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{PORTAL}",
        PORTAL.len()
    );
    let _ = client.write_all(answer.as_bytes()).await;
    let _ = client.shutdown().await;
    // What is still coming is read, for a reset would overtake the answer.
    let mut part = [0; 4096];
    while matches!(client.read(&mut part).await, Ok(read) if read > 0) {}
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "a test may stop where it stands")]
mod tests {
    use super::*;

    #[tokio::test(flavor = "multi_thread")]
    async fn a_cut_road_breaks_what_is_open_and_refuses_what_is_new() {
        let echo = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let address = echo.local_addr().unwrap();
        tokio::spawn(async move {
            while let Ok((mut peer, _)) = echo.accept().await {
                tokio::spawn(async move {
                    let (mut read, mut write) = peer.split();
                    let _ = tokio::io::copy(&mut read, &mut write).await;
                });
            }
        });
        let proxy = Proxy::start(address).await;
        let ask = |mut peer: TcpStream| async move {
            peer.write_all(b"ping").await?;
            let mut answer = [0; 4];
            peer.read_exact(&mut answer).await.map(|_| (peer, answer))
        };
        let connect = || TcpStream::connect(("127.0.0.1", proxy.port()));
        let (open, answer) = ask(connect().await.unwrap()).await.unwrap();
        assert_eq!(&answer, b"ping");
        proxy.cut().await;
        assert!(ask(open).await.is_err(), "an open connection broke");
        assert!(connect().await.is_err(), "a new one was refused");
        proxy.portal().await;
        let mut page = connect().await.unwrap();
        page.write_all(b"GET / HTTP/1.1\r\n\r\n").await.unwrap();
        let mut text = String::new();
        page.read_to_string(&mut text).await.unwrap();
        assert!(text.starts_with("HTTP/1.1 200 ") && text.contains("text/html"), "{text}");
        proxy.heal().await;
        assert_eq!(&ask(connect().await.unwrap()).await.unwrap().1, b"ping");
    }
}
