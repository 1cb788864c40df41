"""Random shops that are valid: a shape that hypothesis draws and shrinks, filled from a seed."""

from __future__ import annotations

import datetime as dt
import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, replace
from decimal import Decimal

from hypothesis import strategies as st

from tests.whole.builds import DRUMS, OPERATIONS, plan_tree
from tests.whole.made import Dialect, MadeShop, Money, Series, Sizes, Table

NAMES = ("Inishmore", "Burren", "Slane", "Lisdoon", "Kilbeg", "Tullamoy")
NEWEST = dt.date(2026, 11, 20)
WORDS = {3: ("fair", "mend", "3"), 5: ("mint", "wipe", "5")}
NOTES = ("", "", "blue, scratched", 'says "as new"', "two\nlines", "=1+1", "Größe 22; hält", "<b>&amp;", "- 10 %")
ENCODINGS = ("utf-8", "utf-8-sig", "cp1252", "utf-16")


@dataclass(frozen=True, slots=True)
class Shape:
    """What a shop is like; its figures come from `seed`."""

    seed: int
    rows: int
    series: int
    plans: int
    offers: int
    declared: bool  # shop.toml lists the series
    features: tuple[str, ...]
    sold: float  # shares of the rows
    dealer: float
    auction: float
    blank: float
    days: int  # that the dates span, 0: no column of dates
    foreign: bool
    relisted: bool
    weighted: bool
    slip: bool  # one price a hundred times too high
    flat: bool  # every price the same
    refused: int  # rows that must be refused
    haggle: bool
    parts: bool
    done: int
    route: str


def shapes(least_offers: int = 0) -> st.SearchStrategy[Shape]:
    share = st.sampled_from((0.0, 0.15, 0.4, 1.0))
    small = st.sampled_from((0.0, 0.1, 0.3))
    return st.builds(
        Shape, seed=st.integers(0, 2**32 - 1), rows=st.integers(14, 75), series=st.integers(1, len(NAMES)),
        plans=st.integers(1, 3), offers=st.integers(least_offers, 7), declared=st.booleans(),
        features=st.sets(st.sampled_from(("hardware", "holes", "finish"))).map(lambda names: tuple(sorted(names))),
        sold=share, dealer=small, auction=small, blank=small, days=st.sampled_from((0, 90, 400, 1500)),
        foreign=st.booleans(), relisted=st.booleans(), weighted=st.booleans(), slip=st.booleans(),
        flat=st.sampled_from((False,) * 9 + (True,)),
        refused=st.integers(0, 2), haggle=st.sampled_from((True, True, False)), parts=st.booleans(),
        done=st.integers(0, 3), route=st.sampled_from(("full", "margin", "none")),
    )  # fmt: skip


def dialects() -> st.SearchStrategy[Dialect]:
    return st.builds(
        Dialect, delimiter=st.sampled_from((",", ";", "\t", "|")), encoding=st.sampled_from(ENCODINGS),
        line_end=st.sampled_from(("\n", "\r\n")), decimal=st.sampled_from((".", ",")), grouped=st.booleans(),
        dates=st.sampled_from(("%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d %b %Y")),
        quote_all=st.booleans(), stated=st.booleans(), swapped_sizes=st.booleans(),
    )  # fmt: skip


def shops(least_offers: int = 0) -> st.SearchStrategy[MadeShop]:
    """A valid shop: every file is read, though a question may have no answer."""
    return st.builds(made, shapes(least_offers), dialects())


def sure(made: MadeShop) -> MadeShop:
    """The shop with its step from asked to sold set, and a fee and margin that leave a price."""
    settings = {**made.settings, "prices": {**made.settings["prices"], "haggle": Decimal(10)}}
    return replace(made, settings=settings)


