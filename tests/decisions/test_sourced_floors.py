"""The best floor of every way to fill a plan: against tests/reckoning's search through all of them."""

from __future__ import annotations

import random
from contextlib import suppress
from decimal import Decimal
from fractions import Fraction
from typing import Any

import pytest

from kitvalue.decisions.sourcing import answers, at_market, ground_of, plan_from
from kitvalue.intake.books.offers import Offer, Part
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.text.drums import DrumMeant
from kitvalue.intake.text.sizes import Size
from kitvalue.workshop.costing import cost_sheet
from tests import worked
from tests.reckoning import sourcing as second
from tests.reckoning.exact import RefusedError
from tests.reckoning.floors import Selling
from tests.reckoning.purchases import Business, Terms
from tests.reckoning.schemes import Tax

CASES, A_BLOCK = 640, 64
SOURCES = [
    ("private", None), ("private", None), ("private", None), ("trade", "margin"), ("trade", "exempt"), ("trade", None),
    ("trade", "included"), ("trade", "excluded"), ("union", None), ("union", "included"), ("union", "excluded"),
    ("import", None),
]  # fmt: skip
WORK = Decimal(20)  # an hour, without contingency, so that a cut and a grade are whole cents
CUT, GRADE = Decimal("1.5"), Decimal("0.5")  # hours


def money(rng: random.Random, low: int, high: int) -> Decimal:
    return Decimal(rng.randint(100 * low, 100 * high)) / 100


class Case:
    """A random shop, plan, offers and parts.csv, for the program and for the second route."""

    def __init__(self, seed: int) -> None:
        rng = random.Random(seed)
        self.tax = self._tax(rng)
        self.selling = {
            "fee": rng.choice(("0", "2.9", "8")), "margin": rng.choice(("0", "10", "18", "30")), "freight": 60,
            "reserve": rng.choice((0, 2)), "capital": rng.choice((0, 6, 12)), "months_to_sell": 3, "holding": 8,
        }  # fmt: skip
        self.cuts, self.grades = rng.random() < 0.7, rng.random() < 0.5
        self.sizes = [Size(Decimal(d), Decimal(h)) for d, h in ((22, 16), (16, 16), (16, 14), (13, 11), (13, 9))]
        wanted = rng.sample(self.sizes, rng.randint(1, 3))
        self.new = [money(rng, 40, 160) if at and rng.random() < 0.4 else None for at in range(len(wanted))]
        self.wanted, self.finished = wanted, rng.choice(("Burren", "Slane"))
        self.route = rng.choice((None, None, "full", "margin")) if self.tax.get("registered", True) else None
        if self.tax.get("kind") == "sales":
            self.route = None
        self.parts = [
            Part(2, f"{one}", money(rng, 20, 150), rng.choice((Decimal(1), Decimal("0.8"))), Decimal(4),
                 DrumMeant(one.diameter, one.depth))
            for one in self.sizes if rng.random() < 0.7
        ]  # fmt: skip
        self.offers = [self._offer(rng, f"D{at}") for at in range(rng.randint(1, 4))]

    @staticmethod
    def _tax(rng: random.Random) -> dict[str, Any]:
        schemes = {"sell_on": rng.choice(("margin", "full")), "rebuild": rng.choice(("margin", "margin", "full"))}
        kind = rng.random()
        more = {"registered": False} if kind < 0.08 else {"kind": "sales"} if kind < 0.15 else {}
        return {"rate": 23, **schemes, **more, "import": {"duty": Decimal("3.7"), "vat": 23, "clearance": 35}}

    def _offer(self, rng: random.Random, name: str) -> Offer:
        sizes = tuple(rng.choice(self.sizes) for _ in range(rng.randint(1, 4)))
        source, vat = rng.choice(SOURCES)
        return Offer(
            row=2, offer=name, series=rng.choice(("Burren", "Slane")), pieces=len(sizes),
            condition=rng.choice((Decimal("1.5"), Decimal(2), Decimal(3), Decimal(4))), price=money(rng, 50, 500),
            freight=money(rng, 0, 60), sizes=sizes, bought_from=source, haggle="fixed", note=None, vat=vat,  # type: ignore[arg-type]
            premium=rng.choice((Decimal(0), Decimal(20))), freight_by=rng.choice(("carrier", "seller")),  # type: ignore[arg-type]
        )  # fmt: skip

    def shop(self) -> Shop:
        hours = {"assemble": 1} | ({"cut_down": CUT} if self.cuts else {})
        work = {"rate": WORK, "hours": hours} | ({"grade": {"clean": GRADE}} if self.grades else {})
        tables = {
            "shop": {"name": "Dock Road Drums", "currency": "EUR"}, "tax": self.tax, "work": work,
            "selling": self.selling,
        }  # fmt: skip
        return Shop.model_validate(worked.exact({k: self._exact(v) for k, v in tables.items()}))

    def _exact(self, value: Any) -> Any:
        if isinstance(value, dict):
            return {key: self._exact(inner) for key, inner in value.items()}
        return Decimal(value) if isinstance(value, str) and value.replace(".", "").isdigit() else value

    def plan(self) -> Plan:
        drums = [
            {"role": "floor", "size": size, "positions": 8, "from": "A"} if new is None else
            {"role": "floor", "size": size, "positions": 8, "from": "new", "price": new}
            for size, new in zip(self.wanted, self.new, strict=True)
        ]  # fmt: skip
        donor = {"id": "A", "series": "Burren", "pieces": 3, "condition": 3, "price": 300, "freight": 40}
        drill = {"what": "Drill", "per": "shell", "only": ["new"], "hours": 2}
        tables = {
            "name": "plan", "title": "Plan", "original": worked.plan_tables()["original"], "donor": [donor],
            "finished": {"series": self.finished, "condition": 5}, "drum": drums,
            "work": [{"what": "Assemble", "operation": "assemble", "per": "drum"}, drill], "route": self.route,
        }  # fmt: skip
        return Plan.model_validate(worked.exact(tables))

    def task(self, common: Decimal) -> second.Task:
        """The same for the second route. Holding is in `common`."""
        value = {(p.drum.diameter, p.drum.depth): p for p in self.parts if p.drum is not None}

        def drum(size: Size) -> second.Drum:
            row = value.get((size.diameter, size.depth))
            worth = (None, Fraction(1)) if row is None else (Fraction(row.value), Fraction(row.chance))
            return second.Drum("floor", int(size.diameter), int(size.depth), *worth)

        grade = WORK * GRADE if self.grades else Decimal(0)
        donors = tuple(
            second.Donor(
                o.offer, o.series, Fraction(o.price or 0), tuple(map(drum, o.sizes)),
                Terms(o.bought_from, o.vat or "", Fraction(o.premium), "", Fraction(o.freight or 0), o.freight_by),
                Fraction(grade * max(Decimal(0), 3 - o.condition)), Fraction(o.condition),
            )
            for o in self.offers
        )  # fmt: skip
        slots = tuple(
            second.Slot("floor", int(size.diameter), int(size.depth), self._new(new),
                        Fraction(WORK * CUT) if self.cuts else None)
            for size, new in zip(self.wanted, self.new, strict=True)
        )  # fmt: skip
        s = {key: Fraction(str(value)) for key, value in self.selling.items()}
        told = {key: one for key, one in self.tax.items() if key not in ("rate", "import")}
        return second.Task(
            slots, donors, self.finished, Tax(**told),
            Business(Fraction(23), self.tax.get("registered", True), self.tax.get("kind", "vat"),
                     duty=Fraction("3.7"), clearance=Fraction(35)),
            Selling(s["margin"] / 100, s["fee"] / 100, s["reserve"] / 100, s["freight"], capital=s["capital"] / 100,
                    months=s["months_to_sell"]),
            Fraction(common), self.route or "",
        )  # fmt: skip

    def _new(self, price: Decimal | None) -> Fraction | None:
        """Net of VAT that is deducted, and two hours of drilling."""
        if price is None:
            return None
        borne = not self.tax.get("registered", True)
        return Fraction(round(price * Decimal("1.23"), 2) if borne else price) + Fraction(2 * WORK)


