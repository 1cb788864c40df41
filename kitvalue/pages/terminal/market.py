"""`fit` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from kitvalue.intake.text.problems import FileCounts
from kitvalue.market.encoding import Kit
from kitvalue.market.fitted import (
    UNUSUAL_WEIGHT,
    Accuracy,
    Fit,
    Moved,
    TermEstimate,
    following,
    leading,
    weighs_nothing,
)
from kitvalue.market.value import Comparable, Valuation, series_knowledge, usual_kit
from kitvalue.pages.terminal.table import Column, bullets, facts, money, percent, span, table, wrapped
from kitvalue.workshop.money import ZERO

GRADE_WORDS = {1: "harvest", 2: "remake", 3: "mend", 4: "freshen", 5: "wipe"}


def kit_words(kit: Kit) -> str:
    """`Burren, 5 pieces, condition 3 (mend), hardware yes, on 2026-11-01`."""
    parts = [kit.series, f"{kit.pieces:g} pieces", grade_words(kit.condition)]
    parts += [f"{f.name} {_feature_words(f.value)}" for f in kit.features]
    if kit.on is not None:
        parts.append(f"on {kit.on.isoformat()}")
    return ", ".join(parts)


def _feature_words(value: float | bool | str) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return value if isinstance(value, str) else f"{value:g}"


def grade_words(value: float) -> str:
    """`condition 3 (mend)`."""
    return f"condition {grade(value)}"


def grade(value: float) -> str:
    """`3 (mend)`."""
    word = GRADE_WORDS.get(int(value)) if value == int(value) else None
    return f"{value:g}" + (f" ({word})" if word else "")


def as_of_words(day: date | None) -> str:
    """`, at the prices of 2026-11-14`, behind a currency."""
    return "" if day is None else f", at the prices of {day.isoformat()}"


def first_of_all(cautions: Sequence[str]) -> str:
    """The cautions that stand above an answer's headline; empty where there are none."""
    return "".join(f"{wrapped(f'Take care: {text}.', '')}\n\n" for text in leading(cautions))[:-1]


def take_care(cautions: Sequence[str]) -> str:
    """The others, below the answer."""
    return bullets("Take care", following(cautions))


MOST_LEAST_KNOWN = 4
PLAIN_WORDS = {
    "log_pieces": "twice the drums",
    "condition": "one grade better",
    "sold": "sold against asked",
    "dealer": "dealer against private",
    "auction": "auction against private",
    "years": "a year later",
}


def counts_line(counts: FileCounts) -> str:
    """`prices.csv: 160 rows read, 154 used, 2 refused, 4 set aside (repeats)`."""
    aside = f", {counts.set_aside} set aside (repeats)" if counts.set_aside else ""
    return f"{counts.file}: {counts.read} rows read, {counts.used} used, {counts.refused} refused{aside}"


def fit_text(fit: Fit, counts: FileCounts, saved_in: str) -> str:
    """What the market pays for, how sure that is, and which rows to look at."""
    how = ["series pooled" if fit.recipe.pooled else "series not pooled", "robust" if fit.robust else "plain"]
    parts = [
        first_of_all(fit.cautions),
        wrapped(counts_line(counts), "") + "\n" + f"Fitted: {', '.join(how)}\nSaved in {saved_in}\n",
        "What moves the price, all else equal (with the 95 % range of each effect)\n" + _effects(fit) + "\n",
        "Series against the average one, all else equal\n" + _series(fit) + "\n",
    ]
    if not fit.exact:
        parts.append("What it knows least, and what one more sighting would do\n" + _least_known(fit) + "\n")
    if fit.accuracy is not None:
        parts.append("How well it foretells prices that it has not seen\n" + _accuracy(fit.accuracy, fit) + "\n")
    if fit.unusual:
        parts.append("Rows far from what the others say of them\n" + _unusual(fit) + "\n")
    parts.append(bullets("Left out", [f"{out.term}: {out.reason}" for out in fit.recipe.left_out]))
    parts.append(take_care(fit.cautions))
    return "\n".join(p for p in parts if p)


