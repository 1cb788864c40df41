"""Records as JSON objects: the keys in their order, each figure as it is to be written."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal

import pytest

from kitvalue.intake.books.bookrows import FeatureRead
from kitvalue.pages.answers import answer


@dataclass(frozen=True)
class Part:
    name: str
    price: Decimal | None
    note: str = ""


@dataclass(frozen=True)
class Whole:
    parts: tuple[Part, ...]
    best: Part | None
    on: date
    lengths: tuple[float, ...]
    features: tuple[FeatureRead, ...] = ()

    def text(self) -> str:
        return "said"


WHOLE = Whole(
    (Part("a", Decimal("1.005"), "kept"), Part("b", None)), None, date(2026, 3, 4), (1.26, float("nan")),
    (FeatureRead("holes", Decimal(2)), FeatureRead("case", None)),
)  # fmt: skip


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("on text", {"on": "2026-03-04", "text": "said"}),
        ("lengths~1", {"lengths": [1.3, None]}),
        ("name=best.name price=best.price$ best{name}", {"name": None, "price": None, "best": None}),
        ("all=parts{price$ note?}", {"all": [{"price": 1.0, "note": "kept"}, {"price": None, "note": None}]}),
        ("features:", {"features": {"holes": 2.0, "case": None}}),
    ],
)
def test_an_answer_follows_its_keys(keys: str, told: dict[str, object]) -> None:
    assert answer(WHOLE, keys) == told


def test_what_no_field_has_comes_from_its_maker_in_its_place() -> None:
    made = answer(WHOLE, "first on last", first=1, last=None)
    assert list(made.items()) == [("first", 1), ("on", "2026-03-04"), ("last", None)]
