"""What the keys of a plan hold beyond numbers and texts: grades, sizes, sheets of covering, shares."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Annotated, Final, Literal

from pydantic import BeforeValidator, Field, JsonValue, PlainValidator, ValidationInfo, WithJsonSchema
from pydantic_core import PydanticCustomError

from kitvalue.intake.settings.toml import no_such_value
from kitvalue.intake.text.sizes import Size, bass_order_refusal, read_size, sizes_reader
from kitvalue.intake.text.vocabulary import grade
from kitvalue.intake.text.words import Refusal

_SHEET: Final = re.compile(r"\s*(\d+(?:\.\d+)?)\s*[xX×]\s*(\d+(?:\.\d+)?)\s*")


def _a_grade(value: object) -> object:
    """A bench grade in halves, as a number or one of our words."""
    known = grade(str(value))
    if known is None:
        raise PydanticCustomError("grade", "is no grade")
    return known


@dataclass(frozen=True, slots=True)
class Sheet:
    """A sheet of covering, millimetres."""

    length: Decimal
    width: Decimal

    def __str__(self) -> str:
        return f"{self.length}x{self.width}"


def _a_size(value: object, info: ValidationInfo) -> Size:
    """A drum's size, its two numbers in the order that the context says (a shop's `size_order`)."""
    if isinstance(value, Size):
        return value
    order = (info.context or {}).get("size_order", "diameter-depth")
    size = read_size(_text(value), order)
    if isinstance(size, Size) and info.data.get("role") == "bass":
        size = bass_order_refusal(size, order) or size
    if isinstance(size, Refusal):
        cure = size.cure or 'write diameter and depth, such as "22x16"'
        raise no_such_value(size.code, f"{size.reason}; {cure}", stand_in=Size(Decimal(9), Decimal(9)))
    return size


def _a_sheet(value: object) -> Sheet:
    if isinstance(value, Sheet):
        return value
    sides = _SHEET.fullmatch(_text(value))
    if sides is None:
        message = 'is no sheet size; write its sides in millimetres, such as "1370x610"'
        raise no_such_value("sheet", message, stand_in=Sheet(Decimal(1), Decimal(1)))
    return Sheet(Decimal(sides[1]), Decimal(sides[2]))


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise PydanticCustomError("string_type", "is no text")
    return value


@dataclass(frozen=True, slots=True)
class Share:
    """What a rebuild fetches, percent of its series' price: `low` to `high` in eight of ten cases; equal: no doubt."""

    low: Decimal
    high: Decimal

    @property
    def middle(self) -> Decimal:
        """The median, where one number is needed."""
        return self.low if self.low == self.high else (self.low * self.high).sqrt()

    def __str__(self) -> str:
        low, high = (f"{end.normalize():f}" for end in (self.low, self.high))
        return low if low == high else f"{low} to {high}"


def _a_share(value: object) -> Share:
    if isinstance(value, Share):
        return value
    ends = value if isinstance(value, list | tuple) else [value]
    numbers = [Decimal(end) for end in ends if isinstance(end, int | Decimal) and not isinstance(end, bool)]
    if len(numbers) < len(ends):
        why = "is no number; write percent, such as 85, or two that hold it eight times in ten, such as [70, 100]"
    elif len(numbers) in (1, 2) and 0 < numbers[0] <= numbers[-1]:
        return Share(numbers[0], numbers[-1])
    else:
        why = "is out of range; write one number above 0, or two, the smaller first, such as [70, 100]"
    raise no_such_value("share", why, stand_in=Share(Decimal(100), Decimal(100)))


_ABOVE_0: dict[str, JsonValue] = {"type": "number", "exclusiveMinimum": 0}
_PAIR: dict[str, JsonValue] = {"type": "array", "items": _ABOVE_0, "minItems": 2, "maxItems": 2}
_WRITTEN = WithJsonSchema({"type": "string"})
ShareCell = Annotated[Share, PlainValidator(_a_share), WithJsonSchema({"anyOf": [_ABOVE_0, _PAIR], "default": 100})]
SizeCell = Annotated[Size, PlainValidator(_a_size), _WRITTEN]
SheetCell = Annotated[Sheet, PlainValidator(_a_sheet), _WRITTEN]
Grade = Annotated[Decimal, BeforeValidator(_a_grade), Field(ge=1, le=5)]
Role = Literal["bass", "floor", "rack", "snare"]
VatWord = Literal["included", "excluded"]
Per = Literal[
    "kit", "drum", "shell", "edge", "hoop", "head", "position", "rod", "claw",
    "hole", "m2_outside", "m2_inside", "sheet", "hour", "each",
]  # fmt: skip


def _sizes_told(value: object, info: ValidationInfo) -> tuple[Size, ...]:
    """A kit's sizes in one text, as offers.csv has them."""
    if isinstance(value, tuple):
        return value
    cell = sizes_reader((info.context or {}).get("size_order", "diameter-depth"))(_text(value))
    sizes = cell if isinstance(cell, Refusal) else cell.sizes
    if isinstance(sizes, Refusal):
        cure = sizes.cure or 'write diameter and depth of each drum, such as "22x16 16x16 13x11"'
        raise no_such_value(sizes.code, f"{sizes.reason}; {cure}", stand_in=())
    return sizes


SizesList = Annotated[tuple[Size, ...], PlainValidator(_sizes_told), _WRITTEN]
