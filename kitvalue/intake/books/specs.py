"""The columns of the five tables, each said once: how its cells are read, what is allowed, what it means."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any, Final

from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.toml import or_known
from kitvalue.intake.settings.words import read_grade, series_names, shop_grades
from kitvalue.intake.tables.specification import Bounds, ColumnSpec
from kitvalue.intake.text.languages import word_lists
from kitvalue.intake.text.numbers import (
    Amount,
    Reading,
    TwoReadings,
    error_refusal,
    meanings,
    read_amount,
    read_number,
    read_percent,
    spreadsheet_error,
)
from kitvalue.intake.text.sizes import drums_listed, read_pieces, sizes_reader
from kitvalue.intake.text.tomltext import toml_heading, toml_key
from kitvalue.intake.text.vocabulary import (
    CARRIERS,
    CHANNELS,
    GRADES,
    PRICE_KINDS,
    SOURCES,
    TRUTHS,
    VAT_SAID,
    vocabulary,
)
from kitvalue.intake.text.words import (
    MOST_PIECES,
    Refusal,
    fold,
    is_dash,
    listed,
    not_known,
    says_not_known,
    trimmed,
    visible,
)

FeatureValue = Decimal | bool | str
HOURS: Final = "hours_"  # begins the column of an operation in done.csv
OFFER_KINDS: Final = ("asked", "hammer")
_FIXED: Final = ("fixed", "fix", "firm", "fest", "festpreis", "fp", "none")
_LONGEST: Final = 40  # characters
_CLOCK: Final = re.compile(r"(\d{1,4}):([0-5]\d)(?::00)?")  # 5:30, as spreadsheets show a duration


def _says_nothing(text: str) -> bool:
    return is_dash(text) or says_not_known(text)


def unless_nothing(read: Callable[[str], Any]) -> Callable[[str], Any]:
    """The reader of what may be left out: None where a cell that cannot be read says nothing, in whatever way."""
    return lambda text: None if isinstance(value := read(text), Refusal) and _says_nothing(text) else value


def read_sold_for(text: str) -> Reading | None:
    """The amount that a kit went for; None where the cell says that it is unsold, or that nothing is known of it."""
    says_unsold = len(text) < _LONGEST and " ".join(fold(text).split()) in word_lists("cells")["unsold"]
    return None if _says_nothing(text) or says_unsold else read_amount(text)


def read_hours(text: str) -> Reading:
    """Hours as a number, or as hours and minutes with a colon: 5:30 is 5.5."""
    clock = _CLOCK.fullmatch(visible(text))
    return read_number(text) if clock is None else Amount(Decimal(clock[1]) + Decimal(clock[2]) / 60)


def read_series(shop: Shop) -> Callable[[str], str | Refusal]:
    """The reader of a series cell: a name of the shop's list, or any name where there is no list."""
    names = series_names(shop)

    def read(text: str) -> str | Refusal:
        if spreadsheet_error(text):
            return error_refusal(text)
        known = names.find(text)
        if known is None and says_not_known(text):
            return not_known("write the series' name, or one of your own for kits without a name")
        name = known if names.declared else trimmed(text)
        return name or Refusal("unknown_series", "is not in shop.toml's list of series", names.advice(text))

    return read


def read_shop_grade(shop: Shop) -> Callable[[str], Decimal | Refusal]:
    """The reader of a condition cell: a grade, one of our words or one of the shop's."""
    grades = shop_grades(shop)
    return lambda text: read_grade(text, grades)


def kind_reader(name: str, own: Sequence[str], shop: Shop) -> Callable[[str], str | Refusal | None]:
    """The reader of a cell that holds one of our words or one of the shop's for it. What says nothing is None."""
    mapped = shop.prices.words.get(name, {})
    known = vocabulary(own, {word: ours for word, ours in mapped.items() if fold(ours) in own})

    def read(text: str) -> str | Refusal | None:
        if spreadsheet_error(text):
            return error_refusal(text)
        word = known.find(text)
        return word if word is not None or _says_nothing(text) else known.refusal(text, name)

    return read


def _read_currency(shop: Shop) -> Callable[[str], tuple[str, ...] | Refusal | None]:
    """What a currency cell can stand for; the shop's own currency where that is among it. None for a dash."""
    own = shop.shop.currency
    mapped = {fold(word): code for word, code in shop.prices.words.get("currency", {}).items()}

    def read(text: str) -> tuple[str, ...] | Refusal | None:
        word = mapped.get(fold(text), text)
        codes = (own,) if fold(word) == fold(own) else meanings(word)
        if codes:
            return (own,) if own in codes else codes
        if is_dash(text):
            return None
        return Refusal("currency", "is no currency that is known", f"write its code, such as {own}")

    return read


