//! The tuning page: a local server through which a painter moves the air and sees the picture. It is a face of the library: pixels
//! come from it, and the scene file stays the truth.
//!
//! Only this machine can reach it, and only who knows the run's token. One thread for each connection, two painters (`draw`) and a
//! watcher; they share the `hub`.

mod blocks;
mod draw;
mod frame;
mod http;
mod hub;
mod inherited;
mod lamps;
mod places;
mod recovery;
mod row_means;
mod session;
mod socket;
mod state;
mod token;
mod upload;
mod view;
mod watch;
mod write;

use crate::base::fault::{Class, Fault, Result};
use crate::base::limits::Limits;
use http::{Access, Answer};
use hub::{Hub, locked};
use recovery::Recovery;
use session::Session;
use std::net::{Ipv4Addr, TcpListener, TcpStream};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, SystemTime};

/// The port that is tried first.
pub const PORT: u16 = 4673;

/// Most connections at a time.
const CONNECTIONS: usize = 64;

/// How long a thread that has panicked rests; chosen by eye.
const RESTART: Duration = Duration::from_millis(500);

/// What one of the server's threads does until the hub stops.
type Work = Box<dyn Fn(&Arc<Hub>) + Send>;

/// What a run is asked for.
#[derive(Clone, Debug)]
pub struct Options {
    /// The scene file.
    pub scene: PathBuf,
    /// The mood that is tuned; none: the scene itself.
    pub mood: Option<String>,
    /// The port that is tried first; if it is taken, another.
    pub port: u16,
    /// Bounds.
    pub limits: Limits,
    /// Is called when all is settled and nobody moves anything: a program may give back the memory then that its pictures took.
    pub at_rest: fn(),
}

/// A server at work. It ends when it is dropped.
pub struct Server {
    address: String,
    port: u16,
    hub: Arc<Hub>,
    threads: Vec<JoinHandle<()>>,
}

impl Server {
    /// Reads the scene and opens the page's address.
    ///
    /// # Errors
    /// Those of the scene; and class `Usage` where this machine gives no port, no random number or no thread.
    pub fn start(options: Options) -> Result<Server> {
        let (limits, at_rest) = (options.limits, options.at_rest);
        let read = SystemTime::now();
        let session = Session::open(&options.scene, options.mood, limits)?;
        let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, options.port))
            .or_else(|_| TcpListener::bind((Ipv4Addr::LOCALHOST, 0)))
            .map_err(|error| fault("no port can be opened on this machine", &error))?;
        let port = listener.local_addr().map_err(|error| fault("the port has no address", &error))?.port();
        let token = token::of(&options.scene)?;
        let address = format!("http://127.0.0.1:{port}/{token}/");
        let access = Access { port, token };
        let recovery = Recovery::open(&options.scene, session.text(), &limits);
        let hub = Arc::new(Hub::new(session, recovery));
        // A thread of its own, so that drafts needn't stand in line behind what is being settled.
        let pool = rayon::ThreadPoolBuilder::new()
            .num_threads(1)
            .build()
            .map_err(|error| fault("no thread can be started", &error))?;
        let work: [Work; 5] = [
            Box::new(move |hub| draw::drafts(hub, &limits)),
            Box::new(move |hub| pool.install(|| draw::settle(hub, &limits, at_rest))),
            Box::new(move |hub| watch::watch(hub, read)),
            Box::new(|hub| recovery::follow(hub)),
            Box::new(move |hub| accept(hub, &listener, &access)),
        ];
        let threads = work.into_iter().map(|work| spawn(Arc::clone(&hub), work)).collect();
        Ok(Server { address, port, hub, threads })
    }

    /// The page's address, with its token.
    pub fn address(&self) -> &str {
        &self.address
    }

    /// The port that it listens at.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Whether the page holds what the file doesn't.
    pub fn is_unsaved(&self) -> bool {
        self.hub.session().is_unsaved()
    }

    /// The file with unsaved edits that an earlier run left and the page offers.
    pub fn offered(&self) -> Option<PathBuf> {
        locked(&self.hub.recovery).offered().map(std::path::Path::to_path_buf)
    }

    /// Writes what is unsaved into a file beside the scene; the next run offers it.
    ///
    /// # Errors
    /// Class `Output`: it can't be written.
    pub fn keep_unsaved(&self) -> Result<Option<PathBuf>> {
        recovery::keep(&self.hub)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.hub.stop();
        // The listener wakes by a call.
        let _ = TcpStream::connect((Ipv4Addr::LOCALHOST, self.port));
        for thread in self.threads.drain(..) {
            let _ = thread.join();
        }
    }
}

fn fault(what: &str, error: &dyn std::fmt::Display) -> Fault {
    Fault::new(Class::Usage, format!("{what}: {error}"))
}

/// A thread that works until the hub stops.
fn spawn(hub: Arc<Hub>, work: Work) -> JoinHandle<()> {
    std::thread::spawn(move || {
        // Whatever a broken picture does to one round, the next begins afresh.
        while catch_unwind(AssertUnwindSafe(|| work(&hub))).is_err() && !hub.is_stopped() {
            std::thread::sleep(RESTART);
        }
    })
}

fn accept(hub: &Arc<Hub>, listener: &TcpListener, access: &Access) {
    let open = Arc::new(AtomicUsize::new(0));
    for stream in listener.incoming() {
        if hub.is_stopped() {
            return;
        }
        let Ok(stream) = stream else {
            std::thread::sleep(Duration::from_millis(50));
            continue;
        };
        if open.fetch_add(1, Ordering::AcqRel) >= CONNECTIONS {
            open.fetch_sub(1, Ordering::AcqRel);
            continue;
        }
        let (hub, access, open) = (Arc::clone(hub), access.clone(), Arc::clone(&open));
        std::thread::spawn(move || {
            let served = catch_unwind(AssertUnwindSafe(|| handle(&hub, stream, &access)));
            drop(served);
            open.fetch_sub(1, Ordering::AcqRel);
        });
    }
}

/// One connection; whoever breaks it off has only himself to blame.
fn handle(hub: &Arc<Hub>, mut stream: TcpStream, access: &Access) {
    match access.answer(&mut stream) {
        Ok(Answer::Socket(key)) => drop(socket::serve(hub, stream, &key)),
        Ok(Answer::Picture(picture)) => drop(upload::receive(hub, stream, picture)),
        _ => {}
    }
}
