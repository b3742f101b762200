//! Reads a form with a file as it arrives.
//!
//! Invariants: no more of a file is kept than is taken, and what follows is read on and thrown away, so that the browser hears
//! why rather than lose its connection; fields are short, and few. Deliberately absent: what the file says.

use std::collections::HashMap;
use std::future::poll_fn;
use std::pin::Pin;

use actix_multipart::{Field, Multipart, MultipartError};
use actix_web::HttpRequest;
use actix_web::web::Payload;
use futures_core::Stream;

use crate::http::Problem;

/// The longest field that is no file, in bytes.
const FIELD_BYTES_MAX: usize = 1_024;
/// The most fields.
const FIELDS_MAX: usize = 20;
/// How many times the length of a file is read to the end before the connection is cut.
const READ_ON: usize = 4;

/// What a form brought.
#[derive(Default)]
pub(super) struct Upload {
    /// The fields by name.
    pub(super) fields: HashMap<String, String>,
    /// The file: its name and its bytes. None when none was chosen.
    pub(super) file: Option<(String, Vec<u8>)>,
    /// Whether the file is longer than is taken; then nothing of it is here.
    pub(super) too_long: bool,
}

async fn next<S: Stream + Unpin>(stream: &mut S) -> Option<S::Item> {
    poll_fn(|context| Pin::new(&mut *stream).poll_next(context)).await
}

fn malformed(error: MultipartError) -> Problem {
    Problem::malformed(format!("the form was not understood: {error}"))
}

/// Reads a form, of which one field, `file`, is a file of at most `file_bytes_max`.
///
/// # Errors
/// 400 when it is no such form; 413 when it is far too long.
pub(super) async fn upload_read(
    request: &HttpRequest,
    payload: Payload,
    file_bytes_max: usize,
) -> Result<Upload, Problem> {
    let mut parts = Multipart::new(request.headers(), payload);
    let mut upload = Upload::default();
    let read_max = file_bytes_max.saturating_mul(READ_ON);
    while let Some(field) = next(&mut parts).await {
        let mut field = field.map_err(malformed)?;
        let name = field.name().unwrap_or_default().to_owned();
        if name == "file" {
            file_read(&mut field, &mut upload, (file_bytes_max, read_max)).await?;
            continue;
        }
        if upload.fields.len() >= FIELDS_MAX {
            return Err(Problem::malformed(
                "the form has too many fields".to_owned(),
            ));
        }
        let mut bytes = Vec::new();
        while let Some(chunk) = next(&mut field).await {
            bytes.extend_from_slice(&chunk.map_err(malformed)?);
            if bytes.len() > FIELD_BYTES_MAX {
                return Err(Problem::malformed(format!("the field {name} is too long")));
            }
        }
        let text = String::from_utf8_lossy(&bytes).into_owned();
        upload.fields.insert(name, text);
    }
    Ok(upload)
}

async fn file_read(
    field: &mut Field,
    upload: &mut Upload,
    (kept_max, read_max): (usize, usize),
) -> Result<(), Problem> {
    let disposition = field.content_disposition();
    let name = disposition.and_then(|of| of.get_filename());
    let name = name.unwrap_or_default().to_owned();
    let (mut bytes, mut read) = (Vec::new(), 0_usize);
    while let Some(chunk) = next(field).await {
        let chunk = chunk.map_err(malformed)?;
        read = read.saturating_add(chunk.len());
        if read > read_max {
            return Err(Problem::too_large(kept_max));
        }
        if read > kept_max {
            upload.too_long = true;
            bytes = Vec::new();
        } else {
            bytes.extend_from_slice(&chunk);
        }
    }
    // A form without a chosen file sends an empty one without a name.
    let none_chosen = name.is_empty() && bytes.is_empty();
    if !(upload.too_long || none_chosen) {
        upload.file = Some((name, bytes));
    }
    Ok(())
}
