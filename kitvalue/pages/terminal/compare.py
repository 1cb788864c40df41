"""`compare` as text for a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from kitvalue.decisions.breakeven import Comparison
from kitvalue.decisions.by_pieces import PiecesRow
from kitvalue.decisions.tie import Tie
from kitvalue.decisions.unknowns import Solved
from kitvalue.pages.terminal.care import first_of_all, take_care
from kitvalue.pages.terminal.cost import ROUTE_WORDS
from kitvalue.pages.terminal.table import Column, figure, money, percent, span, table, wrapped

UNKNOWN = " +?"  # behind a figure that lacks something of its cost
HALF = 28  # columns of each side


def compare_text(c: Comparison, headline: str, cautions: Sequence[str]) -> str:
    """The build against the original: size by size, the tie prices, what would turn the answer, like for like."""
    sheet = c.sheet
    unknown = f" ({len(sheet.incomplete)} unknown not in it)" if sheet.incomplete else ""
    parts = [
        first_of_all(cautions),
        wrapped(f"{sheet.title}: {sheet.pieces} pieces, {ROUTE_WORDS[sheet.route]} ({sheet.currency}, at the door)", "")
        + "\n",
        wrapped(headline) + "\n",
        wrapped(f"Not in the build's cost: {'; '.join(sheet.incomplete)}.") + "\n" if sheet.incomplete else "",
        "By pieces\n" + _by_pieces(c) + "\n" + wrapped(c.crossings.text) + "\n",
        "Where they tie\n"
        + wrapped(f"at cost{unknown}: {c.tie_at_cost.text}{_hammer(c.tie_at_cost)}")
        + "\n"
        + wrapped(
            f"at webshop price{unknown if c.quote.binding == 'floor' else ''}: "
            f"{c.tie_at_price.text}{_hammer(c.tie_at_price)}"
        )
        + "\n",
        f"One thing at a time, the rest as planned{unknown}\n" + _unknowns(c.unknowns) + "\n",
        "Like for like\n" + _like_for_like(c) + "\n",
        take_care(cautions),
    ]
    return "\n".join(p for p in parts if p)


def _by_pieces(c: Comparison) -> str:
    columns = [
        Column("pieces"), Column("build at cost"), Column("webshop price"), Column("landed at price"),
        Column("original"), Column("original, one sale"), Column("build cheaper"),
    ]  # fmt: skip
    rows = [
        (
            str(r.pieces), money(r.build_at_cost) + _unknown(r), money(r.build_at_price) + _of_price(r),
            money(r.landed_at_price) + _of_price(r),
            money(r.original_typical), span(r.original_low, r.original_high), percent(100 * r.chance_build_cheaper),
        )
        for r in c.by_pieces
    ]  # fmt: skip
    notes = [f"{r.pieces} pieces: {r.note}" for r in c.by_pieces if r.note]
    unknown = [f"{UNKNOWN.strip()}: something of that cost is not known"] if any(map(_unknown, c.by_pieces)) else []
    return "\n".join([table(columns, rows), *map(wrapped, (*unknown, *notes))])


def _of_price(row: PiecesRow) -> str:
    return _unknown(row) if row.binding == "floor" else ""


def _unknown(row: PiecesRow) -> str:
    return UNKNOWN if row.incomplete else ""


def _hammer(tie: Tie) -> str:
    return "" if tie.hammer is None else f" (a hammer price of {money(tie.hammer, cents=True)})"


def _unknowns(unknowns: tuple[Solved, ...]) -> str:
    columns = [
        Column("", figures=False), Column("planned"), Column("ties at cost"), Column("no profit at market"),
        Column("a tenth less"), Column("a tenth more"),
    ]  # fmt: skip
    rows = [
        (
            _named(u), figure(u.planned), _at(u.break_even), _at(u.break_even_market),
            _swing(u.swing_down), _swing(u.swing_up),
        )
        for u in unknowns
    ]  # fmt: skip
    lines = [
        table(columns, rows),
        wrapped(
            "ties at cost: where the build at cost lands at the original's price; no profit at market: where a sale at "
            "the market price leaves nothing; the last two: what the profit there becomes more or less by "
            "(the condition moves by half a grade)"
        ),
        *(wrapped(text, bullet="- ") for text in _never(unknowns)),
    ]
    return "\n".join(lines)


def _named(u: Solved) -> str:
    return f"{u.name}, %" if u.unit == "percent" else u.name


def _never(unknowns: tuple[Solved, ...]) -> list[str]:
    """Why something never turns the answer, each reason once with the unknowns that it holds for."""
    held: dict[str, list[str]] = {}
    for u in unknowns:
        for reason in (u.reason or "").split("; "):
            held.setdefault(_whatever(reason), []).append(u.name)
    held.pop("", None)
    return [f"{reason} ({', '.join(names)})" for reason, names in held.items()]


def _whatever(reason: str) -> str:
    """A reason without the values that were tried: they differ from one unknown to the next."""
    told, tried, _ = reason.partition(" at every value from ")
    return f"{told}, whatever the value" if tried else reason


def _at(value: Decimal | None) -> str:
    return "never" if value is None else f"{value:,.2f}"


def _swing(value: Decimal | None) -> str:
    return "-" if value is None else f"{value:+,.0f}"


def _like_for_like(c: Comparison) -> str:
    columns = [
        Column("", figures=False), Column("the build", figures=False, most=HALF),
        Column("an original", figures=False, most=HALF),
    ]  # fmt: skip
    return table(columns, [(p.what, p.build, p.original) for p in c.like_for_like])
