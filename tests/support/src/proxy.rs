//! A road between browser and server that a test can really cut: no flag of the browser, but connections that break and a port that
//! refuses.

use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, copy_bidirectional};
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinHandle;

/// What a hotel or a guest network answers to everything before somebody has agreed to its terms.
const PORTAL: &str = "<!doctype html><title>Guest network</title><h1>Welcome</h1><p>Accept the terms to go on.</p>";
/// Browsers wait between attempts; the port is back long before they try again.
const REBIND_EVERY: Duration = Duration::from_millis(50);
const QUEUE: u32 = 256;

/// What becomes of a connection.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Road {
    Open,
    /// Nobody listens; what was open is broken.
    Cut,
    /// Everything is answered by somebody else: status 200, HTML.
    Portal,
}

/// The proxy; it ends when this is dropped.
#[derive(Debug)]
pub struct Proxy {
    port: u16,
    road: watch::Sender<Road>,
    taken: Arc<AtomicUsize>,
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
        let (road, watched) = watch::channel(Road::Open);
        let taken = Arc::new(AtomicUsize::new(0));
        let serving = tokio::spawn(serve(listener, port, server, watched, Arc::clone(&taken)));
        Self { port, road, taken, serving }
    }

    /// Where browsers knock.
    pub const fn port(&self) -> u16 {
        self.port
    }

    /// Breaks every connection and refuses new ones. Returns once nobody listens.
    pub async fn cut(&self) {
        self.road.send_replace(Road::Cut);
        self.until(false).await;
    }

    /// Lets everything through again.
    pub async fn heal(&self) {
        self.road.send_replace(Road::Open);
        self.until(true).await;
    }

    /// Answers everything with a page of its own.
    pub async fn portal(&self) {
        self.road.send_replace(Road::Portal);
        self.until(true).await;
    }

    /// How many connections were taken so far.
    pub fn taken(&self) -> usize {
        self.taken.load(Ordering::Relaxed)
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
    taken: Arc<AtomicUsize>,
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
            (Road::Open | Road::Portal, None) => listener = Some(listen(port).await),
            (Road::Open | Road::Portal, Some(open)) => tokio::select! {
                changed = road.changed() => if changed.is_err() { return },
                accepted = open.accept() => if let Ok((client, _)) = accepted {
                    taken.fetch_add(1, Ordering::Relaxed);
                    tokio::spawn(carry(client, server, now, road.clone()));
                },
            },
        }
    }
}

/// One connection, until an end closes it or the road changes.
async fn carry(mut client: TcpStream, server: SocketAddr, began: Road, mut road: watch::Receiver<Road>) {
    let work = async {
        match began {
            Road::Open => {
                if let Ok(mut upstream) = TcpStream::connect(server).await {
                    let _ = copy_bidirectional(&mut client, &mut upstream).await;
                }
            }
            Road::Portal => answer_as_portal(&mut client).await,
            Road::Cut => {}
        }
    };
    tokio::select! {
        () = work => {}
        _ = road.wait_for(|now| *now != began) => {}
    }
}

async fn answer_as_portal(client: &mut TcpStream) {
    let mut head = Vec::new();
    let mut part = [0; 4096];
    while !head.windows(4).any(|end| end == b"\r\n\r\n") {
        match client.read(&mut part).await {
            Ok(read) if read > 0 => head.extend_from_slice(&part[..read]),
            Ok(_) | Err(_) => return,
        }
    }
    let answer = format!(
        "HTTP/1.1 200 OK\r\ncontent-type: text/html\r\ncontent-length: {}\r\nconnection: close\r\n\r\n{PORTAL}",
        PORTAL.len()
    );
    let _ = client.write_all(answer.as_bytes()).await;
    let _ = client.shutdown().await;
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
