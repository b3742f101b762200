//! The heads of all lots, as they are kept outside the database: printed, and held against the books.
//!
//! A chain that was forged as a whole is sound in itself. What gives it away is a head that was kept elsewhere before:
//! the lot must still have, at that place, that hash. Invariants: the lots stand in the order of their ids, each once; the
//! last line is the digest of all lines before it, so that a file that was cut short or altered is known, and one line
//! kept on paper proves the file. Deliberately absent: reading a file (`heads_file`) and the
//! books (`verify`).

use std::collections::HashMap;

use csv::WriterBuilder;
use sha2::{Digest, Sha256};

use super::audit::Breach;

/// The columns, in their order.
pub(super) const COLUMNS: [&str; 5] = ["lot", "material", "lot_code", "seq", "hash"];

/// What stands in the first column of the last line.
pub(super) const DIGEST: &str = "digest";

/// Where the chain of one lot ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Head {
    /// The lot's id.
    pub lot: i64,
    /// Its material's code, for whoever reads the file.
    pub material: String,
    /// The supplier's lot code, for whoever reads the file.
    pub lot_code: String,
    /// The number of its last movement; 0 without any.
    pub seq: i64,
    /// The hash of that movement; empty without any.
    pub hash: String,
}

/// The heads of all lots, in the order of their ids.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heads(pub(super) Vec<Head>);

impl Heads {
    /// The heads of these lots, whatever their order.
    #[must_use]
    pub fn new(mut heads: Vec<Head>) -> Self {
        heads.sort_by_key(|head| head.lot);
        Self(heads)
    }

    /// One head for each lot, in the order of their ids.
    #[must_use]
    pub fn lots(&self) -> &[Head] {
        &self.0
    }

    /// How many movements the chains have in all.
    #[must_use]
    pub fn movements(&self) -> i64 {
        let seqs = self.0.iter().map(|head| head.seq);
        seqs.fold(0, i64::saturating_add)
    }

    /// SHA-256 over the file without its last line, in hexadecimal digits: what `head -n -1 FILE | sha256sum` shows.
    #[must_use]
    pub fn digest(&self) -> String {
        hex::encode(Sha256::digest(self.without_digest()))
    }

    /// The file: a line of column names, one line for each lot, and the digest.
    ///
    /// ```
    /// use heeltap::stock::heads::{Head, Heads};
    /// let head = Head { lot: 1, material: "base".into(), lot_code: "L-1".into(), seq: 2, hash: "ab".repeat(32) };
    /// let heads = Heads::new(vec![head]);
    /// let file = heads.to_csv();
    /// assert!(file.starts_with("lot,material,lot_code,seq,hash\n1,base,L-1,2,abab"));
    /// assert!(file.ends_with(&format!("\ndigest,,,2,{}\n", heads.digest())));
    /// assert_eq!(Heads::parse(file.as_bytes()), Ok(heads));
    /// ```
    #[must_use]
    pub fn to_csv(&self) -> String {
        let (before, digest) = (self.without_digest(), self.digest());
        format!("{before}{DIGEST},,,{},{digest}\n", self.movements())
    }

    fn without_digest(&self) -> String {
        let mut file = COLUMNS.join(",") + "\n";
        for head in &self.0 {
            let cells = [
                head.lot.to_string(),
                head.material.clone(),
                head.lot_code.clone(),
                head.seq.to_string(),
                head.hash.clone(),
            ];
            file.push_str(&line(&cells));
        }
        file
    }
}

/// One record as a line, quoted where it must be.
fn line(cells: &[String]) -> String {
    let mut writer = WriterBuilder::new().from_writer(Vec::new());
    // Writing text into memory cannot fail; were it to, the line would be missing and the digest another.
    let _ = writer.write_record(cells);
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8_lossy(&bytes).into_owned()
}

/// What the books hold of a lot that is compared with its kept head.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// Its head as it stands now.
    pub now: Head,
    /// The hash of its movement at the place of the kept head; none when there is no such movement.
    pub there: Option<String>,
}

/// Holds kept heads against the books, `standing` by lot. A lot may have grown since; it must not have changed before.
/// Returns one breach of invariant 6 for each lot whose history is another.
#[must_use]
pub fn heads_compare(kept: &Heads, standing: &HashMap<i64, Standing>) -> Vec<Breach> {
    let breach = |head: &Head, detail: String| Breach {
        invariant: 6,
        subject: format!("lot {}", head.lot),
        detail: format!("{detail}: its history was rewritten after the heads were kept"),
    };
    let lots = kept.lots().iter();
    lots.filter_map(|head| changed(head, standing.get(&head.lot)).map(|said| breach(head, said)))
        .collect()
}

