//! Uploads by tus 1.0, and photos through the jobs that name them: over a folder, and over an S3-compatible service.

mod read;
mod s3;
mod two_servers;
mod upload;

use std::ops::Deref;

use tests::app::TestApp;
use tests::db::TestDb;

use s3::S3;

/// Where photos lie.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Store {
    Folder,
    S3,
}

/// A server of the demo firm over one of the stores.
struct PhotoApp {
    app: TestApp,
    _s3: Option<S3>,
}

impl PhotoApp {
    async fn start(store: Store) -> Self {
        let s3 = match store {
            Store::Folder => None,
            Store::S3 => Some(S3::start().await),
        };
        let objects = s3.as_ref().map(S3::objects);
        let app = TestApp::start_over(TestDb::create().await, |config| config.demo = true, objects).await;
        Self { app, _s3: s3 }
    }
}

impl Deref for PhotoApp {
    type Target = TestApp;
    fn deref(&self) -> &TestApp {
        &self.app
    }
}

/// Each of these is a test over a folder and a test over the service.
macro_rules! over_both_stores {
    ($($name:ident),* $(,)?) => {
        mod in_a_folder {
            $(#[tokio::test(flavor = "multi_thread")]
            async fn $name() {
                super::$name(super::Store::Folder).await;
            })*
        }
        mod in_s3 {
            $(#[tokio::test(flavor = "multi_thread")]
            async fn $name() {
                super::$name(super::Store::S3).await;
            })*
        }
    };
}
use over_both_stores;
