"""`fit` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence

from kitvalue.intake.counts import FileCounts
from kitvalue.market.fitted import Accuracy, Fit, TermEstimate
from kitvalue.market.knowledge import series_knowledge, usual_kit
from kitvalue.market.unusual import weighs_nothing
from kitvalue.pages.terminal.care import first_of_all, take_care
from kitvalue.pages.terminal.kits import grade_words
from kitvalue.pages.terminal.table import Column, bullets, facts, money, percent, table, wrapped

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
