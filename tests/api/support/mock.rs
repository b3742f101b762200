//! A server of the test's own for what the service asks of others: on a free port of this machine, ended with its value.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

/// What it does with a connection.
#[derive(Clone, Debug)]
pub(crate) enum Say {
    /// Answers 200 with a body.
    Good(String),
    /// Answers a status without a body.
    Status(u16),
    /// Answers 302 to an address.
    Redirect(String),
    /// Says nothing until the end.
    Hang,
    /// Announces so many bytes, and sends none.
    Announce(u64),
    /// Sends so many bytes without having announced them.
    Flood(usize),
    /// Sends the beginning of a longer body, and hangs up.
    CutOff(String),
    /// Sends a body byte by byte, 10 ms apart, until nobody reads it.
    Trickle,
}

/// The server.
pub(crate) struct Mock {
    address: SocketAddr,
    heads: Arc<Mutex<Vec<String>>>,
    ending: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Mock {
    /// Does one thing with each connection, in this order; the last one again and again.
    pub(crate) fn start(says: &[Say]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("its address");
        let (heads, ending) = (
            Arc::new(Mutex::new(Vec::new())),
            Arc::new(AtomicBool::new(false)),
        );
        let (told, end, says) = (Arc::clone(&heads), Arc::clone(&ending), says.to_vec());
        let thread = std::thread::spawn(move || {
            let mut hanging = Vec::new();
            for stream in listener.incoming() {
                let stream = stream.expect("a connection");
                if end.load(Ordering::SeqCst) {
                    return;
                }
                let Some(head) = head(&stream) else { continue };
                let at = {
                    let mut told = told.lock().expect("the heads");
                    told.push(head);
                    told.len() - 1
                };
                let say = &says[at.min(says.len() - 1)];
                if let Some(stream) = answer(stream, say, &end) {
                    hanging.push(stream);
                }
            }
        });
        Self {
            address,
            heads,
            ending,
            thread: Some(thread),
        }
    }

    /// Its address.
    pub(crate) fn url(&self) -> String {
        format!("http://{}/daily.xml", self.address)
    }

    /// Its host and port.
    pub(crate) fn address(&self) -> SocketAddr {
        self.address
    }

    /// The heads of the requests so far.
    pub(crate) fn heads(&self) -> Vec<String> {
        self.heads.lock().expect("the heads").clone()
    }
}

impl Drop for Mock {
    fn drop(&mut self) {
        self.ending.store(true, Ordering::SeqCst);
        // Wakes it from its waiting.
        let _ = TcpStream::connect(self.address);
        if let Some(thread) = self.thread.take() {
            let ended = thread.join();
            assert!(
                ended.is_ok() || std::thread::panicking(),
                "the mock panicked"
            );
        }
    }
}

/// The head of a request; none when the other side hangs up.
fn head(mut stream: &TcpStream) -> Option<String> {
    let (mut head, mut byte) = (Vec::new(), [0]);
    while !head.ends_with(b"\r\n\r\n") {
        if stream.read(&mut byte).ok()? == 0 {
            return None;
        }
        head.push(byte[0]);
    }
    Some(String::from_utf8_lossy(&head).into_owned())
}

/// Answers; gives the connection back when it is to be kept open. That the other side hangs up early is its right.
fn answer(mut stream: TcpStream, say: &Say, ending: &AtomicBool) -> Option<TcpStream> {
    let head = |status: &str, more: &str| {
        format!("HTTP/1.1 {status}\r\nContent-Type: text/xml\r\nConnection: close\r\n{more}\r\n")
    };
    let sized = |bytes: u64| head("200 OK", &format!("Content-Length: {bytes}\r\n"));
    let _ = match say {
        Say::Good(body) => {
            stream.write_all(format!("{}{body}", sized(body.len() as u64)).as_bytes())
        }
        Say::Status(status) => {
            stream.write_all(head(&format!("{status} X"), "Content-Length: 0\r\n").as_bytes())
        }
        Say::Redirect(to) => {
            let more = format!("Location: {to}\r\nContent-Length: 0\r\n");
            stream.write_all(head("302 Found", &more).as_bytes())
        }
        Say::Hang => return Some(stream),
        Say::Announce(bytes) => {
            let _ = stream.write_all(sized(*bytes).as_bytes());
            return Some(stream);
        }
        Say::Flood(bytes) => {
            let _ = stream.write_all(head("200 OK", "").as_bytes());
            stream.write_all(&vec![b' '; *bytes])
        }
        Say::CutOff(body) => {
            stream.write_all(format!("{}{body}", sized(body.len() as u64 + 1)).as_bytes())
        }
        Say::Trickle => {
            let _ = stream.write_all(head("200 OK", "").as_bytes());
            while !ending.load(Ordering::SeqCst) && stream.write_all(b" ").is_ok() {
                std::thread::sleep(Duration::from_millis(10));
            }
            Ok(())
        }
    };
    None
}
