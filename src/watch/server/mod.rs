//! The page's own small server: HTTP/1.1 on the loopback interface for the browser of this machine, parsed by `httparse`.
//!
//! One thread a connection, few connections, bounded heads, bodies and times. Who does not know the random token in the address, or
//! calls the machine by another name (as a page of another site would, even after rebinding its own name), gets a refusal without content.

mod guard;
mod request;
mod routes;

pub use guard::{Guard, random_token};

use super::hub::Hub;
use request::{Failure, Response, read};
use std::io::{self, BufReader, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

/// Connections at once; a browser opens six a page.
const MOST_CONNECTIONS: usize = 64;
/// Pause after which a new connection is looked for.
const BETWEEN_CONNECTIONS: Duration = Duration::from_millis(10);
/// A request has to arrive within this time; an idle connection is closed after it.
const PATIENCE: Duration = Duration::from_secs(20);

/// Pages that are open, by when they were last heard of.
#[derive(Default)]
pub struct Presence {
    last: Mutex<Option<Instant>>,
    waiting: AtomicUsize,
}

impl Presence {
    /// How long no page has asked; `None` where one waits, or none ever came.
    pub fn absent_for(&self) -> Option<Duration> {
        if self.waiting.load(Ordering::Relaxed) > 0 {
            return None;
        }
        let last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        last.map(|at| at.elapsed())
    }

    fn seen(&self) {
        let mut last = self.last.lock().unwrap_or_else(PoisonError::into_inner);
        *last = Some(Instant::now());
    }
}

/// Answers until the program ends.
pub fn serve(listener: &TcpListener, guard: &Arc<Guard>, hub: &Arc<Hub>, presence: &Arc<Presence>) {
    let open = Arc::new(AtomicUsize::new(0));
    // Without waiting in the system call: the end is noticed, and the port let go of, with no connection of our own.
    if listener.set_nonblocking(true).is_err() {
        return;
    }
    while !hub.stopped() {
        let accepted = listener.accept().map(|(stream, _)| stream);
        let Ok(stream) = accepted.and_then(|s| s.set_nonblocking(false).map(|()| s)) else {
            thread::sleep(BETWEEN_CONNECTIONS);
            continue;
        };
        if open.fetch_add(1, Ordering::Relaxed) >= MOST_CONNECTIONS {
            open.fetch_sub(1, Ordering::Relaxed);
            let mut stream = stream;
            let busy = Response::refusal(503, "too many connections");
            let _ = stream.write_all(&busy.bytes(false));
            continue;
        }
        let (guard, hub, presence) = (Arc::clone(guard), Arc::clone(hub), Arc::clone(presence));
        let left = Arc::clone(&open);
        let spawned = thread::Builder::new().name("page".into()).spawn(move || {
            // A connection that breaks off is the browser's business.
            let _ = answer_all(&stream, &guard, &hub, &presence);
            let _ = stream.shutdown(Shutdown::Both);
            left.fetch_sub(1, Ordering::Relaxed);
        });
        if spawned.is_err() {
            open.fetch_sub(1, Ordering::Relaxed);
        }
    }
}

fn answer_all(stream: &TcpStream, guard: &Guard, hub: &Hub, presence: &Presence) -> io::Result<()> {
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    stream.set_nodelay(true)?;
    let mut reader = BufReader::new(stream);
    let mut writer = stream;
    while !hub.stopped() {
        let request = match read(&mut reader) {
            Ok(Some(request)) => request,
            Ok(None) => return Ok(()),
            Err(Failure::Io(error)) => return Err(error),
            Err(Failure::Refused(status, text)) => {
                writer.write_all(&Response::refusal(status, text).bytes(false))?;
                return Ok(());
            }
        };
        let response = match guard.admit(&request) {
            Ok(path) => {
                presence.seen();
                presence.waiting.fetch_add(1, Ordering::Relaxed);
                let response = routes::answer(&request, path, hub);
                presence.waiting.fetch_sub(1, Ordering::Relaxed);
                presence.seen();
                response
            }
            Err((status, text)) => Response::refusal(status, text),
        };
        // What was refused is not listened to any further.
        let stay = response.status < 400 && request.keep_alive;
        writer.write_all(&response.bytes(stay))?;
        if !stay {
            return Ok(());
        }
    }
    Ok(())
}
