"""Series names: one spelling each, found without regard to case and outer spaces, never merged beyond that."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kitvalue.intake.shop import Shop
from kitvalue.intake.tomltext import toml_heading
from kitvalue.intake.words import fold, listed


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
        from kitvalue.intake.likeness import likeness  # only a mistake needs it

        found = likeness(text, self.spellings)
        if found.telling:
            (name,) = found.names
            table = toml_heading("series", name)
            return f"did you mean {name}? Write it so, or add this spelling to also under {table}"
        if not found.names:
            return f"write one of {listed(self.names)}, or add the line [series.NAME] to shop.toml"
        names = listed(found.names, last="or")
        can_be = f"it can be {names}" if len(found.names) > 1 else f"it is only a part of a spelling of {names}"
        return (
            f"{can_be}: write which series it is, declare another one with the line [series.NAME] in shop.toml, "
            "or leave the kit out"
        )


def series_names(shop: Shop) -> SeriesNames:
    """The lookup for a shop's list of series."""
    spellings: dict[str, str] = {}
    for name, table in shop.series.items():
        for spelling in (name, *table.also):
            spellings.setdefault(fold(spelling), name)
    return SeriesNames(spellings)
