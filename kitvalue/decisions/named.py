"""The kit that a command line names, read by the shop's own names and words, and the price asked for it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from kitvalue.intake.books.specs import price_refusal
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import grade_name, series_names, shop_grades
from kitvalue.intake.text.problems import Caution, FileError, RefusedError, shown
from kitvalue.intake.text.tomltext import toml_key
from kitvalue.intake.text.vocabulary import GRADES, TRUTHS
from kitvalue.intake.text.words import fold, listed, nearest, trimmed
from kitvalue.market.encoding import FeatureValue, Kit


@dataclass(frozen=True, slots=True)
class AskedPrice:
    """A price asked, and what is done to the kit before it is sold: bench hours on top of `prepare`, and what is bought
    for it, net of the VAT that is deducted; None where nothing is said."""

    price: Decimal
    hours: Decimal | None = None
    parts: Decimal | None = None
    freight: Decimal | None = None


@dataclass(frozen=True, slots=True)
class KitRead:
    """The kit as it stands, the condition that it will be sold in, and what is to be said of how they were read."""

    kit: Kit
    finished: float | None
    cautions: tuple[Caution, ...] = ()


@dataclass(frozen=True, slots=True)
class KitNamed:
    """A kit as the command line names it. `features` are `name=value` texts."""

    series: str
    pieces: int
    condition: str
    finished: str | None
    features: tuple[str, ...]
    on: date | None


@dataclass(frozen=True, slots=True)
class OriginalNamed:
    """An original that a customer names, gross money; None where nothing is said."""

    price: Decimal
    pieces: int | None = None
    condition: Decimal | None = None
    freight: Decimal | None = None
    repair: Decimal | None = None


def read_kit(shop: Shop, series: Sequence[str], features: Sequence[str], named: KitNamed) -> KitRead:
    """Read a named kit by a shop's words and the `series` and `features` of its book.

    Raises FileError for a word that cannot be read, RefusedError for a declared feature that the book has no column
    for.
    """
    values = tuple(_feature(shop, text) for text in named.features)
    names = [value.name for value in values]
    for name in names:
        if names.count(name) > 1:
            raise FileError(f"--with {name} is given twice; give it once")
    for name in names:
        if name not in features:
            cure = f'add it, or map its header under [prices.columns]: {toml_key(name)} = "the header"'
            what = f"shop.toml declares {shown(name)} under [prices.features], but prices.csv has no such column"
            raise RefusedError(f"--with {shown(name)}: {what}; {cure}")
    own = series_names(shop).find(named.series)
    spelled = next((name for name in series if fold(name) == fold(own or named.series)), own or trimmed(named.series))
    grades, said = [], []
    for option, text in (("--condition", named.condition), ("--finished", named.finished)):
        if text is None:
            continue
        ours, caution = read_grade(option, text, shop)
        grades.append(float(ours))
        said += caution
    kit = Kit(spelled, float(named.pieces), grades[0], on=named.on, features=values)
    return KitRead(kit, None if named.finished is None else grades[1], tuple(said))


def read_grade(option: str, text: str, shop: Shop) -> tuple[Decimal, list[Caution]]:
    """The grade in an option by our number or word, else by the shop's: a number that shop.toml maps stays ours here,
    as in all answers, and that is said."""
    ours, in_files = shop_grades(shop).asked(text), shop_grades(shop).find(text)
    if ours is None:
        words = listed((*GRADES, *shop.prices.words.get("condition", {})))
        either = f"write 1 to 5, a half such as 3.5, or one of {words}"
        raise FileError(f"{option} {shown(text)} is no condition; {either}")
    if in_files is None or in_files == ours:
        return ours, []
    stands_for = f"in your files it stands for {grade_name(in_files)}"
    return ours, [Caution("our_grade", f"{option} {trimmed(text)} is our {grade_name(ours)}; {stands_for}")]


def hold_price(option: str, price: Decimal, shop: Shop) -> None:
    """Raise FileError for a price on the command line that no row could have: outside of `least` and `most`."""
    if refused := price_refusal(price, shop):
        raise FileError(f'{option} "{price:f}" {refused.reason}; {refused.cure}')


def _feature(shop: Shop, text: str) -> FeatureValue:
    name, sign, cell = (part.strip() for part in text.partition("="))
    declared = {fold(n): n for n in shop.prices.features}
    if not sign or not cell:
        raise FileError(f"--with {shown(text)} is not name=value; write for instance --with hardware=yes")
    if fold(name) not in declared:
        near = nearest(name, declared.values())
        declare = f'declare it there, such as {toml_key(name)} = "yes-no", and give prices.csv the column'
        hint = f"did you mean {near}?" if near else f"shop.toml has {listed(declared.values()) or 'none'}; {declare}"
        raise FileError(f"--with {shown(text)}: no feature {shown(name)} in [prices.features]; {hint}")
    own = declared[fold(name)]
    words = {fold(word): ours for word, ours in shop.prices.words.get(own, {}).items()}
    value = words.get(fold(cell), cell)
    match shop.prices.features[own]:
        case "word":
            return FeatureValue(own, value)
        case "yes-no":
            truth = TRUTHS.get(fold(value))
            if truth is None:
                raise FileError(f"--with {shown(text)} is neither yes nor no; write yes or no")
            return FeatureValue(own, truth)
    try:
        number = float(value.replace(",", "."))
    except ValueError as why:
        raise FileError(f"--with {shown(text)} is no number; write for instance 2 or 2.5") from why
    lowest = shop.prices.lowest.get(own, 0)
    if not lowest <= number < math.inf:
        raise FileError(f"--with {shown(text)}: {own} is a number from {lowest} on; write for instance 2 or 2.5")
    return FeatureValue(own, number)
