"""Series names: one spelling each, found without regard to case and outer spaces, never merged beyond that."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kitvalue.intake.shop import Shop
from kitvalue.intake.words import fold, listed, nearest


@dataclass(frozen=True, slots=True)
class SeriesNames:
    """The series of shop.toml. `spellings`: folded name or `also` name -> the shop's own spelling; may be empty."""

    spellings: Mapping[str, str]

    @property
    def declared(self) -> bool:
        """Does shop.toml list series at all?"""
        return bool(self.spellings)

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(self.spellings.values()))

    def find(self, text: str) -> str | None:
        """The shop's spelling of a name, None where it is not in the list."""
        return self.spellings.get(fold(text))

    def advice(self, text: str) -> str:
        """What to do about a name that is not in the list."""
        likely = nearest(text, self.spellings)
        if likely is not None:
            name = self.spellings[likely]
            return f"did you mean {name}? Write it so, or add this spelling to also under [series.{name}]"
        return f"write one of {listed(self.names)}, or add the line [series.NAME] to shop.toml"


def series_names(shop: Shop) -> SeriesNames:
    """The lookup for a shop's list of series."""
    spellings: dict[str, str] = {}
    for name, table in shop.series.items():
        for spelling in (name, *table.also):
            spellings.setdefault(fold(spelling), name)
    return SeriesNames(spellings)
