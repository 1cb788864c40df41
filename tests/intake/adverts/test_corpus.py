"""Adverts in six languages that others wrote from the requirement alone (invented, no source): how many are fully
right, and that none is wrong in silence.
"""

from __future__ import annotations

import tomllib
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.adverts.paste import adverts_of
from kitvalue.intake.adverts.read import shop_lexicon
from kitvalue.intake.text.problems import RefusedError
from tests.intake.adverts.test_adverts import SHOP, understood

HERE = Path(__file__).parent
ADVERTS: list[dict[str, Any]] = tomllib.loads((HERE / "corpus.toml").read_text(encoding="utf-8"))["advert"]
PASTES: list[dict[str, Any]] = tomllib.loads((HERE / "pastes.toml").read_text(encoding="utf-8"))["paste"]
BY_LANGUAGE: dict[str, list[dict[str, Any]]] = defaultdict(list)
for _advert in ADVERTS:
    BY_LANGUAGE[_advert["lang"]].append(_advert)
RIGHT = 0.9  # the least share of a language's adverts


def mistakes(advert: dict[str, Any]) -> tuple[list[str], bool]:
    """What is not as it must be, and whether a wrong value stands where a blank could."""
    try:
        found = understood(advert["text"])
    except RefusedError as error:
        return ([], False) if "refused" in advert else ([f"refused: {error}"], False)
    if "refused" in advert:
        return [f"price {found.value('price')} instead of a refusal"], True
    reasons = {one.field: one.reason for one in found.unknown}
    got = {name: found.value(name) for name in (*advert["row"], *advert.get("open", ()), *advert.get("never", ()))}
    wrong = [f"{name} is {got[name]}" for name, want in advert["row"].items() if got[name] not in (want, None)]
    wrong += [f"{name} is {got[name]}" for name in advert.get("open", ()) if got[name] is not None]
    wrong += [f"{name} is {got[name]}" for name, values in advert.get("never", {}).items() if got[name] in values]
    lacks = [f"{name}: {reasons.get(name)}" for name in advert["row"] if got[name] is None]
    lacks += [f"{n}: {reasons.get(n)}" for n, text in advert.get("open", {}).items() if text not in reasons.get(n, "")]
    haggle = f"{found.value('note')} {found.haggle}"
    lacks += [f"{part} is not noted" for part in advert.get("note", ()) if part not in haggle]
    remark = advert.get("remark", "")
    lacks += [] if not remark or any(remark in one for one in found.remarks) else [f"{remark} is not told"]
    return wrong + lacks, bool(wrong)


@pytest.mark.parametrize("language", BY_LANGUAGE)
def test_a_language(language: str) -> None:
    adverts = BY_LANGUAGE[language]
    found = {one["name"]: mistakes(one) for one in adverts}
    right = sum(not told for told, _ in found.values())
    report = "\n".join(f"{name}: {'; '.join(told)}" for name, (told, _) in found.items() if told)
    assert not any(silent for _, silent in found.values()), report
    assert right >= RIGHT * len(adverts), report


def test_the_adverts_are_as_many_as_they_should_be() -> None:
    assert len(ADVERTS) >= 60
    assert len(BY_LANGUAGE) == 6


PASTES: list[dict[str, Any]] = tomllib.loads((Path(__file__).parent / "pastes.toml").read_text(encoding="utf-8"))[
    "paste"
]


@pytest.mark.parametrize("paste", PASTES, ids=lambda one: one["name"])
def test_a_paste_is_parted_into_its_adverts(paste: dict[str, Any]) -> None:
    adverts = adverts_of(paste["text"], SHOP, {name: name for name in SHOP.series}, shop_lexicon(SHOP))
    assert len(adverts) == len(paste["rows"]), adverts
    for text, row in zip(adverts, paste["rows"], strict=True):
        try:
            found = understood(text)
        except RefusedError:
            assert "refused" in row, text
            continue
        got = {name: found.value(name) or "" for name in row}
        assert {name: value for name, value in got.items() if value not in (row[name], "")} == {}, text


PARTS = st.sampled_from(
    ["Burren 22/16/13/12, 430 EUR", "Slane 5-piece, 390 EUR ono", "Kilbeg 22x16 16x16 13x9, 510 EUR, postage 39 EUR"]
)


@given(st.lists(PARTS, min_size=2, max_size=6), st.sampled_from(["\n\n", "\n\n\n", "\n---\n", "\n* * *\n", "\r\n\r\n"]))
def test_adverts_with_anything_between_are_each_by_itself(parts: list[str], between: str) -> None:
    spellings = {name: name for name in SHOP.series}
    assert [one.strip() for one in adverts_of(between.join(parts), SHOP, spellings, shop_lexicon(SHOP))] == parts
