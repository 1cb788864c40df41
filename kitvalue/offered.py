"""The kit of an offer, as the market under a fit sees it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal

from kitvalue.intake.bookrows import FeatureRead
from kitvalue.intake.offers import Offer
from kitvalue.intake.problems import RefusedError, shown
from kitvalue.intake.words import fold, listed
from kitvalue.market.fitted import Fit
from kitvalue.market.kit import FeatureValue, Kit
from kitvalue.market.outlook import known_cautions
from kitvalue.market.recipe import FeatureRecipe
from kitvalue.market.value import resale_kit


@dataclass(frozen=True, slots=True)
class KitOffered:
    """The kit as it stands, and what is to be said of the features that it counts with."""

    kit: Kit
    cautions: tuple[str, ...]


def kit_offered(offer: Offer, fit: Fit, on: date | None = None) -> KitOffered:
    """The kit of an offer, sold on a day (None: the book's newest), with the features that the book knows too.

    Raises RefusedError for a word of a feature that no row of the book has.
    """
    known = {feature.name: feature for feature in fit.recipe.features if feature.kind != "word" or feature.words}
    given = tuple(FeatureValue(f.name, _value(f, known[f.name])) for f in offer.features if f.name in known)
    unknown = [f.name for f in offer.features if f.name not in known]
    told = {f.name for f in given}
    moving = [name for name in known if any(t.feature == name for t in fit.recipe.terms)]
    kit = Kit(offer.series, float(offer.pieces), float(offer.condition), on=on, features=given)
    return KitOffered(kit, (*_unused(unknown), *_average([name for name in moving if name not in told])))


def sold_condition(offer: Offer) -> Decimal:
    """The grade that the kit will be sold in: its own where the offer names no other."""
    return offer.condition if offer.finished is None else offer.finished


@dataclass(frozen=True, slots=True)
class Resales:
    """What bought kits are sold as: purchase i becomes `kits[at[i]]`. `cautions` are of each of these kits where it is
    sold in another condition than it is bought in."""

    kits: tuple[Kit, ...]
    at: tuple[int, ...]
    cautions: tuple[tuple[str, ...], ...]


def resales(bought: Sequence[Kit], at: Sequence[int], grades: Sequence[Decimal], fit: Fit) -> Resales:
    """Purchase i is the kit `bought[at[i]]`, to be sold in `grades[i]`; each different kit and grade comes once."""
    rows: dict[tuple[int, Decimal], int] = {}
    sold_at = tuple(rows.setdefault(sale, len(rows)) for sale in zip(at, grades, strict=True))
    kits = tuple(kit_resold(bought[row], grade, fit) for row, grade in rows)
    cautions = (
        () if kit.condition == bought[row].condition else known_cautions(fit, kit)
        for kit, (row, _) in zip(kits, rows, strict=True)
    )
    return Resales(kits, sold_at, tuple(cautions))


def kit_resold(kit: Kit, grade: Decimal, fit: Fit) -> Kit:
    """The kit of an offer as a webshop sells it, in the grade that it will be sold in."""
    return resale_kit(fit, replace(kit, condition=float(grade)))


def _value(read: FeatureRead, book: FeatureRecipe) -> float | bool | str:
    """The value as the book has it: a word in the book's spelling."""
    if isinstance(read.value, bool):
        return read.value
    if isinstance(read.value, Decimal):
        return float(read.value)
    word = next((word for word in book.words if fold(word) == fold(str(read.value))), None)
    if word is None:
        has = f"no row of the price book has {read.name} = {shown(str(read.value))}; it has {listed(book.words)}"
        raise RefusedError(f"{has}: write one of these, or leave the cell blank")
    return word


def _unused(names: Sequence[str]) -> list[str]:
    return [f"{listed(names)} cannot be counted: prices.csv says nothing of it"] if names else []


def _average(names: Sequence[str]) -> list[str]:
    if not names:
        return []
    if len(names) == 1:
        return [f"{names[0]} is not known and counts at the book's average: offers.csv takes a column for it"]
    return [f"{listed(names)} are not known and count at the book's average: offers.csv takes a column for each"]
