//! Bytes from an address, on a thread of its own, so that who waits for them can stop at any moment.

use std::io::Read;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::time::Duration;

use ureq::config::RedirectAuthHeaders;
use ureq::http::{Response, StatusCode, Uri, header};
use ureq::tls::{RootCerts, TlsConfig};
use ureq::{Agent, Body, Proxy};

use super::ModelError;
use super::origin::is_this_computer;

/// How long a server may be silent.
const SILENCE: Duration = Duration::from_secs(30);

/// How the bytes of an address come.
#[derive(Debug)]
pub(super) enum Part {
    /// The server answered; comes first.
    Begins(Begin),
    /// The next bytes.
    Bytes(Vec<u8>),
    /// That was all.
    Ends,
    /// It did not work, or not to the end.
    Failed(ModelError),
}

/// What the server said of the file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Begin {
    /// Where in the file the bytes begin that follow.
    pub from: u64,
    /// The size of the whole file, if it was said.
    pub total: Option<u64>,
    /// What tells this state of the file from a later one, if it was said.
    pub mark: Option<String>,
}

/// Asks for a file from byte `from` on; with `mark` only if it is still the file it was, else from its beginning.
pub(super) fn start(
    address: &Uri,
    from: u64,
    mark: Option<String>,
    roots: RootCerts,
) -> Result<Receiver<Part>, ModelError> {
    // Few parts under way: the disk sets the pace.
    let (send, receive) = sync_channel(8);
    let address = address.clone();
    std::thread::Builder::new()
        .name("download".into())
        .spawn(move || {
            let end = run(&address, from, mark, roots, &send).map_or_else(Part::Failed, |()| Part::Ends);
            // Nobody waits for it any more after a cancel.
            let _ = send.send(end);
        })
        .map_err(|e| ModelError::Server {
            address: String::new(),
            why: format!("could not start a thread ({e}); close other programs"),
        })?;
    Ok(receive)
}

fn run(
    address: &Uri,
    from: u64,
    mark: Option<String>,
    roots: RootCerts,
    to: &SyncSender<Part>,
) -> Result<(), ModelError> {
    let mut request = agent(address, roots).get(address);
    if from > 0 {
        request = request.header(header::RANGE, format!("bytes={from}-"));
        if let Some(mark) = mark {
            request = request.header(header::IF_RANGE, mark);
        }
    }
    let response = request.call().map_err(|e| explain(address, e))?;
    let begin = begin(address, from, &response)?;
    if to.send(Part::Begins(begin)).is_err() {
        return Ok(());
    }
    let mut body = response.into_body().into_reader();
    let mut piece = vec![0; 256 * 1024];
    loop {
        let count = body
            .read(&mut piece)
            .map_err(|e| explain(address, ureq::Error::from(e)))?;
        if count == 0 || to.send(Part::Bytes(piece[..count].to_vec())).is_err() {
            return Ok(());
        }
    }
}

/// The client: trusts what this computer trusts, goes through the proxy that the environment or the system names.
fn agent(address: &Uri, roots: RootCerts) -> Agent {
    let here = address.host().is_some_and(is_this_computer);
    let encrypted = address.scheme_str() == Some("https");
    let tls = TlsConfig::builder().root_certs(roots).build();
    Agent::config_builder()
        .tls_config(tls)
        .proxy(if here { None } else { Proxy::try_from_env() })
        // An encrypted address never leads to an unencrypted one, and this computer not to another.
        .https_only(encrypted)
        .max_redirects(if encrypted { 5 } else { 0 })
        .max_redirects_will_error(false)
        .redirect_auth_headers(RedirectAuthHeaders::Never)
        .http_status_as_error(false)
        .user_agent("cableside")
        .accept_encoding("identity")
        .timeout_resolve(Some(SILENCE))
        .timeout_connect(Some(SILENCE))
        .timeout_recv_response(Some(SILENCE))
        .timeout_per_read(Some(SILENCE))
        .build()
        .new_agent()
}

/// What the answer's head says.
fn begin(address: &Uri, from: u64, response: &Response<Body>) -> Result<Begin, ModelError> {
    let refused = |why: String| ModelError::Server {
        address: address.to_string(),
        why,
    };
    let said = |name: header::HeaderName| response.headers().get(name).and_then(|v| v.to_str().ok());
    // A weak mark means "much the same", which is not enough for bytes.
    let mark = said(header::ETAG)
        .filter(|mark| !mark.starts_with("W/"))
        .or_else(|| said(header::LAST_MODIFIED))
        .map(str::to_owned);
    match response.status() {
        StatusCode::OK => Ok(Begin {
            from: 0,
            total: said(header::CONTENT_LENGTH).and_then(|text| text.parse().ok()),
            mark,
        }),
        StatusCode::PARTIAL_CONTENT => {
            let range = said(header::CONTENT_RANGE).and_then(range);
            match range {
                Some((start, total)) if start == from => Ok(Begin {
                    from: start,
                    total,
                    mark,
                }),
                _ => Err(refused(
                    "the server sent another part of the file than was asked for".to_owned(),
                )),
            }
        }
        StatusCode::RANGE_NOT_SATISFIABLE => Err(ModelError::Beyond),
        StatusCode::NOT_FOUND | StatusCode::GONE => Err(refused("there is no such file on the server".to_owned())),
        StatusCode::UNAUTHORIZED | StatusCode::FORBIDDEN => {
            Err(refused("the server does not give this file to everybody".to_owned()))
        }
        StatusCode::PROXY_AUTHENTICATION_REQUIRED => {
            Err(refused("the proxy asks for a name and a password".to_owned()))
        }
        status if status.is_redirection() => Err(refused(
            "the server leads from one address to another without end".to_owned(),
        )),
        status => Err(refused(format!("the server answered {status}"))),
    }
}

/// Start and whole size in "bytes 5-9/10".
fn range(text: &str) -> Option<(u64, Option<u64>)> {
    let (bounds, total) = text.strip_prefix("bytes ")?.split_once('/')?;
    let (start, _) = bounds.split_once('-')?;
    Some((start.trim().parse().ok()?, total.trim().parse().ok()))
}

/// The client's error as one of ours.
fn explain(address: &Uri, error: ureq::Error) -> ModelError {
    let host = address.host().unwrap_or_default().to_owned();
    let address = address.to_string();
    let certificate = |e: &dyn std::fmt::Display| {
        let text = e.to_string().to_ascii_lowercase();
        text.contains("certificate") || text.contains("unknownissuer")
    };
    match error {
        ureq::Error::HostNotFound => ModelError::Unreached {
            address,
            why: format!("{host} is not known in this network"),
        },
        ureq::Error::Timeout(_) => ModelError::Unreached {
            address,
            why: format!("nothing came for {} seconds", SILENCE.as_secs()),
        },
        ureq::Error::RequireHttpsOnly(_) => ModelError::Server {
            address,
            why: "the server leads on to an address that is not encrypted, which is not used".to_owned(),
        },
        ureq::Error::Rustls(e) if certificate(&e) => ModelError::UntrustedServer { host },
        ureq::Error::Io(e) if certificate(&e) => ModelError::UntrustedServer { host },
        other => ModelError::Unreached {
            address,
            why: other.to_string(),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_are_read() {
        assert_eq!(range("bytes 5-9/10"), Some((5, Some(10))));
        assert_eq!(range("bytes 5-9/*"), Some((5, None)));
        for other in ["bytes */10", "5-9/10", "bytes 5/10", "", "bytes a-b/c"] {
            assert_eq!(range(other), None, "{other}");
        }
    }
}
