"""The kit that a command line asks about, read by the shop's own names and words."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from importlib import resources

from kitvalue.decisions.offered import shortlisted, wanted
from kitvalue.decisions.shortlist import OfferFound, ReckonedWith, reckoned_with
from kitvalue.intake.books.bookrows import FeatureRead
from kitvalue.intake.books.offers import Offer
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import grade_name, series_names, shop_grades
from kitvalue.intake.text.problems import FileError, KitvalueError, RefusedError, shown
from kitvalue.intake.text.tomltext import toml_key
from kitvalue.intake.text.vocabulary import GRADES, TRUTHS
from kitvalue.intake.text.words import fold, listed, nearest, trimmed
from kitvalue.market.encoding import FeatureValue, Kit
from kitvalue.market.fitted import Fit


@dataclass(frozen=True, slots=True)
class KitWanted:
    """A kit as the command line names it. `features` are `name=value` texts."""

    series: str
    pieces: int
    condition: str
    finished: str | None
    features: tuple[str, ...]
    on: date | None


@dataclass(frozen=True, slots=True)
class KitAsked:
    """The kit as read, the condition that it will be sold in, and what is to be said of how they were read."""

    kit: Kit
    finished: float | None
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class KnownNames:
    """The series of the book, and the features that it has a column for."""

    series: tuple[str, ...]
    features: tuple[str, ...]


def kit_asked(shop: Shop, known: KnownNames, wanted: KitWanted) -> KitAsked:
    """Read a wanted kit by a shop's words. Raises FileError for a word that cannot be read, RefusedError for a declared
    feature that the book has no column for.
    """
    features = tuple(_feature(shop, text) for text in wanted.features)
    names = [f.name for f in features]
    twice = next((n for n in names if names.count(n) > 1), None)
    if twice is not None:
        raise FileError(f"--with {twice} is given twice; give it once")
    _refuse_without_column(names, known.features)
    kit = Kit(
        series=series_asked(shop, known.series, wanted.series),
        pieces=float(wanted.pieces),
        condition=grade_asked(shop, wanted.condition, "--condition"),
        on=wanted.on,
        features=features,
    )
    finished = None if wanted.finished is None else grade_asked(shop, wanted.finished, "--finished")
    given = (("--condition", wanted.condition), ("--finished", wanted.finished or ""))
    said = [text for option, grade in given for text in _other_in_files(shop, option, grade)]
    return KitAsked(kit, finished, tuple(said))


def _other_in_files(shop: Shop, option: str, text: str) -> list[str]:
    """What a number on the command line is not: the grade that the shop's files mean by it."""
    grades = shop_grades(shop)
    ours, theirs = grades.asked(text), grades.find(text)
    if ours is None or theirs is None or ours == theirs:
        return []
    return [f"{option} {trimmed(text)} is our {grade_name(ours)}; in your files it stands for {grade_name(theirs)}"]


def _refuse_without_column(names: Sequence[str], known: Sequence[str]) -> None:
    for name in names:
        if name not in known:
            cure = f'add it, or map its header under [prices.columns]: {toml_key(name)} = "the header"'
            what = f"shop.toml declares {shown(name)} under [prices.features], but prices.csv has no such column"
            raise RefusedError(f"--with {shown(name)}: {what}; {cure}")


def series_asked(shop: Shop, known: Sequence[str], text: str) -> str:
    """The book's spelling of a series; the text itself where neither shop nor book has it."""
    listed_name = series_names(shop).find(text)
    return next((name for name in known if fold(name) == fold(listed_name or text)), listed_name or trimmed(text))


def grade_asked(shop: Shop, text: str, option: str) -> float:
    """A bench grade by our number or our word, else by a word of the shop's own that is none of ours: a number that
    shop.toml maps stays ours here, as the program's answers tell grades by our numbers.
    """
    found = shop_grades(shop).asked(text)
    if found is None:
        words = listed((*GRADES, *shop.prices.words.get("condition", {})))
        raise FileError(f"{option} {shown(text)} is no condition; write 1 to 5, a half such as 3.5, or one of {words}")
    return float(found)