def made(shape: Shape, dialect: Dialect) -> MadeShop:
    """The shop of a shape."""
    rng = random.Random(shape.seed)
    names = [Series(name) for name in NAMES[: shape.series]]
    headers = {"price": "Preis", "condition": "Zustand"} if rng.random() < 0.3 else {}
    tables = {"prices.csv": _book(shape, names, rng)}
    plans = {f"plan-{i}": plan_tree(rng, names, shape.route) for i in range(1, shape.plans + 1)}
    if shape.offers:
        tables["offers.csv"] = _offers(shape, names, rng)
    if shape.parts:
        tables["parts.csv"] = _parts(rng)
    if shape.foreign:
        days = [dt.date(2020, 1, 1), dt.date(2025, 3, 1)]
        rows = tuple(
            {"date": day, "currency": "CHF", "rate": Decimal(rng.randint(9000, 11999)) / 10000} for day in days
        )
        tables["rates.csv"] = Table(("date", "currency", "rate"), rows)
    if shape.done:
        tables["done.csv"] = _done(shape, list(plans), rng)
    settings = _settings(shape, names, headers, rng)
    return MadeShop(settings, tables, plans, dialect, headers, names[0], f"{shape}, {dialect}")


def _settings(shape: Shape, names: list[Series], headers: Mapping[str, str], rng: random.Random) -> dict[str, object]:
    kinds = {"hardware": "yes-no", "holes": "number", "finish": "word"}
    selling: dict[str, object] = {
        "fee": Decimal(rng.choice(("0", "2.9", "6"))), "margin": Decimal(rng.choice(("0", "5", "18", "35"))),
        "loss_chance": Decimal(rng.choice(("0", "5", "10", "12.5", "50"))),
        "step": Money(Decimal(rng.choice(("0.50", "1", "5", "10", "50")))), "freight": _money(rng, 0, 120),
    }  # fmt: skip
    if rng.random() < 0.5:
        selling |= {"months_to_sell": rng.randint(0, 8), "holding": _money(rng, 0, 20)}
    work: dict[str, object] = {
        "rate": _money(rng, 0, 70), "contingency": rng.choice((0, 10, 15)),
        "hours": {name: Decimal(rng.randint(1, 25)) / 10 for name in OPERATIONS},
    }  # fmt: skip
    work |= {"prepare": Decimal(rng.randint(0, 60)) / 10, "part_out": rng.randint(1, 6)} if rng.random() < 0.8 else {}
    places: dict[str, object] = {
        "CH": {"kind": "export", "vat": Decimal("8.1"), "duty": rng.choice((0, 3)), "freight": _money(rng, 50, 200)},
        "DE": {"kind": "union", "vat": 19, "freight": _money(rng, 50, 200)},
        "NO": {"kind": "export", "vat": 25, "clearance": _money(rng, 0, 50)},
    }  # fmt: skip
    limits: dict[str, object] = {"budget": _money(rng, 100, 3000), "kits": rng.randint(1, 4), "bench_hours": 40}
    if "months_to_sell" in selling and rng.random() < 0.6:
        selling |= {"capital": rng.randint(1, 12), "reserve": rng.choice((0, 2, 3)), "fee_fixed": _money(rng, 0, 5)}
    return {
        "shop": {"name": "Dock Road Drums", "currency": "EUR"},
        "prices": {
            "haggle": rng.choice((0, 8, 10)) if shape.haggle else None,
            "columns": dict(headers), "features": {name: kinds[name] for name in shape.features},
            "words": {"condition": {"fair": "3", "mint": "wipe"}},
        },
        "series": {name: {"part": "donor"} for name in names} if shape.declared else {},
        "tax": {
            "rate": Decimal(rng.choice(("0", "7", "19", "23", "25.5"))), "route": shape.route,
            "destinations": {place: places[place] for place in places if rng.random() < 0.5},
        },
        "work": work, "selling": selling,
        "buying": {key: limits[key] for key in limits if rng.random() < 0.3},
        "promise": {"en": {"guarantee": "two years"}} if rng.random() < 0.5 else {},
    }  # fmt: skip


def _money(rng: random.Random, low: int, high: int) -> Money:
    return Money(Decimal(rng.randint(100 * low, 100 * high)) / 100)