def _read_haggle(shop: Shop) -> Callable[[str], Amount | str | Refusal]:
    def read(text: str) -> Amount | str | Refusal:
        if fold(text) in _FIXED:
            return "fixed"
        percent: Reading = read_percent(text)
        if isinstance(percent, TwoReadings):
            percent = percent.under(shop.files.decimal or ".")
        if isinstance(percent, Refusal):
            return Refusal(percent.code, "is no percentage")
        return PERCENT.refusal(percent.value) or percent

    return read


def plan_reader(plans: Sequence[str]) -> Callable[[str], str | Refusal]:
    """The reader of a plan's name; `plans` are those that there are."""
    known = {fold(name): name for name in plans}

    def read(text: str) -> str | Refusal:
        name = trimmed(text)
        plan = known.get(fold(name)) or known.get(fold(name.removesuffix(".toml")))
        if plan is not None:
            return plan
        names = listed(plans) if plans else "there are none"
        return Refusal("unknown_plan", "is no plan in builds/", or_known(name, plans, f"the plans: {names}"))

    return read


def feature_reader(name: str, kind: str, mapped: Mapping[str, str]) -> Callable[[str], FeatureValue | Refusal | None]:
    """The reader of a feature's cell, "yes-no" or "word". What says nothing is None; a dash does so for a word, while
    for yes or no it may say two things, and is refused.
    """
    words = {fold(word): ours for word, ours in mapped.items()}
    table = toml_heading("prices", "words", name)

    def truth(text: str) -> FeatureValue | Refusal | None:
        value = TRUTHS.get(fold(words.get(fold(text), text)))
        if value is not None or says_not_known(text):
            return value
        if spreadsheet_error(text):
            return error_refusal(text)
        if is_dash(text):
            cure = f"leave the cell blank if unknown, write no, or map the dash under {table}"
            return Refusal("unknown_word", "can be no or unknown", cure)
        return Refusal("unknown_word", "is neither yes nor no", f"write yes or no, or map the word under {table}")

    def word(text: str) -> FeatureValue | Refusal | None:
        if spreadsheet_error(text):
            return error_refusal(text)
        return words.get(fold(text)) or (None if _says_nothing(text) else trimmed(text))

    return truth if kind == "yes-no" else word


def feature_bounds(name: str, shop: Shop) -> Bounds:
    """The numbers that a feature can have: from 0 on, or from the `min` that shop.toml gives it."""
    lowest = shop.prices.lowest.get(name, Decimal(0))
    reason = f"is below {lowest:f}" if lowest else "is negative"
    cure = f'if it can be, write {toml_key(name)} = {{ kind = "number", min = -5 }} under [prices.features]'
    return Bounds(Refusal("negative", reason, cure), lowest=lowest)


def price_refusal(price: Decimal, shop: Shop) -> Refusal | None:
    """Why a price in the shop's currency is outside of what its prices can be; None where it is inside."""
    least, most = shop.prices.least, shop.prices.most
    if least <= price <= most:
        return None
    bounds, key = f"{least:,f} to {most:,f} {shop.shop.currency}", "least" if price < least else "most"
    return Refusal("price_range", f"is no price from {bounds}", f"correct it, or set {key} under [prices] in shop.toml")


def feature_specs(shop: Shop, names: Iterable[str]) -> tuple[ColumnSpec, ...]:
    """The columns of declared features."""

    def spec(name: str, kind: str) -> ColumnSpec:
        if kind != "number":
            read = feature_reader(name, kind, shop.prices.words.get(name, {}))
            return ColumnSpec(name, read, "write a word, or leave it blank")
        number = lambda text: None if says_not_known(text) else read_number(text)  # noqa: E731
        bounds = feature_bounds(name, shop)
        return ColumnSpec(name, number, "write a number, or leave it blank", "number", bounds=bounds)

    return tuple(spec(name, shop.prices.features[name]) for name in names)


_GRADES_SAID: Final = f"a bench grade: 1 to 5 in halves, {', '.join(GRADES)}, or a word that shop.toml maps"
_NO_CODE: Final = Refusal("currency", "is no currency code")
_MUST_BE_ABOVE_0: Final = Refusal("not_positive", "must be above 0")
ABOVE_0: Final = Bounds(_MUST_BE_ABOVE_0, zero=_MUST_BE_ABOVE_0)
FREIGHT_OR_PARTS: Final = Bounds(Refusal("negative", "is negative"))
PERCENT: Final = Bounds(Refusal("range", "is no percentage from 0 to below 100"), highest=100, below=True)
WORK: Final = Bounds(
    low=Refusal("negative", "is below 0"), highest=10_000, high=Refusal("range", "is no sensible number of hours")
)


