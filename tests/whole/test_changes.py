"""Changes that mean nothing, or one thing only: what a shop is called, how it is written, in what order and money."""

from __future__ import annotations

import math
import random
import re
from collections import Counter
from dataclasses import replace
from pathlib import Path
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from kitvalue.commands.folder import ShopFolder
from kitvalue.intake.text.problems import KitvalueError
from kitvalue.market.encoding import Kit
from kitvalue.market.outlook import Valuation, value_kit
from tests import TODAY
from tests.whole.contract import MONEY, same
from tests.whole.made import Dialect, MadeShop
from tests.whole.running import asked, examples, laid_out
from tests.whole.shops import NAMES, dialects, shops, sure

# Texts that quote figures or rows, and what is drawn: folds, draws of coefficients, draws of sales.
TOLD = frozenset(
    """
    problems cautions message sentence text note reason reasons rests_on business_buyer paid_rests_on like_for_like
    crossings_text first comparables basis net_cost_text
    """.split()  # noqa: SIM905
)
DRAWN = frozenset(("coverage_80", "crossings", "chance_none", "portfolio"))
# Money that rounding to a step or a cent may move, what follows from it, and which of two equals `source` takes.
MOVED = frozenset(
    """
    prb ways_out unknowns suggested binding landed_at_price price net vat fee reserve originals_dearer profit margin
    markup destinations
    build_at_price landed_at_price chance_build_cheaper priced_to_tie tie_price_at_price share_below_tie_at_price
    share_below_tie_at_cost hammer_tie_at_price profit_at_market chance_of_loss_at_ceiling drums leftovers
    """.split()  # noqa: SIM905
)
OTHERWISE = dict(zip(NAMES, ("Zennor", "Anascaul", "Quilty", "Mweelrea", "Corofin", "Barna"), strict=True))


def answers(folder: Path, made: MadeShop) -> dict[str, Any]:
    """What the figures of a shop are: each command's answer, None where there is none."""
    kit = ("--series", made.asked.name, "--pieces", "5", "--condition", "3", "--finished", "5")
    plan = next(iter(made.plans))
    asking = [("value", *kit), ("cost", plan), ("price", plan), ("compare", plan)]
    asking += [("shortlist",), ("shortlist", "--plan", plan), ("source", plan)] if "offers.csv" in made.tables else []
    return {"fit": asked(folder, "fit")} | {" ".join(args): asked(folder, *args) for args in asking}


def valued(folder: Path, made: MadeShop) -> list[Valuation]:
    """Kits valued without rounding; none where the book has no answer."""
    try:
        fit = ShopFolder(folder, TODAY).market.fit
        kits = [Kit(made.asked.name, float(pieces), grade) for pieces in (3, 5, 7) for grade in (2.0, 4.5)]
        return [value_kit(fit, kit, 5.0, 80) for kit in kits]
    except KitvalueError:
        return []


def same_values(one: list[Valuation], other: list[Valuation], factor: float = 1.0) -> None:
    """Every figure in money within 1e-9 of its size."""
    assert len(one) == len(other)
    for a, b in zip(one, other, strict=True):
        for view, changed in ((a.buy_in, b.buy_in), (a.resale, b.resale)):
            for name in ("typical", "mean", "low", "high", "level_low", "level_high"):
                was, now = getattr(view, name), getattr(changed, name)
                assert (was is None) == (now is None), name
                if was is not None:
                    assert abs(now - factor * was) <= 1e-9 * factor * was, f"{name}: {was!r} x {factor} / {now!r}"


def unusual_as_a_set(found: dict[str, Any]) -> dict[str, Any]:
    """The fit's answer with its unusual rows, without their numbers, its series and terms in an order of their own."""
    fit = found["fit"]
    if fit is None:
        return found
    rows = [{k: v for k, v in row.items() if k != "row"} for row in fit["unusual"]]
    rows.sort(key=lambda row: (row["series"], row["observed"], row["weight"]))
    sets = {key: sorted(fit[key], key=lambda one: one["name"]) for key in ("series", "terms")}
    return found | {"fit": fit | {"unusual": rows, **sets}}


@examples(2)
@given(shops(), st.integers(0, 1000))
def test_the_order_of_the_rows_changes_nothing(made: MadeShop, seed: int) -> None:
    order = list(range(len(made.tables["prices.csv"].rows)))
    random.Random(seed).shuffle(order)
    with laid_out(made) as folder, laid_out(made.reordered(order)) as changed:
        if _base_is_a_tie(folder):
            return  # the word seen first stands for all words
        same_values(valued(folder, made), valued(changed, made))
        one, other = (unusual_as_a_set(answers(place, made)) for place in (folder, changed))
        same(one, other, 0.011, but=TOLD | DRAWN | {"least_known"})


