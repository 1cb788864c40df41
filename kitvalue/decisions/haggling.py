"""From what is asked to what will be paid, and the prices to open with and to stop at."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kitvalue.intake.offers import Offer
from kitvalue.market.fitted import Fit
from kitvalue.market.recipe import by_pairs


@dataclass(frozen=True, slots=True)
class Step:
    """The book's own step from asked to sold: a factor on the asked price, and what it rests on in words."""

    factor: float
    rests_on: str


@dataclass(frozen=True, slots=True)
class Paid:
    """What an offer is expected to be bought for, and why."""

    price: float
    rests_on: str


def step_of(fit: Fit) -> Step:
    """The step of the rows that tell both prices of one kit, else the one between sold rows and asked ones, else the
    haggle of shop.toml, else none. Never above 1: nobody pays more than is asked because sold rows lie higher. Asked
    rows that found no buyer lie too high, so pairs come first."""
    recipe = fit.recipe
    if recipe.pair_step is not None:
        return Step(float(np.exp(recipe.pair_step)), by_pairs(recipe.pairs, recipe.pair_step))
    sold = next((t.coefficient for t in fit.terms if t.name == "sold"), None)
    if sold is not None:
        factor = float(np.exp(sold))
        if factor >= 1:
            return Step(1.0, "the asked price: sold rows of the book lie no lower than asked ones")
        return Step(factor, f"asked to sold in the book, {100 * (factor - 1):.1f} % ({recipe.sold_basis})")
    if recipe.sold_offset:
        return Step(float(np.exp(recipe.sold_offset)), recipe.sold_basis)
    return Step(1.0, "the asked price: the book does not tell how far sold lies under asked")


def paid_for(offer: Offer, step: Step) -> Paid:
    """The expected price: by the offer's own haggle where it has one, else by the book's step; never both."""
    asked = float(offer.price)
    if offer.haggle == "fixed":
        return Paid(asked, "the asked price: it is fixed")
    if offer.haggle is not None:
        return Paid(
            asked * (1 - float(offer.haggle) / 100), f"the offer's own haggle of {offer.haggle.normalize():f} %"
        )
    return Paid(asked * step.factor, step.rests_on)


def opening(asked: float, paid: float, stop: float) -> float:
    """The price to open with: as far under the expected price as that lies under the asked one, so that meeting half
    way ends there (common practice, no source). Where that is above the price to stop at, as far under the latter, in
    proportion, as the expected price lies under the asked one, so that there is room to come up to it."""
    first = 2 * paid - asked
    return round(first if first <= stop else stop * paid / asked, 2)
