//! Reads a file of heads, and says where one is not right.
//!
//! Invariants: a file that is read has been proved by its digest; a fault names line and column. Deliberately absent:
//! more leniency than line ends and a mark of the encoding at the start, which other programs put there.

use std::fmt;

use csv::{ReaderBuilder, StringRecord};

use super::heads::{COLUMNS, DIGEST, Head, Heads};

/// Why a file holds no heads, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HeadsFault {
    /// The line, counted from 1.
    pub line: u64,
    /// The column by its name.
    pub column: &'static str,
    /// What is wrong there.
    pub detail: String,
}

impl fmt::Display for HeadsFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            line,
            column,
            detail,
        } = self;
        write!(f, "line {line}, column {column}: {detail}")
    }
}

impl Heads {
    /// Reads a file that [`Heads::to_csv`] wrote. Line ends may have been changed on the way, nothing else.
    ///
    /// # Errors
    /// [`HeadsFault`] names the first place that is not right.
    pub fn parse(bytes: &[u8]) -> Result<Self, HeadsFault> {
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        let mut records = ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .from_reader(bytes)
            .into_records();
        let mut next = || records.next().map(|record| record.map_err(unreadable));
        header(next().transpose()?)?;
        let mut heads: Vec<Head> = Vec::new();
        let mut last_line = 1;
        while let Some(record) = next().transpose()? {
            let row = Row::new(&record)?;
            last_line = row.line;
            if row.text(0) == DIGEST {
                let heads = Self(heads);
                heads.proved_by(&row)?;
                return match next().transpose()? {
                    None => Ok(heads),
                    Some(more) => Err(Row::new(&more)?.fault(0, "the digest is the last line")),
                };
            }
            heads.push(row.head(heads.last())?);
        }
        Err(HeadsFault {
            line: last_line,
            column: COLUMNS[0],
            detail: "the file ends here without its digest: it was cut short".to_owned(),
        })
    }

    /// Whether the line of the digest is that of these heads.
    fn proved_by(&self, row: &Row<'_>) -> Result<(), HeadsFault> {
        for blank in [1, 2] {
            if !row.text(blank).is_empty() {
                return Err(row.fault(blank, "the line of the digest has nothing here"));
            }
        }
        if row.number(3)? != self.movements() {
            let sum = self.movements();
            return Err(row.fault(3, format!("the numbers above add up to {sum}")));
        }
        if row.hash(4)? != self.digest() {
            return Err(row.fault(
                4,
                "this is not the digest of the lines above: a line was altered, dropped or added",
            ));
        }
        Ok(())
    }
}

fn unreadable(error: csv::Error) -> HeadsFault {
    let line = error.position().map_or(1, csv::Position::line);
    let column = match error.kind() {
        csv::ErrorKind::Utf8 { err, .. } => COLUMNS.get(err.field()).copied(),
        _ => None,
    };
    HeadsFault {
        line,
        column: column.unwrap_or(COLUMNS[0]),
        detail: "this is not text in UTF-8".to_owned(),
    }
}

fn header(record: Option<StringRecord>) -> Result<(), HeadsFault> {
    let record = record.unwrap_or_default();
    match (0..COLUMNS.len().max(record.len()))
        .find(|at| record.get(*at) != COLUMNS.get(*at).copied())
    {
        None => Ok(()),
        Some(at) => Err(HeadsFault {
            line: 1,
            column: COLUMNS.get(at).copied().unwrap_or(COLUMNS[4]),
            detail: format!(
                "no file of heads begins so: the first line is {}",
                COLUMNS.join(",")
            ),
        }),
    }
}

/// A line after the first, with all its cells.
struct Row<'a> {
    line: u64,
    record: &'a StringRecord,
}

impl<'a> Row<'a> {
    fn new(record: &'a StringRecord) -> Result<Self, HeadsFault> {
        let line = record.position().map_or(1, csv::Position::line);
        let row = Self { line, record };
        match record.len() {
            5 => Ok(row),
            few @ 0..5 => Err(row.fault(few, "nothing stands here: a line has five cells")),
            _ => Err(row.fault(4, "another cell follows: a line has five")),
        }
    }

    fn fault(&self, column: usize, detail: impl Into<String>) -> HeadsFault {
        HeadsFault {
            line: self.line,
            column: COLUMNS[column],
            detail: detail.into(),
        }
    }

    fn text(&self, column: usize) -> &str {
        self.record.get(column).unwrap_or_default()
    }

    fn number(&self, column: usize) -> Result<i64, HeadsFault> {
        let text = self.text(column);
        let digits = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
        match text.parse() {
            Ok(number) if digits => Ok(number),
            _ => Err(self.fault(column, format!("`{text}` is no whole number"))),
        }
    }

