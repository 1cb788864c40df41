"""Which rows of a big book are drawn."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

Drawn = TypeVar("Drawn")


def thinned(
    rows: Sequence[Drawn], most: int, unusual: Callable[[Drawn], bool], size: Callable[[Drawn], float]
) -> tuple[Drawn, ...]:
    """At most so many of the rows, in their own order: the unusual ones as far as they fit, then rows evenly spaced by
    size, so that the spread of what is drawn is the spread of all."""
    if len(rows) <= most:
        return tuple(rows)
    numbered = list(enumerate(rows))
    kept = [i for i, row in numbered if unusual(row)][:most]
    usual = [i for i, row in sorted(numbered, key=lambda pair: (size(pair[1]), pair[0])) if not unusual(row)]
    room = min(most - len(kept), len(usual))
    kept += [usual[(2 * k + 1) * len(usual) // (2 * room)] for k in range(room)]
    return tuple(rows[i] for i in sorted(kept))
