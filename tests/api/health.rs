//! Whether the service lives, and whether it says so truly.

use std::sync::mpsc;

use crate::support::TestApp;

#[test]
fn a_service_that_can_work_says_so() {
    let app = TestApp::start();
    for path in ["/healthz", "/readyz"] {
        let answer = app.nobody().get(path).expect(200);
        assert_eq!(answer.json(), serde_json::json!({"status": "ok"}));
    }
}

#[test]
fn without_a_database_it_lives_but_is_not_ready() {
    let app = TestApp::with(|settings| (settings.db_connections, settings.db_wait_ms) = (1, 100));
    let (taken, wait_taken) = mpsc::channel();
    let (give_back, wait_give_back) = mpsc::channel::<()>();
    let db = app.service.db().clone();
    let holder = std::thread::spawn(move || {
        db.read(|_| {
            taken.send(()).unwrap();
            wait_give_back.recv().unwrap();
            Ok(())
        })
    });
    wait_taken.recv().unwrap();
    let nobody = app.nobody();
    nobody.get("/healthz").expect(200);
    let answer = nobody.get("/readyz").expect(503);
    assert_eq!(
        (answer.problem().as_str(), answer.header("retry-after")),
        ("unavailable", "2")
    );
    assert_eq!(app.get("/v1/tokens").expect(503).problem(), "unavailable");
    give_back.send(()).unwrap();
    holder.join().unwrap().unwrap();
    nobody.get("/readyz").expect(200);
}
