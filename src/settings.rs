//! Settings: every flag, environment variable and limit, in one table.
//!
//! The README documents each of them; `tests/it/tidy.rs` fails when one is missing there.

use clap::Args;
use std::{
    net::SocketAddr,
    path::{Path, PathBuf},
};

/// Where the record lives and where the server listens.
#[derive(Args, Clone, Debug)]
pub struct Settings {
    /// Folder that holds the record (glebe.sqlite) and its automatic backups
    #[arg(long, env = "GLEBE_DATA", default_value = DATA, global = true)]
    pub data: PathBuf,
    /// Address and port to serve on
    #[arg(long, env = "GLEBE_LISTEN", default_value = "127.0.0.1:8017", global = true)]
    pub listen: SocketAddr,
    /// Set when a proxy in front serves the pages over HTTPS: cookies are then marked Secure
    #[arg(long, env = "GLEBE_HTTPS", global = true)]
    pub https: bool,
}

/// The folder of the record where none is named.
const DATA: &str = ".data";

impl Settings {
    /// Whether somebody named a folder, by flag or variable.
    pub fn data_is_named(&self) -> bool {
        self.data != Path::new(DATA)
    }
}

/// Largest form body taken, bytes.
pub const FORM_BYTES_MAX: usize = 256 << 10;
/// Largest file taken as an attachment or an import, bytes.
pub const UPLOAD_BYTES_MAX: usize = 10 << 20;
/// Longest time a page may take, seconds.
pub const REQUEST_SECONDS_MAX: u64 = 30;
/// Time given to requests in flight when the server is told to stop, seconds.
pub const STOP_SECONDS_MAX: u64 = 10;
/// Fewest characters of a password.
pub const PASSWORD_CHARS_MIN: usize = 12;
/// Most characters of a password.
pub const PASSWORD_CHARS_MAX: usize = 256;
/// Password hashes computed at once; each takes 19 MiB.
pub const HASHES_AT_ONCE: usize = 2;
/// Passwords that may be tried for a name before it has to wait.
pub const SIGN_IN_TRIES: u32 = 5;
/// The longest wait before a name may be tried again, minutes; the first is one.
pub const SIGN_IN_WAIT_MINUTES_MAX: i64 = 15;
/// Names whose tries are counted at once; beyond it the least tried are forgotten.
pub const SIGN_INS_COUNTED: usize = 2_000;
/// How long the first-start link is good, minutes.
pub const SETUP_LINK_MINUTES: i64 = 30;
/// A session that was not used for this many days ends.
pub const SESSION_IDLE_DAYS: i64 = 30;
/// A session ends after this many days whatever happens.
pub const SESSION_DAYS: i64 = 90;
/// Requests worked on at once; others wait their turn. More would only slow each other down.
pub const REQUESTS_AT_ONCE: usize = 6;
/// Season plans solved at once; each keeps one core busy for seconds.
pub const SOLVES_AT_ONCE: usize = 2;
/// A solve that takes longer than this shows how far it is.
pub const SOLVE_SHOWN_AFTER_MILLISECONDS: u64 = 1_000;
/// A solve at which no page has looked for this long ends with what it has, seconds.
pub const SOLVE_LEFT_SECONDS: u64 = 15;
/// How long a plan is searched for, unless it says otherwise, seconds.
pub const SOLVE_SECONDS: u16 = 5;
/// From so many plots on a plan is searched for [`SOLVE_SECONDS_MANY`], unless it says otherwise.
pub const SOLVE_MANY_PLOTS: usize = 100;
/// How long a plan of many plots is searched for, seconds.
pub const SOLVE_SECONDS_MANY: u16 = 15;
/// What the comparison of a plan with one recipe for each block gets of the time at least, seconds.
pub const SOLVE_SECONDS_COMPARED: u64 = 1;
/// The longest that a plan may ask to be searched for, seconds.
pub const SOLVE_SECONDS_MAX: u16 = 120;
/// How long a page may try what would be otherwise, milliseconds.
pub const TRY_MILLISECONDS: u64 = 2_500;
/// How long a page may work out the points of a trade-off, milliseconds.
pub const TRADE_MILLISECONDS: u64 = 8_000;
