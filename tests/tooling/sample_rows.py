"""The sample shop's world: what a sighting is, the remarks and spellings its owner uses, the offers on the list."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

CONDITION_WORDS: dict[float, str] = {5: "wipe", 4: "freshen", 3: "mend", 2: "remake", 1: "harvest"}
OTHER_SPELLINGS = {"Inishmore": "Inishmore 84", "Burren": "The Burren"}

LOWERED = "price lowered since last seen"
NOTES_ANY = (
    "collection only",
    "one owner, smoke-free",
    "seen at the spring market",
    "badge missing on the floor drum",
    "heads are old but hold",
    'bass hoop repainted, "by a friend"',
    "from a café band; stored dry",
    "photographs only, not seen",
    "cases included",
    "spurs replaced with a later type",
)
NOTES_GOOD = (
    "cleaned and tuned, ready to play",
    "new heads last year",
    "lived in a teaching room",
    "hardly a mark; chrome bright",
)
NOTES_POOR = (
    "covering lifts at the seam",
    "bass edges chipped",
    "painted over with a brush",
    "smells of the cellar it stood in",
    "two claws and a leg missing",
)


@dataclass(frozen=True, slots=True)
class Row:
    """One sighting. `day` is the true one, also where the file leaves it blank."""

    series: str
    pieces: int
    condition: float
    kind: str
    channel: str
    premium: int
    hardware: bool
    holes: int
    day: date
    price: int
    ref: str = ""
    note: str = ""
    role: str = "kept"  # kept | bundle | slip | superseded


@dataclass(frozen=True, slots=True)
class OfferSpec:
    """One donor kit on offer. `factor` is its asking price against what the effects give for it."""

    offer: str
    series: str
    pieces: int
    condition: float
    factor: float
    freight: int | None
    sizes: str
    bought_from: str = "private"
    haggle: str = ""  # percent
    note: str = ""
    mark: str = ""  # what the sample wants to show with it


OFFERS = (
    OfferSpec("D01", "Burren", 4, 3, 1.00, 45, "22x16 16x16 13x11 12x10", haggle="10", note="blue covering"),
    OfferSpec("D02", "Burren", 5, 3.5, 1.08, 60, "22x16 16x16 13x9 12x8 14x6.5", haggle="5"),
    OfferSpec("D03", "Burren", 5, 3, 0.62, 50, "22x16 16x16 13x11 12x10 14x6.5", note="gone by Sunday", mark="bargain"),
    OfferSpec("D04", "Slane", 3, 3, 0.95, 35, "20x14 14x14 10x9", haggle="10"),
    OfferSpec("D05", "Slane", 4, 2, 1.05, 40, "22x16 16x16 13x9 12x8", note="paint brushed over the covering"),
    OfferSpec("D06", "Slane", 5, 3, 1.75, None, "22x16 16x16 13x11 12x10 14x5.5", note="firm price", mark="overpriced"),
    OfferSpec("D07", "Lisdoon", 4, 3, 0.97, 55, "22x18 16x16 13x11 12x10", haggle="8"),
    OfferSpec("D08", "Lisdoon", 5, 4, 1.10, 60, "22x16 16x16 13x9 12x8 14x6.5", "", note="no stands; cases go along"),
    OfferSpec("D09", "Kilbeg", 5, 3, 1.02, 70, "24x14 18x16 16x16 13x9 14x6.5", haggle="10"),
    OfferSpec("D10", "Inishmore", 5, 2, 0.75, 90, "22x16 18x16 16x16 13x11 12x10", haggle="5", note="re-covered once"),
    OfferSpec("D11", "Tullamoy", 5, 2.5, 0.92, None, "22x16 16x16 14x14 13x9 12x8", haggle="10", note="far away"),
    OfferSpec("D12", "Ballinfern", 4, 3.5, 1.04, 65, "20x14 14x14 12x8 14x5.5", haggle="5", mark="thin_series"),
)