/// In which way a lot is not what its kept head says, in words.
fn changed(kept: &Head, standing: Option<&Standing>) -> Option<String> {
    let Head {
        material,
        lot_code,
        seq,
        ..
    } = kept;
    let Some(Standing { now, there }) = standing else {
        return Some(format!(
            "it is gone, but was {lot_code} of {material} with its head at number {seq}"
        ));
    };
    if (&now.material, &now.lot_code) != (material, lot_code) {
        return Some(format!(
            "it is {} of {}, but was {lot_code} of {material} with its head at number {seq}",
            now.lot_code, now.material
        ));
    }
    if now.seq < *seq {
        return Some(format!(
            "its chain ends at number {}, but its head was number {seq}",
            now.seq
        ));
    }
    let same = *seq == 0 || there.as_deref() == Some(kept.hash.as_str());
    (!same).then(|| format!("movement number {seq}, which was its head, has another hash"))
}

/// Heads to test with: lots 1, 3 and 7 with 2, 5 and no movements.
#[cfg(test)]
pub(super) mod samples {
    use super::*;

    pub(in crate::stock) fn head(lot: i64, seq: i64) -> Head {
        let hash = match seq {
            0 => String::new(),
            _ => hex::encode(Sha256::digest(format!("{lot} {seq}"))),
        };
        Head {
            lot,
            material: "base".into(),
            lot_code: format!("L-{lot}"),
            seq,
            hash,
        }
    }

    pub(in crate::stock) fn three() -> Heads {
        Heads::new(vec![head(7, 0), head(1, 2), head(3, 5)])
    }
}

#[cfg(test)]
mod tests {
    use super::samples::{head, three};
    use super::*;

    #[test]
    fn the_digest_is_what_a_general_tool_makes_of_the_file() {
        // printf 'lot,material,lot_code,seq,hash\n' | sha256sum
        assert_eq!(
            Heads::new(vec![]).to_csv(),
            "lot,material,lot_code,seq,hash\n\
             digest,,,0,35c63fb15d886ba85642b5065ca8a6198fae5dcea65c5017bd8a087a61f18339\n"
        );
    }

    #[test]
    fn a_lot_may_have_grown_but_not_changed() {
        #[track_caller]
        fn check(change: impl Fn(&mut HashMap<i64, Standing>), expected: &[(&str, &str)]) {
            let of = |head: &Head| Standing {
                now: head.clone(),
                there: Some(head.hash.clone()).filter(|hash| !hash.is_empty()),
            };
            let mut books: HashMap<i64, Standing> = three()
                .lots()
                .iter()
                .map(|head| (head.lot, of(head)))
                .collect();
            change(&mut books);
            let found = heads_compare(&three(), &books);
            assert_eq!(found.len(), expected.len(), "{found:#?}");
            for (breach, (subject, says)) in found.iter().zip(expected) {
                assert_eq!((breach.invariant, breach.subject.as_str()), (6, *subject));
                assert!(breach.detail.contains(says), "{}", breach.detail);
                assert!(
                    breach
                        .detail
                        .ends_with("rewritten after the heads were kept")
                );
            }
        }
        check(|_| {}, &[]);
        let grown = |books: &mut HashMap<i64, Standing>| {
            for lot in [1, 7] {
                books.insert(
                    lot,
                    Standing {
                        now: head(lot, 9),
                        there: books[&lot].there.clone(),
                    },
                );
            }
            let new = Standing {
                now: head(8, 1),
                there: None,
            };
            books.insert(8, new);
        };
        check(grown, &[]);
        check(
            |books| drop(books.remove(&7)),
            &[("lot 7", "it is gone, but was L-7 of base")],
        );
        check(
            |books| {
                books.insert(
                    3,
                    Standing {
                        now: head(3, 4),
                        there: None,
                    },
                );
            },
            &[(
                "lot 3",
                "its chain ends at number 4, but its head was number 5",
            )],
        );
        let forged = |books: &mut HashMap<i64, Standing>| {
            for lot in [1, 3] {
                let standing = books.get_mut(&lot).expect("a lot");
                standing.there = Some("ab".repeat(32));
            }
        };
        check(
            forged,
            &[
                (
                    "lot 1",
                    "movement number 2, which was its head, has another hash",
                ),
                (
                    "lot 3",
                    "movement number 5, which was its head, has another hash",
                ),
            ],
        );
        check(
            |books| books.get_mut(&1).expect("a lot").now.lot_code = "L-9".into(),
            &[("lot 1", "it is L-9 of base, but was L-1 of base")],
        );
    }
}
