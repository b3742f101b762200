//! Whoever receives webhooks in a test: a server on a free port of this machine that keeps what it was sent, ended with its
//! value.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

/// What it answers.
#[derive(Clone, Debug)]
pub(crate) enum Say {
    /// A status without a body.
    Status(u16),
    /// A status with a header.
    With(u16, String),
    /// Nothing until the end.
    Hang,
    /// A head that has no end, byte by byte, until nobody reads it.
    Trickle,
}

/// What it was sent, and the status that it answered; 0 for none.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct Received {
    pub(crate) head: String,
    pub(crate) body: String,
    pub(crate) status: u16,
}

impl Received {
    /// The value of a header.
    #[track_caller]
    pub(crate) fn header(&self, name: &str) -> &str {
        let found = self.head.lines().find_map(|line| {
            let (given, value) = line.split_once(": ")?;
            given.eq_ignore_ascii_case(name).then_some(value)
        });
        found.unwrap_or_else(|| panic!("no {name}: {}", self.head))
    }

    /// The message's id.
    #[track_caller]
    pub(crate) fn id(&self) -> &str {
        self.header("webhook-id")
    }
}

/// The server.
pub(crate) struct Receiver {
    address: SocketAddr,
    received: Arc<Mutex<Vec<Received>>>,
    ending: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Receiver {
    /// Answers all with one status.
    pub(crate) fn of(status: u16) -> Self {
        Self::start(move |_| Say::Status(status))
    }

    /// Answers each as `say` decides on what was sent (whose status is still 0).
    pub(crate) fn start(mut say: impl FnMut(&Received) -> Say + Send + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("its address");
        let (received, ending) = (
            Arc::new(Mutex::new(Vec::new())),
            Arc::new(AtomicBool::new(false)),
        );
        let (told, end) = (Arc::clone(&received), Arc::clone(&ending));
        let thread = std::thread::spawn(move || {
            let mut hanging = Vec::new();
            for stream in listener.incoming() {
                let stream = stream.expect("a connection");
                if end.load(Ordering::SeqCst) {
                    return;
                }
                let Some(mut one) = read(&stream) else {
                    continue;
                };
                let say = say(&one);
                one.status = match &say {
                    Say::Status(status) | Say::With(status, _) => *status,
                    Say::Hang | Say::Trickle => 0,
                };
                told.lock().expect("what was received").push(one);
                if let Some(stream) = answer(stream, &say, &end) {
                    hanging.push(stream);
                }
            }
        });
        Self {
            address,
            received,
            ending,
            thread: Some(thread),
        }
    }

    /// Its address, by its number.
    pub(crate) fn url(&self) -> String {
        format!("http://{}/hook?key=of-the-receiver", self.address)
    }

    /// Its host and port.
    pub(crate) fn address(&self) -> SocketAddr {
        self.address
    }

    /// What was received so far.
    pub(crate) fn received(&self) -> Vec<Received> {
        self.received.lock().expect("what was received").clone()
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        self.ending.store(true, Ordering::SeqCst);
        // Wakes it from its waiting.
        let _ = TcpStream::connect(self.address);
        if let Some(thread) = self.thread.take() {
            let ended = thread.join();
            assert!(
                ended.is_ok() || std::thread::panicking(),
                "the receiver panicked"
            );
        }
    }
}

/// A whole request; none when the other side is gone before its end.
fn read(mut stream: &TcpStream) -> Option<Received> {
    stream.set_read_timeout(Some(Duration::from_secs(5))).ok()?;
    let (mut head, mut byte) = (Vec::new(), [0]);
    while !head.ends_with(b"\r\n\r\n") {
        if stream.read(&mut byte).ok()? == 0 {
            return None;
        }
        head.push(byte[0]);
    }
    let mut received = Received {
        head: String::from_utf8(head).ok()?,
        body: String::new(),
        status: 0,
    };
    let mut body = vec![0; received.header("content-length").parse().ok()?];
    stream.read_exact(&mut body).ok()?;
    received.body = String::from_utf8(body).ok()?;
    Some(received)
}

/// Answers; gives the connection back when it is to be kept open. That the other side hangs up early is its right.
fn answer(mut stream: TcpStream, say: &Say, ending: &AtomicBool) -> Option<TcpStream> {
    let (status, more) = match say {
        Say::Status(status) => (status, ""),
        Say::With(status, header) => (status, header.as_str()),
        Say::Hang => return Some(stream),
        Say::Trickle => {
            let _ = stream.write_all(b"HTTP/1.1 200 X\r\nServer: ");
            while !ending.load(Ordering::SeqCst) && stream.write_all(b"x").is_ok() {
                std::thread::sleep(Duration::from_millis(10));
            }
            return None;
        }
    };
    let line = if more.is_empty() { "" } else { "\r\n" };
    let head = format!(
        "HTTP/1.1 {status} X\r\nContent-Length: 0\r\nConnection: close\r\n{more}{line}\r\n"
    );
    let _ = stream.write_all(head.as_bytes());
    None
}
