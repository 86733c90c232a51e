"""The Merkle tree of RFC 6962, section 2.1: its root, a path to it, and the check of a path."""

import hashlib
from collections.abc import Sequence


def leaf_hash(entry: bytes) -> bytes:
    """Return the hash of one entry."""
    return hashlib.sha256(b"\0" + entry).digest()


def root(entries: Sequence[bytes]) -> bytes:
    """Return the Merkle Tree Hash of the entries.

    >>> root([]).hex()[:16]
    'e3b0c44298fc1c14'
    """
    return _root([leaf_hash(entry) for entry in entries])


def _root(hashes: Sequence[bytes]) -> bytes:
    if len(hashes) <= 1:
        return hashes[0] if hashes else hashlib.sha256(b"").digest()
    part = _split(len(hashes))
    return _node(_root(hashes[:part]), _root(hashes[part:]))


def _node(left: bytes, right: bytes) -> bytes:
    return hashlib.sha256(b"\1" + left + right).digest()


def _split(size: int) -> int:
    """Return the greatest power of two that is smaller than `size`."""
    return 1 << (size - 1).bit_length() - 1


def path(entries: Sequence[bytes], index: int) -> list[bytes]:
    """Return the audit path of an entry, from its sibling up."""
    return _path([leaf_hash(entry) for entry in entries], index)


def _path(hashes: Sequence[bytes], index: int) -> list[bytes]:
    if len(hashes) <= 1:
        return []
    part = _split(len(hashes))
    if index < part:
        return [*_path(hashes[:part], index), _root(hashes[part:])]
    return [*_path(hashes[part:], index - part), _root(hashes[:part])]


def root_by_path(entry: bytes, index: int, size: int, steps: Sequence[bytes]) -> bytes:
    """Return the root to which a path leads; ValueError when it is not one of such a tree."""
    if not 0 <= index < size:
        raise ValueError("there is no such line in the log")
    return _climb(leaf_hash(entry), index, size, list(steps))


def _climb(found: bytes, index: int, size: int, steps: list[bytes]) -> bytes:
    if size == 1:
        if steps:
            raise ValueError("the path is longer than the tree is high")
        return found
    if not steps:
        raise ValueError("the path is shorter than the tree is high")
    part, above = _split(size), steps.pop()
    if index < part:
        return _node(_climb(found, index, part, steps), above)
    return _node(above, _climb(found, index - part, size - part, steps))
