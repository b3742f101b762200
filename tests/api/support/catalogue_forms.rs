//! The forms of the catalogue as a browser has them: what is typed for a document, what stands in a page's form, and how it is sent.

use std::collections::BTreeMap;

use serde_json::{Value, json};

use super::Client;
use super::browser::{Browser, Seen, form_key};

/// The catalogue of the README's walk-through, and a supplier: nouns in addresses with documents.
pub(crate) fn walk_through() -> Vec<(&'static str, Value)> {
    let round = json!({"shape": "round", "diameter_mm": "62", "depth_mm": "70"});
    let tray = json!({"shape": "rectangular", "length_mm": "90", "width_mm": "60", "depth_mm": "15", "draft_deg": "2"});
    vec![
        (
            "materials",
            json!({"code": "base-a", "name": "Silicone base", "kind": "elastomer_base", "unit": "g", "lead_time_days": 14,
                "stated_use_per_month": "1500"}),
        ),
        (
            "materials",
            json!({"code": "agent-a", "name": "Curing agent", "kind": "curing_agent", "unit": "g", "lead_time_days": 14,
                "stated_use_per_month": "150", "hazard_statements": ["H317", "H301+H311"]}),
        ),
        (
            "materials",
            json!({"code": "tray", "name": "Tray 90 x 60", "kind": "container", "unit": "each", "container": tray}),
        ),
        (
            "materials",
            json!({"code": "cup", "name": "Cup 200 mL", "kind": "mixing_cup", "unit": "each", "tare_g": "6.2", "container": round}),
        ),
        (
            "materials",
            json!({"code": "tape", "name": "Tape 25 mm", "kind": "tape", "unit": "m", "tape": {"width_mm": "25", "thickness_mm": "0.1"}}),
        ),
        (
            "materials",
            json!({"code": "glove", "name": "Gloves <M> & \"L\"", "kind": "sundry", "unit": "each"}),
        ),
        (
            "elastomers",
            json!({"code": "soft", "name": "Soft elastomer", "base": "base-a", "curing_agent": "agent-a",
                "ratio": {"base": "10", "curing_agent": "1"}, "ratio_tolerance": "0.02", "density_g_per_ml": "1.03",
                "viscosity_pa_s": "3.5", "pot_life_min": "90",
                "cure": [{"temperature_c": "65", "minutes": "240"}, {"temperature_c": "25", "minutes": "2880"}]}),
        ),
        (
            "kits",
            json!({"code": "kit-a", "name": "Kit 1.1 kg", "elastomer": "soft", "base_g": "1000", "curing_agent_g": "100"}),
        ),
        (
            "molds",
            json!({"code": "reef", "name": "Reef tiles", "length_mm": "75", "width_mm": "50", "thickness_mm": "1", "chips": 6,
                "copies": 2, "cost": "180", "rated_casts": 60}),
        ),
        (
            "recipes",
            json!({"code": "reef-chip", "name": "Reef chip", "elastomer": "soft", "mold": "reef", "container": "tray", "cup": "cup",
                "tape": "tape", "chip_thickness_mm": "4", "drain_time_s": "60", "weighing": "cumulative",
                "gauge": {"mass_g": "30", "of": "water", "mold_in": true, "level_mm": "5"},
                "extras": [{"material": "glove", "quantity": "2", "per": "cast"}, {"material": "glove", "quantity": "1", "per": "batch"}]}),
        ),
        (
            "grants",
            json!({"code": "larvae", "name": "Larval settlement"}),
        ),
        (
            "grants",
            json!({"code": "course", "name": "Teaching course", "starts_on": "2026-01-01", "ends_on": "2026-12-31",
                "materials_budget": "500", "beyond": "refuse"}),
        ),
        (
            "suppliers",
            json!({"code": "quill", "name": "Quillmere Polymers", "lead_time_days": 9, "email": "orders@example.org",
                "note": "two\nlines"}),
        ),
    ]
}

/// What is typed for a document: each value at its pointer.
pub(crate) fn typed(document: &Value) -> Vec<(String, String)> {
    let mut fields = Vec::new();
    type_in(document, "", &mut fields);
    fields
}

fn type_in(value: &Value, pointer: &str, fields: &mut Vec<(String, String)>) {
    let mut push = |text: String| fields.push((pointer.to_owned(), text));
    match value {
        Value::String(text) => push(text.replace('\n', "\r\n")),
        Value::Bool(true) => push("on".to_owned()),
        Value::Bool(false) | Value::Null => {}
        Value::Number(number) => push(number.to_string()),
        Value::Array(lines) if lines.iter().all(Value::is_string) => {
            let lines: Vec<&str> = lines.iter().filter_map(Value::as_str).collect();
            push(lines.join("\r\n"));
        }
        Value::Array(rows) => {
            for (at, row) in rows.iter().enumerate() {
                type_in(row, &format!("{pointer}/{at}"), fields);
            }
        }
        Value::Object(members) => {
            for (name, member) in members {
                type_in(member, &format!("{pointer}/{name}"), fields);
            }
        }
    }
}