def agrees(case: Case) -> bool:
    """Is the answer the best of all ways, its lines add up, and it is what the plan that it makes costs?"""
    ground = ground_of(case.plan(), case.shop(), case.offers, case.parts)
    first = answers(ground)[0]
    task = case.task(ground.common.net_cost)
    try:
        best = second.best(task, Fraction(23, 100))
    except RefusedError:
        assert first.status == "infeasible"
        return False
    assert first.floor is not None
    assert first.net_cost is not None
    assert float(max(Decimal(0), first.floor)) == pytest.approx(float(best.floor), abs=0.021)  # there none is below 0
    other, k = at_market(ground, first) or first, Fraction(23, 123)
    spared = float(k * Fraction(other.purchase or 0)) if other.route == "margin" else 0.0
    every = []
    for route in ("full", "margin", "none", "sales"):
        with suppress(RefusedError):
            every.append(second.best_at_market(task, Fraction(23, 100), route).objective)
    assert float(other.cost or 0) - spared == pytest.approx(float(min(every)), abs=0.03)
    made = plan_from(first, ground, "found")
    sheet = cost_sheet(made, case.shop(), parts=case.parts)
    assert (sheet.net_cost, sheet.chosen.floor) == (first.net_cost, first.floor)
    assert sum(line.net for line in first.lines) == first.cost == first.net_cost - ground.common.net_cost
    assert len(first.lines) == len({line.what for line in first.lines})
    return True


@pytest.mark.parametrize("block", range(CASES // A_BLOCK))
def test_the_floor_is_the_best_of_every_way(block: int) -> None:
    assert sum(agrees(Case(seed)) for seed in range(A_BLOCK * block, A_BLOCK * (block + 1))) > 20
