//! What stands before several server processes: connections in turn, and to another process where one does not take them.

use std::net::{Ipv4Addr, SocketAddr};
use std::sync::Arc;

use tokio::io::copy_bidirectional;
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinHandle;

/// It ends when this is dropped.
#[derive(Debug)]
pub struct Balancer {
    port: u16,
    serving: JoinHandle<()>,
}

impl Balancer {
    /// Listens on a free loopback port and leads to these.
    ///
    /// # Panics
    /// No port is free.
    pub async fn start(servers: Vec<SocketAddr>) -> Self {
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.expect("a free port");
        let port = listener.local_addr().expect("a bound listener has an address").port();
        let servers = Arc::new(servers);
        let serving = tokio::spawn(async move {
            let mut turn: usize = 0;
            while let Ok((client, _)) = listener.accept().await {
                turn = turn.wrapping_add(1);
                tokio::spawn(carry(client, Arc::clone(&servers), turn));
            }
        });
        Self { port, serving }
    }

    /// Where devices knock.
    pub fn address(&self) -> SocketAddr {
        SocketAddr::from((Ipv4Addr::LOCALHOST, self.port))
    }
}

impl Drop for Balancer {
    fn drop(&mut self) {
        self.serving.abort();
    }
}

/// With all of them down the connection breaks, as it does before a front that has nobody behind it.
async fn carry(mut client: TcpStream, servers: Arc<Vec<SocketAddr>>, turn: usize) {
    for at in 0..servers.len() {
        if let Ok(mut server) = TcpStream::connect(servers[(turn + at) % servers.len()]).await {
            let _ = (client.set_nodelay(true), server.set_nodelay(true));
            let _ = copy_bidirectional(&mut client, &mut server).await;
            return;
        }
    }
}
