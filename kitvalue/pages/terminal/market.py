"""`fit` and `value` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kitvalue.intake.counts import FileCounts
from kitvalue.market.comparables import GROUPS, Comparable
from kitvalue.market.fitted import Accuracy, Fit, TermEstimate
from kitvalue.market.kit import Kit
from kitvalue.market.knowledge import series_knowledge
from kitvalue.market.outlook import Outlook
from kitvalue.market.trend import Moved
from kitvalue.market.unusual import UNUSUAL_WEIGHT
from kitvalue.market.value import Valuation
from kitvalue.pages.terminal.table import Column, bullets, facts, money, percent, span, table
from kitvalue.workshop.money import ZERO

MOST_LEAST_KNOWN = 4
GRADE_WORDS = {1: "harvest", 2: "remake", 3: "mend", 4: "freshen", 5: "wipe"}
PLAIN_WORDS = {
    "log_pieces": "twice the drums",
    "condition": "one grade better",
    "sold": "sold against asked",
    "dealer": "dealer against private",
    "auction": "auction against private",
    "years": "a year later",
}


def counts_line(counts: FileCounts) -> str:
    """`prices.csv: 160 rows read, 154 used, 2 refused, 4 set aside (relisted or repeated)`."""
    aside = f", {counts.set_aside} set aside (relisted or repeated)" if counts.set_aside else ""
    return f"{counts.file}: {counts.read} rows read, {counts.used} used, {counts.refused} refused{aside}"


def fit_text(fit: Fit, counts: FileCounts, saved_in: str) -> str:
    """What the market pays for, how sure that is, and which rows to look at."""
    how = ["series pooled" if fit.recipe.pooled else "series not pooled", "robust" if fit.robust else "plain"]
    parts = [
        f"{counts_line(counts)}\nFitted: {', '.join(how)}; saved in {saved_in}\n",
        "What moves the price, all else equal (with the 95 % range of each effect)\n" + _effects(fit) + "\n",
        "Series against the average one, all else equal\n" + _series(fit) + "\n",
    ]
    if not fit.exact:
        parts.append("What it knows least, and what one more sighting would do\n" + _least_known(fit) + "\n")
    if fit.accuracy is not None:
        parts.append("How well it foretells prices that it has not seen\n" + _accuracy(fit.accuracy) + "\n")
    if fit.unusual:
        parts.append("Rows far from what the others say of them\n" + _unusual(fit) + "\n")
    parts.append(bullets("Left out", [f"{out.term}: {out.reason}" for out in fit.recipe.left_out]))
    parts.append(bullets("Take care", fit.cautions))
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
    return table(columns, rows)


def _accuracy(a: Accuracy) -> str:
    pairs = [
        ("half the errors are under", percent(a.median_ape, 1)),
        ("80 % ranges held", "?" if a.coverage_80 is None else f"{a.coverage_80:.0f} % of prices held out"),
        ("median ratio", f"{a.median_ratio:.3f}  (predicted to observed)"),
        ("COD", f"{a.cod:.1f}"),
        ("PRD", f"{a.prd:.3f}  (a perfect model would show {a.prd_expected:.3f})"),
    ]
    if a.prb is not None:
        pairs.append(("PRB", f"{a.prb:+.3f}"))
    if a.forward_median_ape is not None:
        forward = f"half the errors under {a.forward_median_ape:.1f} %  ({a.forward_rows} rows, from the past alone)"
        pairs.append(("forward in time", forward))
    return facts(pairs) + "".join(f"\n  {reason}" for reason in a.reasons)


def _unusual(fit: Fit) -> str:
    columns = [
        Column("row"), Column("series", figures=False), Column("seen"), Column("expected"), Column("weight"),
        Column("moves such kits"), Column("", figures=False),
    ]  # fmt: skip
    rows = [
        (str(u.row), u.series, money(u.observed), money(u.expected), f"{u.weight:.2f}",
         percent(u.moves_percent, 1, sign=True), u.hint)
        for u in fit.unusual
    ]  # fmt: skip
    return table(columns, rows)


def value_text(
    valuation: Valuation, move: Moved | None, currency: str, cautions: Sequence[str], holding: Decimal = ZERO
) -> str:
    """Buy-in and resale with both ranges, and the sightings behind them."""
    share = valuation.buy_in.range_percent
    columns = [
        Column("", figures=False), Column("typical"), Column("average"), Column(f"one sale, {share} %"),
        Column(f"market level, {share} %"),
    ]  # fmt: skip
    finished = f"resale value, {grade_words(valuation.finished)}"
    rows = [_outlook("buy-in value, as it is", valuation.buy_in), _outlook(finished, valuation.resale)]
    parts = [
        f"{kit_words(valuation.kit)} ({currency})\n",
        table(columns, rows)
        + f"\n  asked to sold rests on {valuation.buy_in.rests_on}\n"
        + _held(holding)
        + _moved(move),
        "The nearest sightings, each adjusted to this kit\n" + _comparables(valuation.comparables) + "\n",
        bullets("Take care", cautions),
    ]
    return "\n".join(p for p in parts if p)


def _held(holding: Decimal) -> str:
    return f"  holding it until it is sold costs {money(holding, cents=True)}\n" if holding else ""


def _moved(m: Moved | None) -> str:
    if m is None:
        return ""
    days = f"  since {m.since.isoformat()} (to {m.to.isoformat()}) prices"
    if m.percent is None:
        return f"{days}: cannot be told, {m.reason}\n"
    ends = f"{percent(m.low, 1, sign=True)} to {percent(m.high, 1, sign=True)}"
    return f"{days} have moved {percent(m.percent, 1, sign=True)}  ({ends})\n"


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


def grade_words(grade: float) -> str:
    """`condition 3 (mend)`."""
    word = GRADE_WORDS.get(int(grade)) if grade == int(grade) else None
    return f"condition {grade:g}" + (f" ({word})" if word else "")


def _outlook(name: str, o: Outlook) -> tuple[str, ...]:
    return (name, money(o.typical), money(o.mean), span(o.low, o.high), span(o.level_low, o.level_high))


def _comparables(found: tuple[Comparable, ...]) -> str:
    used = [g for g in GROUPS if any(abs(_factor(c, g) - 1) > 5e-4 for c in found)]
    columns = [
        Column("row"), Column("series", figures=False), Column("pieces"), Column("cond."), Column("date"),
        Column("seen"), *(Column(g) for g in used), Column("adjusted"),
        Column("gross"), Column("", figures=False),
    ]  # fmt: skip
    rows = [
        (
            str(c.row), c.series, f"{c.pieces:g}", f"{c.condition:g}", c.date.isoformat() if c.date else "-",
            money(c.observed), *(percent(100 * (_factor(c, g) - 1), 0, sign=True) for g in used),
            money(c.adjusted), percent(c.gross_percent), "an unusual row" if c.weight < UNUSUAL_WEIGHT else "",
        )
        for c in found
    ]  # fmt: skip
    return table(columns, rows)


def _factor(c: Comparable, group: str) -> float:
    return next(a.factor for a in c.adjustments if a.name == group)
