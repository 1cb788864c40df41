"""offers.csv: donor kits that are on offer now; parts.csv: what single parts fetch, how surely and how soon."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path
from typing import Final, Literal

from kitvalue.intake.books.bookrows import FeatureRead, Rates, read_rates
from kitvalue.intake.books.specs import NO_PREMIUM, OFFERS, PARTS, feature_specs, price_refusal
from kitvalue.intake.settings.purchase import BoughtFrom, FreightBy, PremiumVat, VatSaid, purchase_refusals
from kitvalue.intake.settings.shop import Shop
from kitvalue.intake.settings.words import grade_name
from kitvalue.intake.tables.headers import WantedColumns
from kitvalue.intake.tables.specification import Columns, FileReading, read_rows, wanted
from kitvalue.intake.text.drums import DrumMeant, drum_meant
from kitvalue.intake.text.numbers import Amount, plain
from kitvalue.intake.text.problems import Level, Problem, shown
from kitvalue.intake.text.sizes import Diameters, Size, SizesCell
from kitvalue.intake.text.words import Refusal, fold, rows_phrase

OfferKind = Literal["asked", "hammer"]
NO_DEPTHS: Final = "no_depths"
_MONEY: Final = ("price", "freight", "clearance", "parts")  # in any currency of which a rate is known


@dataclass(frozen=True, slots=True)
class Offer:
    """One kit on offer: money in the shop's currency. `price` is None for a lot at an auction that has none yet."""

    row: int
    offer: str
    series: str
    pieces: int
    condition: Decimal
    price: Decimal | None
    freight: Decimal | None
    sizes: tuple[Size, ...]  # () where they are not known in full
    bought_from: BoughtFrom
    haggle: Decimal | Literal["fixed"] | None  # percent, "fixed" where the price is firm
    note: str | None
    features: tuple[FeatureRead, ...] = ()  # the declared ones that the file tells
    finished: Decimal | None = None  # the grade that it will be sold in; None: as it is
    hours: Decimal | None = None  # the bench's to restore it, on top of `prepare`
    parts: Decimal | None = None  # what is bought for that, net of the VAT that is deducted
    price_kind: OfferKind = "asked"
    premium: Decimal = Decimal(0)  # percent, on top of the price
    vat: VatSaid | None = None  # what the seller's invoice says
    premium_vat: PremiumVat | None = None
    freight_by: FreightBy = "carrier"  # who charges it
    duty: Decimal | None = None  # percent of an import, as is the next; None: [tax.import]
    import_vat: Decimal | None = None
    clearance: Decimal | None = None

    @property
    def with_premium(self) -> Decimal:
        """What the buyer pays for each unit of the price."""
        return 1 + self.premium / 100


def offer_columns(shop: Shop) -> WantedColumns:
    """The columns of offers.csv."""
    own = wanted(OFFERS)
    return WantedColumns(own.required, (*own.optional, *offer_features(shop)))


def offer_features(shop: Shop) -> tuple[str, ...]:
    """The declared features, but for those with the name of a column that offers.csv has of its own."""
    own = {fold(spec.name) for spec in OFFERS}
    return tuple(name for name in shop.prices.features if fold(name) not in own)


def read_offers(path: Path, shop: Shop, today: dt.date = dt.date.max) -> FileReading[Offer]:
    """Read the offers by a shop's settings. Every problem is in the result; a missing file is one of them."""
    rates, currency, names = (
        read_rates(path.parent / "rates.csv", shop, today),
        shop.shop.currency,
        offer_features(shop),
    )

    def across(columns: Columns) -> Iterator[Problem]:
        for at in range(len(columns.table)):
            yield from _sizes_problems(columns, at)
            finished, condition = columns.known("finished", at), columns.known("condition", at)
            if finished is not None and condition is not None and finished < condition:
                reason = f"is below the condition that it is bought in, {grade_name(condition)}"
                yield columns.problem("finished", at, "below_condition", reason)
            for name in _MONEY:
                amount = columns[name].known(at)
                if amount is not None and _rate(amount, currency, rates) is None:
                    cure = f"write the amount in {currency}, or give the rate of its currency in rates.csv"
                    yield columns.problem(name, at, "currency", f"is not in {currency}", cure)
                elif amount is not None and name == "price":
                    why = price_refusal(amount.value * (_rate(amount, currency, rates) or 1), shop)
                    yield from () if why is None else [columns["price"].problem(at, why)]
            told = {spec.name: columns.known(spec.name, at) for spec in OFFERS}
            yield from (columns[name].problem(at, why) for name, why in purchase_refusals(told, shop).items())
            yield from _premium_problems(columns, at)
        yield from _named_twice(columns)

    def offers(columns: Columns, rows: Sequence[int]) -> Iterator[Offer]:

        def money(name: str, at: int) -> Decimal | None:
            """An amount in the shop's currency, to the cent where it was turned into it."""
            amount: Amount | None = columns[name].known(at)
            rate = Decimal(1) if amount is None else _rate(amount, currency, rates) or Decimal(1)
            if amount is None or rate == 1:
                return None if amount is None else amount.value
            return (amount.value * rate).quantize(Decimal("0.01"), ROUND_HALF_UP)

        for at in rows:
            values = {spec.name: columns.known(spec.name, at) for spec in OFFERS}
            values |= {name: money(name, at) for name in _MONEY}
            sizes = _sizes_meant(columns, at)
            values["sizes"] = sizes if isinstance(sizes, tuple) else ()
            values["bought_from"] = values["bought_from"] or "private"
            values["freight_by"] = values["freight_by"] or "carrier"
            values["price_kind"] = values["price_kind"] or ("asked" if values["price"] is not None else "hammer")
            values["premium"] = values["premium"] or Decimal(0)
            features = {name: columns.known(name, at) for name in names}
            told = tuple(FeatureRead(name, value) for name, value in features.items() if value is not None)
            yield Offer(row=columns.table.row(at), features=told, **values)

    return read_rows(path, (*OFFERS, *feature_specs(shop, names)), shop, across, offers)


