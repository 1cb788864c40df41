"""How a file was read, in numbers."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class FileCounts:
    """How one file was read: `read` = `used` + `refused` + `set_aside` (repeated rows and superseded relistings)."""

    file: str
    read: int
    used: int
    refused: int
    set_aside: int
    encoding: str | None
    delimiter: str | None
    decimal: str | None


@dataclass(frozen=True, slots=True)
class PlanCounts:
    """One plan: its file and its number of drums, None where it cannot be used."""

    file: str
    drums: int | None
