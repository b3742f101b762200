//! What holds of any idempotency key: what it stands for, and which texts are none.

use actix_web::test::TestRequest;
use proptest::prelude::*;

use super::store::Once;
use super::{Caller, NoBody, Role, Roles};

/// What identifies a form with a key; none when the key is refused.
fn once(path: &str, token_id: i64, key: &str, body: &[u8]) -> Option<Once> {
    let request = TestRequest::post().uri(path).to_http_request();
    let caller = Caller {
        token_id,
        name: "bench".to_owned(),
        roles: Roles::new(vec![Role::Bench]),
    };
    let read = NoBody::of_form(&request, &caller, key, body);
    read.map_or(None, |form| form.once)
}

/// All that two requests must have in common to be the same one.
fn parts(once: &Once) -> (i64, &str, &str, &str, &str) {
    (
        once.token_id,
        &once.method,
        &once.path,
        &once.key,
        &once.body_hash,
    )
}

proptest! {
    #[test]
    fn a_key_has_1_to_200_characters(key in "[!-~]{0,210}") {
        let kept = once("/cast/a", 1, &key, b"").map(|once| once.key);
        prop_assert_eq!(kept, Some(key.clone()).filter(|key| (1..=200).contains(&key.len())));
    }

    #[test]
    fn any_text_is_a_key_or_refused(key in any::<String>()) {
        let taken = once("/cast/a", 1, &key, b"").is_some();
        prop_assert_eq!(taken, (1..=200).contains(&key.len()));
    }

    /// Two requests are the same when token, address with its query, key and body are, and only then.
    #[test]
    fn a_request_is_its_token_address_key_and_body(
        one in ("/[ab]{1,2}(\\?[ab]=1)?", 1_i64..3, "[ab]{1,2}", prop::collection::vec(0_u8..2, 0..3)),
        other in ("/[ab]{1,2}(\\?[ab]=1)?", 1_i64..3, "[ab]{1,2}", prop::collection::vec(0_u8..2, 0..3)),
    ) {
        let read = |of: &(String, i64, String, Vec<u8>)| once(&of.0, of.1, &of.2, &of.3).expect("a key");
        let (first, second, again) = (read(&one), read(&other), read(&one));
        prop_assert_eq!(parts(&first) == parts(&second), one == other);
        prop_assert_eq!(parts(&first), parts(&again));
    }
}
