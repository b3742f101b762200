//! Random bytes, as something that can be passed in.
//!
//! For: tokens, message ids, keys. Invariant: [`OsEntropy`] is the only source used outside
//! tests. Deliberately absent: random numbers for statistics (the sums of this service use none).

use std::sync::{Mutex, PoisonError};

use sha2::{Digest, Sha256};

/// The operating system gave no random bytes.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("the operating system gave no random bytes: {0}")]
pub struct EntropyError(pub String);

/// A source of random bytes.
pub trait Entropy: Send + Sync {
    /// Fills `bytes` with unpredictable bytes.
    ///
    /// # Errors
    /// [`EntropyError`] if the source failed; the bytes must then not be used.
    fn fill(&self, bytes: &mut [u8]) -> Result<(), EntropyError>;
}

/// The random source of the operating system.
#[derive(Clone, Copy, Debug, Default)]
pub struct OsEntropy;

impl Entropy for OsEntropy {
    #[allow(clippy::disallowed_methods)] // The one place that asks the operating system.
    fn fill(&self, bytes: &mut [u8]) -> Result<(), EntropyError> {
        getrandom::fill(bytes).map_err(|e| EntropyError(e.to_string()))
    }
}

/// Repeatable bytes for tests: SHA-256 over a seed and a counter. Never use it for a secret.
///
/// ```
/// use heeltap::base::{Entropy, SeededEntropy};
/// let (mut a, mut b) = ([0; 40], [0; 40]);
/// SeededEntropy::new(7).fill(&mut a)?;
/// SeededEntropy::new(7).fill(&mut b)?;
/// assert_eq!(a, b);
/// # Ok::<(), heeltap::base::EntropyError>(())
/// ```
#[derive(Debug)]
pub struct SeededEntropy {
    seed: u64,
    blocks: Mutex<u64>,
}

impl SeededEntropy {
    /// A source whose bytes follow from `seed`.
    #[must_use]
    pub fn new(seed: u64) -> SeededEntropy {
        SeededEntropy {
            seed,
            blocks: Mutex::new(0),
        }
    }
}

impl Entropy for SeededEntropy {
    fn fill(&self, bytes: &mut [u8]) -> Result<(), EntropyError> {
        let mut block = self.blocks.lock().unwrap_or_else(PoisonError::into_inner);
        for chunk in bytes.chunks_mut(32) {
            let digest = Sha256::new()
                .chain_update(self.seed.to_le_bytes())
                .chain_update(block.to_le_bytes())
                .finalize();
            chunk.copy_from_slice(&digest[..chunk.len()]);
            *block = block.wrapping_add(1);
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_system_source_does_not_repeat() {
        let (mut a, mut b) = ([0_u8; 32], [0_u8; 32]);
        assert_eq!(OsEntropy.fill(&mut a), Ok(()));
        assert_eq!(OsEntropy.fill(&mut b), Ok(()));
        assert_ne!(a, b);
    }

    #[test]
    fn a_seeded_source_moves_on() {
        let source = SeededEntropy::new(1);
        let (mut a, mut b) = ([0_u8; 16], [0_u8; 16]);
        assert_eq!(source.fill(&mut a), Ok(()));
        assert_eq!(source.fill(&mut b), Ok(()));
        assert_ne!(a, b);
    }
}
