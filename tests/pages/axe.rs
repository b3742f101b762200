//! A page looked at by another library: axe-core, which knows the rules of WCAG.
//!
//! The library is no part of the project: `.ci/pages` fetches it from npm at the version below, and says where it lies.
//! Source of the rules: W3C, Web Content Accessibility Guidelines (WCAG) 2.2, levels A and AA, and the library's own best
//! practices.

use serde_json::Value;

use crate::window::Window;

/// The library's text.
pub(crate) fn library() -> String {
    let path =
        std::env::var("HEELTAP_AXE").expect("HEELTAP_AXE must name axe.min.js: see .ci/pages");
    std::fs::read_to_string(path).expect("axe.min.js")
}

/// What the library finds wrong with the page that is open.
#[track_caller]
pub(crate) fn violations(window: &Window, library: &str) -> Vec<String> {
    window.ask(library);
    let found = window.ask_later(
        "const done = arguments[arguments.length - 1]; \
         axe.run(document, {resultTypes: ['violations'], \
           runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']}) \
         .then(found => done({passed: found.passes.length, violations: found.violations.map(v => \
            [v.id, v.help, v.nodes.slice(0, 3).map(n => n.html.slice(0, 160) + ' | ' + n.failureSummary)])}), \
          error => done({error: String(error)}))",
    );
    let path = window.path();
    assert!(
        found["passed"].as_u64() > Some(5),
        "{path} was not looked at: {found}"
    );
    let violations = found["violations"].as_array().expect("a list");
    let says = |violation: &Value| serde_json::to_string_pretty(violation).unwrap_or_default();
    violations
        .iter()
        .map(|violation| format!("{path}: {}", says(violation)))
        .collect()
}
