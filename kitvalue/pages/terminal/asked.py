"""A price asked for one kit, as text for a terminal: is it much, and what is the most to pay."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from kitvalue.decisions.asked_price import AskedFor
from kitvalue.decisions.shortlist import MadeUp, OfferFound
from kitvalue.intake.words import listed
from kitvalue.pages.terminal.kits import grade
from kitvalue.pages.terminal.reckoned import reckoned_words
from kitvalue.pages.terminal.table import Column, figure, money, percent, table, wrapped


def asked_text(asked: AskedFor, typical: float) -> str:
    """The answer in a few sentences, then how the most to pay comes about."""
    head = (
        wrapped(" ".join([_much(asked, typical), *_most(asked), *_at_that_price(asked), *_invented(asked)]), "") + "\n"
    )
    if not asked.judged:
        return head
    return "\n".join([head, _come_about(asked), *map(wrapped, _notes(asked))]) + "\n"


def _much(asked: AskedFor, typical: float) -> str:
    """`350 asked is 29 % below what is usually asked, about 490; such kits sell for about 444, 3 % of them for less.`

    Held against asked prices where it is known how far sold ones lie under them.
    """
    first = asked.judged[0] if asked.judged else None
    price = float(asked.asking.price)
    step = 1.0 if first is None else first.paid.price / price
    off = round(100 * (price * step / typical - 1))
    how = f"{abs(off)} % {'above' if off > 0 else 'below'}" if off else "just"
    less = (
        ""
        if first is None or first.rank is None
        else f", {percent(100 * first.rank)} of them for less than {money(price)}"
    )
    if step < 1:
        usual = f"what is usually asked, about {money(typical / step)}; such kits sell for about {money(typical)}"
    else:
        usual = f"the price at which such kits usually sell, {money(typical)}"
    return f"{money(price)} asked is {how} {usual}{less}."


def _at_that_price(asked: AskedFor) -> list[str]:
    """What it leaves in the better way to sell it, at the price that it will probably be had for."""
    profits = [one.best.expected_profit for one in asked.judged if one.best is not None]
    best = max((profit for profit in profits if profit is not None), default=None)
    if best is None:
        return []
    what = f"leave {money(best)}" if best >= 0 else f"lose {money(-best)}"
    better = "" if len(asked.judged) == 1 else " in the better way"
    return [f"At {money(asked.judged[0].paid.price)}, the price to expect, it would {what} on average{better}."]


def _most(asked: AskedFor) -> list[str]:
    """Up to what price, for each way to sell it."""
    if not asked.judged:
        return [f"Up to what price it pays cannot be told: {asked.reason}"]
    if len(asked.judged) == 1:
        stop = asked.judged[0].stop_at
        return ["To you it pays at no price." if stop is None else f"Pay at most {money(stop)}."]
    told = [(f"to sell it {_sold_as(one)}", one.stop_at) for one in asked.judged]
    pays = ", ".join(f"{money(stop)} {way}" for way, stop in told if stop is not None)
    not_so = " and ".join(way for way, stop in told if stop is None)
    return [
        *([f"Pay at most {pays}."] if pays else []),
        *([f"{not_so[0].upper()}{not_so[1:]} it pays at no price."] if not_so else []),
    ]


def _sold_as(one: OfferFound) -> str:
    finished = one.offer.finished
    return "as it is" if finished is None or finished == one.offer.condition else f"in {grade(float(finished))}"


def _come_about(asked: AskedFor) -> str:
    """The most to pay, from the mean sale down, a column for each way to sell it."""
    margin = "margin" if asked.reckoned is None else f"margin, {asked.reckoned.margin_percent:g} %"
    made = [one.best.made_up if one.best is not None else None for one in asked.judged]
    parts: list[tuple[str, Callable[[MadeUp], float]]] = [
        ("sells for, on average", lambda m: m.sells_for), ("VAT", lambda m: m.vat), ("fee", lambda m: m.fee),
        ("work, parts, holding", lambda m: m.costs), (margin, lambda m: m.margin),
        ("left for the kit and its freight", lambda m: m.leaves),
    ]  # fmt: skip
    rows = [[name, *("-" if m is None else money(of(m)) for m in made)] for name, of in parts]
    rows += [
        ["stop at", *_prices([one.stop_at for one in asked.judged])],
        ["open at", *_prices([one.open_at for one in asked.judged])],
        [f"profit at {money(asked.judged[0].paid.price)}", *map(_profit, asked.judged)],
        [_hours_title(asked), *("-" if one.best is None else figure(one.best.hours) for one in asked.judged)],
    ]
    columns = [Column("", figures=False), *(Column(_sold_as(one)) for one in asked.judged)]
    return table(columns, rows)


def _hours_title(asked: AskedFor) -> str:
    prepare = None if asked.reckoned is None else asked.reckoned.prepare_hours
    return "bench hours" if prepare is None else f"bench hours, {figure(prepare)} of them to prepare"


def _invented(asked: AskedFor) -> list[str]:
    if asked.reckoned is None or not asked.reckoned.invented:
        return []
    return ["What you may pay rests on invented figures until shop.toml has your own."]


def _prices(prices: Sequence[float | None]) -> list[str]:
    return ["-" if price is None else money(price) for price in prices]


def _profit(one: OfferFound) -> str:
    return "-" if one.best is None else money(one.best.expected_profit)


def _notes(asked: AskedFor) -> list[str]:
    found = []
    if any(_limited(one) for one in asked.judged):
        found.append(f"stop at is below what is left where more would lose in over {asked.loss_percent:g} % of sales")
    better = asked.judged[-1].offer
    uncounted = [word for word, said in (("no bench hours", better.hours), ("no parts", better.parts)) if said is None]
    if better.finished is not None and better.finished > better.condition and uncounted:
        found.append(f"{' and '.join(uncounted)} are counted for the better condition: --hours 6 --parts 60 count them")
    found += _by_another_route(asked)
    if asked.reckoned is not None:
        found.append(reckoned_words(asked.reckoned))
    return found


def _by_another_route(asked: AskedFor) -> list[str]:
    """Where the other way of paying VAT would let more be paid: up to what price."""
    told: dict[str, list[str]] = {}
    for one in asked.judged:
        for use in one.uses:
            if one.best is None or use.use != one.best.use or use.safe_ceiling is None:
                continue
            if one.stop_at is None or use.safe_ceiling > one.stop_at:
                told.setdefault(use.route, []).append(f"{money(use.safe_ceiling)} {_sold_as(one)}")
    return [
        f'with route = "{route}" in [tax], where the law lets you: at most {listed(prices)}'
        for route, prices in told.items()
    ]


def _limited(one: OfferFound) -> bool:
    """Is it the chance of a loss that stops it, not the margin?"""
    best = one.best
    return best is not None and best.ceiling is not None and (one.stop_at is None or one.stop_at < best.ceiling)
