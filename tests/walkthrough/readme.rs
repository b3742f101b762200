//! Finds the walk-through in the README: the `sh` blocks of its section, each with the block that shows its answer.

/// The heading of the section.
const HEADING: &str = "## A walk-through";

/// How an answer is compared.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Kind {
    /// As JSON values.
    Json,
    /// Line by line.
    Text,
}

/// One block of commands and what is shown after it.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Step {
    /// The line of the README on which the commands begin.
    pub(crate) line: usize,
    /// The commands, as they stand.
    pub(crate) commands: String,
    /// The answer shown, if any.
    pub(crate) shown: Option<(Kind, String)>,
}

/// The steps of the walk-through; none when the README has no such section.
///
/// # Panics
/// When an answer is shown that no commands came before, or a block does not end.
pub(crate) fn steps(readme: &str) -> Vec<Step> {
    let mut steps: Vec<Step> = Vec::new();
    let mut inside = false;
    let mut lines = readme.lines().enumerate();
    while let Some((at, line)) = lines.next() {
        if line.starts_with("## ") {
            inside = line == HEADING;
        }
        let Some(language) = line.strip_prefix("```") else {
            continue;
        };
        let mut body = String::new();
        loop {
            let (_, line) = lines
                .next()
                .unwrap_or_else(|| panic!("line {}: no end", at + 1));
            if line == "```" {
                break;
            }
            body.push_str(line);
            body.push('\n');
        }
        match language {
            _ if !inside => {}
            "sh" => steps.push(Step {
                line: at + 2,
                commands: body,
                shown: None,
            }),
            "json" => show(&mut steps, Kind::Json, body, at),
            "text" => show(&mut steps, Kind::Text, body, at),
            other => panic!(
                "line {}: a block of `{other}` is neither run nor compared",
                at + 1
            ),
        }
    }
    steps
}

fn show(steps: &mut [Step], kind: Kind, body: String, at: usize) {
    match steps.last_mut() {
        Some(step) if step.shown.is_none() => step.shown = Some((kind, body)),
        _ => panic!("line {}: an answer without commands before it", at + 1),
    }
}

#[test]
fn the_section_is_found_and_each_answer_belongs_to_its_commands() {
    let readme = "## Start\n```sh\nno\n```\n## A walk-through\ntext\n```sh\na\nb\n```\n```json\n{}\n```\n```sh\nc\n```\n## Next\n```sh\nno\n```\n";
    let expected = [
        Step {
            line: 8,
            commands: "a\nb\n".to_owned(),
            shown: Some((Kind::Json, "{}\n".to_owned())),
        },
        Step {
            line: 15,
            commands: "c\n".to_owned(),
            shown: None,
        },
    ];
    assert_eq!(steps(readme), expected);
}
