"""What the customer's sheet is made from, and its parts ready to be laid out as a page or as a PDF."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date

from kitvalue.decisions.breakeven import Comparison
from kitvalue.decisions.pricing import PriceSheet
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.shop import Shop
from kitvalue.market.fitted import Fit
from kitvalue.market.outlook import Outlook
from kitvalue.pages.charts import Figure
from kitvalue.pages.pictures.frame import Key, Layout
from kitvalue.pages.words import Fact, Table


@dataclass(frozen=True, slots=True)
class Shown:
    """What the owner lets a customer see beyond the kit and its price."""

    costs: bool = True  # how the price comes about
    purchases: bool = False  # what was paid for the used drums, as a line of its own


@dataclass(frozen=True, slots=True, eq=False)
class SheetInput:
    """Everything that the sheet shows. `original` is the outlook of the original at the plan's pieces; `at_door` are
    twenty equally likely originals at the buyer's door, money, in rising order. `fingerprint` names the evidence."""

    plan: Plan
    shop: Shop
    fit: Fit
    pricing: PriceSheet
    comparison: Comparison
    original: Outlook
    at_door: tuple[float, ...]
    fingerprint: str
    today: date
    shown: Shown


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture to be drawn at any width, its numbers, what stands around it, and a sentence beneath it."""

    name: str
    title: str
    description: str  # for those who listen
    table: Table
    draw: Callable[[Layout], Figure]
    keys: tuple[Key, ...]
    note: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class SheetView:
    """The sheet's parts. `headings` are by part; `price` is None where costs are hidden or not all known; the second
    picture is missing with one size only."""

    language: str
    title: str
    dated: str
    kit: str
    headings: Mapping[str, str]
    facts: tuple[Fact, ...]
    about: tuple[str, ...]
    drums: Table
    price: Table | None
    price_words: tuple[str, ...]
    verdict: tuple[str, ...]
    side: Table
    pictures: tuple[Picture, ...]
    evidence: tuple[Fact, ...]
    method: tuple[str, ...]
    cautions: tuple[str, ...]
    footer: str
