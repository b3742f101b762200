//! What the README says of the settings is what `--help` says.

use std::collections::BTreeMap;

use crate::support::heeltap;

/// Flag and default of each setting, by its variable.
type Table = BTreeMap<String, (String, String)>;

fn from_help(help: &str) -> Table {
    let mut table = Table::new();
    let (mut flag, mut variable) = (String::new(), String::new());
    for line in help.lines().map(str::trim) {
        if let Some(rest) = line.strip_prefix("--") {
            flag = format!("--{}", rest.split(' ').next().unwrap_or_default());
        } else if let Some(name) = inside(line, "[env: ") {
            variable = name.to_owned();
            table.insert(variable.clone(), (flag.clone(), String::new()));
        } else if let Some(value) = inside(line, "[default: ")
            && let Some(entry) = table.get_mut(&variable)
        {
            entry.1 = value.to_owned();
        }
    }
    table
}

fn inside<'a>(line: &'a str, before: &str) -> Option<&'a str> {
    line.strip_prefix(before)?.strip_suffix(']')
}

/// Rows such as `| `HEELTAP_LISTEN` | `--listen` | `127.0.0.1:8080` | … |`.
fn from_readme(readme: &str) -> Table {
    let bare = |cell: &str| cell.trim().trim_matches('`').to_owned();
    readme
        .lines()
        .filter_map(|line| {
            let cells: Vec<&str> = line.strip_prefix("| `")?.split('|').collect();
            let flag = cells.get(1).map(|cell| bare(cell))?;
            flag.starts_with("--")
                .then(|| (bare(cells[0]), (flag, bare(cells[2]))))
        })
        .collect()
}

#[test]
fn the_readme_lists_every_setting_with_its_flag_and_default() {
    let help = heeltap(None, &["--help"]);
    let help = from_help(&String::from_utf8_lossy(&help.stdout));
    assert!(
        help.contains_key("DATABASE_URL") && help.len() >= 12,
        "{help:?}"
    );
    assert_eq!(from_readme(include_str!("../../README.md")), help);
}
