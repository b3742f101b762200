//! Drafts: a purchase file is kept as it came, looked at as often as one likes, and received once.
//!
//! Invariants: a look at a draft is the dry run of its file at that moment; receiving it is the import of its file, and lets go
//! of its bytes in the same transaction, so that a draft either waits whole or is in the books whole, whenever a process ends.
//! Several processes may receive one draft: the import makes each line once, and the last finds all in the books.
//! Deliberately absent: how far an import is (`commits`).

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use sha2::{Digest, Sha256};

use super::imports::{ImportSettings, Progress, import_commit_watched, import_preview};
use crate::base::{Currency, Error, RefusalKind};
use crate::db::{AnyConnection, Tx, instant, stored_instant};
use crate::http::Service;
use crate::purchasing::csv_file::{Delimiter, Encoding, FileFormat, Limits, Table, read_table};
use crate::purchasing::import::ImportOptions;
use crate::purchasing::landed::SpreadBasis;
use crate::purchasing::number::DecimalMark;
use crate::purchasing::report::ImportReport;
use crate::purchasing::row::COLUMNS;
use crate::purchasing::store::{self, DraftRow, DraftSettings};

/// How long a draft is kept, in hours (*assumption*): over a night and a day of mending. The daily work forgets it then.
pub const DRAFT_HOURS: i64 = 48;
/// The most drafts that wait at once (*assumption*); each may be as long as a file may be.
pub const DRAFTS_MAX: i64 = 50;
/// The longest name that is kept of a file, in characters.
const NAME_CHARS_MAX: usize = 120;

/// A draft.
#[derive(Debug, Clone)]
pub struct DraftView {
    /// Its id.
    pub id: i64,
    /// The file's name.
    pub name: String,
    /// How long the file is, in bytes.
    pub file_bytes: i64,
    /// How it is to be read and taken.
    pub settings: ImportSettings,
    /// When it was kept.
    pub created_at: DateTime<Utc>,
    /// Who sent it.
    pub created_by: String,
    /// What became of it; none while it waits.
    pub settled: Option<Settled>,
}

/// A draft whose rows are in the books.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Settled {
    /// The import that brought them; none when others had brought every row before.
    pub import_id: Option<i64>,
}

/// What a look at a draft shows.
pub enum Look {
    /// The file as a whole cannot be used.
    Unusable {
        /// Why, and what to do.
        detail: String,
    },
    /// What would become of each row, and its cells.
    Rows {
        /// The dry run.
        report: ImportReport,
        /// The file.
        table: Table,
    },
    /// It waits no longer.
    Settled,
}

fn settings_row(settings: &ImportSettings) -> DraftSettings {
    DraftSettings {
        delimiter: settings.format.delimiter.name(),
        decimal_mark: settings.decimal.name(),
        encoding: settings.format.encoding.name(),
        spread_by: settings.options.spread_by.name(),
        confirm_repeated_freight: settings.options.confirm_repeated_freight,
    }
}

fn settings_of(row: &DraftRow) -> Option<ImportSettings> {
    Some(ImportSettings {
        format: FileFormat {
            delimiter: Delimiter::parse(&row.delimiter)?,
            encoding: Encoding::parse(&row.encoding)?,
            ..FileFormat::default()
        },
        decimal: DecimalMark::parse(&row.decimal_mark)?,
        options: ImportOptions {
            confirm_repeated_freight: row.confirm_repeated_freight,
            spread_by: SpreadBasis::parse(&row.spread_by)?,
        },
    })
}

fn shown(row: DraftRow) -> Result<DraftView, Error> {
    let settings = settings_of(&row)
        .ok_or_else(|| Error::internal(format!("draft {} does not read back", row.id)))?;
    let import_id = row.import_id;
    Ok(DraftView {
        id: row.id,
        name: row.name,
        file_bytes: row.file_bytes,
        settings,
        created_at: instant(row.created_at),
        created_by: row.created_by,
        settled: row.settled_at.map(|_| Settled { import_id }),
    })
}

