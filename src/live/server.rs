//! The server: a thread of its own, a runtime of its own.

use super::codes::Codes;
use super::connections::Lines;
use super::guard::Guard;
use super::hub::Hub;
use super::presses::Pressed;
use super::routes::{Desk, router};
use axum::Router;
use axum::extract::Extension;
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use std::io;
use std::net::{IpAddr, Ipv4Addr, SocketAddr, UdpSocket};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;
use thiserror::Error;
use tokio::net::{TcpListener, TcpSocket, TcpStream};
use tokio::runtime::{Builder, Runtime};
use tokio::sync::mpsc::{Receiver, channel};
use tokio::sync::oneshot;

/// A request's head comes within this time.
const HEAD_PATIENCE: Duration = Duration::from_secs(10);
/// The longest head, bytes.
const LONGEST_HEAD: usize = 16 * 1024;
/// What the system holds for a page that does not read, bytes: a few seconds of frames. Its own choice
/// would be minutes of them, shown late.
const SEND_BUFFER: u32 = 64 * 1024;
/// Connections that wait to be taken.
const BACKLOG: u32 = 256;
/// After a failed accept, such as too many open files.
const BREATH: Duration = Duration::from_millis(50);
/// The last frame, which says that it is the last, has so long to get out.
const GRACE: Duration = Duration::from_millis(150);
/// Presses that wait for the recorder.
const WAITING_PRESSES: usize = 32;

/// What is to be served.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Settings {
    /// The port; 0 for one that is free.
    pub port: u16,
    /// Reachable from other machines, with codes.
    pub share: bool,
}

/// Why there is no page.
#[derive(Debug, Error)]
pub enum ServeError {
    /// The port is taken, or not allowed.
    #[error(
        "the page cannot be served on {address} ({source}); give another port with \
         --page=PORT (of a lesson with --port), or none for one that is free"
    )]
    Bind {
        /// Where.
        address: SocketAddr,
        /// What the system says.
        source: io::Error,
    },
    /// No thread or no runtime.
    #[error("the page cannot be served ({0}); record without --page")]
    Start(#[from] io::Error),
    /// No codes.
    #[error(
        "the page cannot be shared, as the system gives no random numbers for its codes ({0}); serve it on \
         this machine only, without --share"
    )]
    Codes(String),
}

/// An address of the page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Address {
    /// Who it is for.
    pub what: &'static str,
    /// The address.
    pub url: String,
}

/// A page that is served. It ends when this is dropped.
#[derive(Debug)]
pub struct Served {
    hub: Hub,
    addresses: Vec<Address>,
    stop: Option<oneshot::Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

/// Serves the page; gives what is pressed there.
///
/// # Errors
/// The port cannot be had, or the system refuses a thread or random numbers.
pub fn serve(settings: Settings) -> Result<(Served, Receiver<Pressed>), ServeError> {
    let codes = settings.share.then(Codes::new).transpose().map_err(ServeError::Codes)?;
    let host = if settings.share { Ipv4Addr::UNSPECIFIED } else { Ipv4Addr::LOCALHOST };
    let runtime = Builder::new_current_thread().enable_all().build()?;
    let wanted = SocketAddr::from((host, settings.port));
    let bind = |source| ServeError::Bind { address: wanted, source };
    let listener = {
        let _inside = runtime.enter();
        listen(wanted).map_err(bind)?
    };
    let port = listener.local_addr()?.port();
    let addresses = addresses(port, codes.as_ref());
    let hub = Hub::default();
    let (presses, pressed) = channel(WAITING_PRESSES);
    let guard = Arc::new(Guard { port, codes });
    let router = router(Desk { hub: hub.clone(), guard, presses });
    let (stop, stopped) = oneshot::channel();
    let work = move || run(&runtime, listener, &router, stopped);
    let thread = std::thread::Builder::new().name("page".into()).spawn(work)?;
    Ok((Served { hub, addresses, stop: Some(stop), thread: Some(thread) }, pressed))
}

impl Served {
    /// Where frames go.
    pub fn hub(&self) -> &Hub {
        &self.hub
    }

    /// The addresses: the first is for the person who records.
    pub fn addresses(&self) -> &[Address] {
        &self.addresses
    }
}

impl Drop for Served {
    fn drop(&mut self) {
        self.stop = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn listen(address: SocketAddr) -> io::Result<TcpListener> {
    let socket = TcpSocket::new_v4()?;
    // On Windows it would let another program take the port as well.
    #[cfg(unix)]
    socket.set_reuseaddr(true)?;
    socket.set_send_buffer_size(SEND_BUFFER)?;
    socket.bind(address)?;
    socket.listen(BACKLOG)
}

fn addresses(port: u16, codes: Option<&Codes>) -> Vec<Address> {
    let Some(codes) = codes else {
        return vec![Address { what: "the page", url: format!("http://127.0.0.1:{port}/") }];
    };
    let host = outward().unwrap_or(IpAddr::V4(Ipv4Addr::LOCALHOST));
    let see = format!("http://{host}:{port}/?see={}", codes.see.signs());
    let press = format!("{see}&press={}", codes.press.signs());
    vec![
        Address { what: "the page, to see and to press", url: press },
        Address { what: "the page, to see only", url: see },
    ]
}

/// The address by which other machines reach this one: that which it would send from. A datagram socket
/// that is connected sends nothing; 192.0.2.1 is set aside for documentation (RFC 5737).
fn outward() -> Option<IpAddr> {
    let socket = UdpSocket::bind((Ipv4Addr::UNSPECIFIED, 0)).ok()?;
    socket.connect((Ipv4Addr::new(192, 0, 2, 1), 9)).ok()?;
    Some(socket.local_addr().ok()?.ip())
}

fn run(runtime: &Runtime, listener: TcpListener, router: &Router, stopped: oneshot::Receiver<()>) {
    runtime.block_on(async {
        let stop = async {
            let _ = stopped.await;
            tokio::time::sleep(GRACE).await;
        };
        tokio::select! {
            () = stop => {}
            () = accept(listener, router) => {}
        }
    });
}

async fn accept(listener: TcpListener, router: &Router) {
    let lines = Lines::default();
    loop {
        match listener.accept().await {
            Ok((stream, _)) => {
                tokio::spawn(attend(stream, router.clone(), lines.clone()));
            }
            Err(_) => tokio::time::sleep(BREATH).await,
        }
    }
}

/// A connection, until it ends or has to.
async fn attend(stream: TcpStream, router: Router, lines: Lines) {
    let line = lines.admit();
    let _ = stream.set_nodelay(true);
    let service = TowerToHyperService::new(router.layer(Extension(line.clone())));
    let mut http = http1::Builder::new();
    http.timer(TokioTimer::new()).header_read_timeout(HEAD_PATIENCE).max_buf_size(LONGEST_HEAD);
    let connection = http.serve_connection(TokioIo::new(stream), service);
    tokio::select! {
        _ = connection => {}
        () = line.ended() => {}
    }
    lines.forget(&line);
}
