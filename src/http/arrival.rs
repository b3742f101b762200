//! A body that must arrive in time, so that whoever sends slowly holds nothing for long.

use std::io;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;

use actix_web::HttpMessage;
use actix_web::dev::{Payload, ServiceRequest};
use actix_web::error::PayloadError;
use actix_web::web::Bytes;
use futures_core::Stream;
use tokio::time::{Sleep, sleep};

/// A body and when it must be here.
struct Arriving {
    body: Payload,
    over: Pin<Box<Sleep>>,
}

impl Stream for Arriving {
    type Item = Result<Bytes, PayloadError>;

    fn poll_next(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Self::Item>> {
        if let Poll::Ready(chunk) = Pin::new(&mut self.body).poll_next(cx) {
            return Poll::Ready(chunk);
        }
        self.over.as_mut().poll(cx).map(|()| {
            let late = io::Error::new(io::ErrorKind::TimedOut, "it took too long to arrive");
            Some(Err(PayloadError::Io(late)))
        })
    }
}

/// Gives the body of a request, if it has one, `wait` to arrive; then reading it fails.
pub(super) fn hurry(request: &mut ServiceRequest, wait: Duration) {
    if matches!(request.parts_mut().1, Payload::None) {
        return;
    }
    let body = request.take_payload();
    let arriving = Arriving {
        body,
        over: Box::pin(sleep(wait)),
    };
    request.set_payload(Payload::Stream {
        payload: Box::pin(arriving),
    });
}

/// Whether reading a body failed because it did not arrive in time.
pub(super) fn was_late(error: &PayloadError) -> bool {
    matches!(error, PayloadError::Io(error) if error.kind() == io::ErrorKind::TimedOut)
}
