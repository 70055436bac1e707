//! A database for one test, gone when the test is over.

use std::sync::atomic::{AtomicU32, Ordering};

use sha2::{Digest as _, Sha256};
use sqlx::postgres::{PgConnectOptions, PgPoolOptions};
use sqlx::{ConnectOptions as _, Connection as _, Executor as _, PgConnection, PgPool};

/// The login that servers under test work as. Another name than the real one, so that a test never changes the password
/// of a server that runs beside it.
const APP_LOGIN: &str = "witnessmark_test_app";
/// Names the owner's address; `cargo xtask test` and `cargo xtask db` set it.
const ADDRESS: &str = "WITNESSMARK_TEST_DATABASE_URL";

static ROLES: tokio::sync::OnceCell<()> = tokio::sync::OnceCell::const_new();
static NEXT: AtomicU32 = AtomicU32::new(0);

/// A database of its own.
pub struct TestDb {
    name: String,
    cluster_url: String,
}

impl TestDb {
    /// Creates it, empty.
    ///
    /// # Panics
    /// No address is set, or nobody answers there.
    pub async fn create() -> Self {
        let cluster_url = std::env::var(ADDRESS)
            .unwrap_or_else(|_| panic!("{ADDRESS} is not set; in a shell: eval \"$(cargo xtask db)\""));
        // Roles belong to the whole cluster: two tests that migrate at the same moment on a new one would race.
        ROLES.get_or_init(|| make_roles(&cluster_url)).await;
        Self::new(cluster_url).await
    }

    /// Creates it, empty, in a cluster that nobody else uses.
    ///
    /// # Panics
    /// Nobody answers at that address.
    pub async fn create_in(cluster_url: String) -> Self {
        make_roles(&cluster_url).await;
        Self::new(cluster_url).await
    }

    async fn new(cluster_url: String) -> Self {
        let number = NEXT.fetch_add(1, Ordering::Relaxed);
        let name = format!("test_{}_{number}_{}", std::process::id(), &uuid::Uuid::new_v4().simple().to_string()[..8]);
        let mut owner = connect(&cluster_url).await;
        owner.execute(format!("create database {name}").as_str()).await.expect("the owner may create databases");
        owner.close().await.expect("closing");
        Self { name, cluster_url }
    }

    /// For the role that owns the tables and sees everything.
    pub fn owner_url(&self) -> String {
        with_database(&self.cluster_url, &self.name)
    }

    /// For the role that the server works as.
    pub fn app_url(&self) -> String {
        let password = app_password(&self.cluster_url);
        let (_, address) =
            self.owner_url().rsplit_once('@').map(|(a, b)| (a.to_owned(), b.to_owned())).expect("a user and a host");
        format!("postgres://{APP_LOGIN}:{password}@{address}")
    }

    /// A pool that passes row-level security: to look at rows that no person may see.
    pub async fn owner_pool(&self) -> PgPool {
        PgPoolOptions::new().max_connections(2).connect(&self.owner_url()).await.expect("the database is there")
    }
}

impl Drop for TestDb {
    /// Whoever is still connected is thrown out. In a thread of its own, for a runtime cannot be entered twice.
    fn drop(&mut self) {
        let (name, cluster_url) = (self.name.clone(), self.cluster_url.clone());
        let dropped = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
            runtime.block_on(async {
                let mut owner = connect(&cluster_url).await;
                owner.execute(format!("drop database if exists {name} with (force)").as_str()).await.map(drop)
            })
        })
        .join();
        match dropped {
            Ok(Ok(())) => {}
            // A panic in a drop would hide the test's own.
            Ok(Err(error)) => eprintln!("a test database stays behind: {error}"),
            Err(_) => eprintln!("a test database stays behind"),
        }
    }
}

/// Makes the roles that the first migration and the server's start would make, once.
async fn make_roles(cluster_url: &str) {
    let mut owner = connect(cluster_url).await;
    let password = app_password(cluster_url);
    let roles = format!(
        "do $$
         begin
           if not exists (select from pg_roles where rolname = 'witnessmark_app') then
             create role witnessmark_app nologin nosuperuser nocreatedb nocreaterole noinherit nobypassrls;
           end if;
           if not exists (select from pg_roles where rolname = '{APP_LOGIN}') then
             create role {APP_LOGIN} login nosuperuser nocreatedb nocreaterole inherit nobypassrls password '{password}';
             grant witnessmark_app to {APP_LOGIN};
           end if;
         end
         $$"
    );
    owner.execute(roles.as_str()).await.expect("the owner may create roles");
    owner.close().await.expect("closing");
}

fn app_password(cluster_url: &str) -> String {
    Sha256::digest(cluster_url.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect()
}

async fn connect(url: &str) -> PgConnection {
    let options: PgConnectOptions = url.parse().expect("an address of Postgres");
    options.connect().await.expect("Postgres answers")
}

fn with_database(url: &str, name: &str) -> String {
    let (server, _) = url.rsplit_once('/').expect("an address with a database");
    format!("{server}/{name}")
}
