//! The server: started on an address, ended by its handle or by itself, with the workers beside it.
//!
//! Invariants: requests in flight are answered before the server ends; the workers end after the last request.
//! Deliberately absent: signals (the command line turns them into a call of the handle).

use std::future::poll_fn;
use std::net::{SocketAddr, TcpListener};
use std::pin::pin;
use std::task::Poll;
use std::time::Duration;

use actix_web::body::MessageBody;
use actix_web::dev::{Server, ServerHandle, ServiceRequest, ServiceResponse};
use actix_web::http::Method;
use actix_web::middleware::{Next, from_fn};
use actix_web::web::{Data, FormConfig, PathConfig};
use actix_web::{App, HttpServer};
use utoipa_actix_web::AppExt;

use super::background::{Background, Worker};
use super::docs::Documentation;
use super::doors::{DOORS, PAGES};
use crate::base::Error;
use crate::http::tls::Certificates;
use crate::http::{Doors, Service, guard, path_error};
use crate::pages;

/// How a process serves.
#[derive(Debug, Clone, Copy)]
pub struct Serving<'a> {
    /// Where to listen, such as `127.0.0.1:8080`; port 0 takes any that is free.
    pub listen: &'a str,
    /// Threads that serve requests, 1 or more.
    pub threads: usize,
    /// How long the end waits for requests in flight, in seconds.
    pub shutdown_s: u64,
    /// How long the head of a request may take to arrive.
    pub head_wait: Duration,
    /// The most connections at a time, 1 or more; others wait to be let in.
    pub connections_max: usize,
    /// The work beside the requests.
    pub workers: &'a [Worker],
}

/// A server that listens.
pub struct Running {
    server: Server,
    address: SocketAddr,
    encrypted: bool,
    background: Background,
}

impl Running {
    /// The address it listens on, with its real port.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// The address with its scheme, such as `http://127.0.0.1:8080`.
    #[must_use]
    pub fn origin(&self) -> String {
        let scheme = if self.encrypted { "https" } else { "http" };
        format!("{scheme}://{}", self.address)
    }

    /// The handle that ends it.
    #[must_use]
    pub fn handle(&self) -> ServerHandle {
        self.server.handle()
    }

    /// Serves until the handle ends it; then waits for the workers.
    ///
    /// # Errors
    /// [`Error::Unavailable`] when the operating system ends the server.
    pub async fn until_ended(self) -> Result<(), Error> {
        self.until_ended_or(std::future::pending()).await
    }

    /// As [`Running::until_ended`], but waits for nothing more once `at_once` is ready. (A second call of the handle would
    /// not do: the server does not listen to it while it waits for requests in flight.)
    ///
    /// # Errors
    /// As [`Running::until_ended`].
    pub async fn until_ended_or(self, at_once: impl Future<Output = ()>) -> Result<(), Error> {
        let (mut server, mut at_once) = (pin!(self.server), pin!(at_once));
        let ended = poll_fn(|cx| match server.as_mut().poll(cx) {
            Poll::Ready(outcome) => Poll::Ready(Some(outcome)),
            Poll::Pending => at_once.as_mut().poll(cx).map(|()| None),
        });
        let Some(outcome) = ended.await else {
            return Ok(());
        };
        self.background.stop();
        outcome.map_err(|e| Error::Unavailable {
            detail: format!("the server ended: {e}"),
        })
    }
}

/// Starts to listen. To be called inside a runtime of actix.
///
/// # Errors
/// [`Error::Unavailable`] when the address is not free or not one of this machine's.
pub fn start(service: Service, serving: &Serving<'_>) -> Result<Running, Error> {
    let refused = |e: std::io::Error| Error::Unavailable {
        detail: format!("cannot listen on `{}`: {e}", serving.listen),
    };
    let documentation = Data::new(Documentation::new()?);
    let doors = Data::new(Doors::new(&[DOORS, PAGES], pages::refuse, &service));
    let shared = Data::new(service.clone());
    // Late, so that nobody waits at the door of a service that is not yet put together.
    let listener = TcpListener::bind(serving.listen).map_err(refused)?;
    let address = listener.local_addr().map_err(refused)?;
    let certificates = service.part::<Certificates>();
    let encrypted = certificates.map(Certificates::server);
    let form_bytes = service.limits().json_bytes;
    let server = HttpServer::new(move || {
        App::new()
            .app_data(shared.clone())
            .app_data(doors.clone())
            .app_data(documentation.clone())
            .app_data(PathConfig::default().error_handler(path_error))
            .app_data(
                FormConfig::default()
                    .limit(form_bytes)
                    .error_handler(pages::form_error),
            )
            .into_utoipa_app()
            .configure(super::routes)
            .into_app()
            .wrap(from_fn(head_as_get))
            .wrap(from_fn(guard))
    })
    .workers(serving.threads)
    .shutdown_timeout(serving.shutdown_s)
    .keep_alive(Duration::from_secs(5))
    .client_request_timeout(serving.head_wait)
    .max_connections(serving.connections_max.div_ceil(serving.threads.max(1)))
    .disable_signals();
    let is_encrypted = encrypted.is_some();
    let server = match encrypted {
        Some(encrypted) => server.listen_rustls_0_23(listener, encrypted),
        None => server.listen(listener),
    };
    let server = server.map_err(refused)?.run();
    let background = Background::start(&service, serving.workers)?;
    Ok(Running {
        server,
        address,
        encrypted: is_encrypted,
        background,
    })
}

/// A HEAD is answered as the GET of the same address; the server leaves the body out (RFC 9110, section 9.3.2).
async fn head_as_get<B: MessageBody + 'static>(
    mut request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<B>, actix_web::Error> {
    if request.method() == Method::HEAD {
        request.head_mut().method = Method::GET;
    }
    next.call(request).await
}