def _effects(fit: Fit) -> str:
    rows = [
        (term_words(t), percent(t.percent, 1, sign=True), _effect_range(t))
        for t in fit.terms
        if t.percent is not None and not t.name.startswith("series[")
    ]
    if not rows:
        return "  nothing but the series"
    return table([Column("", figures=False), Column("on the price"), Column("95 % range")], rows)


def term_words(term: TermEstimate) -> str:
    """A term in the words of the trade."""
    return PLAIN_WORDS.get(term.name, term.name)


def _effect_range(t: TermEstimate) -> str:
    return f"{percent(t.percent_low, 1, sign=True)} to {percent(t.percent_high, 1, sign=True)}"


def _series(fit: Fit) -> str:
    rows = [
        (s.name, str(s.rows), percent(s.percent, 0, sign=True)) for s in sorted(fit.series, key=lambda s: -s.effect)
    ]
    return table([Column("series", figures=False), Column("rows"), Column("price")], rows)


def _least_known(fit: Fit) -> str:
    columns = [Column("series", figures=False), Column("rows"), Column("level known to"), Column("with one more")]
    rows = [
        (k.name, str(k.rows), f"+-{k.level_percent:.1f} %", f"+-{k.one_more_percent:.1f} %")
        for k in series_knowledge(fit)[:MOST_LEAST_KNOWN]
    ]
    usual = usual_kit(fit, fit.recipe.series[0])
    kit = f"{usual.pieces:g} pieces, {grade_words(usual.condition)}, sold in private on the newest date"
    return table(columns, rows) + "\n" + wrapped(f"of {kit}: rows of other kinds of sale tell less of that")


def _accuracy(a: Accuracy, fit: Fit) -> str:
    pairs = [
        ("half the errors are under", percent(a.median_ape, 1)),
        ("80 % ranges held", "?" if a.coverage_80 is None else f"{a.coverage_80:.0f} % of prices held out"),
        ("median ratio", f"{a.median_ratio:.3f}  (predicted to observed)"),
        ("COD, spread of the ratios", f"{a.cod:.1f}  (percent from their middle, on average)"),
    ]
    if a.prd is not None and a.prd_expected is not None:
        perfect = f"(perfect {a.prd_expected:.3f}; above: dear kits too cheap)"
        pairs.append(("PRD, dear against cheap", f"{a.prd:.3f}  {perfect}"))
    if a.prb is not None:
        pairs.append(("PRB, tilt with the price", f"{a.prb:+.3f}  (change as the value doubles; ideal 0)"))
    if a.forward_median_ape is not None:
        under = f"half the errors under {a.forward_median_ape:.1f} %"
        pairs.append(("forward in time", f"{under}  ({a.forward_rows} rows, past alone)"))
    return "\n".join([facts(pairs), *(wrapped(text) for text in (*_pulled(fit), *a.reasons))])


def _pulled(fit: Fit) -> list[str]:
    """A ratio study counts every row in full: what that does to it where rows are gross slips."""
    gross = [str(u.row) for u in fit.unusual if weighs_nothing(u.weight)]
    if not gross:
        return []
    which = f"row {gross[0]} alone moves" if len(gross) == 1 else f"rows {listed(gross)} move"
    return [f"COD, PRD and PRB count every row in full; {which} them far"]


def _unusual(fit: Fit) -> str:
    columns = [
        Column("row"), Column("series", figures=False), Column("seen"), Column("expected"), Column("weight"),
        Column("moves such kits"),
    ]  # fmt: skip
    rows = [
        (str(u.row), u.series, money(u.observed), money(u.expected), f"{u.weight:.2f}",
         percent(u.moves_percent, 1, sign=True))
        for u in fit.unusual
    ]  # fmt: skip
    return table(columns, rows, under=[u.hint for u in fit.unusual])


def listed(names: Sequence[str], most: int = 5) -> str:
    """`59, 68 and 70`, and how many more."""
    shown = [*names[:most], *([f"{len(names) - most} more"] if len(names) > most else [])]
    return " and ".join([", ".join(shown[:-1]), shown[-1]]) if len(shown) > 1 else shown[0]


GROUP_WORDS = {"basis": "asked to sold"}