/// Keeps a file as a draft; returns its id. A file that waits already under the same name is not kept twice: it is then read as
/// is said now.
///
/// # Errors
/// [`Error::Invalid`] at `/file` when it is empty; [`Error::Refused`] when too many wait.
pub fn draft_keep(
    tx: &mut Tx<'_>,
    name: &str,
    bytes: &[u8],
    settings: &ImportSettings,
) -> Result<i64, Error> {
    if bytes.is_empty() {
        return Err(Error::invalid("/file", "the file is empty"));
    }
    let name: String = name.trim().chars().take(NAME_CHARS_MAX).collect();
    let name = match name.is_empty() {
        true => "purchases.csv".to_owned(),
        false => name,
    };
    let file_sha256 = hex::encode(Sha256::digest(bytes));
    if let Some(id) = store::draft_waiting(tx.conn, (&name, &file_sha256))? {
        store::draft_restate(tx.conn, id, settings_row(settings))?;
        return Ok(id);
    }
    if store::drafts_waiting(tx.conn, DRAFTS_MAX)?.len() as i64 >= DRAFTS_MAX {
        let detail = format!(
            "{DRAFTS_MAX} files wait to be received, and no more are kept: receive or forget one of them first"
        );
        return Err(Error::refused(RefusalKind::WrongState, detail));
    }
    store::draft_insert(tx, (&name, bytes, &file_sha256), settings_row(settings))
}

/// One draft.
///
/// # Errors
/// [`Error::NotFound`] when there is none, or none any more.
pub fn draft_get(conn: &mut AnyConnection, id: i64) -> Result<DraftView, Error> {
    let row = store::draft_fetch(conn, id)?;
    shown(row.ok_or_else(|| Error::not_found("file", id))?)
}

/// The drafts that wait, the newest first.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn drafts_waiting(conn: &mut AnyConnection) -> Result<Vec<DraftView>, Error> {
    let rows = store::drafts_waiting(conn, DRAFTS_MAX)?;
    rows.into_iter().map(shown).collect()
}

/// What receiving a draft would do now, of a file within `limits`.
///
/// # Errors
/// [`Error::NotFound`] when there is no such draft.
pub fn draft_look(
    conn: &mut AnyConnection,
    id: i64,
    circumstances: (NaiveDate, Currency),
    limits: Limits,
) -> Result<(DraftView, Look), Error> {
    let mut draft = draft_get(conn, id)?;
    draft.settings.format.limits = limits;
    let Some(bytes) = store::draft_file(conn, id)? else {
        return Ok((draft, Look::Settled));
    };
    let report = match import_preview(conn, &bytes, &draft.settings, circumstances) {
        Ok(report) => report,
        Err(Error::Refused(refusal)) if refusal.kind == RefusalKind::ImportRejected => {
            let detail = refusal.detail;
            return Ok((draft, Look::Unusable { detail }));
        }
        Err(error) => return Err(error),
    };
    let table = read_table(&bytes, COLUMNS, &draft.settings.format).map_err(Error::internal)?;
    Ok((draft, Look::Rows { report, table }))
}

/// Changes how a draft that waits is to be read and taken.
///
/// # Errors
/// [`Error::NotFound`] when there is no such draft.
pub fn draft_restate(tx: &mut Tx<'_>, id: i64, settings: &ImportSettings) -> Result<(), Error> {
    draft_get(tx.conn, id)?;
    store::draft_restate(tx.conn, id, settings_row(settings))
}

/// Forgets a draft; nothing of what it said is written.
///
/// # Errors
/// [`Error::NotFound`] when there is no such draft.
pub fn draft_forget(tx: &mut Tx<'_>, id: i64) -> Result<(), Error> {
    draft_get(tx.conn, id)?;
    store::draft_remove(tx.conn, id)
}

/// Receives a draft within `limits`, whole or not at all, and tells `watch` how far it is. One that is in the books is left alone.
///
/// # Errors
/// As [`import_commit`](super::import_commit); [`Error::NotFound`] when there is no such draft.
pub fn draft_commit(
    tx: &mut Tx<'_>,
    id: i64,
    limits: Limits,
    watch: &mut dyn FnMut(Progress),
) -> Result<(), Error> {
    let mut draft = draft_get(tx.conn, id)?;
    draft.settings.format.limits = limits;
    let Some(bytes) = store::draft_file(tx.conn, id)? else {
        return Ok(());
    };
    let report = import_commit_watched(tx, &bytes, &draft.settings, watch)?;
    store::draft_settle(tx, id, report.id)
}

/// Forgets the drafts whose hours are over.
///
/// # Errors
/// [`Error::Unavailable`] when the database does not answer.
pub fn drafts_forget(service: &Service) -> Result<(), Error> {
    let before = stored_instant(service.now() - TimeDelta::hours(DRAFT_HOURS));
    service
        .db()
        .write(|conn| store::drafts_forget(conn, before))
}
