"""A build against an original: where they cost the same, at which price they tie, and what would tip it."""

from __future__ import annotations

from decimal import Decimal

from kitvalue.decisions.breakeven import Comparison
from kitvalue.decisions.by_pieces import PiecesRow
from kitvalue.decisions.tie import Tie
from kitvalue.decisions.unknowns import Solved
from kitvalue.pages.pictures.breakeven import BreakEvenPicture, CrossingMark, SizePoint, breakeven_figure
from kitvalue.pages.pictures.frame import Caption, Chart, Key, chart
from kitvalue.pages.pictures.swings import Swing, SwingsPicture, swings_figure
from kitvalue.pages.tables import Row, Table, figures, words
from kitvalue.pages.words import NOT_COMPUTED, amount, capital, cents, count, number, percent, span, trimmed

TIED = "Priced to tie: an original at the door is what sets the webshop price."


def even_picture(found: Comparison) -> BreakEvenPicture:
    """The sizes and crossings as drawn: everything at the buyer's door."""
    return BreakEvenPicture(
        found.sheet.currency,
        tuple(_point(row) for row in found.by_pieces),
        tuple(CrossingMark(c.pieces, c.low, c.high) for c in found.crossings.crossings),
    )


def _point(row: PiecesRow) -> SizePoint:
    return SizePoint(
        row.pieces, float(row.build_at_cost), float(row.landed_at_price), float(row.original_typical),
        None if row.original_low is None else float(row.original_low),
        None if row.original_high is None else float(row.original_high),
    )  # fmt: skip


def even_chart(key: str, found: Comparison) -> Chart:
    """The picture with its numbers."""
    picture = even_picture(found)
    caption = Caption(
        id=f"{key}-even",
        title="Build or original: what it costs at the door",
        description=f"Lines over {picture.points[0].pieces} to {picture.points[-1].pieces} pieces: the build at cost, "
        f"the build at its webshop price, and a typical original with the range of one sale. {found.crossings.text}",
        keys=(
            Key("cost", "build at cost"),
            Key("price", "build at its webshop price"),
            Key("original", "typical original"),
            Key("band", "one sale of an original, 80 %"),
            *((Key("crossing", _crossing_key(picture)),) if picture.crossings else ()),
        ),
    )
    return chart(caption, pieces_table(found), lambda layout: breakeven_figure(picture, layout))


def _crossing_key(picture: BreakEvenPicture) -> str:
    ranged = any(c.low is not None for c in picture.crossings)
    return "even; the bar on the axis: where the market level puts it, 80 %" if ranged else "even"


def pieces_table(found: Comparison) -> Table:
    """The break-even by pieces in figures; remarks beneath, so that they do not widen the columns."""
    notes = [f"{row.pieces} pieces: {row.note}." for row in found.by_pieces if row.note]
    return Table(
        caption=f"By number of pieces, {found.sheet.currency}; at the buyer's door but for the webshop price",
        columns=(
            figures("Pieces"), figures("Build at cost"), figures("Webshop price"), figures("Build at that price"),
            figures("Typical original"), figures("Original, one sale, 80 %"),
            figures("Originals dearer than the build"),
        ),
        rows=tuple(
            Row((str(r.pieces), cents(r.build_at_cost), cents(r.build_at_price), cents(r.landed_at_price),
                 cents(r.original_typical), _range(r.original_low, r.original_high),
                 percent(100 * r.chance_build_cheaper, 0)))
            for r in found.by_pieces
        ),
        notes=tuple(notes),
    )  # fmt: skip


def _range(low: Decimal | None, high: Decimal | None) -> str:
    return "no range: exact prices" if low is None or high is None else span(low, high, amount)


def crossing_words(found: Comparison) -> str:
    """The answer in one sentence and how sure it is."""
    none = found.crossings.chance_none
    told = any(c.reason for c in found.crossings.crossings)
    sure = f" In {percent(100 * none, 0)} of what the market level may be they never meet."
    return found.crossings.text if told or none < 0.005 else f"{found.crossings.text}{sure}"


def tie_table(found: Comparison) -> Table:
    """The price of an original at which the customer may take either."""
    hammer = any(t.hammer is not None for t in (found.tie_at_cost, found.tie_at_price))
    return Table(
        caption=f"The original's price at which the two tie, {found.sheet.currency}",
        columns=(
            words("The build at"), figures("Tie price"), *((figures("As a hammer price"),) if hammer else ()),
            figures("Originals this size that sell for less"),
        ),
        rows=(
            _tie_row("cost", found.tie_at_cost, hammer),
            _tie_row("its webshop price", found.tie_at_price, hammer),
        ),
        notes=(TIED,) if found.priced_to_tie else (),
    )  # fmt: skip


def _tie_row(name: str, tie: Tie, hammer: bool) -> Row:
    bid = ("no premium" if tie.hammer is None else cents(tie.hammer),) if hammer else ()
    return Row((name, cents(tie.price), *bid, percent(100 * tie.share_below, 0)))


def swings_picture(found: Comparison) -> SwingsPicture:
    """What moves the profit, the strongest first."""
    return SwingsPicture(
        found.sheet.currency,
        tuple(
            Swing(
                capital(u.name),
                None if u.swing_down is None else float(u.swing_down),
                None if u.swing_up is None else float(u.swing_up),
            )
            for u in found.unknowns
        ),
    )


def swings_chart(key: str, found: Comparison) -> Chart | None:
    """The picture with the table of unknowns; None where nothing can be varied."""
    picture = swings_picture(found)
    if not picture.swings:
        return None
    strongest = picture.swings[0].name
    caption = Caption(
        id=f"{key}-swings",
        title="One thing at a time: what moves the profit",
        description=f"{count(len(picture.swings), 'pair')} of bars around no change; "
        f"{strongest} moves the profit most.",
        keys=(Key("larger", "a tenth more (condition: half a grade)"), Key("smaller", "a tenth less")),
    )
    return chart(caption, unknowns_table(found), lambda layout: swings_figure(picture, layout))


def unknowns_table(found: Comparison) -> Table:
    """Each unknown: as planned, where it breaks even, what a tenth of it does."""
    notes = dict.fromkeys(f"{capital(u.name)}: {u.reason}." for u in found.unknowns if u.reason)
    return Table(
        caption=f"One thing at a time, the rest as planned; profit at the market price, {found.sheet.currency}",
        columns=(
            words("What"), words("Unit"), figures("Planned"), figures("Even with an original"),
            figures("No profit at the market price"), figures("A tenth less"), figures("A tenth more"),
        ),
        rows=tuple(_unknown_row(u) for u in found.unknowns),
        notes=tuple(notes),
    )  # fmt: skip


def _unknown_row(u: Solved) -> Row:
    return Row((
        capital(u.name), u.unit, trimmed(u.planned), _value(u.break_even), _value(u.break_even_market),
        _swing(u.swing_down), _swing(u.swing_up),
    ))  # fmt: skip


def _value(value: Decimal | None) -> str:
    return "none" if value is None else trimmed(value)


def _swing(value: Decimal | None) -> str:
    if value is None:
        return "out of range"
    return f"+{number(value)}" if value > 0 else number(value)


def like_table(found: Comparison) -> Table:
    """Like for like."""
    return Table(
        caption="Like for like",
        columns=(words("Point"), words("The build"), words("A used original")),
        rows=tuple(
            Row((p.what, p.build, p.original), "total" if p is found.like_for_like[-1] else "")
            for p in found.like_for_like
        ),
    )


def no_comparison(reason: str | None) -> str:
    """The sentence where nothing can be compared."""
    return f"{NOT_COMPUTED}: {reason or 'no reason is known'}."
