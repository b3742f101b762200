//! A mail server of the test's own, that takes what it is told to take (RFC 5321, as much as a client needs): on a free port of
//! this machine, ended with its value.

use std::io::{BufRead, BufReader, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;

/// What it does with a connection.
#[derive(Clone, Debug)]
pub(crate) enum Manner {
    /// Takes the mail.
    Take,
    /// Has the mail sent and then answers that it cannot keep it now.
    Busy,
    /// Refuses these receivers for good.
    Refuse(&'static [&'static str]),
    /// Wants a user and a password, and takes no other.
    Login(&'static str),
    /// Takes the mail and hangs up before it says so.
    CutOff,
    /// Says nothing until the end.
    Hang,
}

/// A mail as it came.
#[derive(Clone, Debug)]
pub(crate) struct Taken {
    /// The sender of the envelope.
    pub(crate) from: String,
    /// The receivers of the envelope that were taken.
    pub(crate) to: Vec<String>,
    /// Headers and body, byte for byte.
    pub(crate) data: String,
    /// Whether it was kept.
    pub(crate) kept: bool,
}

/// The server.
pub(crate) struct MailServer {
    address: SocketAddr,
    taken: Arc<Mutex<Vec<Taken>>>,
    connections: Arc<Mutex<usize>>,
    ending: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl MailServer {
    /// Does one thing with each connection, in this order; the last one again and again.
    pub(crate) fn start(manners: &[Manner]) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("its address");
        let taken: Arc<Mutex<Vec<Taken>>> = Arc::default();
        let connections: Arc<Mutex<usize>> = Arc::default();
        let ending = Arc::new(AtomicBool::new(false));
        let (kept, count, end) = (
            Arc::clone(&taken),
            Arc::clone(&connections),
            Arc::clone(&ending),
        );
        let manners = manners.to_vec();
        let thread = std::thread::spawn(move || {
            let mut hanging = Vec::new();
            for stream in listener.incoming() {
                let stream = stream.expect("a connection");
                if end.load(Ordering::SeqCst) {
                    return;
                }
                let at = {
                    let mut count = count.lock().expect("the count");
                    *count += 1;
                    *count - 1
                };
                let manner = &manners[at.min(manners.len() - 1)];
                match manner {
                    Manner::Hang => hanging.push(stream),
                    _ => drop(Conversation::new(&stream, manner, &kept).held()),
                }
            }
        });
        Self {
            address,
            taken,
            connections,
            ending,
            thread: Some(thread),
        }
    }

    /// Its host and port.
    pub(crate) fn address(&self) -> SocketAddr {
        self.address
    }

    /// The mails so far, those too that it did not keep.
    pub(crate) fn taken(&self) -> Vec<Taken> {
        self.taken.lock().expect("the mails").clone()
    }

    /// How often it was called.
    pub(crate) fn connections(&self) -> usize {
        *self.connections.lock().expect("the count")
    }
}

impl Drop for MailServer {
    fn drop(&mut self) {
        self.ending.store(true, Ordering::SeqCst);
        // Wakes it from its waiting.
        let _ = TcpStream::connect(self.address);
        if let Some(thread) = self.thread.take() {
            let ended = thread.join();
            assert!(
                ended.is_ok() || std::thread::panicking(),
                "the mail server panicked"
            );
        }
    }
}

struct Conversation<'a> {
    reader: BufReader<&'a TcpStream>,
    writer: &'a TcpStream,
    manner: &'a Manner,
    kept: &'a Mutex<Vec<Taken>>,
}

impl<'a> Conversation<'a> {
    fn new(stream: &'a TcpStream, manner: &'a Manner, kept: &'a Mutex<Vec<Taken>>) -> Self {
        Self {
            reader: BufReader::new(stream),
            writer: stream,
            manner,
            kept,
        }
    }

    fn say(&mut self, line: &str) -> Option<()> {
        self.writer.write_all(format!("{line}\r\n").as_bytes()).ok()
    }

    /// The next line without its end; none when the other side hangs up.
    fn line(&mut self) -> Option<String> {
        let mut line = Vec::new();
        self.reader.read_until(b'\n', &mut line).ok()?;
        let line = String::from_utf8(line).expect("lines of a mail are text");
        let line = line.strip_suffix("\r\n")?;
        assert!(!line.contains(['\r', '\n']), "a bare end of line: {line:?}");
        Some(line.to_owned())
    }

    /// Answers until the other side ends. That it hangs up early is its right.
    fn held(mut self) -> Option<()> {
        let (mut from, mut to, mut known) = (None, Vec::new(), false);
        self.say("220 mail.example ready")?;
        loop {
            let line = self.line()?;
            let upper = line.to_ascii_uppercase();
            let named = || {
                let start = line.find('<').expect("an address") + 1;
                line[start..line.find('>').expect("its end")].to_owned()
            };
            if upper.starts_with("EHLO ") {
                self.say("250-mail.example")?;
                self.say("250 AUTH PLAIN")?;
            } else if upper.starts_with("AUTH PLAIN ") {
                known = matches!(self.manner, Manner::Login(word) if line.ends_with(word));
                self.say(if known { "235 welcome" } else { "535 no" })?;
            } else if upper.starts_with("MAIL FROM:") {
                if matches!(self.manner, Manner::Login(_)) && !known {
                    self.say("530 log in first")?;
                    continue;
                }
                from = Some(named());
                self.say("250 ok")?;
            } else if upper.starts_with("RCPT TO:") {
                let refuses =
                    matches!(self.manner, Manner::Refuse(all) if all.contains(&named().as_str()));
                if refuses {
                    self.say("550 no such mailbox <secret@mail.example>")?;
                } else {
                    to.push(named());
                    self.say("250 ok")?;
                }
            } else if upper == "DATA" {
                self.say("354 go on")?;
                let mut data = String::new();
                loop {
                    let line = self.line()?;
                    if line == "." {
                        break;
                    }
                    // A dot at the beginning of a line was doubled (section 4.5.2).
                    data += line.strip_prefix('.').unwrap_or(&line);
                    data += "\r\n";
                }
                let kept = !matches!(self.manner, Manner::Busy);
                self.kept.lock().expect("the mails").push(Taken {
                    from: from.take().expect("a sender"),
                    to: std::mem::take(&mut to),
                    data,
                    kept,
                });
                match self.manner {
                    Manner::CutOff => return None,
                    Manner::Busy => self.say("451 not now")?,
                    _ => self.say("250 taken")?,
                }
            } else if upper == "QUIT" {
                return self.say("221 bye");
            } else if upper == "RSET" || upper == "NOOP" {
                self.say("250 ok")?;
            } else {
                self.say("502 what?")?;
            }
        }
    }
}
