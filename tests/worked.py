"""The build worked by hand (shared/checks/worked_case.toml) as a plan, a shop and a market."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import numpy as np

from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.market.outlook import Outlook
from tests.checks import check_toml

CASE: dict[str, Any] = check_toml("worked_case.toml")
WHATS = {
    "edge": "Cut bearing edges",
    "veneer": "Veneer",
    "head": "Fit heads",
    "assemble": "Assemble",
    "dispatch": "Send",
}
PERS = {"edge": "edge", "veneer": "shell", "head": "head", "assemble": "drum", "dispatch": "kit"}


def expected(table: str, key: str) -> Decimal:
    """A figure worked by hand."""
    return Decimal(str(CASE["expected"][table][key]))


def exact(value: Any) -> Any:
    """A TOML value with its decimals as the program reads them."""
    if isinstance(value, dict):
        return {key: exact(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [exact(inner) for inner in value]
    return Decimal(repr(value)) if isinstance(value, float) else value


def shop(**changes: Any) -> Shop:
    """The case's settings; `changes` replace single ones: `vat_rate`, `fee`, `margin`, `work_rate`, `route`, ..."""
    s = CASE["settings"] | changes
    tables = {
        "shop": {"name": "Dock Road Drums", "currency": "EUR"},
        "tax": {
            "rate": s["vat_rate"],
            "route": s.get("route", "full"),
            "destinations": {
                "CH": {"kind": "export", "duty": 3, "vat": 8.1, "freight": 140},
                "FR": {"kind": "union", "vat": 20, "freight": 80},
                "NO": {"kind": "export", "duty": 0, "vat": 25},
            },
        },
        "work": {
            "rate": s["work_rate"],
            "contingency": s["contingency"],
            "hours": {key: hours * s.get("hours_factor", 1) for key, hours in CASE["work"].items()},
        },
        "selling": {
            "fee": s["fee"],
            "margin": s["margin"],
            "freight": s["freight"],
            "step": s["step"],
        },
    }
    return Shop.model_validate(exact(tables))


def plan_tables() -> dict[str, Any]:
    """The plan as its file would be read."""
    drums = []
    for word in CASE["drum"][0]["order"]:
        role, size, positions, source = word.split()
        drum = {"role": role, "size": size, "positions": int(positions), "from": source}
        if source == "new":
            drum["price"] = CASE["drum"][0]["new_shell_net"]
        drums.append(drum)
    donors = [
        {"id": key, "series": "Burren", "pieces": 4 if key == "A" else 2, "condition": 3} | CASE["donors"][key]
        for key in ("A", "B")
    ]
    return {
        "name": "worked",
        "title": "Seven-piece in Inishmore dress",
        "original": {
            "series": "Inishmore",
            "condition": 3,
            "freight": CASE["outlook"]["original_freight"],
            "repair": CASE["outlook"]["original_repair"],
        },
        "finished": {"series": "Inishmore", "share": CASE["settings"]["share"], "condition": 5},
        "donor": donors,
        "drum": drums,
        "work": [{"what": WHATS[key], "operation": key, "per": PERS[key]} for key in CASE["work"]],
        "part": [
            {"what": "Heads", "per": "head", "each": 14.20},
            {
                "what": "Veneer", "per": "sheet", "each": 96.00, "sheet": "2440x1220", "overlap": 150,
                "clearance": -10, "turn": False,
            },
        ],
        "surplus": [
            {"what": "Stands", "from": "A", "value": CASE["surplus"]["from_A"]},
            {"what": "Cases", "from": "B", "value": CASE["surplus"]["from_B"]},
        ],
    }  # fmt: skip


def plan(**changes: Any) -> Plan:
    """The plan; `changes` replace whole tables or top keys."""
    return Plan.model_validate(exact(plan_tables() | changes))


FACTORS = np.array([float(word) for word in CASE["outlook"]["sample"].split()[2:]])


def outlook(typical: float) -> Outlook:
    """An outlook whose sample is the case's factors times its typical price."""
    sample = typical * FACTORS
    return Outlook(
        typical, float(sample.mean()), float(sample.min()), float(sample.max()), None, None, 80, sample, "the case", ()
    )


def original_typical(pieces: int, seven: float = float(CASE["outlook"]["original_typical_7_pieces"])) -> float:
    """The case's law: 2600 * (k/7)^0.6."""
    return seven * (pieces / 7) ** 0.6
