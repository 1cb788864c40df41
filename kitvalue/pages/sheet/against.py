"""The kit beside a used original: side by side, in words, and as two pictures. It says so where the original wins."""

from __future__ import annotations

from decimal import Decimal

from kitvalue.decisions.original import as_money, on_top, repair_of
from kitvalue.intake.shop import PromiseTable
from kitvalue.pages.pictures import originals, sizes
from kitvalue.pages.pictures.frame import Key
from kitvalue.pages.pictures.originals import OriginalsPicture
from kitvalue.pages.pictures.sizes import SizeSeen, SizesPicture
from kitvalue.pages.sheet.given import Captioned, SheetInput
from kitvalue.pages.sheet.kit import condition_words
from kitvalue.pages.sheet.tongue import Tongue
from kitvalue.pages.tables import Fact, Row, Table, figures, words
from kitvalue.pages.words import DASH

SAME = Decimal("0.02")  # of the original's price: closer than this the two cost the same
MOST_TICKS = 8


def door_price(given: SheetInput) -> Decimal:
    """Our kit at the buyer's door, gross."""
    return given.comparison.quote.landed_at_price


def dots_picture(given: SheetInput, t: Tongue) -> OriginalsPicture:
    """Twenty originals at the door and our price among them."""
    ours = float(door_price(given))
    values = originals.tick_values(given.at_door, ours, MOST_TICKS)
    return OriginalsPicture(
        dots=given.at_door,
        ours=ours,
        axis=t.say("dots.axis", currency=t.currency),
        label=t.say("dots.ours", ours=t.exact(door_price(given))),
        ticks=tuple((v, t.number(v, 2)) for v in values),
    )


def dots_around(picture: OriginalsPicture, t: Tongue, ours: Decimal) -> Captioned:
    """What stands around the dots."""
    keys = (Key("less", t.say("dots.key_less")), Key("more", t.say("dots.key_more")))
    return Captioned(
        title=t.say("dots.title"),
        description=t.say("dots.description", ours=t.exact(ours), left=picture.left),
        keys=keys,
        note=t.say("dots.one_each"),
        table=Table(
            caption=t.say("dots.title"),
            columns=(figures(t.say("dots.number")), figures(t.say("dots.value"))),
            rows=tuple(Row((str(i), t.about(dot))) for i, dot in enumerate(picture.dots, start=1)),
        ),
    )


def verdict(given: SheetInput, picture: OriginalsPicture, t: Tongue) -> tuple[str, ...]:
    """Which of the two is the cheaper one, what a difference buys, and from what price on the answer turns."""
    ours, original = door_price(given), given.comparison.quote.original_landed
    gap = ours - original
    values = {"ours": t.exact(ours), "original": t.about(original), "difference": t.about(abs(gap))}
    if abs(gap) <= SAME * original:
        said = [t.say("verdict.even", **values)]
    elif gap > 0:
        said = [t.say("verdict.original", **values), t.say("verdict.buys")]
    else:
        said = [t.say("verdict.build", **values)]
    return (*said, _tie_words(given, picture, t))


def _tie_words(given: SheetInput, picture: OriginalsPicture, t: Tongue) -> str:
    tie = given.comparison.tie_at_price
    if tie.price <= 0:
        return t.say("verdict.tie_never")
    share = t.share(picture.left, len(picture.dots))
    if tie.hammer is not None:
        return t.say("verdict.tie_hammer", tie=t.about(tie.price), hammer=t.about(tie.hammer), share=share)
    return t.say("verdict.tie", tie=t.about(tie.price), share=share)


def tie_fact(given: SheetInput, t: Tongue) -> Fact:
    """Under what price an original is the better buy."""
    tie = given.comparison.tie_at_price
    if tie.price <= 0:
        return Fact(t.say("fact.tie"), t.say("fact.tie_never"), t.say("fact.tie_never_note"))
    return Fact(t.say("fact.tie"), t.say("fact.tie_value", price=t.about(tie.price)), t.say("fact.tie_note"))