def _premium_problems(columns: Columns, at: int) -> Iterator[Problem]:
    """A hammer price without a premium is refused; a premium on a price that is asked is counted, and said."""
    kind, premium, price = (columns.known(name, at) for name in ("price_kind", "premium", "price"))
    if kind == "hammer" and columns["premium"].values[at] is None:
        yield columns.problem("premium", at, "no_premium", "is missing", NO_PREMIUM)
    elif kind != "hammer" and premium and price is not None:
        header, cell = columns["premium"].header, columns["premium"].cells[at]
        message = f"the premium of {plain(premium)} % comes on top of a price that counts as asked; write hammer "
        message += "under price_kind if it is a lot at an auction"
        yield columns.table.problem(at, header, cell, "premium_on_asked", message, Level.WARNING)


def _named_twice(columns: Columns) -> Iterator[Problem]:
    """Offers with one name: all of them are refused, since a command could not tell them apart."""
    where: dict[str, list[int]] = {}
    for at in range(len(columns.table)):
        where.setdefault(fold(columns.known("offer", at) or ""), []).append(at)
    for name, places in where.items():
        if name and len(places) > 1:
            rows = rows_phrase([columns.table.row(at) for at in places])
            for at in places:
                reason = f"names more than one offer ({rows})"
                yield columns.problem("offer", at, "offer_twice", reason, "give each a name of its own")


def _sizes_problems(columns: Columns, at: int) -> Iterator[Problem]:
    """Sizes that cannot be those of the kit, and a warning of diameters alone: the offer is used without them."""
    column, pieces = columns["sizes"], columns.known("pieces", at)
    meant = _sizes_meant(columns, at)
    if isinstance(meant, Refusal):
        yield column.problem(at, meant)
    elif isinstance(meant, Diameters):
        count, cell = len(meant.inches), column.cells[at]
        differs = "" if pieces is None or count == pieces else f", of {count} drums where pieces says {pieces}"
        message = f"{shown(cell)} gives diameters without depths{differs}, so the offer is judged neither as a donor "
        message += 'for a rebuild nor in parts; write diameter and depth of each drum, such as "22x16"'
        yield columns.table.problem(at, column.header, cell, NO_DEPTHS, message, Level.WARNING)
    elif meant and pieces is not None and len(meant) != pieces:
        reason = f"names {len(meant)} drums, and pieces says {pieces}"
        yield columns.problem("sizes", at, "sizes_count", reason, "correct one of the two")


def _sizes_meant(columns: Columns, at: int) -> tuple[Size, ...] | Diameters | Refusal:
    """What a cell of sizes says; () where it is blank, or refused by itself."""
    cell: SizesCell | None = columns["sizes"].known(at)
    return () if cell is None else cell.meant(columns.known("pieces", at))


def _rate(amount: Amount, own: str, rates: Rates) -> Decimal | None:
    """What one unit of an amount's currency is worth today: by the newest rate, since an offer stands now."""
    return rates.turning(amount.currencies, own, dt.date.max) if amount.currencies else Decimal(1)


@dataclass(frozen=True, slots=True)
class Part:
    """One kind of part."""

    row: int
    part: str
    value: Decimal  # gross, in the shop's currency
    chance: Decimal  # a fraction
    weeks: Decimal  # until it is sold
    drum: DrumMeant | None  # one that is no drum counts once for each kit

    def fits(self, size: Size) -> int:
        """How exactly it means a drum of this size (`DrumMeant.fits`); 0 where it is no drum."""
        return 0 if self.drum is None else self.drum.fits(size)


def part_for(size: Size, parts: Sequence[Part]) -> Part | None:
    """The part that means a drum most exactly, the first of these; None where none does."""
    best = max(parts, key=lambda part: part.fits(size), default=None)
    return best if best is not None and best.fits(size) else None


def read_parts(path: Path, shop: Shop) -> FileReading[Part]:
    """Read the parts by a shop's settings. Every problem is in the result; a missing file is one of them."""

    def parts(columns: Columns, rows: Sequence[int]) -> Iterator[Part]:
        known, whole = columns.known, 1 if _are_fractions(columns) else 100
        for at in rows:
            name, row, chance = known("part", at), columns.table.row(at), known("chance", at) / whole
            drum = drum_meant(name, shop.shop.size_order)
            yield Part(row, name, known("value", at), chance, known("weeks", at), drum)

    return read_rows(path, PARTS, shop, _across_parts, parts)


def _are_fractions(columns: Columns) -> bool:
    """Is every chance at most 1? Then percents cannot be meant."""
    known = [value.value for value in columns["chance"].values if isinstance(value, Amount)]
    return bool(known) and 0 < max(known) <= 1


def _across_parts(columns: Columns) -> Iterator[Problem]:
    table, names = columns.table, columns["part"]
    first: dict[str, int] = {}
    for at in range(len(table)):
        name, row = names.known(at), table.row(at)
        if name is not None and first.setdefault(fold(name), row) != row:
            message = f"{shown(name)} stands in row {first[fold(name)]} already; keep one of the two"
            yield table.problem(at, names.header, name, "part_twice", message)
    if _are_fractions(columns):
        message = "no chance is above 1, so they are read as fractions (0.8 is 80 %); write percent to be clear"
        yield table.warning(columns["chance"].header, None, "fractions", message)
        return
    for at in range(len(table)):
        if 0 < (columns.known("chance", at) or 0) < 1:
            yield columns.problem("chance", at, "fraction", "is below 1 where the other rows write percent")
