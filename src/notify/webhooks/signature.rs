//! Signatures of messages, after the open convention Standard Webhooks.
//!
//! Invariants: what is signed is the message's id, the second of the attempt and the body, byte for byte, so that a receiver
//! sees a changed body and an old message played again; a secret is never printed. Deliberately absent: keys of two halves.

use std::fmt;

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;

/// What a secret begins with.
const PREFIX: &str = "whsec_";

/// How many bytes a new secret has; the convention asks for 24 to 64.
pub const SECRET_BYTES: usize = 32;

/// What the messages to one webhook are signed with.
///
/// ```
/// use heeltap::notify::webhooks::signature::Secret;
/// let secret = Secret::of_bytes(&[7; 32]);
/// assert_eq!(Secret::parse(&secret.shown()).unwrap().shown(), secret.shown());
/// assert_eq!(format!("{secret:?}"), "Secret(…)");
/// ```
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(Vec<u8>);

impl Secret {
    /// A secret of bytes.
    #[must_use]
    pub fn of_bytes(bytes: &[u8]) -> Self {
        Self(bytes.to_vec())
    }

    /// Reads a secret as it is shown; none when the text is not one.
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        let bytes = STANDARD.decode(text.strip_prefix(PREFIX)?).ok()?;
        (!bytes.is_empty()).then_some(Self(bytes))
    }

    /// The secret as it is shown, once, and kept.
    #[must_use]
    pub fn shown(&self) -> String {
        format!("{PREFIX}{}", STANDARD.encode(&self.0))
    }

    /// The value of `webhook-signature`: the message's id, the second since 1970 of this attempt and the body, signed.
    ///
    /// ```
    /// use heeltap::notify::webhooks::signature::Secret;
    /// let signature = Secret::of_bytes(&[7; 32]).sign("msg_1", 1_772_442_000, "{}");
    /// assert!(signature.starts_with("v1,"));
    /// ```
    #[must_use]
    pub fn sign(&self, message_id: &str, timestamp_s: i64, body: &str) -> String {
        let text = format!("{message_id}.{timestamp_s}.{body}");
        format!(
            "v1,{}",
            STANDARD.encode(hmac_sha256(&self.0, text.as_bytes()))
        )
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(…)")
    }
}

/// HMAC (RFC 2104) with SHA-256.
fn hmac_sha256(key: &[u8], text: &[u8]) -> [u8; 32] {
    // A key may have any length, so that there is nothing that could fail.
    #[allow(clippy::expect_used)]
    let mut mac = Hmac::<Sha256>::new_from_slice(key).expect("any key");
    mac.update(text);
    mac.finalize().into_bytes().into()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of the convention's own libraries: github.com/standard-webhooks/standard-webhooks, commit 449485c,
    /// libraries/go/webhook_test.go, `TestWebhookSign`.
    #[test]
    fn the_example_of_the_convention() {
        let secret = Secret::parse("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw").unwrap();
        let signed = |body| secret.sign("msg_p5jXN8AQM9LWM0D4loKWxJek", 1_614_265_330, body);
        let expected = "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=";
        assert_eq!(signed(r#"{"test": 2432232314}"#), expected);
        assert_ne!(signed(r#"{"test": 2432232315}"#), expected);
    }

    /// The key and the text in hexadecimal digits, or the text as it is.
    #[track_caller]
    fn check(key: &[u8], text: &[u8], expected: &str) {
        assert_eq!(hex::encode(hmac_sha256(key, text)), expected);
    }

    /// RFC 4231, sections 4.2 to 4.4, 4.5, 4.7 and 4.8 (test cases 1 to 4, 6 and 7; case 5 is of a shortened output).
    #[test]
    fn hmac_with_sha_256_by_rfc_4231() {
        check(
            &[0x0b; 20],
            b"Hi There",
            "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
        );
        check(
            b"Jefe",
            b"what do ya want for nothing?",
            "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
        );
        check(
            &[0xaa; 20],
            &[0xdd; 50],
            "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe",
        );
        let counting: Vec<u8> = (1..=25).collect();
        check(
            &counting,
            &[0xcd; 50],
            "82558a389a443c0ea4cc819899f2083a85f0faa3e578f8077a2e3ff46729665b",
        );
        check(
            &[0xaa; 131],
            b"Test Using Larger Than Block-Size Key - Hash Key First",
            "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
        );
        check(
            &[0xaa; 131],
            b"This is a test using a larger than block-size key and a larger than block-size data. The key needs to be \
              hashed before being used by the HMAC algorithm.",
            "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2",
        );
    }

    #[test]
    fn what_is_no_secret_is_not_read() {
        for text in [
            "",
            "whsec_",
            "whsec_*",
            "MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",
            "whsk_AAAA",
        ] {
            assert_eq!(Secret::parse(text), None, "{text}");
        }
    }
}
