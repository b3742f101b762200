//! A report as an answer: JSON, a CSV that is written while it is sent, or a spreadsheet.

use std::convert::Infallible;
use std::pin::Pin;
use std::task::{Context, Poll};

use actix_web::HttpResponse;
use actix_web::http::header::CONTENT_DISPOSITION;
use actix_web::web::{Bytes, Data};
use futures_core::Stream;

use crate::costing::export::csv_file::{csv_head, csv_part};
use crate::costing::export::sheet::file_stem;
use crate::costing::export::xlsx_file::xlsx_whole;
use crate::costing::ops::report_make;
use crate::costing::periods::ops::report_kept;
use crate::costing::reports::{Asked, Format, Report};
use crate::http::{Answer, Service};

/// How much of a CSV is written at a time, in bytes.
const PART_BYTES: usize = 64 * 1024;

/// What is sent.
enum Body {
    /// All of it.
    Whole(Vec<u8>),
    /// A report that is written while it is sent.
    Made(Box<dyn Report>),
}

/// Answers with a report, over the API or on a page.
///
/// # Errors
/// The operation's error as a problem.
pub async fn report_answer(service: &Data<Service>, asked: Asked, format: Format) -> Answer {
    let (currency, now) = (service.base_currency(), service.now());
    let body = service
        .read(move |conn| {
            if let Some(kept) = report_kept(conn, asked, format)? {
                return Ok(Body::Whole(kept));
            }
            let report = report_make(conn, asked, currency)?;
            Ok(match format {
                Format::Json => Body::Whole(report.json()?.into_bytes()),
                Format::Csv => Body::Made(report),
                Format::Xlsx => Body::Whole(xlsx_whole(&*report, now, &mut |_| {})?),
            })
        })
        .await?;
    let mut answer = HttpResponse::Ok();
    answer.content_type(format.media_type());
    if format != Format::Json {
        let (report, ending) = (asked.report, format.as_str());
        let stem = file_stem(report.name(), report.group_by(), asked.period);
        let disposition = format!("attachment; filename=\"{stem}.{ending}\"");
        answer.insert_header((CONTENT_DISPOSITION, disposition));
    }
    Ok(match body {
        Body::Whole(bytes) => answer.body(bytes),
        Body::Made(report) => answer.streaming(Parts::new(report)),
    })
}

/// A CSV in parts.
struct Parts {
    report: Box<dyn Report>,
    head: bool,
    at: usize,
}

impl Parts {
    fn new(report: Box<dyn Report>) -> Self {
        Self {
            report,
            head: true,
            at: 0,
        }
    }
}

impl Stream for Parts {
    type Item = Result<Bytes, Infallible>;

    fn poll_next(mut self: Pin<&mut Self>, _: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        if std::mem::take(&mut self.head) {
            return Poll::Ready(Some(Ok(csv_head(&*self.report).into())));
        }
        let (part, at) = csv_part(&*self.report, self.at, PART_BYTES);
        self.at = at;
        Poll::Ready((!part.is_empty()).then(|| Ok(part.into())))
    }
}
