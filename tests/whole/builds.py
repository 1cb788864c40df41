"""Random build plans that are valid."""

from __future__ import annotations

import random
from dataclasses import dataclass
from decimal import Decimal

from tests.whole.made import Money, Series, Sizes, Tree

OPERATIONS = ("inspect", "edge", "wrap", "drill", "assemble", "cut_down", "dispatch")


@dataclass(frozen=True, slots=True)
class DrumKind:
    role: str
    diameter: str
    depth: str

    @property
    def size(self) -> Sizes:
        return Sizes(((self.diameter, self.depth),))


DRUMS = (
    DrumKind("bass", "22", "16"), DrumKind("bass", "20", "14"), DrumKind("floor", "16", "16"),
    DrumKind("floor", "14", "14"), DrumKind("rack", "13", "11"), DrumKind("rack", "13", "9"),
    DrumKind("rack", "12", "10"), DrumKind("rack", "12", "8"), DrumKind("snare", "14", "6.5"),
)  # fmt: skip


def plan_tree(rng: random.Random, names: list[Series], route: str) -> Tree:
    """A plan in a shop whose VAT route is `route`."""
    kinds = rng.sample(DRUMS, rng.randint(1, 7))
    donors = [_donor(rng, f"{'ABC'[i]}", names) for i in range(rng.randint(0, 3))]
    drums = []
    for at, kind in enumerate(kinds):
        from_ = rng.choice([*(d["id"] for d in donors), *(d["id"] for d in donors), "new"])
        drum = {
            "role": kind.role, "size": kind.size, "from": from_, "positions": rng.randint(5, 10),
            "holes": rng.randint(0, 9), "heads": rng.choice((1, 2, 2)), "id": f"d{at}" if rng.random() < 0.3 else None,
        }  # fmt: skip
        drums.append(drum | ({"price": _money(rng, 40, 180)} if from_ == "new" else {}))
    used = {d["from"] for d in drums}
    donors = [d for d in donors if d["id"] in used]
    surplus = [
        {"what": f"Stand of {d['id']}", "from": d["id"], "value": Money(d["price"].amount // 4)}
        for d in donors
        if rng.random() < 0.5
    ]
    return {
        "title": f"{len(drums)} pieces & \"more\"", "smallest": rng.randint(1, len(drums)),
        "route": _route(donors, route, rng), "original": _original(rng, names),
        "finished": {
            "series": rng.choice(names), "share": rng.choice((100, 70, Decimal("62.5"), 130, [Decimal("62.5"), 90])),
            "condition": rng.choice((4, 5)),
        },
        "donor": donors, "drum": drums, "work": _work(rng), "part": _parts(rng), "surplus": surplus,
    }  # fmt: skip


def _money(rng: random.Random, low: int, high: int) -> Money:
    return Money(Decimal(rng.randint(100 * low, 100 * high)) / 100)


def _route(donors: list[Tree], route: str, rng: random.Random) -> str | None:
    """A route that is open to the plan; None where the shop's own is."""
    is_open = bool(donors) and all(d["bought_from"] == "private" or d.get("vat") == "margin" for d in donors)
    if route == "margin":
        return None if is_open and rng.random() < 0.7 else "full"
    return "margin" if route == "full" and is_open and rng.random() < 0.4 else None


def _donor(rng: random.Random, name: str, names: list[Series]) -> Tree:
    source = rng.choice(("private", "private", "private", "trade", "import"))
    return {
        "id": name, "series": rng.choice(names), "pieces": 7, "condition": rng.randint(2, 4),
        "price": _money(rng, 40, 700), "freight": _money(rng, 0, 70) if rng.random() < 0.8 else None,
        "spare": _money(rng, 0, 30) if rng.random() < 0.5 else None, "bought_from": source,
        "vat": rng.choice(("included", "margin")) if source == "trade" else None,
    }  # fmt: skip


def _original(rng: random.Random, names: list[Series]) -> Tree:
    extra = {"duty": 4, "import_vat": Decimal("8.1")} if rng.random() < 0.2 else {}
    return {
        "series": rng.choice(names), "condition": rng.choice((2, 3, Decimal("3.5"), 5)), "freight": _money(rng, 0, 120),
        "repair": _money(rng, 0, 400), "premium": rng.choice((0, 20)), **extra,
        "channel": rng.choice(("private", "private", "dealer", "auction")),
    }  # fmt: skip


def _work(rng: random.Random) -> list[Tree]:
    lines = [
        {"what": "Inspect", "operation": "inspect", "per": "drum"},
        {"what": "Cut edges", "operation": "edge", "per": "edge", "only": ["bass", "rack"]},
        {"what": "Cover", "operation": "wrap", "per": "shell", "except": ["snare"]},
        {"what": "Drill", "operation": "drill", "per": "hole", "only": ["new"]},
        {"what": "Sand", "hours": Decimal("1.25"), "per": "m2_outside"},
        {"what": "Sent out for chrome", "each": _money(rng, 2, 30), "per": "hoop", "vat": "included"},
        {"what": "Odd jobs", "hours": 1, "per": "hour", "quantity": Decimal("2.5")},
        {"what": "Send", "operation": "dispatch", "per": "kit"},
    ]
    return [line for line in lines if rng.random() < 0.6]


def _parts(rng: random.Random) -> list[Tree]:
    lines = [
        {"what": "Heads", "per": "head", "each": Money(Decimal("14.20"))},
        {"what": "Rods", "per": "rod", "each": Money(Decimal("0.33")), "vat": "included"},
        {"what": "Covering", "per": "sheet", "sheet": "1370x610", "each": _money(rng, 20, 60)},
        {"what": "Veneer", "per": "sheet", "sheet": "2440x1220", "clearance": -10, "overlap": 150,
         "turn": False, "each": _money(rng, 40, 120)},
        {"what": "Oil", "per": "m2_inside", "each": Money(Decimal("7.77"))},
        {"what": "Cartons", "per": "kit", "each": _money(rng, 0, 40), "vat": "included"},
    ]  # fmt: skip
    return [line for line in lines if rng.random() < 0.6]
