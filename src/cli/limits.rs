//! The settings of what a request may bring, how long it may take, and how often one may ask.

use std::time::Duration;

use clap::Args;

use crate::http::Limits;
use crate::purchasing::csv_file::Limits as CsvLimits;

/// What was given of limits.
#[derive(Debug, Args)]
pub(super) struct GivenLimits {
    /// The longest JSON body or form, in bytes.
    #[arg(long, global = true, env = "HEELTAP_BODY_LIMIT_BYTES", hide_env_values = true, default_value_t = 1_048_576, value_parser = clap::value_parser!(u32).range(1024..=1_073_741_824))]
    body_limit_bytes: u32,
    /// The longest file (a CSV of purchases), in bytes.
    #[arg(long, global = true, env = "HEELTAP_FILE_LIMIT_BYTES", hide_env_values = true, default_value_t = 52_428_800, value_parser = clap::value_parser!(u32).range(1024..=1_073_741_824))]
    file_limit_bytes: u32,
    /// The most rows of a CSV file, below its header.
    #[arg(long, global = true, env = "HEELTAP_CSV_ROWS_MAX", hide_env_values = true, default_value_t = 100_000, value_parser = clap::value_parser!(u32).range(1..=10_000_000))]
    csv_rows_max: u32,
    /// The longest cell of a CSV file, in characters.
    #[arg(long, global = true, env = "HEELTAP_CSV_CELL_CHARS_MAX", hide_env_values = true, default_value_t = 4_096, value_parser = clap::value_parser!(u32).range(1..=1_048_576))]
    csv_cell_chars_max: u32,
    /// How deep arrays and objects of a JSON body may stand in one another.
    #[arg(long, global = true, env = "HEELTAP_JSON_DEPTH_MAX", hide_env_values = true, default_value_t = 32, value_parser = clap::value_parser!(u32).range(1..=100))]
    json_depth_max: u32,
    /// The longest path with its query, in bytes.
    #[arg(long, global = true, env = "HEELTAP_TARGET_LIMIT_BYTES", hide_env_values = true, default_value_t = 16_384, value_parser = clap::value_parser!(u32).range(1024..=65_536))]
    target_limit_bytes: u32,
    /// The longest head of a request, all headers together, in bytes.
    #[arg(long, global = true, env = "HEELTAP_HEAD_LIMIT_BYTES", hide_env_values = true, default_value_t = 32_768, value_parser = clap::value_parser!(u32).range(1024..=65_536))]
    head_limit_bytes: u32,
    /// The most rows of a page of a list.
    #[arg(long, global = true, env = "HEELTAP_PAGE_ROWS_MAX", hide_env_values = true, default_value_t = 1_000, value_parser = clap::value_parser!(i64).range(1..=1_000))]
    page_rows_max: i64,
    /// How long the head of a request may take to arrive, in milliseconds.
    #[arg(long, global = true, env = "HEELTAP_HEAD_WAIT_MS", hide_env_values = true, default_value_t = 5_000, value_parser = clap::value_parser!(u64).range(100..=60_000))]
    head_wait_ms: u64,
    /// How long the body of a request may take to arrive, in seconds.
    #[arg(long, global = true, env = "HEELTAP_BODY_WAIT_S", hide_env_values = true, default_value_t = 120, value_parser = clap::value_parser!(u64).range(1..=3_600))]
    body_wait_s: u64,
    /// The most connections at a time; others wait to be let in.
    #[arg(long, global = true, env = "HEELTAP_CONNECTIONS_MAX", hide_env_values = true, default_value_t = 1_000, value_parser = clap::value_parser!(u32).range(1..=100_000))]
    connections_max: u32,
    /// The most requests of one token in a second, 0 for no limit.
    #[arg(
        long,
        global = true,
        env = "HEELTAP_TOKEN_RATE_PER_S",
        hide_env_values = true,
        default_value_t = 1_000
    )]
    token_rate_per_s: u32,
    /// The most requests from one address in a second, 0 for no limit.
    #[arg(
        long,
        global = true,
        env = "HEELTAP_ADDRESS_RATE_PER_S",
        hide_env_values = true,
        default_value_t = 2_000
    )]
    address_rate_per_s: u32,
    /// The most attempts to sign in from one address in a minute, 0 for no limit.
    #[arg(
        long,
        global = true,
        env = "HEELTAP_SIGN_INS_PER_MIN",
        hide_env_values = true,
        default_value_t = 20
    )]
    sign_ins_per_min: u32,
}

impl GivenLimits {
    /// What a request may bring, and how often one may ask.
    pub(super) fn limits(&self) -> Limits {
        Limits {
            json_bytes: count(self.body_limit_bytes),
            file_bytes: count(self.file_limit_bytes),
            json_depth: count(self.json_depth_max),
            target_bytes: count(self.target_limit_bytes),
            head_bytes: count(self.head_limit_bytes),
            page_rows: self.page_rows_max,
            body_wait: Duration::from_secs(self.body_wait_s),
            token_per_s: self.token_rate_per_s,
            address_per_s: self.address_rate_per_s,
            sign_ins_per_min: self.sign_ins_per_min,
        }
    }

    /// What a file of rows may hold.
    pub(super) fn csv(&self) -> CsvLimits {
        CsvLimits {
            field_chars_max: count(self.csv_cell_chars_max),
            rows_max: count(self.csv_rows_max),
        }
    }

    /// How long the head of a request may take.
    pub(super) fn head_wait(&self) -> Duration {
        Duration::from_millis(self.head_wait_ms)
    }

    /// The most connections.
    pub(super) fn connections_max(&self) -> usize {
        count(self.connections_max)
    }
}

fn count(given: u32) -> usize {
    usize::try_from(given).unwrap_or(usize::MAX)
}