def _book(shape: Shape, names: list[Series], rng: random.Random) -> Table:
    levels = [rng.gauss(5.2, 0.4) for _ in names]
    slopes = (rng.choice((0.7, 0.3, -0.2)), rng.choice((0.13, 0.0, -0.1)), rng.choice((0.05, 0.2, 0.4)))
    rows = [_kit(shape, names, levels, slopes, i, rng) for i in range(shape.rows)]
    if shape.slip:
        at = rng.randrange(len(rows))
        price = rows[at]["price"]
        assert isinstance(price, Money)
        rows[at] = {**rows[at], "price": Money(price.amount * 100)}
    if shape.relisted:
        for i in rng.sample(range(len(rows)), 3):
            rows[i] = {**rows[i], "ref": f"L{i}"}
            day = rows[i].get("date")
            if shape.days and isinstance(day, dt.date):  # of a listing's rows the latest counts
                rows.append({**rows[i], "date": day - dt.timedelta(days=7), "price": _money(rng, 200, 900)})
            else:
                rows.append(dict(rows[i]))  # repeats it in every column
    bad: tuple[dict[str, object], ...] = ({"price": "450-500"}, {"condition": "as new?"})
    for change in bad[: shape.refused]:
        rows.append({**rows[0], "ref": None, "note": "bad", **change})
    columns = ["series", "pieces", "condition", "price", "ref", "note"]
    columns += ["date"] if shape.days else []
    columns += ["price_kind", "premium"] if shape.sold or shape.auction else []
    columns += ["channel"] if shape.dealer or shape.auction else []
    columns += ["currency"] if shape.foreign else []
    columns += ["weight"] if shape.weighted else []
    columns += ["freight"] if rng.random() < 0.5 else []
    columns += shape.features
    rng.shuffle(columns)
    return Table(tuple(columns), tuple(rows))


def _kit(
    shape: Shape, names: list[Series], levels: list[float], slopes: tuple[float, float, float], i: int,
    rng: random.Random,
) -> dict[str, object]:  # fmt: skip
    at = min(int(rng.expovariate(0.7)), len(names) - 1)
    pieces, grade = rng.randint(3, 7), rng.randint(2, 10) / 2
    log = levels[at] + slopes[0] * math.log(pieces) + slopes[1] * (grade - 3) + rng.gauss(0, slopes[2])
    kind = "sold" if rng.random() < shape.sold else "asked"
    channel = rng.choices(("dealer", "auction", "private"), (shape.dealer, shape.auction, 0.7))[0]
    if channel == "auction" and kind == "sold" and rng.random() < 0.7:
        kind = "hammer"
    row: dict[str, object] = {
        "series": names[at], "pieces": pieces, "condition": _grade(grade, rng),
        "price": Money(Decimal(480 if shape.flat else max(20, round(math.exp(log) * 4)) / 4).quantize(Decimal("0.01"))),
        "price_kind": kind, "channel": channel, "premium": rng.choice((0, 20)) if kind == "hammer" else None,
        "date": NEWEST - dt.timedelta(days=rng.randint(0, shape.days)), "note": f"{rng.choice(NOTES)} {i}",
        "freight": _money(rng, 0, 90), "weight": Decimal(rng.choice(("1", "0.5", "2"))),
        "hardware": rng.choice(("yes", "no")), "holes": rng.randint(0, 4), "finish": rng.choice(("wrap", "oil", "dye")),
    }  # fmt: skip
    if shape.foreign and rng.random() < 0.15 and shape.days:
        row["currency"] = "CHF"
        return row
    for name in ("date", "channel", "freight", "weight", *shape.features):
        if rng.random() < shape.blank:
            row[name] = None
    return row


def _grade(grade: float, rng: random.Random) -> object:
    words = WORDS.get(int(grade)) if grade == int(grade) else None
    return rng.choice(words) if words else Decimal(str(grade))