def _a_price(cure: str) -> Bounds:
    return Bounds(Refusal("not_positive", "is negative", cure), zero=Refusal("not_positive", "is no price", cure))


def _kind(name: str, own: Sequence[str], description: str) -> ColumnSpec:
    return ColumnSpec(name, cure=f"write {listed(own, last='or')}", description=description,
                      by_shop=lambda shop: kind_reader(name, own, shop), schema={"enum": list(own)})  # fmt: skip


DATE: Final = ColumnSpec("date", kind="day")
NOTE: Final = ColumnSpec("note")
SERIES: Final = ColumnSpec("series", cure="write the series' name", by_shop=read_series, needed=True)
PIECES: Final = ColumnSpec(
    "pieces", read_pieces, "write the number of drums in digits, such as 4", needed=True,
    description="drums, no cymbals or stands",
    schema={"type": "integer", "minimum": 1, "maximum": MOST_PIECES})  # fmt: skip
CONDITION: Final = ColumnSpec(
    "condition", cure="write its grade", by_shop=read_shop_grade, needed=True, description=_GRADES_SAID)  # fmt: skip
PRICE: Final = ColumnSpec(
    "price", read_amount, "write one price, such as 480 or 480.50", "number", "money", needed=True,
    gives_sign="file", bounds=_a_price("a price must be above 0"))  # fmt: skip
FREIGHT: Final = ColumnSpec(
    "freight", read_amount, "write the amount, 0 if it is free, or leave it blank if unknown", "number", "money",
    bounds=FREIGHT_OR_PARTS, firm=True, description="blank is unknown, 0 is free")  # fmt: skip
NO_PREMIUM: Final = "a hammer price needs the auction's premium in percent, 0 if none"
PREMIUM: Final = ColumnSpec(
    "premium", read_percent, "write the auction's premium in percent, such as 20", "number", "percent", bounds=PERCENT,
    description="percent on a hammer price")  # fmt: skip
OWN_HOURS: Final = ColumnSpec(
    "hours", read_hours, "write hours as a number, such as 6.5, or leave it blank if nobody wrote them down", "number",
    "hours", bounds=WORK, gives_sign="file", takes_sign=True, schema={"type": "string"},
    description="of all work, such as 5.5 or 5:30; hours_OPERATION for one operation")  # fmt: skip

PRICES: Final = (
    DATE, SERIES, PIECES, CONDITION,
    replace(PRICE, unless="sold_for", description="what was asked or paid; blank only where sold_for is filled in"),
    ColumnSpec("sold_for", read_sold_for,
               "write the one amount that was paid, such as 480, or leave it blank if unsold or unknown", "number",
               "money", gives_sign="file", description="what it went for; blank if unsold or unknown",
               bounds=_a_price("a price must be above 0; leave the cell blank if the kit is unsold")),
    _kind("price_kind", PRICE_KINDS, "blank counts as asked"),
    _kind("channel", CHANNELS, "blank counts as private"),
    PREMIUM,
    ColumnSpec("currency", cure="write the currency's code, such as EUR", by_shop=_read_currency,
               description="ISO 4217; blank counts as the shop's"),
    FREIGHT,
    ColumnSpec("weight", read_number, "write a number above 0, or leave it blank for 1", "number", bounds=ABOVE_0,
               description="precision weight; blank counts as 1"),
    ColumnSpec("ref", lambda text: trimmed(text) if any(map(str.isalnum, text)) else None,  # a dash or "?" is none
               description="the listing's own number or address; of its rows only the latest counts"),
    ColumnSpec("sizes", drums_listed, "write sizes such as 22x16 16x16 13x11",
               description="the drums by their sizes: where pieces is blank, as many count"),
    NOTE,
)  # fmt: skip

RATES: Final = (
    replace(DATE, needed=True),
    ColumnSpec("currency", lambda text: codes[0] if len(codes := meanings(text)) == 1 else _NO_CODE,
               "write the currency's code, such as CHF", needed=True, description="ISO 4217"),
    ColumnSpec("rate", read_number, "write what one unit of the currency costs, such as 1.0850", "number",
               needed=True, gives_sign="file", bounds=ABOVE_0, description="what one unit of the currency costs"),
)  # fmt: skip