def _base_is_a_tie(folder: Path) -> bool:
    """Are two words of a feature equally frequent, and both the most frequent ones?"""
    check = asked(folder, "check", "--rows")
    assert check is not None
    counts = Counter(row["finish"] for row in check["rows"] if row.get("finish"))
    most = [count for _, count in counts.most_common(2)]
    return len(most) == 2 and most[0] == most[1]


@examples(2)
@given(shops())
def test_what_the_series_are_called_changes_nothing(made: MadeShop) -> None:
    renamed = made.renamed(OTHERWISE)
    with laid_out(made) as folder, laid_out(renamed) as changed:
        same_values(valued(folder, made), valued(changed, renamed))
        one, other = answers(folder, made), answers(changed, renamed)
        named = _with_names(one, OTHERWISE)
        other = {key.replace(renamed.asked.name, made.asked.name): value for key, value in other.items()}
        same(unusual_as_a_set(named), unusual_as_a_set(other), 0.011, but=TOLD | DRAWN | {"terms", "least_known"})


def _with_names(found: Any, names: dict[str, str]) -> Any:
    if isinstance(found, dict):
        return {key: _with_names(value, names) for key, value in found.items()}
    if isinstance(found, list):
        return [_with_names(one, names) for one in found]
    return re.sub(r"\w+", lambda word: names.get(word[0], word[0]), found) if isinstance(found, str) else found


@examples(2)
@given(shops(), st.sampled_from((2, 4, 10)))
def test_all_money_times_a_number_is_every_value_times_it(made: MadeShop, factor: int) -> None:
    scaled = made.scaled(factor)
    with laid_out(made) as folder, laid_out(scaled) as changed:
        same_values(valued(folder, made), valued(changed, scaled), factor)
        one, other = answers(folder, made), answers(changed, scaled)
        lines = 1 + max(len(plan["part"]) + len(plan["work"]) + 8 for plan in made.plans.values())
        same(_times(one, factor), other, 0.012 * factor * lines, but=TOLD | DRAWN | MOVED)


def _times(found: Any, factor: int) -> Any:
    """An answer with its money times the factor; on the log scale the intercept takes all of it."""
    if isinstance(found, list):
        return [_times(one, factor) for one in found]
    if not isinstance(found, dict):
        return found
    if found.get("name") == "intercept":
        return found | {key: found[key] + math.log(factor) for key in ("coefficient", "low", "high")}
    if "coefficient" in found:
        return found
    return {k: v * factor if k in MONEY and _figure(v) else _times(v, factor) for k, v in found.items()}


def _figure(value: object) -> bool:
    return isinstance(value, float | int) and not isinstance(value, bool)


@examples(2)
@given(shops(), dialects())
def test_how_the_files_are_written_changes_nothing(made: MadeShop, dialect: Dialect) -> None:
    rewritten = replace(made, dialect=dialect)
    with laid_out(made) as folder, laid_out(rewritten) as changed:
        one, other = answers(folder, made), answers(changed, rewritten)
        assert _bare(one) == _bare(other)
        kept = [asked(place, "check", "--rows") for place in (folder, changed)]
        assert kept[0] is not None
        assert kept[1] is not None
        assert kept[0]["rows"] == kept[1]["rows"]


def _bare(found: Any) -> Any:
    """An answer without the problems, which quote cells as they are written."""
    if isinstance(found, dict):
        return {key: _bare(value) for key, value in found.items() if key not in ("problems", "cautions")}
    return [_bare(one) for one in found] if isinstance(found, list) else found


@examples(2)
@given(shops())
def test_another_currency_changes_its_name_alone(made: MadeShop) -> None:
    if "rates.csv" in made.tables:
        return
    settings = {**made.settings, "shop": {**made.settings["shop"], "currency": "SEK"}}
    with laid_out(made) as folder, laid_out(replace(made, settings=settings)) as changed:
        one, other = (_bare(answers(place, made)) for place in (folder, changed))
        assert re.sub(r"\bEUR\b", "SEK", repr(one)) == repr(other)


@examples(2)
@given(shops().map(sure))
def test_rows_that_repeat_others_change_nothing(made: MadeShop) -> None:
    """A second copy of the whole book is set aside, row by row."""
    book = made.tables["prices.csv"]
    doubled = replace(made, tables={**made.tables, "prices.csv": replace(book, rows=(*book.rows, *book.rows))})
    with laid_out(made) as folder, laid_out(doubled) as changed:
        same_values(valued(folder, made), valued(changed, made))
