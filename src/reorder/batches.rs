//! What is judged together: materials that are parts of one kit, with their kits, in batches that are not too large.
//!
//! Invariants: base and curing agent of a kit are always in one batch, with every kit that is made of either; a batch
//! holds whole groups only. Absent: which materials wait (the store knows).

use std::collections::{BTreeMap, BTreeSet, HashMap};

/// A kit with its parts, by ids.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KitLink {
    /// The kit.
    pub kit_id: i64,
    /// Its elastomer.
    pub elastomer_id: i64,
    /// The elastomer's base.
    pub base_id: i64,
    /// The elastomer's curing agent.
    pub curing_agent_id: i64,
}

/// Materials and kits that are judged in one transaction.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Batch {
    /// The materials, by rising ids.
    pub materials: Vec<i64>,
    /// The kits, by rising ids.
    pub kits: Vec<i64>,
}

/// Groups the items that wait (materials and kits by id) with all that must be judged with them, into batches of about
/// `size` materials.
///
/// ```
/// use heeltap::reorder::batches::{Batch, KitLink, batches};
/// let kit = KitLink { kit_id: 9, elastomer_id: 8, base_id: 1, curing_agent_id: 3 };
/// assert_eq!(batches(&[2, 3].into(), &[kit], 2), [
///     Batch { materials: vec![1, 3], kits: vec![9] },
///     Batch { materials: vec![2], kits: vec![] },
/// ]);
/// assert_eq!(batches(&[9].into(), &[kit], 2)[0].materials, [1, 3]);
/// ```
#[must_use]
pub fn batches(waiting: &BTreeSet<i64>, kits: &[KitLink], size: usize) -> Vec<Batch> {
    let leaders = leaders(kits);
    let leader = |material: i64| leaders.get(&material).copied().unwrap_or(material);
    let mut groups: BTreeMap<i64, (BTreeSet<i64>, BTreeSet<i64>)> = BTreeMap::new();
    for item in waiting {
        match kits.iter().find(|kit| kit.kit_id == *item) {
            Some(kit) => {
                groups.entry(leader(kit.base_id)).or_default();
            }
            None => {
                groups.entry(leader(*item)).or_default().0.insert(*item);
            }
        }
    }
    for kit in kits {
        if let Some((materials, of)) = groups.get_mut(&leader(kit.base_id)) {
            materials.extend([kit.base_id, kit.curing_agent_id]);
            of.insert(kit.kit_id);
        }
    }
    let mut found: Vec<Batch> = Vec::new();
    for (materials, of) in groups.into_values() {
        match found.last_mut().filter(|last| last.materials.len() < size) {
            Some(last) => {
                last.materials.extend(materials);
                last.kits.extend(of);
            }
            None => found.push(Batch {
                materials: materials.into_iter().collect(),
                kits: of.into_iter().collect(),
            }),
        }
    }
    for batch in &mut found {
        batch.materials.sort_unstable();
        batch.kits.sort_unstable();
    }
    found
}

/// The least material of the group that each part belongs to.
fn leaders(kits: &[KitLink]) -> HashMap<i64, i64> {
    let mut leaders: HashMap<i64, i64> = HashMap::new();
    for kit in kits {
        let of = |part: i64| leaders.get(&part).copied().unwrap_or(part);
        let (one, other) = (of(kit.base_id), of(kit.curing_agent_id));
        let (least, most) = (one.min(other), one.max(other));
        for leader in leaders.values_mut().filter(|leader| **leader == most) {
            *leader = least;
        }
        leaders.insert(kit.base_id, least);
        leaders.insert(kit.curing_agent_id, least);
    }
    leaders
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kit(kit_id: i64, base_id: i64, curing_agent_id: i64) -> KitLink {
        KitLink {
            kit_id,
            elastomer_id: 0,
            base_id,
            curing_agent_id,
        }
    }

    #[track_caller]
    fn check(waiting: &[i64], kits: &[KitLink], size: usize, expected: &[(&[i64], &[i64])]) {
        let found: Vec<_> = batches(&waiting.iter().copied().collect(), kits, size)
            .into_iter()
            .map(|batch| (batch.materials, batch.kits))
            .collect();
        let expected: Vec<_> = expected
            .iter()
            .map(|(materials, kits)| (materials.to_vec(), kits.to_vec()))
            .collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn materials_alone_are_only_counted_out() {
        check(&[], &[], 2, &[]);
        check(&[1, 2, 3], &[], 2, &[(&[1, 2], &[]), (&[3], &[])]);
    }

    #[test]
    fn kits_that_share_a_part_belong_together() {
        let kits = [kit(50, 5, 6), kit(51, 1, 2), kit(52, 2, 6)];
        check(&[5], &kits, 1, &[(&[1, 2, 5, 6], &[50, 51, 52])]);
        check(&[51], &kits, 1, &[(&[1, 2, 5, 6], &[50, 51, 52])]);
        check(&[3], &kits, 1, &[(&[3], &[])]);
    }

    #[test]
    fn a_group_is_never_split() {
        let kits = [kit(50, 2, 4)];
        check(&[1, 2, 3, 4], &kits, 2, &[(&[1, 2, 4], &[50]), (&[3], &[])]);
    }
}
