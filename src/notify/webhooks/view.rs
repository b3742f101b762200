//! Webhooks as they are asked for and shown.
//!
//! Invariant: the secret is in [`WebhookMade`] and nowhere else.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A webhook to be made.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WebhookIn {
    /// Where messages are sent: an address of https that is on the internet, or one that the installation's settings list.
    /// Without a user's name or password in it.
    #[schema(
        max_length = 2000,
        format = "uri",
        example = "https://hooks.example/heeltap"
    )]
    pub url: String,
    /// What it is told of: `warning.raised`, `warning.acknowledged`, `warning.cleared`; all of them unless said.
    #[schema(min_items = 1, value_type = Option<Vec<Topic>>)]
    pub topics: Option<Vec<String>>,
}

/// What a webhook may be told of, as it shows in the document.
#[derive(Serialize, ToSchema)]
#[allow(dead_code)] // It stands in the document only.
enum Topic {
    #[serde(rename = "warning.raised")]
    Raised,
    #[serde(rename = "warning.acknowledged")]
    Acknowledged,
    #[serde(rename = "warning.cleared")]
    Cleared,
}

/// A webhook.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Webhook {
    /// The webhook's id.
    pub id: i64,
    /// Where messages are sent.
    pub url: String,
    /// What it is told of.
    pub topics: Vec<String>,
    /// When it was made.
    pub created_at: DateTime<Utc>,
    /// Who made it.
    pub created_by: String,
    /// When it was removed.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub removed_at: Option<DateTime<Utc>>,
}

/// A webhook just made, with its secret: shown this once.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct WebhookMade {
    /// The webhook.
    #[serde(flatten)]
    pub webhook: Webhook,
    /// What its messages are signed with: `whsec_` and 32 bytes in base64. It cannot be read again: the answer to a repeat
    /// under the same idempotency key is without it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub secret: Option<String>,
}
