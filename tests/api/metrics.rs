//! What the process counts of itself, over HTTP.

use heeltap::http::Role;

use crate::support::TestApp;

/// The value of a series in the text of `/metrics`; none when it is not there.
pub(crate) fn metric(text: &str, series: &str) -> Option<i64> {
    let line = text
        .lines()
        .find_map(|line| line.strip_prefix(series)?.strip_prefix(' '));
    line.map(|value| value.parse().expect("a whole number"))
}

#[test]
fn requests_are_counted_by_method_route_and_status() {
    let app = TestApp::start();
    app.get("/v1/lots/7").expect(404);
    app.get("/v1/lots/8").expect(404);
    app.get("/nowhere/at/all").expect(404);
    app.nobody().get("/v1/lots/8").expect(401);
    let shown = app.role(Role::Reader).get("/metrics").expect(200);
    assert_eq!(shown.header("content-type"), "text/plain; version=0.0.4");
    let requests = |method: &str, route: &str, status: u16| {
        let series = format!(
            "heeltap_http_requests_total{{method=\"{method}\",route=\"{route}\",status=\"{status}\"}}"
        );
        metric(&shown.text, &series)
    };
    assert_eq!(requests("GET", "/v1/lots/{id}", 404), Some(2));
    assert_eq!(requests("GET", "/v1/lots/{id}", 401), Some(1));
    assert_eq!(requests("GET", "none", 404), Some(1));
    assert_eq!(requests("POST", "/v1/tokens", 201), Some(1));
    assert!(!shown.text.contains("/v1/lots/7") && !shown.text.contains("nowhere"));
    let took =
        "heeltap_http_request_duration_seconds_count{method=\"GET\",route=\"/v1/lots/{id}\"}";
    assert_eq!(metric(&shown.text, took), Some(3));
    let open = metric(&shown.text, "heeltap_db_connections_open");
    assert!(open.is_some_and(|open| open >= 1), "{open:?}");
    assert!(!shown.text.contains("heeltap_rates_"), "nothing is fetched");
}

#[test]
fn every_line_is_of_the_text_format() {
    let app = TestApp::start();
    app.get("/v1/lots").expect(200);
    let text = app.get("/metrics").expect(200).text;
    assert!(text.ends_with('\n'));
    for line in text.lines() {
        let known = line.starts_with("# HELP heeltap_") || line.starts_with("# TYPE heeltap_");
        let value = line.rsplit_once(' ').map(|(_, value)| value.parse::<f64>());
        let series = line.starts_with("heeltap_") && value.is_some_and(|value| value.is_ok());
        assert!(known || series, "{line}");
    }
}
