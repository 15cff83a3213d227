//! A small server of files on this computer's own loopback, with or without a self-made certificate, and a proxy.
#![allow(
    dead_code,
    clippy::unwrap_used,
    missing_docs,
    reason = "a test fails by panicking, and not every test uses everything"
)]
#![allow(clippy::disallowed_methods, reason = "threads of a test need no names")]

use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::net::{SocketAddr, TcpListener, TcpStream};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// What a client asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Asked {
    pub path: String,
    /// The byte it wants to begin with.
    pub range: Option<u64>,
    pub if_range: Option<String>,
}

/// What it gets.
#[derive(Debug, Clone, Default)]
pub struct Reply {
    /// Status and headers, without the end of the last line.
    pub head: String,
    pub body: Vec<u8>,
    /// Only so many bytes of the body, then the connection ends, or is silent.
    pub cut: Option<usize>,
    pub silent: bool,
}

impl Reply {
    pub fn new(head: &str, body: &[u8]) -> Self {
        Self {
            head: format!("HTTP/1.1 {head}\r\nContent-Length: {}", body.len()),
            body: body.to_vec(),
            ..Self::default()
        }
    }

    /// A file, or the part of it that was asked for, if it is the same file still.
    pub fn file(asked: &Asked, bytes: &[u8], mark: &str) -> Self {
        let same = asked.if_range.as_deref().is_none_or(|known| known == mark);
        match asked.range.filter(|_| same) {
            Some(from) if from >= bytes.len() as u64 => Self::new("416 Range Not Satisfiable", b""),
            Some(from) => {
                let (whole, last) = (bytes.len(), bytes.len() - 1);
                Self::new(
                    &format!("206 Partial Content\r\nETag: {mark}\r\nContent-Range: bytes {from}-{last}/{whole}"),
                    &bytes[usize::try_from(from).unwrap()..],
                )
            }
            None => Self::new(&format!("200 OK\r\nETag: {mark}"), bytes),
        }
    }

    pub fn cut(mut self, after: usize) -> Self {
        self.cut = Some(after);
        self
    }

    pub fn silent(mut self, after: usize) -> Self {
        self.silent = true;
        self.cut(after)
    }
}

pub struct Server {
    pub at: SocketAddr,
    asked: Arc<Mutex<Vec<Asked>>>,
}

type Answer = Arc<dyn Fn(&Asked, usize) -> Reply + Send + Sync>;

impl Server {
    /// Answers each request by what the function makes of it and of the number of requests before it.
    pub fn start(
        tls: Option<Arc<rustls::ServerConfig>>,
        answer: impl Fn(&Asked, usize) -> Reply + Send + Sync + 'static,
    ) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let at = listener.local_addr().unwrap();
        let asked = Arc::new(Mutex::new(Vec::new()));
        let (seen, answer): (_, Answer) = (asked.clone(), Arc::new(answer));
        std::thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                let (tls, seen, answer) = (tls.clone(), seen.clone(), answer.clone());
                std::thread::spawn(move || match tls {
                    None => serve(stream, &seen, &answer),
                    Some(tls) => {
                        let connection = rustls::ServerConnection::new(tls).unwrap();
                        serve(rustls::StreamOwned::new(connection, stream), &seen, &answer);
                    }
                });
            }
        });
        Self { at, asked }
    }

    pub fn asked(&self) -> Vec<Asked> {
        self.asked.lock().unwrap().clone()
    }

    pub fn address(&self, path: &str) -> String {
        format!("http://{}{path}", self.at)
    }
}

fn serve(stream: impl Read + Write, seen: &Mutex<Vec<Asked>>, answer: &Answer) {
    let mut stream = BufReader::new(stream);
    let mut lines = Vec::new();
    loop {
        let mut line = String::new();
        match stream.read_line(&mut line) {
            // A client that trusts nobody hangs up.
            Ok(0) | Err(_) => return,
            Ok(_) if line.trim().is_empty() => break,
            Ok(_) => lines.push(line.trim().to_owned()),
        }
    }
    let header = |name: &str| {
        lines.iter().find_map(|line| {
            let (found, value) = line.split_once(':')?;
            found.eq_ignore_ascii_case(name).then(|| value.trim().to_owned())
        })
    };
    let asked = Asked {
        path: lines[0].split(' ').nth(1).unwrap().to_owned(),
        range: header("range").map(|r| r.trim_start_matches("bytes=").trim_end_matches('-').parse().unwrap()),
        if_range: header("if-range"),
    };
    let before = {
        let mut seen = seen.lock().unwrap();
        seen.push(asked.clone());
        seen.len() - 1
    };
    let reply = answer(&asked, before);
    let stream = stream.get_mut();
    let part = &reply.body[..reply.cut.unwrap_or(reply.body.len()).min(reply.body.len())];
    // The client may have gone.
    let _ = write!(stream, "{}\r\nConnection: close\r\n\r\n", reply.head)
        .and_then(|()| stream.write_all(part))
        .and_then(|()| stream.flush());
    if reply.silent {
        std::thread::sleep(Duration::from_mins(2));
    }
}

/// A certificate for these names and its key, as a server needs them, and as a file for who is to trust it.
pub fn certificate(names: &[&str]) -> (Arc<rustls::ServerConfig>, String) {
    let names: Vec<String> = names.iter().map(|n| (*n).to_owned()).collect();
    let made = rcgen::generate_simple_self_signed(names).unwrap();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let key = rustls::pki_types::PrivateKeyDer::try_from(made.signing_key.serialize_der()).unwrap();
    let config = rustls::ServerConfig::builder_with_provider(provider)
        .with_safe_default_protocol_versions()
        .unwrap()
        .with_no_client_auth()
        .with_single_cert(vec![made.cert.der().clone()], key)
        .unwrap();
    (Arc::new(config), made.cert.pem())
}

/// A proxy that leads every connection to `to`, whatever name it asks for; the names are noted.
pub fn proxy(to: SocketAddr) -> (SocketAddr, Arc<Mutex<Vec<String>>>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let at = listener.local_addr().unwrap();
    let names = Arc::new(Mutex::new(Vec::new()));
    let noted = names.clone();
    std::thread::spawn(move || {
        for client in listener.incoming().flatten() {
            let noted = noted.clone();
            std::thread::spawn(move || {
                let mut head = Vec::new();
                let mut byte = [0];
                while !head.ends_with(b"\r\n\r\n") {
                    if (&client).read(&mut byte).unwrap_or(0) == 0 {
                        return;
                    }
                    head.push(byte[0]);
                }
                let head = String::from_utf8(head).unwrap();
                noted.lock().unwrap().push(head.lines().next().unwrap().to_owned());
                let server = TcpStream::connect(to).unwrap();
                (&client).write_all(b"HTTP/1.1 200 Connected\r\n\r\n").unwrap();
                let (a, b) = (client.try_clone().unwrap(), server.try_clone().unwrap());
                std::thread::spawn(move || pipe(&a, &b));
                pipe(&server, &client);
            });
        }
    });
    (at, names)
}

fn pipe(mut from: &TcpStream, mut to: &TcpStream) {
    let mut piece = vec![0; 64 * 1024];
    loop {
        match from.read(&mut piece) {
            Ok(0) => break,
            Ok(count) if to.write_all(&piece[..count]).is_err() => break,
            Ok(_) => {}
            Err(e) if e.kind() == ErrorKind::Interrupted => {}
            Err(_) => break,
        }
    }
    // Either side may have gone already.
    let _ = to.shutdown(std::net::Shutdown::Write);
}
