"""Adverts in six languages that others wrote from the requirement alone (invented, no source): how many are fully
right, and that none is wrong in silence.
"""

from __future__ import annotations

import tomllib
from collections import defaultdict
from pathlib import Path
from typing import Any

import pytest

from kitvalue.intake.text.problems import RefusedError
from tests.intake.adverts.test_adverts import understood

ADVERTS: list[dict[str, Any]] = tomllib.loads((Path(__file__).parent / "corpus.toml").read_text(encoding="utf-8"))[
    "advert"
]
BY_LANGUAGE: dict[str, list[dict[str, Any]]] = defaultdict(list)
for _advert in ADVERTS:
    BY_LANGUAGE[_advert["lang"]].append(_advert)
RIGHT = {"en": 0.8, "de": 0.8, "fr": 0.9, "nl": 0.9, "it": 0.9, "es": 0.9}  # the least share of a language's adverts
SILENT = {"en": 5, "de": 2, "fr": 0, "nl": 0, "it": 0, "es": 0}  # the most that may be wrong without a blank


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
    assert sum(silent for _, silent in found.values()) <= SILENT[language], report
    assert right >= RIGHT[language] * len(adverts), report


def test_the_adverts_are_as_many_as_they_should_be() -> None:
    assert len(ADVERTS) >= 60
    assert len(BY_LANGUAGE) == 6