def value_text(
    valuation: Valuation, move: Moved | None, currency: str, cautions: Sequence[str], holding: Decimal = ZERO,
    asked: str = "",
) -> str:  # fmt: skip
    """What is to be said of a price asked, buy-in and resale with both ranges, and the sightings behind them, the
    adjustments of each under it."""
    notes = [*_alike(valuation), f"asked to sold rests on {valuation.buy_in.rests_on}", *_held(holding), *_moved(move)]
    if not asked:
        notes.append("what it may cost you is less: --asked and his price take off work, VAT and margin")
    dated = "" if valuation.kit.on is not None else as_of_words(valuation.as_of)  # else the kit's words have the day
    parts = [
        first_of_all(cautions),
        wrapped(f"{kit_words(valuation.kit)} ({currency}{dated})", "") + "\n",
        asked,
        "\n".join([_values(valuation), *map(wrapped, notes)]) + "\n",
        "The nearest sightings, each adjusted to this kit\n" + _comparables(valuation.comparables) + "\n",
        take_care(cautions),
    ]
    return "\n".join(p for p in parts if p)


def _alike(v: Valuation) -> list[str]:
    """Why resale is no more than buy-in, where it is not."""
    if v.finished != v.kit.condition or v.resale.typical > v.buy_in.typical:
        return []
    if v.resale.typical < v.buy_in.typical:
        return ["resale is below buy-in: dealer rows lie under private ones in this book; are they dealers' prices?"]
    return ["resale equals buy-in: the same condition, and no dealer's price to tell apart"]


def _held(holding: Decimal) -> list[str]:
    return [f"holding it until it is sold costs {money(holding, cents=True)}"] if holding else []


def _moved(m: Moved | None) -> list[str]:
    if m is None:
        return []
    days = f"since {m.since.isoformat()} (to {m.to.isoformat()}) prices"
    if m.percent is None:
        return [f"{days}: cannot be told, {m.reason}"]
    ends = f"{percent(m.low, 1, sign=True)} to {percent(m.high, 1, sign=True)}"
    return [f"{days} have moved {percent(m.percent, 1, sign=True)}  ({ends})"]


def _values(v: Valuation) -> str:
    """Buy-in beside resale, both ranges under the typical price."""
    share = v.buy_in.range_percent
    ways = (v.buy_in, v.resale)
    rows = [
        ("condition", grade(v.kit.condition), grade(v.finished)),
        ("typical", *(money(o.typical) for o in ways)),
        ("average", *(money(o.mean) for o in ways)),
        (f"one sale, {share} %", *(span(o.low, o.high) for o in ways)),
        (f"market level, {share} %", *(span(o.level_low, o.level_high) for o in ways)),
    ]
    return table([Column("", figures=False), Column("buy-in value"), Column("resale value")], rows)


def _comparables(found: tuple[Comparable, ...]) -> str:
    columns = [
        Column("row"), Column("series", figures=False), Column("pieces"), Column("condition"), Column("date"),
        Column("seen"), Column("adjusted"), Column("gross"),
    ]  # fmt: skip
    rows = [
        (
            str(c.row), c.series, f"{c.pieces:g}", f"{c.condition:g}", c.date.isoformat() if c.date else "-",
            money(c.observed), money(c.adjusted), percent(c.gross_percent),
        )
        for c in found
    ]  # fmt: skip
    legend = "gross: all adjustments added up, signs aside; the smaller, the nearer"
    return table(columns, rows, under=[_adjustments(c) for c in found]) + "\n" + wrapped(legend)


def _adjustments(c: Comparable) -> str:
    """`time +4 %, asked to sold -5 %`, and how little the row counts where it is an unusual one."""
    made = [
        f"{GROUP_WORDS.get(a.name, a.name)} {percent(a.percent, 0, sign=True)}"
        for a in c.adjustments
        if round(a.percent) != 0
    ]
    far = f"; far off: {_counts(c.weight)}" if c.weight < UNUSUAL_WEIGHT else ""
    return (", ".join(made) or "nothing to adjust") + far


def _counts(weight: float) -> str:
    return "weighs nothing" if weighs_nothing(weight) else f"weighs {weight:.2f}, not 1"
