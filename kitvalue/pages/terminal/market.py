"""`fit` and `value` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from decimal import Decimal

from kitvalue.intake.text.problems import Caution, FileCounts
from kitvalue.intake.text.words import listed
from kitvalue.market.fitted import NOTHING, UNUSUAL_WEIGHT, Accuracy, Fit, Moved, following, leading
from kitvalue.market.outlook import Comparable, Valuation, series_knowledge, usual_kit
from kitvalue.pages.terminal.figures import cents, change, money, percent
from kitvalue.pages.terminal.table import bullets, facts, page, table, wrapped
from kitvalue.pages.words import feature_words, grade

MOST_LEAST_KNOWN = 4
PLAIN_WORDS = {
    "log_pieces": "twice the drums", "condition": "one grade better", "sold": "sold against asked",
    "dealer": "dealer against private", "auction": "auction against private", "years": "a year later",
}  # fmt: skip


def as_of_words(day: date | None) -> str:
    """`, at the prices of 2026-11-14`, behind a currency."""
    return "" if day is None else f", at the prices of {day}"


def answer_page(cautions: Sequence[Caution], *blocks: str) -> str:
    """An answer between its cautions: those that stand above its headline, and the others below it."""
    first = (wrapped(f"Take care: {text}.", "") for text in leading(cautions))
    return page(*first, *blocks, take_care(cautions))


def take_care(cautions: Sequence[Caution]) -> str:
    """The cautions below an answer, the shortest first."""
    return bullets("Take care", sorted(following(cautions), key=len))


def counts_line(counts: FileCounts) -> str:
    """`prices.csv: 160 rows read, 154 used, 2 refused, 4 set aside`."""
    aside = f", {counts.set_aside} set aside" if counts.set_aside else ""
    return f"{counts.file}: {counts.read} rows read, {counts.used} used, {counts.refused} refused{aside}"


def fit_text(fit: Fit, counts: FileCounts, saved_in: str) -> str:
    """What the market pays for, how sure that is, and which rows to look at."""
    pooled, robust = "" if fit.recipe.pooled else "not ", "robust" if fit.robust else "plain"
    effects = [
        (PLAIN_WORDS.get(t.name, t.name), change(t.percent), f"{change(t.percent_low)} to {change(t.percent_high)}")
        for t in fit.terms
        if t.percent is not None and not t.name.startswith("series[")
    ]
    by_term = table("< | on the price | 95 % range", effects) if effects else "  nothing but the series"
    series = [(s.name, s.rows, change(s.percent, 0)) for s in sorted(fit.series, key=lambda s: -s.effect)]
    unusual = [
        (u.row, u.series, money(u.observed), money(u.expected), f"{u.weight:.2f}", change(u.moves_percent))
        for u in fit.unusual
    ]
    by_row = table("row | series< | seen | expected | weight | moves such kits", unusual, [u.hint for u in fit.unusual])
    least = ""
    if not fit.exact:
        known = [
            (k.name, k.rows, f"+-{k.level_percent:.1f} %", f"+-{k.one_more_percent:.1f} %")
            for k in series_knowledge(fit)[:MOST_LEAST_KNOWN]
        ]
        usual = usual_kit(fit, fit.recipe.series[0])
        kit = f"{usual.pieces:g} pieces, condition {grade(usual.condition)}, sold in private on the newest date"
        note = f"of {kit}: rows of other kinds of sale tell less of that"
        by_series = table("series< | rows | level known to | with one more", known, notes=[note])
        least = f"What it knows least, and what one more sighting would do\n{by_series}"
    return answer_page(
        fit.cautions,
        f"{wrapped(counts_line(counts), '')}\nFitted: series {pooled}pooled, {robust}\nSaved in {saved_in}",
        f"What moves the price, all else equal (with the 95 % range of each effect)\n{by_term}",
        f"Series against the average one, all else equal\n{table('series< | rows | price', series)}",
        least,
        "" if fit.accuracy is None else _accuracy(fit.accuracy, fit),
        f"Rows far from what the others say of them\n{by_row}" if unusual else "",
        bullets("Left out", [f"{out.term}: {out.reason}" for out in fit.recipe.left_out]),
    )


def _accuracy(a: Accuracy, fit: Fit) -> str:
    """The measures of a ratio study; it counts every row in full, and says what gross slips do to it."""
    lines = [
        ("half the errors are under", percent(a.median_ape, 1)),
        ("80 % ranges held", "?" if a.coverage_80 is None else f"{a.coverage_80:.0f} % of prices held out"),
        ("median ratio", f"{a.median_ratio:.3f}  (predicted to observed)"),
        ("COD, spread of the ratios", f"{a.cod:.1f}  (percent from their middle, on average)"),
        ("PRD, dear against cheap", "" if a.prd is None or a.prd_expected is None else
         f"{a.prd:.3f}  (perfect {a.prd_expected:.3f}; above: dear kits too cheap)"),
        ("PRB, tilt with the price", "" if a.prb is None else
         f"{a.prb:+.3f}  (change as the value doubles; ideal 0)"),
        ("forward in time", "" if a.forward_median_ape is None else
         f"half the errors under {a.forward_median_ape:.1f} %  ({a.forward_rows} rows, past alone)"),
    ]  # fmt: skip
    notes = [*a.reasons]
    gross = [str(u.row) for u in fit.unusual if u.weight < NOTHING]
    if gross:
        which = f"row {gross[0]} alone moves" if len(gross) == 1 else f"rows {listed(gross, 5)} move"
        notes.insert(0, f"COD, PRD and PRB count every row in full; {which} them far")
    measures = facts([line for line in lines if line[1]])
    return "\n".join(["How well it predicts prices that it has not seen", measures, *map(wrapped, notes)])


def value_text(
    valuation: Valuation,
    move: Moved | None,
    currency: str,
    cautions: Sequence[Caution],
    holding: Decimal,
    verdict: str,
    asked: str,
    *,
    details: bool = False,
) -> str:
    """What is to be said of a price asked, and buy-in and resale with the range of one sale; averages, the market's
    level and the sightings behind them as a detail."""
    kit, buy_in, resale = valuation.kit, valuation.buy_in, valuation.resale
    ways = (buy_in, resale)
    dated, on = ("", f"on {kit.on}") if kit.on is not None else (as_of_words(valuation.as_of), "")
    about = (kit.series, f"{kit.pieces:g} pieces", f"condition {grade(kit.condition)}", feature_words(kit.features), on)
    rows = [
        ("condition", grade(kit.condition), grade(valuation.finished)),
        ("typical", *(money(o.typical) for o in ways)),
        ("average", *(money(o.mean) for o in ways)),
        (f"one sale, {buy_in.range_percent} %", *(span(o.low, o.high) for o in ways)),
        (f"market level, {buy_in.range_percent} %", *(span(o.level_low, o.level_high) for o in ways)),
    ]
    if not details:
        rows = [rows[0], rows[1], rows[3]]
    notes, as_it_is = [], valuation.finished == kit.condition
    if as_it_is and resale.typical < buy_in.typical:
        notes = ["resale is below buy-in: dealer rows lie under private ones in this book; are they dealers' prices?"]
    elif as_it_is and resale.typical == buy_in.typical:
        notes = ["resale equals buy-in: the same condition, and no dealer's price to tell apart"]
    if details:
        notes.append(f"asked to sold rests on {buy_in.rests_on}")
    if details and holding:
        notes.append(f"holding it until it is sold costs {cents(holding)}")
    if move is not None:
        told = f" have moved {change(move.percent)}  ({change(move.low)} to {change(move.high)})"
        told = told if move.percent is not None else f": cannot be told, {move.reason}"
        notes.append(f"since {move.since} (to {move.to}) prices{told}")
    if not asked:
        notes.append("what it may cost you is less: --asked and his price take off work, VAT and margin")
    sightings = [
        (c.row, c.series, f"{c.pieces:g}", f"{c.condition:g}", c.date or "-", money(c.observed), money(c.adjusted),
         percent(c.gross_percent))
        for c in valuation.comparables
    ]  # fmt: skip
    nearest = table(
        "row | series< | pieces | condition | date | seen | adjusted | gross",
        sightings,
        [_adjustments(c) for c in valuation.comparables],
        ["gross: all adjustments added up, signs aside; the smaller, the nearer"],
    )
    other = "other ways to sell it, " if asked else ""
    return answer_page(
        cautions,
        wrapped(verdict, "") if verdict else "",
        wrapped(f"{', '.join(filter(None, about))} ({currency}{dated})", ""),
        asked,
        table("< | buy-in value | resale value", rows, notes=notes),
        f"The nearest sightings, each adjusted to this kit\n{nearest}"
        if details
        else wrapped(f"--details: {other}the market's level, the nearest sightings.", ""),
    )


def span(low: Decimal | float | None, high: Decimal | float | None) -> str:
    """A range; a dash alone where there is none."""
    return "-" if low is None or high is None else f"{money(low)} to {money(high)}"


def _adjustments(c: Comparable) -> str:
    """`time +4 %, asked to sold -5 %`, and how little the row counts where it is an unusual one."""
    made = ", ".join(
        f"{'asked to sold' if a.name == 'basis' else a.name} {change(a.percent, 0)}"
        for a in c.adjustments
        if round(a.percent) != 0
    )
    counts = "weighs nothing" if c.weight < NOTHING else f"weighs {c.weight:.2f}, not 1"
    return (made or "nothing to adjust") + (f"; far off: {counts}" if c.weight < UNUSUAL_WEIGHT else "")