/// The address of the form for a document.
pub(crate) fn form_of(noun: &str, document: &Value) -> String {
    match document["kind"].as_str() {
        Some(kind) => format!("/catalogue/{noun}/new?kind={kind}"),
        None => format!("/catalogue/{noun}/new"),
    }
}

/// The text of an attribute as it is.
pub(crate) fn plain(text: &str) -> String {
    let text = text.replace("&#34;", "\"").replace("&#39;", "'");
    text.replace("&#60;", "<")
        .replace("&#62;", ">")
        .replace("&#38;", "&")
}

pub(crate) fn escaped(text: &str) -> String {
    let text = text.replace('&', "&#38;").replace('<', "&#60;");
    text.replace('>', "&#62;")
        .replace('"', "&#34;")
        .replace('\'', "&#39;")
}

pub(crate) fn hidden(page: &str, name: &str) -> String {
    let mark = format!("name=\"{name}\" value=\"");
    let (_, rest) = page
        .split_once(&mark)
        .unwrap_or_else(|| panic!("no {name} in {page}"));
    plain(rest.split('"').next().expect("a value"))
}

/// What stands in the form of a page, by the name of the field: as a browser would send it.
pub(crate) fn standing(page: &str) -> BTreeMap<String, String> {
    let mut fields = BTreeMap::new();
    let attribute = |tag: &str, name: &str| {
        let (_, rest) = tag.split_once(&format!(" {name}=\""))?;
        rest.split('"').next().map(plain)
    };
    for part in page.split('<') {
        let tag = part.split('>').next().expect("a tag");
        let Some(name) = attribute(tag, "name").filter(|name| name.starts_with('/')) else {
            continue;
        };
        let text = match tag.split(' ').next() {
            Some("input") if tag.contains("type=\"checkbox\"") => {
                tag.contains(" checked").then(|| "on".to_owned())
            }
            Some("input") => attribute(tag, "value"),
            Some("textarea") => part
                .split_once('>')
                .map(|(_, text)| plain(text.strip_prefix('\n').unwrap_or(text))),
            Some("select") => {
                let (_, rest) = page.split_once(tag).expect("the tag");
                let options = rest.split("</select>").next().expect("its end");
                let chosen = options
                    .split('<')
                    .find(|option| option.contains(" selected"));
                chosen.and_then(|option| attribute(option, "value"))
            }
            _ => None,
        };
        fields.extend(text.map(|text| (name, text)));
    }
    fields
}

/// Sends a form that holds `fields`, with what the page hides in it.
pub(crate) fn send(
    browser: &Browser<'_>,
    page: &str,
    path: &str,
    fields: &[(String, String)],
) -> Seen {
    let key = form_key(page).to_owned();
    let mut form = vec![("form_key".to_owned(), key)];
    for name in ["version", "read"] {
        if page.contains(&format!("name=\"{name}\"")) {
            form.push((name.to_owned(), hidden(page, name)));
        }
    }
    form.extend(fields.iter().cloned());
    let form: Vec<(&str, &str)> = form
        .iter()
        .map(|(name, text)| (name.as_str(), text.as_str()))
        .collect();
    browser.send(path, &form)
}

/// Makes an entry by its form.
pub(crate) fn made(browser: &Browser<'_>, noun: &str, document: &Value) -> Seen {
    let page = browser.get(&form_of(noun, document));
    assert_eq!(page.status, 200, "{}", page.text);
    send(
        browser,
        &page.text,
        &format!("/catalogue/{noun}"),
        &typed(document),
    )
}

/// Opens an entry, changes some fields, and sends the form.
pub(crate) fn changed(browser: &Browser<'_>, path: &str, changes: &[(&str, &str)]) -> Seen {
    let page = browser.get(path).text;
    changed_on(browser, &page, path, changes)
}

pub(crate) fn changed_on(
    browser: &Browser<'_>,
    page: &str,
    path: &str,
    changes: &[(&str, &str)],
) -> Seen {
    let mut fields = standing(page);
    let changes = changes
        .iter()
        .map(|(name, text)| ((*name).to_owned(), (*text).to_owned()));
    fields.extend(changes);
    let fields: Vec<(String, String)> = fields.into_iter().collect();
    send(browser, page, path, &fields)
}

pub(crate) fn shown(app: &Client, noun: &str, code: &str) -> Value {
    app.get(&format!("/v1/{noun}/{code}")).expect(200).json()
}
