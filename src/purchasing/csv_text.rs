//! From bytes to text, in an encoding that the sender states.
//!
//! Invariants: a byte that stands for nothing refuses the file and is never replaced, as that would destroy
//! names silently; a byte order mark is removed before anything looks at the header. Deliberately absent:
//! guessing the encoding.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};

use super::csv_error::FileError;

/// How the bytes stand for characters.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub enum Encoding {
    /// UTF-8, with or without a byte order mark.
    #[default]
    #[serde(rename = "utf-8")]
    Utf8,
    /// Windows code page 1252 (Western European).
    #[serde(rename = "windows-1252")]
    Windows1252,
}

impl Encoding {
    /// Reads `utf-8` or `windows-1252`.
    ///
    /// ```
    /// use heeltap::purchasing::csv_file::Encoding;
    /// assert_eq!(Encoding::parse("windows-1252"), Some(Encoding::Windows1252));
    /// ```
    #[must_use]
    pub fn parse(name: &str) -> Option<Encoding> {
        match name {
            "utf-8" => Some(Encoding::Utf8),
            "windows-1252" => Some(Encoding::Windows1252),
            _ => None,
        }
    }

    /// The name of the parameter's value.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Encoding::Utf8 => "utf-8",
            Encoding::Windows1252 => "windows-1252",
        }
    }
}

/// The characters of Windows-1252 for the bytes 0x80 to 0x9F; five of them stand for nothing.
const WINDOWS_1252_HIGH: [Option<char>; 32] = [
    Some('€'),
    None,
    Some('‚'),
    Some('ƒ'),
    Some('„'),
    Some('…'),
    Some('†'),
    Some('‡'),
    Some('ˆ'),
    Some('‰'),
    Some('Š'),
    Some('‹'),
    Some('Œ'),
    None,
    Some('Ž'),
    None,
    None,
    Some('‘'),
    Some('’'),
    Some('“'),
    Some('”'),
    Some('•'),
    Some('–'),
    Some('—'),
    Some('˜'),
    Some('™'),
    Some('š'),
    Some('›'),
    Some('œ'),
    None,
    Some('ž'),
    Some('Ÿ'),
];

/// Turns bytes into text. A byte order mark is removed.
///
/// # Errors
/// [`FileError`] naming line and byte: not of the encoding, UTF-16, or a NUL.
///
/// ```
/// use heeltap::purchasing::csv_file::{Encoding, decode};
/// assert_eq!(decode(b"H\xE4rter", Encoding::Windows1252)?, "Härter");
/// assert!(decode(b"H\xE4rter", Encoding::Utf8).is_err());
/// # Ok::<(), heeltap::purchasing::csv_file::FileError>(())
/// ```
pub fn decode(bytes: &[u8], encoding: Encoding) -> Result<Cow<'_, str>, FileError> {
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        return Err(FileError::Utf16);
    }
    let line_of = |at: usize| 1 + bytes[..at].iter().filter(|b| **b == b'\n').count() as u64;
    let text = match (encoding, bytes.strip_prefix(b"\xEF\xBB\xBF")) {
        (Encoding::Windows1252, Some(_)) => return Err(FileError::MarkContradictsEncoding),
        (Encoding::Windows1252, None) => {
            let decoded: Result<String, usize> = bytes
                .iter()
                .enumerate()
                .map(|(at, &byte)| match byte {
                    0x80..=0x9F => WINDOWS_1252_HIGH[usize::from(byte - 0x80)].ok_or(at),
                    _ => Ok(char::from(byte)),
                })
                .collect();
            Cow::Owned(decoded.map_err(|at| FileError::NotWindows1252 {
                line: line_of(at),
                byte: bytes[at],
            })?)
        }
        (Encoding::Utf8, rest) => {
            let rest = rest.unwrap_or(bytes);
            let skipped = bytes.len() - rest.len();
            Cow::Borrowed(std::str::from_utf8(rest).map_err(|error| {
                let at = skipped + error.valid_up_to();
                let line_start = bytes[..at]
                    .iter()
                    .rposition(|b| *b == b'\n')
                    .map_or(0, |i| i + 1);
                FileError::NotUtf8 {
                    line: line_of(at),
                    byte: bytes[at],
                    position: at - line_start + 1,
                }
            })?)
        }
    };
    match bytes.iter().position(|byte| *byte == 0) {
        Some(at) => Err(FileError::Nul { line: line_of(at) }),
        None => Ok(text),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The byte of a character, by the published mapping of the code page as the table above turns it round.
    fn byte_of(c: char) -> Option<u8> {
        (0..=u8::MAX).find(|byte| {
            let high = WINDOWS_1252_HIGH.get(usize::from(byte.wrapping_sub(0x80)));
            let (0x80..=0x9F, Some(found)) = (byte, high) else {
                return char::from(*byte) == c;
            };
            *found == Some(c)
        })
    }

    proptest! {
        #[test]
        fn text_in_utf_8_is_read_as_it_is(text in "[^\u{0}\u{feff}][^\u{0}]{0,40}", marked in any::<bool>()) {
            let bytes = format!("{}{text}", if marked { "\u{feff}" } else { "" });
            prop_assert_eq!(decode(bytes.as_bytes(), Encoding::Utf8), Ok(Cow::Borrowed(text.as_str())));
        }

        #[test]
        fn text_in_windows_1252_is_read_as_it_was_written(text in "[ -~\n\u{a0}-\u{ff}€‚ƒ„…†‡ˆ‰Š‹ŒŽ‘’“”•–—˜™š›œžŸ]{0,40}") {
            let bytes: Option<Vec<u8>> = text.chars().map(byte_of).collect();
            let bytes = bytes.expect("characters of the code page");
            // What looks like the mark of another encoding is refused as that.
            prop_assume!(![&b"\xEF\xBB\xBF"[..], b"\xFF\xFE", b"\xFE\xFF"].iter().any(|mark| bytes.starts_with(mark)));
            prop_assert_eq!(decode(&bytes, Encoding::Windows1252).map(Cow::into_owned), Ok(text));
        }

        /// Against the standard library: where it finds the first wrong byte, there the refusal is.
        #[test]
        fn a_byte_that_is_no_text_is_named_with_its_place(bytes in prop::collection::vec(1_u8.., 0..40)) {
            prop_assume!(![&b"\xEF\xBB\xBF"[..], b"\xFF\xFE", b"\xFE\xFF"].iter().any(|mark| bytes.starts_with(mark)));
            let wrong = std::str::from_utf8(&bytes).err().map(|error| error.valid_up_to());
            let expected = wrong.map(|at| {
                let before = &bytes[..at];
                let line = before.split(|byte| *byte == b'\n').count() as u64;
                let position = before.rsplit(|byte| *byte == b'\n').next().map_or(0, <[u8]>::len) + 1;
                FileError::NotUtf8 { line, byte: bytes[at], position }
            });
            prop_assert_eq!(decode(&bytes, Encoding::Utf8).err(), expected);
        }
    }
}
