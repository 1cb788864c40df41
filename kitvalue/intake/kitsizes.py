"""A cell with the sizes of all drums of a kit: "22x16 16x16 13x11 12x10", or their diameters alone."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from kitvalue.intake.numbers import plain
from kitvalue.intake.problems import shown
from kitvalue.intake.sizes import Size, bare_diameters, read_size
from kitvalue.intake.words import Refusal, trimmed

_FRACTION: Final = r"(?:1/2|[13]/4|[1357]/8)(?!\d)"  # belongs to the number before it
_LONGEST: Final = 1000
_LEAST_BASS: Final = 18  # inches: no drum is deeper than wide and as deep as that
_SIGNS: Final = re.compile(r"\s*(?:[x×X*/]|by)\s*")


@dataclass(frozen=True, slots=True)
class Diameters:
    """The diameters of a kit's drums, inches, of which no depth is told."""

    inches: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SizesCell:
    """A cell as sizes, or why it holds none; and, where it is nothing but whole numbers, as diameters alone."""

    sizes: tuple[Size, ...] | Refusal
    diameters: Diameters | None

    def meant(self, pieces: int | None) -> tuple[Size, ...] | Diameters | Refusal:
        """What it says of a kit of so many drums: "22/16 12/10" is two drums with their depths or four without."""
        if self.diameters is None:
            return self.sizes
        if not isinstance(self.sizes, Refusal) and len(self.sizes) == pieces:
            return self.sizes
        no_size = isinstance(self.sizes, Refusal) and self.sizes.code == "not_a_size"
        return self.diameters if no_size or len(self.diameters.inches) == pieces else self.sizes


def sizes_reader(order: str) -> Callable[[str], SizesCell | Refusal]:
    """The reader of a cell with a kit's sizes, each with its two numbers in the shop's `order`."""

    def read(text: str) -> SizesCell | Refusal:
        if len(text) > _LONGEST:
            return Refusal("too_long", "is too long for a kit's sizes")
        sizes, inches = _sizes(text, order), bare_diameters(text)
        if isinstance(sizes, Refusal) and not inches:
            return sizes
        return SizesCell(sizes, Diameters(inches) if inches else None)

    return read


def _sizes(text: str, order: str) -> tuple[Size, ...] | Refusal:
    found: list[Size] = []
    for one in split_sizes(text):
        size = read_size(one, order)
        if isinstance(size, Refusal):
            return Refusal(size.code, f"holds {shown(one)}, which {size.reason}", size.cure)
        found.append(size)
    if not found:
        return Refusal("not_a_size", "holds no drum size")
    return _swapped(found, order) or tuple(found)


def _swapped(found: list[Size], order: str) -> Refusal | None:
    """Numbers that stand in the other order."""
    other = "depth-diameter" if order == "diameter-depth" else "diameter-depth"
    swapped = next((size for size in found if size.depth > size.diameter and size.depth >= _LEAST_BASS), None)
    if swapped is not None:
        return Refusal(
            "size_order",
            f"has a drum {plain(swapped.depth)} inches deep and {plain(swapped.diameter)} wide read as {order}",
            f'swap its numbers, or set size_order = "{other}" under [shop] if all sizes are written so',
        )
    widest = max(found, key=lambda size: size.diameter)
    if all(size.depth >= size.diameter for size in found) and widest.depth > widest.diameter:
        return Refusal(
            "size_order", f"has every drum deeper than wide when read as {order}",
            f'swap the numbers, or set size_order = "{other}" under [shop] if all sizes are written so',
        )  # fmt: skip
    return None


def split_sizes(text: str) -> list[str]:
    """The sizes in a cell, apart at spaces, commas, semicolons or plus signs: "22x16 16x16, 13 x 7 1/4"."""
    joined = _SIGNS.sub(lambda found: found[0].strip(), text.replace("\n", " "))
    parts = re.split(rf"\s*[;+&]\s*|,\s+|\s+(?!{_FRACTION})", joined.strip())
    return [part for part in (trimmed(one).strip(",") for one in parts) if part]