def side_table(given: SheetInput, t: Tongue) -> Table:
    """Point by point: what each is, what it needs, what it costs, what stands behind it."""
    plan, quote = given.plan, given.comparison.quote
    drums = t.count("drums", len(plan.drum))
    promise = given.shop.promise.get(t.code, PromiseTable())
    channel = plan.original.channel
    rows = [
        _row(t, "kit", plan.title, t.say("against.as_found", series=plan.original.series)),
        _row(t, "pieces", drums, drums),
        _row(t, "condition", condition_words(plan.finished.condition, t), condition_words(plan.original.condition, t)),
        _row(t, "needs", t.say("against.plays"), _needs(given, t)),
        _row(t, "price", t.exact(quote.suggested), _price_words(given, t)),
        _row(t, "freight", t.exact(given.comparison.sheet.terms.freight), t.exact(plan.original.freight)),
    ]
    border = _border(given)
    if border > 0:
        rows.append(_row(t, "border", t.say("against.nothing"), t.say("against.border_value", money=t.about(border))))
    guarantee = promise.guarantee or t.say("against.guarantee_law")
    returns = promise.returns or t.say("against.returns_law")
    total = t.say("against.about", money=t.about(quote.original_landed))
    rows += [
        _row(t, "guarantee", guarantee, t.say(f"against.guarantee_of.{channel}")),
        _row(t, "returns", returns, t.say(f"against.returns_of.{channel}")),
        Row((t.say("against.total"), t.exact(door_price(given)), total), "total"),
    ]
    heads = (t.say("against.point"), t.say("against.ours"), t.say("against.original"))
    return Table(t.say("against.caption"), tuple(words(head) for head in heads), tuple(rows))


def _row(t: Tongue, key: str, ours: str, original: str) -> Row:
    return Row((t.say(f"against.{key}"), ours, original))


def _needs(given: SheetInput, t: Tongue) -> str:
    repair = repair_of(given.plan)
    return t.say("against.work_needed", money=t.exact(repair)) if repair > 0 else t.say("against.plays")


def _price_words(given: SheetInput, t: Tongue) -> str:
    seen = given.original
    if seen.low is None or seen.high is None:
        return t.say("against.price_exact", typical=t.about(seen.typical))
    return t.say(
        "against.price_range", typical=t.about(seen.typical), low=t.about(seen.low), high=t.about(seen.high)
    )  # fmt: skip


def _border(given: SheetInput) -> Decimal:
    original = given.plan.original
    return (as_money(given.original.typical) + original.freight) * (on_top(original) - 1)


def sizes_picture(given: SheetInput, t: Tongue) -> SizesPicture | None:
    """Both over the number of drums; None where the plan has one size only."""
    seen = tuple(
        SizeSeen(
            row.pieces, float(row.landed_at_price), float(row.original_typical),
            None if row.original_low is None else float(row.original_low),
            None if row.original_high is None else float(row.original_high),
        )
        for row in given.comparison.by_pieces
    )  # fmt: skip
    if len(seen) < 2:
        return None
    return SizesPicture(
        sizes=seen,
        axis=t.say("sizes.axis", currency=t.currency),
        across=t.say("sizes.across"),
        ours=t.say("sizes.ours"),
        original=t.say("sizes.typical"),
        ticks=tuple((v, t.number(v, 2)) for v in sizes.tick_values(seen)),
    )


def sizes_around(picture: SizesPicture, t: Tongue) -> Captioned:
    """What stands around the lines."""
    first, last = picture.sizes[0].pieces, picture.sizes[-1].pieces
    ranged = any(s.low is not None for s in picture.sizes)
    return Captioned(
        title=t.say("sizes.title"),
        description=t.say("sizes.description", first=first, last=last),
        keys=(
            Key("cost", t.say("sizes.key_ours")),
            Key("original", t.say("sizes.key_original")),
            *((Key("band", t.say("sizes.key_band")),) if ranged else ()),
        ),
        note="",
        table=Table(
            caption=t.say("sizes.title"),
            columns=tuple(figures(t.say(f"sizes.{key}")) for key in ("pieces", "at_door", "original", "range")),
            rows=tuple(Row((str(s.pieces), t.about(s.ours), t.about(s.original), _range(s, t))) for s in picture.sizes),
        ),
    )


def _range(s: SizeSeen, t: Tongue) -> str:
    return DASH if s.low is None or s.high is None else f"{t.about(s.low)}{DASH}{t.about(s.high)}"


def sizes_words(picture: SizesPicture, t: Tongue) -> str:
    """In which sizes our kit is the cheaper one."""
    cheaper = [s.pieces for s in picture.sizes if s.ours < s.original]
    first, last = picture.sizes[0].pieces, picture.sizes[-1].pieces
    if not cheaper:
        return t.say("sizes.none", first=first, last=last)
    if len(cheaper) == len(picture.sizes):
        return t.say("sizes.every", first=first, last=last)
    return t.say("sizes.some", sizes=t.listed([str(k) for k in cheaper]))