OFFERS: Final = (
    ColumnSpec("offer", trimmed, "write a name or number of your choice", needed=True, schema={"unique": True}),
    SERIES, PIECES, CONDITION,
    replace(PRICE, unless="premium", description="what is asked, or the hammer price of a lot at an auction; blank "
                                                 "only where premium is filled in"),
    _kind("price_kind", OFFER_KINDS, "blank counts as asked"),
    PREMIUM,
    replace(FREIGHT, gives_sign="columns"),
    ColumnSpec("sizes", cure='write sizes such as "22x16 16x16 13x11 12x10"',
               by_shop=lambda shop: sizes_reader(shop.shop.size_order),
               description='in the shop\'s order, such as "22x16 16x16 13x11 12x10"'),
    _kind("bought_from", SOURCES, "blank counts as private; union is another of its states"),
    _kind("vat", VAT_SAID, "what the invoice of a seller in the trade or the union says; blank is nothing"),
    _kind("premium_vat", ("included",), "included where the invoice for the premium shows VAT"),
    _kind("freight_by", CARRIERS, "who charges the freight; blank counts as carrier"),
    ColumnSpec("duty", read_percent, "write the duty of an import in percent, such as 3.7, or leave it blank", "number",
               "percent", bounds=PERCENT, description="percent of an import; blank is [tax.import]"),
    ColumnSpec("import_vat", read_percent, "write the import VAT in percent, such as 23, or leave it blank", "number",
               "percent", bounds=PERCENT, description="percent of an import; blank is [tax.import]"),
    ColumnSpec("clearance", read_amount, "write what the carrier charges at the border, or leave it blank", "number",
               "money", bounds=FREIGHT_OR_PARTS, firm=True, takes_sign=True,
               description="what the carrier charges an import at the border; blank is [tax.import]"),
    ColumnSpec("haggle", cure='write a percentage, such as 10, or "fixed"', by_shop=_read_haggle,
               description='percent, or "fixed"'),
    ColumnSpec("finished", by_shop=lambda shop: unless_nothing(read_shop_grade(shop)),
               cure="write the grade that it will be sold in, or leave it blank if it is sold as it is",
               description=f"{_GRADES_SAID}, that it will be sold in; blank is as it stands"),
    ColumnSpec("hours", unless_nothing(read_hours),
               "write the bench hours that restoring it takes, such as 6 or 5:30, or leave it blank", "number", "hours",
               bounds=WORK, takes_sign=True, schema={"type": "string"},
               description="of the bench to restore it, such as 6 or 5:30, on top of prepare"),
    ColumnSpec("parts", unless_nothing(read_amount),
               "write what heads and parts for it cost, such as 85, or leave it blank", "number", "money",
               bounds=FREIGHT_OR_PARTS, firm=True, takes_sign=True,
               description="what is bought to restore it, net of the VAT that is deducted"),
    NOTE,
)  # fmt: skip

PARTS: Final = (
    ColumnSpec("part", trimmed, "name the part", needed=True),
    ColumnSpec("value", read_amount, "write what one fetches, such as 45.00", "number", "money", needed=True,
               own_money=True, gives_sign="file", bounds=ABOVE_0, description="what the part fetches, gross"),
    ColumnSpec("chance", read_percent, "write how many of 100 are sold, such as 80", "number", "percent", needed=True,
               takes_sign=True, bounds=Bounds(Refusal("range", "is no percentage from 0 to 100"), highest=100),
               description="percent that it sells"),
    ColumnSpec("weeks", read_number, "write the weeks until it is sold, such as 6", "number", "weeks", needed=True,
               takes_sign=True, bounds=Bounds(Refusal("range", "is no sensible number of weeks"), highest=520),
               description="until it is sold"),
    NOTE,
)  # fmt: skip

DONE: Final = (
    ColumnSpec("plan", trimmed, "write the name of its plan", needed=True, description="a plan's name in builds/"),
    ColumnSpec("finished_on", kind="day", needed=True),
    OWN_HOURS,
    ColumnSpec("cost", read_amount, "write one amount, or leave it blank if unknown", "number", "money",
               own_money=True, gives_sign="file", takes_sign=True,
               bounds=Bounds(Refusal("not_positive", "must be 0 or more")),
               description="paid out, net, without the shop's own hours"),
    ColumnSpec("sold_on", kind="day"),
    ColumnSpec("sold_for", read_amount, "write what the kit was sold for", "number", "money", own_money=True,
               gives_sign="file", takes_sign=True, bounds=ABOVE_0, description="gross, without freight"),
    NOTE,
)  # fmt: skip
