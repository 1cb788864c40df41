"""Equal cells put together: each text of a column once, and which row has which."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from kitvalue.intake.books.tall.fields import Cells, Fields, Mask, Places, Words

Codes = NDArray[np.int64]
_SLOTS: Final = 1 << 16
_OWNER_BITS: Final = 22
FACTOR: Final = np.uint64(0x9E3779B97F4A7C15)  # 2^64 over the golden ratio (Knuth, multiplicative hashing; from memory)
_FACTORS: Final = tuple(np.uint64((int(FACTOR) ** n | 1) % 2**64) for n in (1, 3, 5, 7))  # one for each round
_PRIME: Final = np.uint64(0x100000001B3)  # FNV's 64-bit prime (from memory; any odd number would do)


@dataclass(frozen=True, slots=True, eq=False)
class Groups:
    """`texts`: every text of a column once. `codes` (n,): which of them each row has."""

    texts: tuple[str, ...]
    codes: Codes


def grouped(fields: Fields, cells: Cells) -> Groups:
    """A column's texts, told apart by all their bytes; no text holds a zero, which stands behind a cell's end."""
    longest = int(cells.length.max(initial=0))
    codes = numbered(fields.word(cells, 0))
    for word in range(1, (longest + 7) // 8):
        further = fields.word(cells, word)
        if longest - 8 * word > 4:
            further = numbered(further).astype(np.uint64)
        codes = numbered((codes.astype(np.uint64) << np.uint64(32)) | further)
    kinds = int(codes.max(initial=-1)) + 1
    first = np.empty(kinds, dtype=np.int64)
    first[codes[::-1]] = np.arange(
        len(codes) - 1, -1, -1
    )  # of repeated places the last assignment stands: the first row
    return Groups(tuple(fields.texts(Cells(cells.start[first], cells.length[first]))), codes)


def numbered(keys: Words) -> Codes:
    """Equal keys -> equal numbers 0, 1, 2, ... in no special order. By a table of slots, again for keys that found
    theirs taken, and by sorting where there are too many of them.
    """
    codes = np.empty(len(keys), dtype=np.int64)
    left = np.arange(len(keys))
    rest, known = keys, 0
    for factor in _FACTORS:
        slots = ((rest * factor) >> np.uint64(48)).view(np.int64)
        table = np.zeros(_SLOTS, dtype=np.uint64)
        table[slots] = rest
        settled = table[slots] == rest
        used = np.zeros(_SLOTS, dtype=np.int64)
        used[slots[settled]] = 1
        found = (known - 1 + np.cumsum(used))[slots]
        known += int(used.sum())
        if len(left) == len(keys) and bool(settled.all()):
            return found
        codes[left[settled]] = found[settled]
        left, rest = left[~settled], rest[~settled]
        if not len(left):
            return codes
    codes[left] = known + np.unique(rest, return_inverse=True)[1].reshape(-1)
    return codes


def digest(fields: Fields, cells: Cells) -> Words:
    """One number a cell; equal cells have equal ones, and different cells hardly ever."""
    longest = int(cells.length.max(initial=0))
    found = (cells.length.astype(np.uint64) + np.uint64(1)) * FACTOR
    for word in range((longest + 7) // 8):
        found = (found ^ fields.word(cells, word)) * FACTOR
        found ^= found >> np.uint64(29)
    return found


def mixed(one: Words, other: Words) -> Words:
    """The digest of two."""
    return one * _PRIME + other


def repeated(keys: Words) -> Mask:
    """Rows whose key another row has too."""
    found = np.zeros(len(keys), dtype=bool)
    slots = ((keys * FACTOR) >> np.uint64(64 - _OWNER_BITS)).view(np.int64)
    owner = np.empty(1 << _OWNER_BITS, dtype=np.int32)
    own = np.arange(len(keys), dtype=np.int32)
    owner[slots] = own
    lost = np.flatnonzero(owner[slots] != own)  # another row with the same slot came later: only these need sorting
    if not len(lost):
        return found
    found[lost] = True
    found[owner[slots[lost]]] = True
    maybe = np.flatnonzero(found)
    found[maybe] = False
    ordered = np.sort(keys[maybe])
    twice = np.unique(ordered[1:][ordered[1:] == ordered[:-1]])
    if len(twice):
        where = np.searchsorted(twice, keys[maybe])
        found[maybe] = twice[np.minimum(where, len(twice) - 1)] == keys[maybe]
    return found


def tight(fields: Fields, cells: Cells) -> Cells:
    """Cells without outer spaces and outer signs that do not show, as texts are compared."""
    from kitvalue.intake.text.words import trimmed

    first = fields.data[cells.start]
    last = fields.data[np.maximum(cells.start + cells.length - 1, 0)]
    loose = (cells.length > 0) & ((first <= 32) | (first >= 128) | (last <= 32) | (last >= 128))
    places: Places = np.flatnonzero(loose)
    if not len(places):
        return cells
    start, length = cells.start.copy(), cells.length.copy()
    for at in places.tolist():
        text = fields.text(int(start[at]), int(length[at]))
        core = trimmed(text)
        start[at] += len(text[: text.find(core)].encode("utf-8", "surrogatepass")) if core else 0
        length[at] = len(core.encode("utf-8", "surrogatepass"))
    return Cells(start, length)
