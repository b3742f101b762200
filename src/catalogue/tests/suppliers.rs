//! Suppliers as purchases name them.

use serde_json::json;

use super::{create, pointers, refusal};
use crate::base::Error;
use crate::catalogue::{SupplierBody, entry_retire, supplier_all, supplier_by_id, supplier_ensure};
use crate::db::Db;
use crate::db::fixture::{on_database, write};

fn ensure(db: &Db, name: &str) -> Result<i64, Error> {
    write(db, |tx| supplier_ensure(tx, name))
}

#[test]
fn a_text_leads_to_one_supplier() {
    on_database(|db| {
        let made = ensure(&db, " Lab & Co ").unwrap();
        let found = db.read(|conn| supplier_by_id(conn, made)).unwrap();
        assert_eq!(
            (found.code.as_str(), found.name.as_str()),
            ("Lab-Co", "Lab & Co")
        );
        for text in ["Lab & Co", "Lab-Co", "Lab Co", "Lab, Co"] {
            assert_eq!(ensure(&db, text).unwrap(), made, "{text}");
        }
        let other = ensure(&db, "Läb & Co").unwrap();
        assert_ne!(other, made);
        assert_eq!(ensure(&db, "Läb & Co").unwrap(), other);
        assert_eq!(db.read(supplier_all).unwrap().len(), 2);
    });
}

#[test]
fn a_supplier_is_known_by_its_name() {
    on_database(|db| {
        let body = json!({"code": "s-1", "name": "Sundries Ltd"});
        let made = create::<SupplierBody>(&db, body).unwrap();
        assert_eq!(ensure(&db, "Sundries Ltd").unwrap(), made.id);
        assert_eq!(ensure(&db, "s-1").unwrap(), made.id);
    });
}

#[test]
fn a_text_that_names_nobody_is_refused() {
    on_database(|db| {
        assert_eq!(pointers(ensure(&db, "  ")), ["/supplier"]);
        assert_eq!(pointers(ensure(&db, &"x".repeat(201))), ["/supplier"]);
        ensure(&db, "Gone").unwrap();
        write(&db, |tx| entry_retire::<SupplierBody>(tx, "Gone")).unwrap();
        assert_eq!(
            refusal(ensure(&db, "Gone")),
            ("retired", json!({"code": "Gone"}))
        );
    });
}
