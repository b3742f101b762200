//! Reading source text well enough for the rules: comments and strings blanked out, tests left out, paths and functions
//! found. It knows the language's words, not its grammar.

/// The text with comments, strings and characters blanked out; lines stay where they are.
pub(crate) fn code_of(text: &str) -> String {
    let chars: Vec<char> = text.chars().collect();
    let mut code = String::with_capacity(text.len());
    let mut at = 0;
    while at < chars.len() {
        let end = match chars[at] {
            '/' if chars.get(at + 1) == Some(&'/') => line_end(&chars, at),
            '/' if chars.get(at + 1) == Some(&'*') => comment_end(&chars, at),
            '"' => string_end(&chars, at),
            'r' | 'b' | 'c' if !follows_word(&chars, at) => raw_end(&chars, at).unwrap_or(at),
            '\'' => char_end(&chars, at),
            _ => at,
        };
        if end == at {
            code.push(chars[at]);
            at += 1;
        } else {
            code.extend(
                chars[at..end]
                    .iter()
                    .map(|c| if *c == '\n' { '\n' } else { ' ' }),
            );
            at = end;
        }
    }
    code
}

pub(crate) fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '_'
}

pub(crate) fn follows_word(chars: &[char], at: usize) -> bool {
    at > 0 && is_word(chars[at - 1])
}

pub(crate) fn line_end(chars: &[char], at: usize) -> usize {
    chars[at..]
        .iter()
        .position(|c| *c == '\n')
        .map_or(chars.len(), |n| at + n)
}

pub(crate) fn comment_end(chars: &[char], start: usize) -> usize {
    let (mut at, mut depth) = (start + 2, 1);
    while at < chars.len() && depth > 0 {
        match (chars[at], chars.get(at + 1)) {
            ('/', Some('*')) => (depth, at) = (depth + 1, at + 2),
            ('*', Some('/')) => (depth, at) = (depth - 1, at + 2),
            _ => at += 1,
        }
    }
    at
}

pub(crate) fn string_end(chars: &[char], start: usize) -> usize {
    let mut at = start + 1;
    while at < chars.len() && chars[at] != '"' {
        at += if chars[at] == '\\' { 2 } else { 1 };
    }
    (at + 1).min(chars.len())
}

/// The end of `r"…"`, `br#"…"#` and their like; none when it is a plain word.
pub(crate) fn raw_end(chars: &[char], start: usize) -> Option<usize> {
    let mut at = start;
    while matches!(chars.get(at), Some('b' | 'c')) {
        at += 1;
    }
    let raw = chars.get(at) == Some(&'r');
    at += usize::from(raw);
    let hashes = chars[at..].iter().take_while(|c| **c == '#').count();
    at += hashes;
    if chars.get(at) != Some(&'"') || (hashes > 0 && !raw) {
        return None;
    }
    if !raw {
        return Some(string_end(chars, at));
    }
    let closing: Vec<char> = std::iter::once('"')
        .chain(std::iter::repeat_n('#', hashes))
        .collect();
    let found = chars[at + 1..]
        .windows(closing.len())
        .position(|w| w == closing);
    Some(found.map_or(chars.len(), |n| at + 1 + n + closing.len()))
}

/// The end of a character; a lifetime ends where it begins.
pub(crate) fn char_end(chars: &[char], at: usize) -> usize {
    match (chars.get(at + 1), chars.get(at + 2)) {
        (Some('\\'), _) => {
            let close = chars[at + 3..].iter().position(|c| *c == '\'');
            close.map_or(at, |n| at + 3 + n + 1)
        }
        (Some(_), Some('\'')) => at + 3,
        _ => at,
    }
}

/// The code without what only tests compile: each item after `#[cfg(test)]`.
pub(crate) fn without_tests(code: &str) -> String {
    const MARK: &str = "#[cfg(test)]";
    let mut kept = String::new();
    let mut rest = code;
    while let Some(at) = rest.find(MARK) {
        kept.push_str(&rest[..at]);
        rest = &rest[at + MARK.len()..];
        let end = item_end(rest);
        kept.extend(rest[..end].chars().filter(|c| *c == '\n'));
        rest = &rest[end..];
    }
    kept + rest
}

/// Where the item that begins here ends: after its `;` or its closing brace.
pub(crate) fn item_end(code: &str) -> usize {
    let mut depth = 0_usize;
    for (at, c) in code.char_indices() {
        match c {
            '{' | '(' | '[' => depth += 1,
            '}' | ')' | ']' => {
                depth = depth.saturating_sub(1);
                if depth == 0 && c == '}' {
                    return at + 1;
                }
            }
            ';' if depth == 0 => return at + 1,
            _ => {}
        }
    }
    code.len()
}

