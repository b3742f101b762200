//! Whose turn it is: which receivers are sent to now.
//!
//! Invariants: there are no more than [`AT_ONCE`] runs under way, and one to each receiver at most; whoever was served longest
//! ago comes first, so that receivers that hang take turns with those that do not.

use std::collections::{BTreeMap, BTreeSet};

/// The most receivers that one process sends to at once (*assumption*).
pub(super) const AT_ONCE: usize = 4;

/// The runs under way, and when each receiver had its last one.
#[derive(Debug, Default)]
pub(super) struct Runs {
    under_way: BTreeSet<i64>,
    last: BTreeMap<i64, u64>,
    count: u64,
}

impl Runs {
    /// Begins runs to some of those that something is due for, and says to whom.
    pub(super) fn begin(&mut self, due: &[i64]) -> Vec<i64> {
        let free = AT_ONCE.saturating_sub(self.under_way.len());
        let mut waiting: Vec<i64> = due.to_vec();
        waiting.retain(|one| !self.under_way.contains(one));
        // Stable: among those never served, whoever has waited longest.
        waiting.sort_by_key(|one| self.last.get(one).copied().unwrap_or(0));
        waiting.truncate(free);
        self.last
            .retain(|one, _| due.contains(one) || self.under_way.contains(one));
        for one in &waiting {
            self.count += 1;
            self.under_way.insert(*one);
            self.last.insert(*one, self.count);
        }
        waiting
    }

    /// Ends the run to a receiver.
    pub(super) fn end(&mut self, receiver: i64) {
        self.under_way.remove(&receiver);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn there_is_one_run_to_each_and_four_in_all() {
        let mut runs = Runs::default();
        assert_eq!(runs.begin(&[7, 3]), [7, 3]);
        assert!(runs.begin(&[7, 3]).is_empty());
        assert_eq!(runs.begin(&[3, 9, 7, 1, 5]), [9, 1]);
        assert!(runs.begin(&[5]).is_empty());
        runs.end(3);
        assert_eq!(runs.begin(&[5]), [5]);
    }

    #[test]
    fn receivers_that_hang_take_turns_with_the_others() {
        let mut runs = Runs::default();
        // Of six, five have so much due that they are always there first.
        let due = [1, 2, 3, 4, 5, 6];
        assert_eq!(runs.begin(&due), [1, 2, 3, 4]);
        for one in [1, 2, 3, 4] {
            runs.end(one);
        }
        assert_eq!(runs.begin(&due), [5, 6, 1, 2]);
        runs.end(1);
        runs.end(5);
        assert_eq!(runs.begin(&due), [3, 4]);
    }
}
