//! Deliveries as they are shown.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The way by which a message goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Channel {
    /// Sent to the address of a webhook.
    Webhook,
    /// Sent by mail.
    Mail,
}

impl Channel {
    /// The channel's word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Channel::Webhook => "webhook",
            Channel::Mail => "mail",
        }
    }

    /// The channel of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        [Channel::Webhook, Channel::Mail]
            .into_iter()
            .find(|channel| channel.as_str() == word)
    }
}

/// How a delivery stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DeliveryState {
    /// It is to be attempted, for the first time or again.
    Waiting,
    /// The receiver has it.
    Delivered,
    /// It was given up; it can be resent.
    Dead,
    /// Its webhook was removed before it got there.
    Dropped,
}

impl DeliveryState {
    const ALL: [Self; 4] = [Self::Waiting, Self::Delivered, Self::Dead, Self::Dropped];

    /// The state's word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            DeliveryState::Waiting => "waiting",
            DeliveryState::Delivered => "delivered",
            DeliveryState::Dead => "dead",
            DeliveryState::Dropped => "dropped",
        }
    }

    /// The state of a word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.as_str() == word)
    }
}

/// A message on its way to one receiver.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Delivery {
    /// The delivery's id.
    pub id: i64,
    /// The message's id: the same in every attempt, so that a receiver knows a repeat.
    pub message_id: String,
    /// What the message is about, such as `warning.raised`.
    pub topic: String,
    /// The way by which it goes.
    pub channel: Channel,
    /// The webhook it goes to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub webhook: Option<i64>,
    /// How it stands.
    pub state: DeliveryState,
    /// Attempts that were begun since it was put out, or resent.
    pub attempts: i32,
    /// When it is attempted next, while it waits.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next_attempt_at: Option<DateTime<Utc>>,
    /// When it was delivered, given up or dropped.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub settled_at: Option<DateTime<Utc>>,
    /// How the last attempt ended, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub last_outcome: Option<String>,
}

/// A delivery with its message.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DeliveryWithPayload {
    /// The delivery.
    #[serde(flatten)]
    pub delivery: Delivery,
    /// The message as it is sent, byte for byte: JSON as text, which is what is signed.
    pub payload: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_word_is_read_as_it_is_written() {
        for state in DeliveryState::ALL {
            assert_eq!(DeliveryState::of(state.as_str()), Some(state));
            let written = serde_json::to_value(state).unwrap();
            assert_eq!(written, state.as_str());
        }
        for channel in [Channel::Webhook, Channel::Mail] {
            assert_eq!(Channel::of(channel.as_str()), Some(channel));
            assert_eq!(serde_json::to_value(channel).unwrap(), channel.as_str());
        }
        assert_eq!(DeliveryState::of("lost"), None);
        assert_eq!(Channel::of("pigeon"), None);
    }
}