def _offers(shape: Shape, names: list[Series], rng: random.Random) -> Table:
    rows: list[dict[str, object]] = []
    for i in range(shape.offers):
        drums = rng.sample(DRUMS, rng.randint(2, 6))
        rows.append(
            {
                "offer": f"D{i + 1}", "series": rng.choice(names), "pieces": len(drums),
                "condition": Decimal(rng.randint(2, 10)) / 2, "price": _money(rng, 20, 900),
                "freight": _money(rng, 0, 80) if rng.random() < 0.8 else None,
                "sizes": Sizes(tuple((d.diameter, d.depth) for d in drums)) if rng.random() < 0.8 else None,
                "bought_from": rng.choice(("private", "private", "trade", "import", None)),
                "haggle": rng.choice((None, 10, "fixed")), "note": rng.choice(NOTES),
            }
        )  # fmt: skip
    columns = ("offer", "series", "pieces", "condition", "price", "freight", "sizes", "bought_from", "haggle", "note")
    told = tuple(name for name in shape.features if name != "holes" or shape.seed % 2)
    work = ("finished", "hours") if shape.seed % 3 else ()
    lots = ("price_kind", "premium") if shape.seed % 4 else ()
    more = [
        {**_features(told, shape.seed + i), **_work(work, row, shape.seed + i), **_lot(lots, shape.seed + i)}
        for i, row in enumerate(rows)
    ]
    return Table((*columns, *told, *work, *lots), tuple({**row, **new} for row, new in zip(rows, more, strict=True)))


def _lot(names: tuple[str, ...], seed: int) -> dict[str, object]:
    """A lot at an auction, some without a price yet."""
    rng = random.Random(seed)
    if not names or rng.random() < 0.6:
        return {}
    return {
        "price_kind": "hammer",
        "premium": rng.choice((0, 20, 25)),
        **({"price": None} if rng.random() < 0.3 else {}),
    }


def _work(names: tuple[str, ...], row: Mapping[str, object], seed: int) -> dict[str, object]:
    """What is done to a kit before it is sold, often nothing that the file tells."""
    rng = random.Random(seed)
    grade = row["condition"]
    assert isinstance(grade, Decimal)
    better = [Decimal(half) / 2 for half in range(int(2 * grade), 11)]
    found = {
        "finished": rng.choice((None, grade, *better)),
        "hours": rng.choice((None, 0, Decimal("5.5"), Decimal(rng.randint(1, 80)) / 4)),
    }
    return {name: found[name] for name in names}


def _features(names: tuple[str, ...], seed: int) -> dict[str, object]:
    rng = random.Random(seed)
    words = {"hardware": ("yes", "no", None), "holes": (0, 3, None), "finish": ("oil", "Wrap", "dye", None)}
    return {name: rng.choice(words[name]) for name in names}


def _parts(rng: random.Random) -> Table:
    names = [*dict.fromkeys(f"{d.diameter} inch" for d in DRUMS if rng.random() < 0.6), "bass hoops", "drum"]
    if rng.random() < 0.3:
        names.remove("drum")
    rows = tuple(
        {"part": name, "value": _money(rng, 5, 150), "chance": rng.randint(5, 100), "weeks": rng.randint(0, 30)}
        for name in names
    )
    return Table(("part", "value", "chance", "weeks"), rows)


def _done(shape: Shape, plans: list[str], rng: random.Random) -> Table:
    rows: list[dict[str, object]] = []
    for i in range(shape.done):
        sold = rng.random() < 0.6
        rows.append(
            {
                "plan": rng.choice(plans), "finished_on": dt.date(2026, 1 + i, rng.randint(1, 28)),
                "hours": Decimal(rng.randint(100, 600)) / 10, "hours_edge": Decimal(rng.randint(1, 50)) / 10,
                "cost": _money(rng, 0, 2000), "sold_on": dt.date(2026, 8, rng.randint(1, 28)) if sold else None,
                "sold_for": _money(rng, 300, 4000) if sold else None,
            }
        )  # fmt: skip
    columns = ("plan", "finished_on", "hours", "hours_edge", "cost", "sold_on", "sold_for")
    return Table(columns, tuple(rows))
