//! Short words that people give: reasons and notes.

use super::FieldError;

/// Most characters of a reason or a note.
pub const WORDS_MAX: usize = 200;

/// Words without the blanks around them; may be empty. `what` names them in the fault ("a reason").
///
/// # Errors
/// [`FieldError`] at `pointer` for more than [`WORDS_MAX`] characters, or a control character.
///
/// ```
/// use heeltap::base::short_words;
/// assert_eq!(short_words("/note", "a note", " well seen ").unwrap(), "well seen");
/// assert!(short_words("/note", "a note", "one\ntwo").is_err());
/// ```
pub fn short_words(pointer: &str, what: &str, text: &str) -> Result<String, FieldError> {
    let text = text.trim();
    let length = text.chars().count();
    if length > WORDS_MAX || text.chars().any(char::is_control) {
        let detail = format!(
            "{what} has at most {WORDS_MAX} characters, none of them a control character; this has {length}"
        );
        return Err(FieldError::new(pointer, detail));
    }
    Ok(text.to_owned())
}
