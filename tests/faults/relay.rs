//! A relay between the service and its database server that can be shut and opened again.

use std::io::copy;
use std::net::{Shutdown, SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;

/// A relay; its threads end with the test's process.
pub(crate) struct Relay {
    pub(crate) address: SocketAddr,
    open: Arc<AtomicBool>,
    streams: Arc<Mutex<Vec<TcpStream>>>,
}

impl Relay {
    /// An open relay to a server, given as `host:port`.
    pub(crate) fn to(server: String) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a port is free");
        let address = listener.local_addr().expect("an address");
        let (open, streams) = (Arc::new(AtomicBool::new(true)), Arc::default());
        let relay = Self {
            address,
            open: Arc::clone(&open),
            streams: Arc::clone(&streams),
        };
        thread::spawn(move || {
            for caller in listener.incoming().flatten() {
                // A caller that finds it shut is hung up on.
                if open.load(Ordering::SeqCst) {
                    let callee = TcpStream::connect(&server).expect("the server answers");
                    join(caller, callee, &streams);
                }
            }
        });
        relay
    }

    /// Hangs up on everybody and takes no new calls.
    pub(crate) fn shut(&self) {
        self.open.store(false, Ordering::SeqCst);
        for stream in self.streams.lock().expect("the streams").drain(..) {
            // One that has ended already is what is wanted.
            let _ = stream.shutdown(Shutdown::Both);
        }
    }

    /// Takes calls again.
    pub(crate) fn open(&self) {
        self.open.store(true, Ordering::SeqCst);
    }
}

fn join(caller: TcpStream, callee: TcpStream, streams: &Mutex<Vec<TcpStream>>) {
    let twin = |stream: &TcpStream| stream.try_clone().expect("a stream");
    let mut known = streams.lock().expect("the streams");
    known.extend([twin(&caller), twin(&callee)]);
    for (mut from, mut to) in [(twin(&caller), twin(&callee)), (callee, caller)] {
        thread::spawn(move || {
            // It ends with either side; then both are to end.
            let _ = copy(&mut from, &mut to);
            let _ = to.shutdown(Shutdown::Both);
        });
    }
}