/// Whether the code names `word`, as a whole word or path.
pub(crate) fn names(code: &str, word: &str) -> bool {
    code.match_indices(word).any(|(at, _)| {
        let before = code[..at].chars().next_back().is_some_and(is_word);
        let after = code[at + word.len()..].chars().next().is_some_and(is_word);
        !before && !after
    })
}

/// The rooms that the code names by a path from the crate's root, `use crate::{a, b::c}` included.
pub(crate) fn rooms_named(code: &str) -> Vec<String> {
    let mut rooms = Vec::new();
    for (at, start) in code.match_indices("crate::") {
        let rest = &code[at + start.len()..];
        let names: Vec<&str> = match rest.strip_prefix('{') {
            Some(group) => first_words(group),
            None => vec![rest],
        };
        let word = |text: &str| {
            text.trim_start()
                .chars()
                .take_while(|c| is_word(*c))
                .collect()
        };
        rooms.extend(names.into_iter().map(word));
    }
    rooms
}

/// The parts of a `use` group at its own depth.
pub(crate) fn first_words(group: &str) -> Vec<&str> {
    let (mut depth, mut start, mut parts) = (0_usize, 0, Vec::new());
    for (at, c) in group.char_indices() {
        match c {
            '{' => depth += 1,
            '}' if depth == 0 => {
                parts.push(&group[start..at]);
                break;
            }
            '}' => depth -= 1,
            ',' if depth == 0 => {
                parts.push(&group[start..at]);
                start = at + 1;
            }
            _ => {}
        }
    }
    parts
}

/// Each function with the line it begins on and the number of its lines.
pub(crate) fn functions(code: &str) -> Vec<(String, usize, usize)> {
    let mut found = Vec::new();
    for (at, _) in code.match_indices("fn ") {
        if code[..at].chars().next_back().is_some_and(is_word) {
            continue;
        }
        let name: String = code[at + 3..].chars().take_while(|c| is_word(*c)).collect();
        if name.is_empty() {
            continue;
        }
        let lines = code[at..at + item_end(&code[at..])].lines().count();
        found.push((name, code[..at].lines().count().max(1), lines));
    }
    found
}

/// The names under which a file's types show in the OpenAPI document: what derives `ToSchema` shows under the name of the
/// type, unless `schema(as = …)` says another.
pub(crate) fn schemas(text: &str) -> Vec<String> {
    let mut found = Vec::new();
    let (mut shown, mut renamed) = (false, None);
    for line in text.lines().map(str::trim) {
        if line.starts_with("#[derive(") {
            (shown, renamed) = (line.contains("ToSchema"), None);
        } else if let Some((_, rest)) = line.split_once("schema(as = ") {
            renamed = rest.split([',', ')']).next().map(str::to_owned);
        }
        let words: Vec<&str> = line.split(' ').collect();
        let named = words
            .iter()
            .position(|word| matches!(*word, "struct" | "enum"));
        if let Some(at) = named.filter(|_| shown && !line.starts_with(['/', '#'])) {
            let own = words.get(at + 1).copied().unwrap_or_default();
            let end = own
                .find(|c: char| !c.is_alphanumeric())
                .unwrap_or(own.len());
            found.push(renamed.take().unwrap_or_else(|| own[..end].to_owned()));
            shown = false;
        }
    }
    found
}

#[cfg(test)]
mod samples {
    use super::*;

    #[test]
    fn a_schema_is_named_by_its_type_or_otherwise() {
        let text = "#[derive(Debug, ToSchema)]\n#[schema(as = Other)]\npub enum A {}\n#[derive(ToSchema)]\n/// A struct of\nstruct B(u8);\n\
            #[derive(Debug)]\nstruct C;\n#[derive(ToSchema)]\npub struct D<T> {}";
        assert_eq!(schemas(text), ["Other", "B", "D"]);
    }

    #[test]
    fn comments_strings_and_characters_are_no_code() {
        let blank = |text: &str| {
            code_of(text)
                .split_whitespace()
                .collect::<Vec<_>>()
                .join(" ")
        };
        assert_eq!(blank("a // diesel\nb /* x /* y */ z */ c"), "a b c");
        assert_eq!(
            blank(r####"f("\"diesel", r#"di"esel"#, b"x", '\'', '"', 'a)"####),
            "f( , , , , , 'a)"
        );
        assert_eq!(blank("let r = br; r#\"x\"#"), "let r = br;");
        assert_eq!(code_of("\"a\nb\"").lines().count(), 2);
    }

    #[test]
    fn what_only_tests_compile_is_left_out() {
        let code = "use a;\n#[cfg(test)]\nmod tests { use diesel::{x}; fn f() {} }\nfn g() {}\n#[cfg(test)]\nuse b;\nfn h() {}";
        let kept = without_tests(code);
        assert!(
            !kept.contains("diesel") && !kept.contains("use b"),
            "{kept}"
        );
        assert!(kept.contains("fn g") && kept.contains("fn h"), "{kept}");
    }
}
