"""`shortlist`, `source` and a price asked for a kit as text for a terminal."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from decimal import Decimal

from kitvalue.decisions.asked import JudgedPrice
from kitvalue.decisions.ceiling import MadeUp
from kitvalue.decisions.portfolio import Portfolio
from kitvalue.decisions.shortlist import JudgedOffer, ReckonedWith, Shortlist
from kitvalue.decisions.sourcing import Answer, Sourcing
from kitvalue.decisions.verdict import bid_of
from kitvalue.intake.text.sizes import size_text
from kitvalue.intake.text.words import listed
from kitvalue.market.fitted import following
from kitvalue.pages.terminal.figures import cents, change, counted, dash, figure, money, share
from kitvalue.pages.terminal.market import answer_page, as_of_words, take_care
from kitvalue.pages.terminal.table import bullets, facts, grouped, page, table, wrapped
from kitvalue.pages.words import ROUTES, feature_words, grade, source_words, work_words

VERDICTS = {"buy": "buy", "buy_below": "buy below", "pass": "pass", "unknown": "unknown"}
MOST_USES = 30  # offers whose every use is listed


def reckoned_words(r: ReckonedWith) -> str:
    """The settings that decide more than the price book does, and where they stand."""
    schemes = f"{r.tax.sell_on}, rebuilt {r.tax.rebuild}" if r.tax.sell_on != r.tax.rebuild else r.tax.sell_on
    vat = f"VAT {float(r.tax.rate):g} % ({schemes})" if r.tax.registered else "no VAT"
    parts, tables = [vat], ["[tax]", "[selling]"]
    if r.work is not None:
        tables.insert(1, "[work]")
        more = f" with {float(r.work.contingency):g} % contingency" if r.work.contingency else ""
        parts.append(f"{cents(r.work.rate)} an hour{more}")
        parts += [f"{figure(r.work.prepare)} h to prepare"] if r.work.prepare is not None else []
        parts += [f"{figure(r.work.part_out)} h to part out"] if r.work.part_out is not None else []
    parts += [f"margin {float(r.selling.margin):g} %", f"fee {float(r.selling.fee):g} %"]
    parts += [f"{cents(r.selling.fee_fixed)} a sale"] if r.selling.fee_fixed else []
    parts += [f"reserve {float(r.selling.reserve):g} %"] if r.selling.reserve else []
    parts += [f"capital {float(r.selling.capital):g} % a year"] if r.selling.capital else []
    whose = "a new shop's invented figures, until you write your own: " if r.invented else ""
    return f"Reckoned with {whose}{', '.join(parts)}: {listed(tables)} of shop.toml."


def shortlist_text(s: Shortlist, written: str | None, *, details: bool = False) -> str:
    """What to bid, the most profitable offer first, and what is asked for each; then, as a detail, each use by each
    route; what to buy together. An offer has one price to stop at, that of its best use, which is named."""
    valued, months = [one for one in s.offers if one.reason is None], s.reckoned_with.selling.months_to_sell or 0
    plan = f", also as donors of {s.plan}" if s.plan else ""
    unread = f"; {counted(s.unread, 'offer')} more could not be read: kitvalue check lists them" if s.unread else ""
    heads = "offer< | series< | to pay | open at | stop at | verdict< | use, VAT< | profit | loss"
    step = s.reckoned_with.bid_step
    bids = [
        (
            one.offer.offer, one.offer.series, dash(one.expected_paid), dash(bid_of(one.open_at, step)),
            f"{dash(one.verdict.price)}{' net' if one.net else ''}", VERDICTS[one.verdict.code],
            *((f"{one.best.use}, {ROUTES[one.best.route]}" if one.verdict.code != "pass" else "-",
               dash(one.best.expected_profit), dash(one.best.chance_of_loss, share))
              if one.best is not None else ("-",) * 3),
        )
        for one in valued
    ]  # fmt: skip
    closed = grouped(
        (f"{use.use}{f' ({ROUTES[use.route]})' if use.route == 'margin' else ''}: {use.reason}", one.offer.offer)
        for one in valued
        for use in one.uses
        if use.reason is not None
    )
    more = [
        _bid_notes(s, valued),
        f"What is asked, against the buy-in value\n{_asked(valued)}",
        _where_it_goes(valued, float(s.reckoned_with.selling.margin)),
        f"Up to what price, by use\n{_uses(valued)}" if any(one.uses for one in valued) else "",
        bullets("Not open", [f"{reason} ({_names(list(dict.fromkeys(names)))})" for reason, names in closed]),
        bullets("On single offers", _single(valued)),
    ]
    notes = ["Profit and chance of a loss are at the price expected (to pay); stop at leaves your margin and is safe."]
    if s.holding:
        notes[0] += f" Holding a kit {float(months):g} months costs {cents(s.holding)}; it is in the profits."
    if not details:
        notes.append("--details: by use and VAT, where the money goes, what is asked, what to know of single offers.")
    text = answer_page(
        s.cautions,
        wrapped(s.verdict.sentence, ""),
        wrapped(f"{counted(len(s.offers), 'offer')}{plan} ({s.currency}{as_of_words(s.as_of)}){unread}", ""),
        table(heads, bids, notes=notes) if valued else "",
        _together(s.portfolio),
        bullets("Offers that cannot be valued", [f"{one.offer.offer}: {one.reason}" for one in s.offers if one.reason]),
        *(more if details and valued else []),
    )
    return text if written is None else f"{text}\n{wrapped(f'Written: {written}', '')}"


def _bid_notes(s: Shortlist, valued: Sequence[JudgedOffer]) -> str:
    """What the columns mean, which offers are judged as they are, and on which settings all rests."""
    selling = s.reckoned_with.selling
    blank = [one.offer.offer for one in valued if one.offer.finished is None]
    which = "every offer" if len(blank) == len(valued) else listed(blank, 12)
    said = [
        "Profit and chance of a loss are at the price expected to be paid (to pay). Stop at: in the best use, the "
        f"highest price that leaves {float(selling.margin):g} % of net revenue on average and loses in "
        f"{float(selling.loss_chance):g} % of the sample at most; freight on top. Open at leaves room to haggle up to "
        "it. A dash: no price does in that use."
    ]
    if blank:
        said.append(f"Selling on is judged unrestored where finished is blank in offers.csv: {which}.")
    if len(blank) < len(valued):
        said.append("Where finished is filled in it is judged restored only; blank, as it is.")
    if any(one.offer.premium or one.offer.price_kind == "hammer" for one in valued):
        said.append(
            "Of a lot at an auction every price is the hammer price: what may be bid, its premium and its freight are "
            "off already. Against the buy-in value it counts with its premium."
        )
    if any(one.net for one in valued):
        said.append("Net: a price without the VAT that the seller adds, as his is.")
    said.append(reckoned_words(s.reckoned_with))
    return "\n".join(map(wrapped, said))


def _asked(valued: Sequence[JudgedOffer]) -> str:
    """Under an offer stand its features, then what is done to it before it is sold."""
    rows, under = [], []
    for one in valued:
        o = one.offer
        rows.append((
            o.offer, o.series, f"{o.pieces:g}", figure(o.condition), dash(o.price), money(one.buy_in),
            "-" if one.against_percent is None else change(one.against_percent, 0), dash(one.rank, share),
        ))  # fmt: skip
        premium = f"premium {figure(o.premium)} %" if o.premium else ""
        words = (source_words(o), premium, feature_words(o.features), work_words(o.finished, o.hours, o.parts))
        under.append("; ".join(filter(None, words)))
    return table("offer< | series< | pieces | condition | asked | buy-in | against | sold lower", rows, under)


def _where_it_goes(valued: Sequence[JudgedOffer], margin: float) -> str:
    """The ceiling of each best use, from the mean sale down."""
    shown_uses = [
        (one.offer.offer, one.best.use, one.best.made_up)
        for one in valued[:MOST_USES]
        if one.best is not None and one.best.made_up is not None
    ]
    columns = _made_up_columns([made for _, _, made in shown_uses])
    rows = [(offer, use, *(money(getattr(made, field)) for field in columns)) for offer, use, made in shown_uses]
    premium = ", a lot's premium" if any(one.offer.premium for one in valued) else ""
    border = ", duty and clearance" if any(one.offer.bought_from == "import" for one in valued) else ""
    said = (
        f"Averages. Costs are work, parts, other donors, freight{premium}{border} and what keeping and selling it "
        f"costs (holding, capital, a fixed fee); margin is {margin:g} % of net revenue. "
        "Left is what the kit may cost for that margin; below 0 not even a gift leaves it. Stop at is lower where more "
        "would lose too often."
    )
    told = table(" | ".join(["offer<", "best use<", *columns.values()]), rows, notes=[said])
    return f"Where the money goes in the best use\n{told}" if rows else ""


def _made_up_columns(made: Sequence[MadeUp]) -> dict[str, str]:
    """The amounts of a ceiling and their headings; the reserve only where one is set aside, the VAT in the kit's own
    price only where it is deducted."""
    heads = {
        "sells_for": "sells for", "vat": "VAT", "fee": "fee", "reserve": "reserve", "costs": "costs",
        "margin": "margin", "deducted": "VAT back", "leaves": "left",
    }  # fmt: skip
    rare = {field for field in ("reserve", "deducted") if not any(getattr(m, field) for m in made)}
    return {field: head for field, head in heads.items() if field not in rare}


def _uses(valued: Sequence[JudgedOffer]) -> str:
    rows = [
        (one.offer.offer, use.use, use.route, dash(use.ceiling, cents), dash(use.chance_at_ceiling, share),
         dash(use.safe_ceiling, cents), dash(use.expected_profit), dash(use.chance_of_loss, share), figure(use.hours),
         dash(use.profit_per_hour))
        for one in valued[:MOST_USES]
        for use in one.uses
        if use.reason is None
    ]  # fmt: skip
    told = table("offer< | use< | VAT< | ceiling | loss there | safe ceiling | profit | loss | hours | per hour", rows)
    left = len(valued) - MOST_USES
    return told + (f"\n  and {left:,} more offers: --json has them all" if left > 0 else "")


def _single(valued: Sequence[JudgedOffer]) -> list[str]:
    """What is to be said of some offers, each text once with their names."""
    said = []
    for one in valued:
        cautions = following(one.cautions)
        paid = [] if one.paid is None or one.paid.of_values else [f"to pay rests on {one.paid.rests_on}"]
        said += [(text, one.offer.offer) for text in (*cautions, *paid)]
    return [f"{text} ({'all' if len(names) == len(valued) else _names(names)})" for text, names in grouped(said)]


def _names(names: Sequence[str], most: int = 12) -> str:
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return ", ".join(names[:most]) + more


def _together(p: Portfolio) -> str:
    limits = [f"a budget of {money(p.budget)}"] if p.budget is not None else []
    limits += [f"{figure(p.bench_hours)} bench hours"] if p.bench_hours is not None else []
    within = f"To buy together, within {' and '.join(limits) or 'no limit of budget or hours'}"
    if not p.buy:
        return wrapped(f"{within}: nothing; no set of offers gains and loses no oftener than loss_chance.")
    how = "no set earns more"
    if not p.exact:
        how = f"the best found; no set earns more than {money(p.bound)}, {money(p.gap)} above it"
    alone = [f"{one.offer} ({one.use})" for one in p.buy if one.plan is None]
    builds = grouped((f"for {one.plan}", f"{one.offer} as {one.donor}") for one in p.buy if one.plan is not None)
    bought = ", ".join([*alone, *(f"{' and '.join(kits)} {plan}" for plan, kits in builds)])
    return wrapped(
        f"{within}: {bought}. Expected profit {money(p.expected_profit)}, chance of a loss over all "
        f"{share(p.chance_of_loss)}, {money(p.spent)} to pay in all, {figure(p.hours)} hours; {how}."
    )


def source_text(s: Sourcing, written: str | None) -> str:
    """The answers, the cheapest first, or why there is none."""
    if s.answers[0].status == "infeasible":
        answers = [bullets("These offers cannot give the plan's drums", s.answers[0].reasons)]
    else:
        answers = [_sources(one, place, s) for place, one in enumerate(s.answers, start=1)]
    now = ""
    if written is not None:
        name = written.replace("\\", "/").rsplit("/", 1)[-1].removesuffix(".toml")
        dashes = ["--"] if name.startswith("-") else []  # else it would be taken for an option
        now = f"{wrapped(f'Written: {written}', '')}\nNow: {shlex.join(['kitvalue', 'price', *dashes, name])}"
    return page(wrapped(f"Donors for {s.title} ({s.currency}, net)", ""), *answers, now, take_care(s.cautions))


def _sources(one: Answer, place: int, s: Sourcing) -> str:
    title = f"Answer {place} of {len(s.answers)}" if len(s.answers) > 1 else "The cheapest"
    proof = "proven the cheapest" if place == 1 else "proven the cheapest of other sets of kits"
    if one.status == "gap":
        proof = f"stopped after {s.seconds:g} seconds: at most {cents(one.gap)} could still be saved"
    pairs = [
        ("buy", ", ".join(one.buy) or "no kit"),
        ("new shells", ", ".join(d.drum for d in one.drums if d.offer is None) or "none"),
        *((line.what, cents(line.net)) for line in one.lines),
        ("cost", f"{cents(one.cost)}  ({proof})"),
        ("work and parts of any answer", cents(one.common)),
        ("floor", f"{cents(one.floor)}  ({ROUTES[one.route or 'full']})"),
    ]
    rows = [
        (d.drum, d.offer or "new shell", size_text(d.size) if d.offer is not None else "-",
         "cut down" if d.cut_down else "")
        for d in one.drums
    ]  # fmt: skip
    left = ", ".join(f"{d.offer} {size_text(d.size)} ({cents(d.credit)})" for d in one.leftovers) or "nothing"
    shells = table("drum< | from< | its shell< | <", rows, notes=[f"Left over: {left}."])
    return f"{title}\n{facts(pairs)}\n\n{shells}"


def asked_text(asked: JudgedPrice, typical: float, *, details: bool = False) -> str:
    """The answer in a few sentences: the one price to stop at, in which way it is sold; then how that comes about.
    The other ways and VAT routes are details."""
    judged, best, price, asking = asked.judged, asked.best, float(asked.price), money(asked.price)
    rank, paid = (judged[0].rank, judged[0].expected_paid or price) if judged else (None, price)
    step = paid / price
    off = round(100 * (price * step / typical - 1))
    how = f"{abs(off)} % {'above' if off > 0 else 'below'}" if off else "just"
    usual = f"the price at which such kits usually sell, {money(typical)}"
    if step < 1:  # it is known how far sold prices lie under asked ones
        usual = f"what is usually asked, about {money(typical / step)}; such kits sell for about {money(typical)}"
    less = "" if rank is None else f", {share(rank)} of them for less than {asking}"
    said = [f"{asking} asked is {how} {usual}{less}."]
    if best is None:
        said.append(f"Up to what price it pays cannot be told: {asked.reason}")
    elif best.best is not None:
        said.append(f"That is to sell it {_sold_as(best)}, {ROUTES[best.best.route]}.")
    profit = None if best is None or best.best is None else best.best.expected_profit
    if profit is not None:
        what = f"leave {money(profit)}" if profit >= 0 else f"lose {money(-profit)}"
        said.append(f"At {money(paid)}, the price to expect, it would {what} on average.")
    if asked.reckoned is not None and asked.reckoned.invented:
        said.append("What you may pay rests on invented figures until shop.toml has your own.")
    shown = judged if details or best is None else (best,)
    return page(
        wrapped(" ".join(said), ""),
        _come_about(asked, shown, details=details) if judged else "",
    )[:-1]


def _sold_as(one: JudgedOffer) -> str:
    finished = one.offer.finished
    return "as it is" if finished is None or finished == one.offer.condition else f"in {grade(finished)}"


def _come_about(asked: JudgedPrice, judged: Sequence[JudgedOffer], *, details: bool) -> str:
    """The most to pay, from the mean sale down, a column for each way to sell it."""
    reckoned = asked.reckoned
    best = [one.best for one in judged]
    made = [None if use is None else use.made_up for use in best]
    names = _made_up_columns([m for m in made if m is not None]) | {
        "sells_for": "sells for, on average", "costs": "work, parts, holding",
        "margin": "margin" if reckoned is None else f"margin, {float(reckoned.selling.margin):g} %",
        "leaves": "left for the kit and its freight",
    }  # fmt: skip
    prepare = None if reckoned is None or reckoned.work is None else reckoned.work.prepare
    step = Decimal(1) if reckoned is None else reckoned.bid_step
    rows = [
        *([name, *("-" if m is None else money(getattr(m, field)) for m in made)] for field, name in names.items()),
        ["stop at", *(dash(one.verdict.price) for one in judged)],
        ["open at", *(dash(bid_of(one.open_at, step)) for one in judged)],
        [f"profit at {money(judged[0].expected_paid)}",
         *("-" if b is None else money(b.expected_profit) for b in best)],
        ["bench hours" if prepare is None else f"bench hours, {figure(prepare)} of them to prepare",
         *("-" if b is None else figure(b.hours) for b in best)],
    ]  # fmt: skip
    return table(" | ".join(["<", *map(_sold_as, judged)]), rows, notes=_notes(asked, judged, details=details))


def _notes(asked: JudgedPrice, shown: Sequence[JudgedOffer], *, details: bool) -> list[str]:
    notes = []
    if asked.reckoned is not None and any(one.limited_by_loss for one in shown):
        loss = float(asked.reckoned.selling.loss_chance)
        notes.append(f"stop at is below what is left where more would lose in over {loss:g} % of sales")
    better = asked.judged[-1].offer
    uncounted = [word for word, said in (("no bench hours", better.hours), ("no parts", better.parts)) if said is None]
    if better.finished is not None and better.finished > better.condition and uncounted:
        notes.append(f"{' and '.join(uncounted)} are counted for the better condition: --hours 6 --parts 60 count them")
    if details:
        ways = ((one, use) for one in asked.judged for use in one.better_routes)
        other = grouped((use.route, f"{money(use.safe_ceiling)} {_sold_as(one)}") for one, use in ways)
        notes += [
            f'with sell_on = "{route}" in [tax], where the law lets you: at most {listed(prices)}'
            for route, prices in other
        ]
    elif len(asked.judged) > len(shown) or any(one.better_routes for one in shown):
        notes.append("--details has the other ways to sell it and the other VAT routes")
    return [*notes, *([reckoned_words(asked.reckoned)] if asked.reckoned is not None else [])]