def _feature(shop: Shop, text: str) -> FeatureValue:
    name, sign, value = (part.strip() for part in text.partition("="))
    declared = {fold(n): n for n in shop.prices.features}
    if not sign or not value:
        raise FileError(f"--with {shown(text)} is not name=value; write for instance --with hardware=yes")
    if fold(name) not in declared:
        near = nearest(name, declared.values())
        declare = f'declare it there, such as {toml_key(name)} = "yes-no", and give prices.csv the column'
        hint = f"did you mean {near}?" if near else f"shop.toml has {listed(declared.values()) or 'none'}; {declare}"
        raise FileError(f"--with {shown(text)}: no feature {shown(name)} in [prices.features]; {hint}")
    own = declared[fold(name)]
    words = {fold(word): ours for word, ours in shop.prices.words.get(own, {}).items()}
    return FeatureValue(own, _feature_value(shop.prices.features[own], words.get(fold(value), value), text))


def _feature_value(kind: str, value: str, text: str) -> float | bool | str:
    if kind == "word":
        return value
    if kind == "yes-no":
        truth = TRUTHS.get(fold(value))
        if truth is None:
            raise FileError(f"--with {shown(text)} is neither yes nor no; write yes or no")
        return truth
    try:
        return float(value.replace(",", "."))
    except ValueError as why:
        raise FileError(f"--with {shown(text)} is no number; write for instance 2 or 2.5") from why


@dataclass(frozen=True, slots=True)
class Asking:
    """A price asked, and what is done to the kit before it is sold: bench hours on top of `prepare`, and what is bought
    for it, net of the VAT that is deducted; None where nothing is said."""

    price: Decimal
    hours: Decimal | None = None
    parts: Decimal | None = None


@dataclass(frozen=True, slots=True, eq=False)
class AskedFor:
    """A price asked, judged: the kit sold on as it is, and where another grade was asked about in that one, too.

    `judged` is empty beside a `reason`; then the value alone says something. `loss_percent` is the shop's limit on the
    chance of a loss.
    """

    asking: Asking
    against_percent: float  # of the typical buy-in value
    judged: tuple[OfferFound, ...]
    loss_percent: float
    reckoned: ReckonedWith | None
    reason: str | None


def as_laid_out(shop: Shop) -> bool:
    """Do the hourly rate, the hours to prepare a kit and the margin all stand as in a new shop?"""
    text = (resources.files("kitvalue") / "starter" / "shop.toml").read_text(encoding="utf-8")
    new = tomllib.loads(text, parse_float=Decimal)
    if shop.work is None or shop.selling is None:
        return False
    ours = (shop.work.rate, shop.work.prepare, shop.selling.margin)
    return ours == (new["work"]["rate"], new["work"]["prepare"], new["selling"]["margin"])


def judge_asking(shop: Shop, fit: Fit, kit: Kit, finished: float, typical: float, asking: Asking) -> AskedFor:
    """Judge a price asked for a kit whose buy-in value is `typical`, as `shortlist` judges an offer that is sold on."""
    against = 100 * (float(asking.price) / typical - 1)
    loss = 0.0 if shop.selling is None else float(shop.selling.loss_chance)
    offers = [_offer(0, kit, finished, asking)]
    if finished != kit.condition:
        offers.insert(0, _offer(1, kit, kit.condition, Asking(asking.price)))
    try:
        found = {one.offer.row: one for one in shortlisted(wanted(shop, fit, None, None, kit.on), offers).found}
    except KitvalueError as error:
        return AskedFor(asking, against, (), loss, None, error.message)
    reason = next((one.reason for one in found.values() if one.reason is not None), None)
    judged = () if reason is not None else tuple(found[offer.row] for offer in offers)
    return AskedFor(asking, against, judged, loss, reckoned_with(shop, as_laid_out(shop)), reason)


def _offer(row: int, kit: Kit, sold_in: float, asking: Asking) -> Offer:
    return Offer(
        row=row, offer="", series=kit.series, pieces=int(kit.pieces), condition=_exact(kit.condition),
        price=asking.price, freight=None, sizes=(), bought_from="private", haggle=None, note=None,
        features=tuple(_feature_asking_price(f) for f in kit.features), finished=_exact(sold_in), hours=asking.hours,
        parts=asking.parts,
    )  # fmt: skip


def _feature_asking_price(f: FeatureValue) -> FeatureRead:
    return FeatureRead(f.name, f.value if isinstance(f.value, bool | str) else _exact(f.value))


def _exact(value: float) -> Decimal:
    return Decimal(str(value))
