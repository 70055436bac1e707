//! An S3-compatible service as somebody else understands S3 (`s3s`, with signatures checked), behind the fault proxy.

use std::net::{Ipv4Addr, SocketAddr};

use hyper_util::rt::{TokioExecutor, TokioIo};
use hyper_util::server::conn::auto::Builder as Connections;
use object_store::aws::AmazonS3Builder;
use s3s::auth::SimpleAuth;
use s3s::service::S3ServiceBuilder;
use s3s_fs::FileSystem;
use server::state::{Objects, open_s3};
use tempfile::TempDir;
use tests::program::Program;
use tests::proxy::Proxy;
use tokio::net::TcpListener;
use tokio::task::JoinHandle;

const BUCKET: &str = "photos";
const KEY: &str = "test-key";
const SECRET: &str = "test-secret";
const REGION: &str = "us-east-1";

/// A service with one empty bucket.
pub struct S3 {
    /// The way to it.
    pub road: Proxy,
    serving: JoinHandle<()>,
    _folder: TempDir,
}

impl S3 {
    pub async fn start() -> Self {
        let folder = tempfile::tempdir().unwrap();
        std::fs::create_dir(folder.path().join(BUCKET)).unwrap();
        let mut service = S3ServiceBuilder::new(FileSystem::new(folder.path()).unwrap());
        service.set_auth(SimpleAuth::from_single(KEY, SECRET));
        let service = service.build().into_shared();
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.unwrap();
        let listen: SocketAddr = listener.local_addr().unwrap();
        let serving = tokio::spawn(async move {
            while let Ok((stream, _)) = listener.accept().await {
                let service = service.clone();
                tokio::spawn(async move {
                    let connections = Connections::new(TokioExecutor::new());
                    let _ = connections.serve_connection(TokioIo::new(stream), service).await;
                });
            }
        });
        Self { road: Proxy::start(listen).await, serving, _folder: folder }
    }

    /// As the server opens it, with the keys of this test.
    pub fn objects(&self) -> Objects {
        let keys = AmazonS3Builder::new().with_access_key_id(KEY).with_secret_access_key(SECRET).with_region(REGION);
        open_s3(keys, BUCKET, Some(&self.road.address())).unwrap()
    }

    /// What `PHOTO_STORE` says.
    pub fn setting(&self) -> String {
        format!("s3://{BUCKET}?endpoint={}", self.road.address())
    }

    /// The server's program with its keys where they usually are.
    pub fn keys(program: Program) -> Program {
        program
            .with("AWS_ACCESS_KEY_ID", KEY.to_owned())
            .with("AWS_SECRET_ACCESS_KEY", SECRET.to_owned())
            .with("AWS_REGION", REGION.to_owned())
    }
}

impl Drop for S3 {
    fn drop(&mut self) {
        self.serving.abort();
    }
}
