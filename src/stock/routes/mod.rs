//! The addresses of the stock room, one file per noun.
//!
//! Invariant: a handler parses, makes one call and wraps the answer; a bench event is answered with the lot as it is now.
//! Deliberately absent: who may call what (the table of doors says).

mod lots;
mod movements;
mod packs;
mod verify;
mod warnings;

use actix_web::web::Data;
use utoipa_actix_web::service_config::ServiceConfig;

use super::views::lot_show;
use crate::base::Error;
use crate::db::Tx;
use crate::http::{Answer, NoBody, Reply, Service};

/// Adds the stock room's operations.
pub fn routes(cfg: &mut ServiceConfig<'_>) {
    cfg.configure(lots::routes)
        .configure(packs::routes)
        .configure(movements::routes)
        .configure(warnings::routes)
        .configure(verify::routes);
}

/// Runs an event that returns the lot it touched, and answers with that lot as it is now.
async fn event(
    service: &Data<Service>,
    request: NoBody,
    act: impl FnOnce(&mut Tx<'_>) -> Result<i64, Error> + Send + 'static,
) -> Answer {
    service
        .write(request, move |tx| {
            let lot_id = act(tx)?;
            let lot = lot_show(tx.conn, lot_id, tx.today)?;
            Ok(Reply::ok(&lot)?.with_version(lot.version))
        })
        .await
}