    fn hash(&self, column: usize) -> Result<&str, HeadsFault> {
        let text = self.text(column);
        let hexadecimal = |byte: u8| matches!(byte, b'0'..=b'9' | b'a'..=b'f');
        if text.len() == 64 && text.bytes().all(hexadecimal) {
            return Ok(text);
        }
        Err(self.fault(
            column,
            format!("`{text}` is no SHA-256: write 64 of the digits 0 to 9 and a to f"),
        ))
    }

    fn head(&self, before: Option<&Head>) -> Result<Head, HeadsFault> {
        let lot = self.number(0)?;
        if let Some(before) = before.filter(|before| before.lot >= lot) {
            let detail = format!(
                "lot {lot} follows lot {}: each lot stands once, in the order of the numbers",
                before.lot
            );
            return Err(self.fault(0, detail));
        }
        let seq = self.number(3)?;
        let hash = match seq {
            0 if self.text(4).is_empty() => "",
            0 => return Err(self.fault(4, "a lot without a movement has no hash")),
            _ => self.hash(4)?,
        };
        Ok(Head {
            lot,
            material: self.text(1).to_owned(),
            lot_code: self.text(2).to_owned(),
            seq,
            hash: hash.to_owned(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::heads::samples::{head, three};
    use super::*;

    #[test]
    fn what_is_printed_is_read_again() {
        let mut heads = three();
        heads.0[0].lot_code = "a \"b\", c\nd; ü".into();
        let file = heads.to_csv();
        assert_eq!(Heads::parse(file.as_bytes()), Ok(heads.clone()));
        let by_another_program = format!("\u{feff}{}", three().to_csv().replace('\n', "\r\n"));
        assert_eq!(Heads::parse(by_another_program.as_bytes()), Ok(three()));
        assert_eq!(three().movements(), 7);
    }

    /// After the change of the file, what is said of it begins so.
    #[track_caller]
    fn faulty(change: impl Fn(&str) -> String, says: &str) {
        let said = Heads::parse(change(&three().to_csv()).as_bytes());
        let said = said.expect_err("a fault").to_string();
        assert!(said.starts_with(says), "{said}");
    }

    #[test]
    fn a_bad_file_is_told_by_line_and_column() {
        let hash = head(3, 5).hash;
        faulty(|_| String::new(), "line 1, column lot: no file of heads");
        faulty(
            |file| file.replace("seq", "no"),
            "line 1, column seq: no file of heads",
        );
        faulty(
            |file| file.replace("L-3,5", "L-3,five"),
            "line 3, column seq: `five` is no whole number",
        );
        faulty(
            |file| file.replace("L-3,5", "L-3,+5"),
            "line 3, column seq: `+5` is no whole number",
        );
        faulty(
            |file| file.replace(&hash, "abc"),
            "line 3, column hash: `abc` is no SHA-256",
        );
        faulty(
            |file| file.replace(&hash, &hash.to_uppercase()),
            "line 3, column hash: ",
        );
        faulty(
            |file| file.replace("L-7,0,", "L-7,0,x"),
            "line 4, column hash: a lot without a movement has no hash",
        );
        faulty(
            |file| file.replace("3,base,", "1,base,"),
            "line 3, column lot: lot 1 follows lot 1",
        );
        faulty(
            |file| file.replace("3,base,", "3,"),
            "line 3, column hash: nothing stands here",
        );
        faulty(
            |file| file.replace("L-3,5", "L-3,5,6"),
            "line 3, column hash: another cell follows",
        );
        faulty(
            |file| file.replace("L-3", "L-4"),
            "line 5, column hash: this is not the digest of the lines above",
        );
        faulty(
            |file| file.replace("digest,,,7", "digest,,,8"),
            "line 5, column seq: the numbers above add up to 7",
        );
        faulty(
            |file| file.replace("digest,,", "digest,x,"),
            "line 5, column material: the line of the digest has nothing here",
        );
        faulty(
            |file| format!("{file}8,base,L-8,0,\n"),
            "line 6, column lot: the digest is the last line",
        );
        faulty(
            |file| file[..file.rfind("digest").unwrap_or_default()].to_owned(),
            "line 4, column lot: the file ends here without its digest",
        );
        let mut bytes = three().to_csv().into_bytes();
        bytes[45] = 0xff;
        let said = Heads::parse(&bytes).expect_err("a fault").to_string();
        assert!(said.contains("this is not text in UTF-8"), "{said}");
        assert!(said.starts_with("line 2, column "), "{said}");
    }
}
