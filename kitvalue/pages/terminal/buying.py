"""`shortlist` and `source` as text for a terminal."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import astuple

from kitvalue.decisions.asked import AskedFor
from kitvalue.decisions.portfolio import Portfolio
from kitvalue.decisions.shortlist import MadeUp, OfferFound, ReckonedWith, Shortlist, UseFound
from kitvalue.decisions.sourcing import Answer, Sourced, Sourcing
from kitvalue.intake.books.offers import Offer
from kitvalue.intake.text.words import listed
from kitvalue.market.fitted import following
from kitvalue.pages.terminal.market import as_of_words, first_of_all, grade, take_care
from kitvalue.pages.terminal.table import Column, bullets, facts, figure, money, percent, table, wrapped
from kitvalue.pages.words import feature_words, size_text, work_words

ROUTES = {"full": "full VAT", "margin": "margin", "none": "no VAT"}


def reckoned_words(r: ReckonedWith) -> str:
    """The settings that decide more than the price book does, and where they stand."""
    vat = "no VAT" if r.route == "none" else f"VAT {r.vat_percent:g} % ({r.route})"
    parts, tables = [vat], ["[tax]", "[selling]"]
    if r.hourly_rate is not None:
        tables.insert(1, "[work]")
        more = f" with {r.contingency_percent:g} % contingency" if r.contingency_percent else ""
        parts.append(f"{money(r.hourly_rate, cents=True)} an hour{more}")
        parts += [
            f"{figure(hours)} h {what}"
            for hours, what in ((r.prepare_hours, "to prepare"), (r.part_out_hours, "to part out"))
            if hours is not None
        ]
    parts += [f"margin {r.margin_percent:g} %", f"fee {r.fee_percent:g} %"]
    whose = "a new shop's invented figures, until you write your own: " if r.invented else ""
    return f"Reckoned with {whose}{', '.join(parts)}: {listed(tables)} of shop.toml."


MOST_USES = 30  # offers whose every use is listed


def shortlist_text(s: Shortlist, written: str | None = None) -> str:
    """What to bid, the most profitable offer first, and what is asked for each; then each use, what to buy together and
    what to take care of."""
    valued = [one for one in s.offers if one.reason is None]
    plan = f", also as donors of {s.plan}" if s.plan else ""
    parts = [
        first_of_all(s.cautions),
        wrapped(f"{_count(len(s.offers))}{plan} ({s.currency}{as_of_words(s.as_of)}){_unread(s.unread)}", "") + "\n",
        _lead(s, valued) + "\n" if valued else "",
        "What to bid, the most profitable first\n" + _bids(valued) + "\n" if valued else "",
        _bid_notes(s, valued) + "\n" if valued else "",
        "What is asked, against the buy-in value\n" + _asked(valued) + "\n" if valued else "",
        _where_it_goes(valued, s.margin_percent),
        "Up to what price, by use\n" + _uses(valued) + "\n" if any(one.uses for one in valued) else "",
        _not_open(valued),
        _together(s.portfolio) if s.portfolio is not None else "",
        _holding(s),
        bullets("Offers that cannot be valued", [f"{one.offer.offer}: {one.reason}" for one in s.offers if one.reason]),
        bullets("On single offers", _single(valued)),
        take_care(s.cautions),
        wrapped(f"Written: {written}", "") if written is not None else "",
    ]  # fmt: skip
    return "\n".join(part for part in parts if part)


def _count(offers: int) -> str:
    return f"{offers} offer{'' if offers == 1 else 's'}"


def _unread(offers: int) -> str:
    """What is not among them."""
    return f"; {_count(offers)} more could not be read: kitvalue check lists them" if offers else ""


def _lead(s: Shortlist, valued: list[OfferFound]) -> str:
    """The answer in a sentence."""
    good = [one for one in valued if one.stop_at is not None and one.paid.price <= one.stop_at]
    if not good:
        return wrapped(
            f"At the price that it will probably be had for, no offer leaves {s.margin_percent:g} % of net revenue and "
            f"loses in no more than {s.loss_percent:g} %.{_gains(valued)} Open low, or pass."
        )
    first = good[0]
    use = first.best.use if first.best is not None else ""
    return wrapped(
        f"{len(good)} of {len(valued)} pay at the price that they will probably be had for, {first.offer.offer} first: "
        f"{use}, open at {money(first.open_at)}, stop at {money(first.stop_at)}."
    )


def _gains(valued: list[OfferFound]) -> str:
    """Of offers of which none leaves the margin, those that are expected to bring anything at all."""
    profits = {one.offer.offer: one.best.expected_profit for one in valued if one.best is not None}
    gains = {name: profit for name, profit in profits.items() if profit is not None and profit > 0}
    if not gains:
        return ""
    told = listed([f"{name} {money(profit)}" for name, profit in gains.items()], 6)
    return f" On average less than that is left: {told}."


def _bids(valued: list[OfferFound]) -> str:
    columns = [
        Column("offer", figures=False), Column("series", figures=False), Column("to pay"), Column("open at"),
        Column("stop at"), Column("best use", figures=False), Column("profit"), Column("loss"), Column("per hour"),
    ]  # fmt: skip
    return table(columns, [_bid(one) for one in valued])


def _bid(one: OfferFound) -> list[str]:
    best = one.best
    return [
        one.offer.offer, one.offer.series, money(one.paid.price), _price(one.open_at), _price(one.stop_at),
        best.use if best is not None else "-", money(best.expected_profit) if best is not None else "-",
        _share(best.chance_of_loss if best else None),
        money(best.profit_per_hour) if best is not None and best.profit_per_hour is not None else "-",
    ]  # fmt: skip


def _bid_notes(s: Shortlist, valued: list[OfferFound]) -> str:
    """What the columns mean, and on which settings they rest."""
    said = (
        "Profit and chance of a loss are at the price expected to be paid (to pay). Stop at: in the best use, the "
        f"highest price that leaves {s.margin_percent:g} % of net revenue on average and loses in "
        f"{s.loss_percent:g} % of the sample at most; freight on top. Open at leaves room to haggle up to it. A dash: "
        "no price does."
    )
    reckoned = [wrapped(reckoned_words(s.reckoned_with))] if s.reckoned_with else []
    return "\n".join([wrapped(said), *_unrestored(valued), *reckoned])


def _unrestored(valued: list[OfferFound]) -> list[str]:
    """Which offers are judged as they are."""
    blank = [one.offer.offer for one in valued if one.offer.finished is None]
    which = "every offer" if len(blank) == len(valued) else listed(blank, 12)
    said = f"Selling on is judged unrestored where finished is blank in offers.csv: {which}." if blank else ""
    restored = (
        "Where finished is filled in it is judged restored only; blank, as it is." if len(blank) < len(valued) else ""
    )
    return [wrapped(text) for text in (said, restored) if text]


def _asked(valued: list[OfferFound]) -> str:
    columns = [
        Column("offer", figures=False), Column("series", figures=False), Column("pieces"), Column("condition"),
        Column("asked"), Column("buy-in"), Column("against"), Column("sold lower"),
    ]  # fmt: skip
    rows = [
        (
            one.offer.offer, one.offer.series, f"{one.offer.pieces:g}", figure(one.offer.condition),
            money(one.offer.price), money(one.buy_in), percent(one.against_percent, sign=True), _share(one.rank),
        )
        for one in valued
    ]  # fmt: skip
    return table(columns, rows, under=[_beneath(one.offer) for one in valued])


def _beneath(offer: Offer) -> str:
    """What stands under an offer: its features, then what is done to it before it is sold."""
    told = (feature_words(offer.features), work_words(offer.finished, offer.hours, offer.parts))
    return "; ".join(text for text in told if text)


def _where_it_goes(valued: list[OfferFound], margin: float) -> str:
    """The ceiling of each best use, from the mean sale down."""
    columns = [
        Column("offer", figures=False), Column("best use", figures=False), Column("sells for"), Column("VAT"),
        Column("fee"), Column("costs"), Column("margin"), Column("left"),
    ]  # fmt: skip
    rows = [
        (one.offer.offer, one.best.use, *(money(figure) for figure in astuple(one.best.made_up)))
        for one in valued[:MOST_USES]
        if one.best is not None and one.best.made_up is not None
    ]
    if not rows:
        return ""
    said = (
        f"Averages. Costs are work, parts, other donors, freight and holding; margin is {margin:g} % of net revenue. "
        "Left is the most that the kit may cost; below 0 not even a gift leaves the margin."
    )
    return f"Where the money goes in the best use\n{table(columns, rows)}\n{wrapped(said)}\n"


def _uses(valued: list[OfferFound]) -> str:
    columns = [
        Column("offer", figures=False), Column("use", figures=False), Column("VAT", figures=False), Column("ceiling"),
        Column("loss there"), Column("safe ceiling"), Column("profit"), Column("loss"), Column("hours"),
    ]  # fmt: skip
    rows = [_use(one, use) for one in valued[:MOST_USES] for use in one.uses if use.reason is None]
    left = len(valued) - MOST_USES
    return table(columns, rows) + (f"\n  and {left:,} more offers: --json has them all" if left > 0 else "")


def _use(one: OfferFound, use: UseFound) -> list[str]:
    return [
        one.offer.offer, use.use, ROUTES[use.route], _cents(use.ceiling), _share(use.chance_at_ceiling),
        _cents(use.safe_ceiling), money(use.expected_profit), _share(use.chance_of_loss), figure(use.hours),
    ]  # fmt: skip


def _not_open(valued: list[OfferFound]) -> str:
    """Why uses are not open, each reason once with its offers."""
    reasons: dict[str, list[str]] = {}
    for one in valued:
        for use in one.uses:
            if use.reason is not None:
                route = f" ({ROUTES[use.route]})" if use.route == "margin" else ""
                reasons.setdefault(f"{use.use}{route}: {use.reason}", []).append(one.offer.offer)
    return bullets(
        "Not open", [f"{reason} ({_names(list(dict.fromkeys(names)))})" for reason, names in reasons.items()]
    )


def _names(names: list[str], most: int = 12) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _single(valued: list[OfferFound]) -> list[str]:
    """What is to be said of some offers, each text once with their names."""
    said: dict[str, list[str]] = {}
    for one in valued:
        rests = f"these figures rest on {one.paid.rests_on}"
        cautions = following(one.cautions)
        paid = [] if rests in cautions else [f"to pay rests on {one.paid.rests_on}"]
        for text in (*cautions, *paid):
            said.setdefault(text, []).append(one.offer.offer)
    return [f"{text} ({'all' if len(names) == len(valued) else _names(names)})" for text, names in said.items()]


def _together(p: Portfolio) -> str:
    limits = []
    if p.budget is not None:
        limits.append(f"a budget of {money(p.budget)}")
    if p.bench_hours is not None:
        limits.append(f"{figure(p.bench_hours)} bench hours")
    within = " and ".join(limits) or "no limit of budget or hours"
    if not p.buy:
        return wrapped(f"To buy together, within {within}: nothing; no set of offers gains within the limits.") + "\n"
    how = "every set was tried" if p.exact else "found by greedy choice with swaps, so a better set may exist"
    return wrapped(
        f"To buy together, within {within}: {', '.join(p.buy)}. Expected profit {money(p.expected_profit)}, chance of "
        f"a loss over all {_share(p.chance_of_loss)}, {money(p.spent)} spent, {figure(p.hours)} hours; {how}."
    ) + "\n"  # fmt: skip


def _holding(s: Shortlist) -> str:
    if not s.holding:
        return ""
    return (
        wrapped(f"Holding one kit {s.months or 0:g} months costs {money(s.holding, cents=True)}; it is in the profits.")
        + "\n"
    )


def source_text(s: Sourcing, written: str | None) -> str:
    """The answers, the cheapest first, or why there is none."""
    parts = [wrapped(f"Donors for {s.title} ({s.currency}, net)", "") + "\n"]
    first = s.answers[0]
    if first.status == "infeasible":
        parts.append(bullets("These offers cannot give the plan's drums", first.reasons))
    else:
        parts += [_answer(one, place, len(s.answers), s.seconds) for place, one in enumerate(s.answers, start=1)]
    if written is not None:
        name = written.replace("\\", "/").rsplit("/", 1)[-1].removesuffix(".toml")
        parts.append(wrapped(f"Written: {written}", "") + f"\nNow: kitvalue price {name}\n")
    parts.append(bullets("Take care", s.cautions))
    return "\n".join(part for part in parts if part)


def _answer(one: Answer, place: int, count: int, seconds: float) -> str:
    title = f"Answer {place} of {count}" if count > 1 else "The cheapest"
    proof = "proven the cheapest" if place == 1 else "proven the cheapest of other sets of kits"
    if one.status == "gap":
        proof = f"stopped after {seconds:g} seconds: at most {money(one.gap, cents=True)} could still be saved"
    new = [d.drum for d in one.drums if d.offer is None]
    rows = [[d.drum, d.offer or "new shell", _shell(d), "cut down" if d.cut_down else ""] for d in one.drums]
    columns = [Column("drum", figures=False), Column("from", figures=False), Column("its shell", figures=False),
               Column("", figures=False)]  # fmt: skip
    pairs = [
        ("buy", ", ".join(one.buy) or "no kit"),
        ("new shells", ", ".join(new) or "none"),
        ("kits, freight, new shells", money(one.spent, cents=True)),
        ("leftovers bring", money(one.credit, cents=True)),
        ("cost", f"{money(one.cost, cents=True)}  ({proof})"),
    ]
    left = [f"{d.offer} {_shell(d)} ({money(d.credit, cents=True)})" for d in one.leftovers]
    return "\n".join(
        [title, facts(pairs), "", table(columns, rows), wrapped(f"Left over: {', '.join(left) or 'nothing'}."), ""]
    )


def _shell(one: Sourced) -> str:
    return size_text(one.size) if one.offer is not None else "-"


def _share(value: float | None) -> str:
    return "-" if value is None else percent(100 * value)


def _price(value: float | None) -> str:
    return "-" if value is None else money(value)


def _cents(value: float | None) -> str:
    return "-" if value is None else money(value, cents=True)


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
