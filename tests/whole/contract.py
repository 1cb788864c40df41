"""The keys that each command's JSON object holds, in full and all of its lists' items."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from typing import Any

ALWAYS = ("problems", "cautions", "caution_codes")
PROBLEM = "file row column text code level message"
OUTLOOK = "typical mean low high level_low level_high rests_on"
USE = "use route ceiling safe_ceiling expected_profit"

# command -> its keys; "list[]" are the keys of each item of a list, "table." those of a table
KEYS: Mapping[str, Mapping[str, str]] = {
    "check": {
        "": "files plans",
        "files[]": "file read used refused encoding delimiter decimal",
        "rows[]": "file row series pieces condition price price_kind channel premium currency freight date ref note "
        "weight",
    },
    "fit": {
        "": "rows terms left_out series unusual tau2 sigma2 reference_date pooled robust accuracy",
        "rows.": "read used refused", "terms[]": "name coefficient se low high percent", "left_out[]": "term reason",
        "series[]": "name rows effect percent", "unusual[]": "row series weight observed expected",
        "accuracy.": "median_ape coverage_80 median_ratio cod prd prb forward_median_ape",
    },
    "value": {
        "": "kit buy_in resale comparables", "buy_in.": OUTLOOK, "resale.": OUTLOOK,
        "comparables[]": "row series pieces condition date observed adjustments adjusted",
    },
    "cost": {
        "": "lines quantities net_cost purchase routes incomplete", "lines[]": "what quantity unit unit_price net",
        "routes[]": "route allowed reason net_cost zero_profit_price floor landed_at_cost",
    },
    "price": {
        "": "floor cap resale market_price profit_at_market suggested binding net vat profit margin markup ways_out "
        "destinations",
        "destinations[]": "place kind seller_gets buyer_pays",
    },
    "compare": {
        "": "by_pieces crossings chance_none tie_price_at_cost tie_price_at_price share_below_tie_at_cost "
        "share_below_tie_at_price unknowns like_for_like",
        "by_pieces[]": "pieces build_at_cost build_at_price original_typical original_low original_high "
        "chance_build_cheaper",
        "crossings[]": "pieces low high",
        "unknowns[]": "name planned break_even break_even_market reason swing_down swing_up",
    },
    "shortlist": {
        "": "offers portfolio reckoned_with",
        "offers[]": "offer series features asked buy_in asked_against_percent rank open_at stop_at best_use "
        "expected_profit chance_of_loss profit_per_hour uses reason",
    },
    "source": {
        "": "status cost gap buy drums new_shells leftovers", "drums[]": "drum from cut_down",
    },
    "done": {"": "jobs learned_hours learned_shares"},
    "jot": {"": "file understood unknown amounts row written"},
    "take": {
        "": "file read added changed open left refused written",
        "added[]": "row series pieces condition price price_kind channel currency date ref note",
    },
    "report": {"": "written"}, "sheet": {"": "written"}, "card": {"": "written"}, "new": {"": "folder files"},
}  # fmt: skip


# Keys of figures that are rounded to the cent, or come from such.
MONEY = frozenset(
    """
    typical mean low high level_low level_high observed expected net_cost purchase zero_profit_price floor cap resale
    market_price landed_at_cost landed_at_floor original_landed original_typical original_low original_high
    build_at_cost build_at_price landed_at_price tie_price_at_cost tie_price_at_price hammer_tie_at_cost
    hammer_tie_at_price holding asked buy_in expected_paid open_at stop_at expected_profit profit_per_hour ceiling
    safe_ceiling cost spent credit gap price sold_off kept kit unit_price net vat fee profit budget suggested adjusted
    profit_at_market swing_down swing_up seller_gets buyer_pays goods freight duty clearance break_even
    break_even_market value hourly_rate landed door common cash
    """.split()  # noqa: SIM905
)


def answer_of(command: str, out: str) -> dict[str, Any]:
    """The one JSON object of a command's standard output, every key of the contract in it and no NaN."""
    found = json.loads(out, parse_constant=_no_constant)
    assert isinstance(found, dict)
    _has(found, " ".join(ALWAYS), command)
    for problem in found["problems"]:
        _has(problem, PROBLEM, f"{command} problem")
        assert problem["level"] in ("refused", "warning", "file"), problem
    assert all(isinstance(caution, str) and caution.strip() for caution in found["cautions"]), found["cautions"]
    assert len(found["caution_codes"]) == len(found["cautions"])
    assert all(code.isidentifier() for code in found["caution_codes"]), found["caution_codes"]
    if "error" not in found:
        for place, names in KEYS[command].items():
            for one in _at(found, place):
                _has(one, names, f"{command} {place}")
        for offer in found.get("offers", ()):
            for use in offer["uses"]:
                _has(use, USE, "use")
    return found


def _no_constant(word: str) -> float:
    raise AssertionError(f"{word} is no JSON")


def _has(found: Mapping[str, Any], names: str, where: str) -> None:
    missing = set(names.split()) - set(found)
    assert not missing, f"{where} lacks {sorted(missing)}"


def _at(found: dict[str, Any], place: str) -> list[Mapping[str, Any]]:
    if not place:
        return [found]
    if place.endswith("[]"):
        return list(found.get(place[:-2], ()))
    return [found[place[:-1]]] if found[place[:-1]] is not None else []


def same(one: Any, other: Any, slack: float, but: frozenset[str] = frozenset(), path: str = "", key: str = "") -> None:
    """Both objects say the same: figures within 1e-6 of their size, money with `slack` on top, all else alike. Keys of
    `but` are passed over."""
    if isinstance(one, dict) and isinstance(other, dict):
        assert one.keys() == other.keys(), path
        money = "coefficient" not in one
        for name in one.keys() - but:
            same(one[name], other[name], slack, but, f"{path}.{name}", name if money else "")
    elif isinstance(one, list) and isinstance(other, list):
        assert len(one) == len(other), f"{path}: {one} / {other}"
        for at, (a, b) in enumerate(zip(one, other, strict=True)):
            same(a, b, slack, but, f"{path}[{at}]", key)
    elif _is_figure(one) and _is_figure(other):
        allowed = slack if key in MONEY else 1e-7
        assert math.isclose(one, other, rel_tol=1e-6, abs_tol=allowed), f"{path}: {one} / {other}"
    else:
        assert one == other, f"{path}: {one!r} / {other!r}"


def _is_figure(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
