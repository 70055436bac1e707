//! The Merkle tree of RFC 9162, section 2.1.1, with SHA-256.

use crate::ids::Hash32;
use sha2::{Digest, Sha256};

/// Hash of a leaf: a prefix of 0, so that no leaf can pass for a node.
pub fn leaf(data: &[u8]) -> Hash32 {
    let mut sha = Sha256::new();
    sha.update([0]);
    sha.update(data);
    Hash32::of(sha.finalize().into())
}

fn node(left: Hash32, right: Hash32) -> Hash32 {
    let mut sha = Sha256::new();
    sha.update([1]);
    sha.update(left.bytes());
    sha.update(right.bytes());
    Hash32::of(sha.finalize().into())
}

/// The root over leaf hashes in their order; SHA-256 of nothing for none.
///
/// ```
/// use domain::seal::tree::{leaf, root};
/// assert_eq!(root(&[leaf(b"a")]), leaf(b"a"));
/// assert_ne!(root(&[leaf(b"a"), leaf(b"b")]), root(&[leaf(b"b"), leaf(b"a")]));
/// ```
pub fn root(leaves: &[Hash32]) -> Hash32 {
    match leaves {
        [] => Hash32::sha256(b""),
        [only] => *only,
        _ => {
            // The greatest power of two that is less than the number of leaves.
            let left = 1 << (usize::BITS - 1 - (leaves.len() - 1).leading_zeros());
            node(root(&leaves[..left]), root(&leaves[left..]))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Trees of one to eight leaves put together by hand after the figure in RFC 9162, section 2.1.5.
    #[test]
    fn the_root_follows_the_standard() {
        let d: Vec<Hash32> = (0..7u8).map(|n| leaf(&[n])).collect();
        let (g, h, i) = (node(d[0], d[1]), node(d[2], d[3]), node(d[4], d[5]));
        assert_eq!(root(&d[..0]).hex(), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
        assert_eq!(root(&d[..2]), g);
        assert_eq!(root(&d[..3]), node(g, d[2]));
        assert_eq!(root(&d[..5]), node(node(g, h), d[4]));
        assert_eq!(root(&d), node(node(g, h), node(i, d[6])));
    }
}
