"""shop.toml: the settings of one workshop."""

from __future__ import annotations

import codecs
import datetime as dt
from collections.abc import Iterator, Mapping
from contextlib import suppress
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Final, Literal, TypeVar, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema, model_validator
from pydantic.json_schema import SkipJsonSchema
from pydantic_core import PydanticCustomError

from kitvalue.intake.settings.toml import TomlFile, or_known
from kitvalue.intake.text.lexicon import MEANINGS
from kitvalue.intake.text.numbers import meanings
from kitvalue.intake.text.problems import FileError, Level, Problem, RefusedError, shown
from kitvalue.intake.text.vocabulary import (
    CARRIERS,
    CHANNELS,
    GRADES,
    OPTIONAL,
    PRICE_KINDS,
    REQUIRED,
    SOURCES,
    TRUTHS,
    VAT_SAID,
    grade,
)
from kitvalue.intake.text.words import fold, listed

_RESERVED: Final = frozenset(["log_pieces", "sold", "dealer", "auction", "years", "intercept", "row", "file", "hammer"])
_SCHEMES: Final = ("registered", "sell_on", "rebuild")
_WORDY: Final = ("condition", "price_kind", "channel", "currency", "bought_from", "vat", "freight_by")


def _encoding(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    name = shop.files.encoding or "utf-8"
    with suppress(LookupError, ValueError):
        if getattr(codecs.lookup(name), "_is_text_encoding", True):
            return
    message = f'{shown(name)} is no encoding; write "utf-8", "cp1252" or the like, or take the key out'
    yield toml.problem(("files", "encoding"), "encoding", message, name)


def _prices(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    least, most = shop.prices.least, shop.prices.most
    if least >= most:
        message = f"least ({least:f}) must be below most ({most:f}): rows with a price outside the two are refused"
        yield toml.problem(("prices", "least"), "range", message, f"{least:f}")


def _columns(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    known = (*REQUIRED, *OPTIONAL, *shop.prices.features)
    headers: dict[str, str] = {}
    for name, header in shop.prices.columns.items():
        where = ("prices", "columns", name)
        if name not in known:
            message = f"there is no column {shown(name)}; {or_known(name, known)}"
            if fold(header) in map(fold, known):
                message += " (write our name before the = and the file's header behind it)"
            yield toml.problem(where, "unknown_key", message, name)
        elif fold(header) in headers:
            message = f"{shown(header)} is already mapped to {headers[fold(header)]}; a header can be one column only"
            yield toml.problem(where, "mapped_twice", message, header)
        headers.setdefault(fold(header), name)


def _features(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    seen: set[str] = set()
    for name in shop.prices.features:
        where = ("prices", "features", name)
        if fold(name) in {*REQUIRED, *OPTIONAL, *_RESERVED}:
            message = f"{shown(name)} is already a name of the program's own; choose another, and map its header"
            yield toml.problem(where, "reserved_name", message, name)
        elif not name.strip() or "=" in name or fold(name) in seen:
            why = "stands twice" if fold(name) in seen else "is no usable name"
            yield toml.problem(where, "bad_name", f"{shown(name)} {why}; choose another", name)
        seen.add(fold(name))


def _words(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    known = (*_WORDY, *shop.prices.features)
    for column, words in shop.prices.words.items():
        table = ("prices", "words", column)
        if column not in known and words:  # an empty table may stay when its feature is taken out
            message = f"no words can be mapped for {shown(column)}; {or_known(column, known)}"
            yield toml.problem(table, "unknown_key", message, column)
            continue
        if shop.prices.features.get(column) == "number":
            message = f"{column} is a number, so no words can be mapped for it"
            yield toml.problem(table, "words_for_number", message, column)
        seen: dict[str, str] = {}
        for word, ours in words.items():
            where = (*table, word)
            if (why := _not_ours(shop, column, ours)) is not None:
                yield toml.problem(where, "unknown_word", f"{shown(ours)} {why}", ours)
            if seen.setdefault(fold(word), fold(ours)) != fold(ours):
                message = f"{shown(word)} is mapped twice, to different words; keep one"
                yield toml.problem(where, "mapped_twice", message, word)


def _jot(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    """Words of adverts: each stands for a meaning that is known, or for a value of a feature."""
    for word, meaning in shop.jot.words.items():
        where = ("jot", "words", word)
        name, sign, value = (part.strip() for part in meaning.partition("="))
        features = {fold(feature): feature for feature in shop.prices.features}
        if not word.strip():
            yield toml.problem(where, "blank", "a word is missing before the =", word)
        elif sign and fold(name) not in features:
            message = f"{shown(name)} is no feature of [prices.features]; {or_known(name, tuple(features.values()))}"
            yield toml.problem(where, "unknown_word", message, meaning)
        elif sign and (why := _not_ours(shop, features[fold(name)], value)) is not None:
            yield toml.problem(where, "unknown_word", f"{shown(value)} {why}", meaning)
        elif not sign and fold(meaning) not in MEANINGS:
            hint = or_known(meaning, MEANINGS)
            message = f'{shown(meaning)} is no meaning that is known; {hint}, or "feature=value"'
            yield toml.problem(where, "unknown_word", message, meaning)


def _not_ours(shop: Shop, column: str, ours: str) -> str | None:
    """Why a word cannot stand behind the = of a mapping."""
    kind = shop.prices.features.get(column, column)
    fits, why = {
        "condition": (grade(ours) is not None, f"is no grade; write 1 to 5 in halves, {listed(GRADES, last='or')}"),
        "price_kind": (fold(ours) in PRICE_KINDS, f"is no price kind; write {listed(PRICE_KINDS, last='or')}"),
        "channel": (fold(ours) in CHANNELS, f"is no channel; write {listed(CHANNELS, last='or')}"),
        "bought_from": (fold(ours) in SOURCES, f"is nobody to buy from; write {listed(SOURCES, last='or')}"),
        "vat": (fold(ours) in VAT_SAID, f"is nothing that an invoice says of VAT; write {listed(VAT_SAID, last='or')}"),
        "freight_by": (fold(ours) in CARRIERS, f"charges no freight; write {listed(CARRIERS, last='or')}"),
        "currency": (len(meanings(ours)) == 1, "is no currency; write its code, such as EUR"),
        "yes-no": (fold(ours) in TRUTHS, "is neither yes nor no; write one of them"),
    }.get(kind, (bool(ours.strip()), "is blank; write a word"))
    return None if fits else why


def _series(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    owners: dict[str, str] = {}
    for name, table in shop.series.items():
        for spelling in (name, *table.also):
            where = ("series", name, "also") if spelling != name else ("series", name)
            if not spelling.strip():
                yield toml.problem(where, "blank", "a series needs a name", spelling)
            elif owners.setdefault(fold(spelling), name) != name:
                message = f"{shown(spelling)} names two series, {owners[fold(spelling)]} and {name}; keep it at one"
                yield toml.problem(where, "series_twice", message, spelling)


def _tax(shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    tax, told = shop.tax, toml.values.get("tax", {})
    if tax is None:
        return
    beside = [key for key in _SCHEMES if key in told]
    if tax.route is not None and beside:
        message = f"route is the old word for {listed(_SCHEMES)}, of which {listed(beside)} is set; take route out"
        yield toml.problem(("tax", "route"), "route_beside", message, tax.route)
    if "rate" not in told and not tax.rates:
        yield toml.problem(("tax", "rate"), "missing_key", "rate is missing; add it under [tax]")
    days = [one.from_ for one in tax.rates]
    for at, day in enumerate(days):
        if day in days[:at]:
            message = f"two rates begin on {day}; keep one"
            yield toml.problem(("tax", "rates", at, "from"), "rate_twice", message, str(day))
    for place, one in tax.destinations.items():
        if one.kind == "union" and not tax.union:
            message = f"{place} lies inside the union, and the shop does not (union = false); set kind to export"
            yield toml.problem(("tax", "destinations", place, "kind"), "outside_union", message, one.kind)
        if one.kind == "union" and one.duty > 0:
            message = f"{place} lies inside the union, where there is no duty; set it to 0, or kind to export"
            yield toml.problem(("tax", "destinations", place, "duty"), "duty_in_union", message, str(one.duty))


def _a_number(value: object) -> object:
    """A number as TOML has it; a quoted one or a true is a slip, and is told."""
    if isinstance(value, bool) or not isinstance(value, Decimal | int):
        raise PydanticCustomError("number_type", "is no number")
    return value


def _a_text(value: object) -> object:
    if isinstance(value, str) and not value.strip():
        raise PydanticCustomError("blank", "is blank")
    return value


def _a_word(value: object) -> object:
    """A word of ours; a grade or a truth may stand without quotes."""
    return f"{value:f}" if isinstance(value, Decimal) else str(value).lower() if isinstance(value, int) else value


def _filled(value: object) -> object:
    """A mapping without the lines whose right side is still open: these say nothing yet."""
    lines = value.items() if isinstance(value, Mapping) else ()
    return {key: one for key, one in lines if not isinstance(one, str) or one.strip()} if lines else value


V = TypeVar("V")
Number = Annotated[Decimal, BeforeValidator(_a_number)]
Percent = Annotated[Number, Field(ge=0, lt=100)]
Money = Annotated[Number, Field(ge=0)]
Whole = Annotated[int, Field(strict=True)]
Truth = Annotated[bool, Field(strict=True)]
Text = Annotated[str, BeforeValidator(_a_text)]
Word = Annotated[str, BeforeValidator(_a_word)]
Filled = Annotated[dict[str, V], BeforeValidator(_filled)]
Part = Literal["original", "donor", "other"]
OldRoute = Literal["full", "margin", "none"]
Route = Literal["full", "margin", "none", "sales"]  # sales: a tax that the buyer pays on top of the price
Scheme = Literal["full", "margin"]
SizeOrder = Literal["diameter-depth", "depth-diameter"]
FeatureKind = Literal["number", "yes-no", "word"]


_FEATURES_SCHEMA: Final = {
    "type": "object",
    "additionalProperties": {
        "anyOf": [
            {"enum": list(get_args(FeatureKind))},
            {
                "type": "object",
                "properties": {"kind": {"const": "number"}, "min": {"type": "number"}},
                "required": ["kind"],
                "additionalProperties": False,
            },
        ]
    },
}


class Table(BaseModel):
    """A TOML table: unknown keys are errors, values never change after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class ShopTable(Table):
    name: Text
    currency: Annotated[str, Field(pattern=r"^[A-Z]{3}$")]  # ISO 4217
    size_order: SizeOrder = "diameter-depth"


class FilesTable(Table):
    decimal: Literal[",", "."] | None = None
    day_first: Truth | None = None
    delimiter: Literal[",", ";", "\t", "|"] | None = None
    encoding: str | None = None


class PricesTable(Table):
    haggle: Percent | None = None  # percent between asked and sold, while the book cannot tell
    columns: Filled[str] = {}  # our column = the header in the file; an open right side maps nothing, here and below
    words: dict[str, Filled[Word]] = {}  # column -> the file's word = our word
    features: Annotated[dict[str, FeatureKind], WithJsonSchema(_FEATURES_SCHEMA)] = {}
    lowest: SkipJsonSchema[dict[str, Number]] = {}  # what a number can be at least, from its `min`
    least: Annotated[Number, Field(gt=0)] = Decimal(1)  # what a price can be, in the shop's currency
    most: Annotated[Number, Field(gt=0)] = Decimal(1_000_000)

    @model_validator(mode="before")
    @classmethod
    def _kinds(cls, values: object) -> object:
        """Features that are tables with a `min` as their kind and, apart, the least that they can be."""
        features = values.get("features") if isinstance(values, dict) else None
        if not isinstance(values, dict) or not isinstance(features, dict) or "lowest" in values:
            return values
        tables = {n: t for n, t in features.items() if isinstance(t, dict) and t.keys() <= {"kind", "min"}}
        tables = {n: t for n, t in tables.items() if t.get("kind") == "number"}
        lowest = {name: table["min"] for name, table in tables.items() if "min" in table}
        return {**values, "features": features | dict.fromkeys(tables, "number"), "lowest": lowest}


class JotTable(Table):
    words: dict[str, str] = {}  # an advert's word = what it means, such as "VB" = "negotiable"


class SeriesTable(Table):
    part: Part = "other"
    also: tuple[str, ...] = ()


class Destination(Table):
    kind: Literal["export", "union"]
    vat: Percent
    duty: Percent = Decimal(0)
    freight: Money | None = None
    clearance: Money = Decimal(0)


class RateTable(Table):
    from_: Annotated[dt.date, Field(alias="from", strict=True)]
    rate: Percent


class ImportTable(Table):
    """A kit bought outside the union, where an offer has no terms of its own."""

    duty: Percent = Decimal(0)
    vat: Percent | None = None  # None: the shop's own rate
    clearance: Money = Decimal(0)


class TaxTable(Table):
    rate: Percent = Decimal(0)  # of today, once it is read
    rates: tuple[RateTable, ...] = ()
    registered: Truth = True  # False: an exempt business, which charges no VAT and deducts none
    kind: Literal["vat", "sales"] = "vat"  # sales: prices without tax, the buyer pays it on top
    sell_on: Scheme = "margin"  # kits sold as they are or restored, drums and parts
    rebuild: Scheme = "full"  # a kit built of several
    union: Truth = True  # does the shop lie in the union?
    union_sales: Literal["destination", "home"] = "destination"
    import_: Annotated[ImportTable, Field(alias="import")] = ImportTable()
    destinations: dict[str, Destination] = {}
    route: OldRoute | None = None  # the old word for registered, sell_on and rebuild

    @model_validator(mode="before")
    @classmethod
    def _old_route(cls, values: object) -> object:
        """`route` where it stands alone: full and margin are both schemes, none is an exempt business."""
        if not isinstance(values, dict) or not values.keys().isdisjoint(_SCHEMES):
            return values
        match values.get("route"):
            case "none":
                return {**values, "registered": False}
            case "full" | "margin" as route:
                return {**values, "sell_on": route, "rebuild": route}
        return values

    @property
    def deducts(self) -> bool:
        """Does the business deduct the VAT that it pays on what it buys?"""
        return self.registered and self.kind == "vat"

    def rate_on(self, day: dt.date) -> Decimal:
        """Percent of VAT that a sale of this day bears (Directive 2006/112/EC art. 93). Raises RefusedError where none
        is set for so early a day.
        """
        begun = [(one.from_, one.rate) for one in self.rates if one.from_ <= day]
        if self.rates and not begun:
            raise RefusedError(f"shop.toml has no rate of VAT for {day}: add rate under [tax], that of earlier days")
        return max(begun)[1] if begun else self.rate

    def on(self, today: dt.date) -> TaxTable:
        """The table with the rate of a day; a `rate` beside `rates` is that of the days before them."""
        earlier = [{"from": dt.date.min, "rate": self.rate}] if "rate" in self.model_fields_set else []
        rates = (*map(RateTable.model_validate, earlier), *self.rates)
        dated = self.model_copy(update={"rates": rates})
        return dated.model_copy(update={"rate": dated.rate_on(today)})


class WorkTable(Table):
    rate: Money  # net, per hour
    contingency: Percent = Decimal(0)  # percent of labour
    prepare: Money | None = None  # hours to make a bought kit ready for selling on as it is
    part_out: Money | None = None  # hours to take a kit apart and sell it in parts
    hours: dict[str, Money] = {}  # hours for one unit of each operation
    grade: dict[str, Money] = {}  # more hours a drum for each grade under what a plan expects of its donor, by job


class PromiseTable(Table):
    guarantee: Text | None = None  # as a customer reads it, in the language that the table is called after
    returns: Text | None = None


class SellingTable(Table):
    fee: Percent  # of the gross price
    margin: Percent  # of net revenue, to be left as profit
    loss_chance: Percent = Decimal(10)
    step: Annotated[Number, Field(gt=0)] = Decimal(1)
    freight: Money  # outward, gross, charged to the buyer
    months_to_sell: Money | None = None  # from buying a kit to selling it
    holding: Money | None = None  # what keeping one kit for a month costs, net
    capital: Percent = Decimal(0)  # a year, on what is paid for kits until they are sold
    reserve: Percent = Decimal(0)  # of the gross price, set aside for returns and guarantee
    fee_fixed: Money = Decimal(0)  # a sale, beside the fee in percent


class BuyingTable(Table):
    budget: Money | None = None  # for donors and new shells in all
    kits: Annotated[Whole, Field(ge=1)] | None = None  # donors for one build
    bench_hours: Money | None = None  # of the shop's own, for all that is bought
    bid_step: Annotated[Number, Field(gt=0)] = Decimal(5)  # money to bid is rounded down to it
    worth_a_call: Percent = Decimal(50)  # percent of what is asked that the most to pay must reach
    freight: Money | None = None  # counted for an offer that does not say its own
    worst: Annotated[Number, Field(ge=1, le=5)] = Decimal(2)  # the grade below which no kit is taken as a donor


class Shop(Table):
    """Every setting of a shop. Tables that only some commands need are None when the file lacks them."""

    shop: ShopTable
    files: FilesTable = FilesTable()
    prices: PricesTable = PricesTable()
    jot: JotTable = JotTable()
    series: dict[str, SeriesTable] = {}
    tax: TaxTable | None = None
    work: WorkTable | None = None
    selling: SellingTable | None = None
    promise: dict[str, PromiseTable] = {}  # a language's code, such as "en" -> what the customer's sheet promises
    buying: BuyingTable = BuyingTable()


def old_route(tax: TaxTable | None) -> str | None:
    """What to write in place of `route`, the old word; None where it does not stand in [tax]."""
    if tax is None or tax.route is None:
        return None
    lines = "registered = false" if tax.route == "none" else f'sell_on = "{tax.route}" and rebuild = "{tax.route}"'
    return f'route = "{tax.route}" under [tax] is the old word: write {lines} in its place'


def shop_warnings(shop: Shop) -> tuple[Problem, ...]:
    """What is read and yet worth a word."""
    old = old_route(shop.tax)
    route = None if shop.tax is None else shop.tax.route
    return () if old is None else (Problem("shop.toml", None, "tax.route", route, "old_route", Level.WARNING, old),)


def read_shop(folder: Path, today: dt.date = dt.date.max) -> Shop:
    """The settings in `folder`/shop.toml, `tax.rate` as it is `today`. Raises FileError with every problem of it."""
    if not folder.is_dir():
        what = "is not a folder" if folder.exists() else "there is no such folder"
        raise FileError(f"{shown(str(folder))}: {what}")
    path = folder / "shop.toml"
    if not path.exists():
        raise FileError(f"there is no shop.toml in {shown(str(folder))}; `kitvalue new FOLDER` lays out a shop folder")
    toml = TomlFile(path, "shop.toml")
    checks = (_encoding, _prices, _columns, _features, _words, _jot, _series, _tax)
    shop = toml.checked(Shop, toml.values, lambda shop: [problem for check in checks for problem in check(shop, toml)])
    if shop.tax is None or not shop.tax.rates:
        return shop
    return shop.model_copy(update={"tax": shop.tax.on(today)})
