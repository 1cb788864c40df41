"""The register of sales: VAT of each sale, what changes it later, and the sums of a period."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction

from tests.reckoning.exact import RefusedError, cents, inside

ZERO = Fraction(0)


@dataclass(frozen=True)
class Row:
    """A row of the register: a sale whole, or the difference that a return, reduction or correction makes.

    `column` is margin, full, union, export, none or sales; `rate` a ratio; `bought_for` the shares sold.
    """

    sale: str
    kind: str
    of: str
    day: date
    column: str
    rate: Fraction
    price: Fraction
    freight: Fraction
    bought_for: Fraction
    vat: Fraction
    country: str = ""
    scheme: str = "full"

    @property
    def selling_price(self) -> Fraction:
        """Everything that the buyer pays (312(1))."""
        return self.price + self.freight

    @property
    def margin(self) -> Fraction:
        """Selling price less the shares sold (315); below 0 on a loss."""
        return self.selling_price - self.bought_for

    @property
    def net(self) -> Fraction:
        """What is left of the selling price when its VAT is off, so that net and VAT add up to it."""
        return self.selling_price - self.vat


def vat_of_sale(column: str, rate: Fraction, selling_price: Fraction, bought_for: Fraction) -> Fraction:
    """VAT of one sale by itself, half up to the cent.

    Margin: k max(0, margin), a loss neither taxed nor set off (315; by item alone, not by totals of a period, 318).
    Full and union: the rate inside the gross. Export and exempt: none. A sales tax: on top of what is charged.
    """
    if column == "margin":
        return cents(inside(rate) * max(ZERO, selling_price - bought_for))
    if column in ("full", "union"):
        return cents(inside(rate) * selling_price)
    if column == "sales":
        return cents(rate * selling_price)
    return ZERO


def vat_of_own_use(cost: Fraction, rate: Fraction, deducted: Fraction) -> Fraction:
    """Own use is a sale under full VAT at cost where VAT was deducted (16 and 74, from memory); else none."""
    return cents(rate * cost) if deducted > 0 else ZERO


@dataclass
class Register:
    """The rows in the order written; nothing written is changed or reckoned anew."""

    rows: list[Row] = field(default_factory=list)

    def sell(
        self,
        sale: str,
        day: date,
        column: str,
        rate: Fraction,
        price: Fraction,
        freight: Fraction,
        shares: Sequence[Fraction] = (),
        country: str = "",
        scheme: str = "",
    ) -> Row:
        """A sale at its frozen column, rate and shares."""
        bought_for = sum(shares, ZERO)
        vat = vat_of_sale(column, rate, price + freight, bought_for)
        own = scheme or ("margin" if column == "margin" else "full")
        return self._write(Row(sale, "sale", "", day, column, rate, price, freight, bought_for, vat, country, own))

    def first(self, sale: str) -> Row:
        """The row of the sale itself."""
        for row in self.rows:
            if row.sale == sale and row.kind == "sale":
                return row
        raise RefusedError("no_such_sale")

    def so_far(self, sale: str) -> tuple[Fraction, Fraction, Fraction, Fraction]:
        """Price, freight, shares and VAT written for the sale so far, all its rows added."""
        rows = [row for row in self.rows if sale in (row.sale, row.of)]
        return (
            sum((row.price for row in rows), ZERO),
            sum((row.freight for row in rows), ZERO),
            sum((row.bought_for for row in rows), ZERO),
            sum((row.vat for row in rows), ZERO),
        )

    def change(
        self, name: str, kind: str, of: str, day: date, *, price: Fraction, freight: Fraction, bought_for: Fraction
    ) -> Row:
        """A row that brings a sale to new figures, in the period of its own day.

        Its VAT is that of the new margin less all VAT written for the sale so far, at the first sale's column and rate
        (90, from memory: the taxable amount is reduced accordingly).
        """
        first = self.first(of)
        old_price, old_freight, old_shares, old_vat = self.so_far(of)
        vat = vat_of_sale(first.column, first.rate, price + freight, bought_for) - old_vat
        return self._write(
            Row(
                name,
                kind,
                of,
                day,
                first.column,
                first.rate,
                price - old_price,
                freight - old_freight,
                bought_for - old_shares,
                vat,
                first.country,
                first.scheme,
            )
        )

    def give_back(self, name: str, of: str, day: date) -> Row:
        """A return: price and freight are refunded, the shares are the shop's again, and no VAT stays of the sale."""
        self._not_gone(of)
        return self.change(name, "return", of, day, price=ZERO, freight=ZERO, bought_for=ZERO)

    def reduce(self, name: str, of: str, day: date, by: Fraction) -> Row:
        """A reduction of the price; the goods stay with the buyer."""
        self._not_gone(of)
        price, freight, shares, _ = self.so_far(of)
        if by > price:
            raise RefusedError("reduced_below_nothing")
        return self.change(name, "reduction", of, day, price=price - by, freight=freight, bought_for=shares)

    def correct(
        self,
        name: str,
        of: str,
        day: date,
        *,
        price: Fraction | None = None,
        freight: Fraction | None = None,
        bought_for: Fraction | None = None,
    ) -> Row:
        """A correction of what was written wrongly; also that of a sale whose purchase is corrected, on that day."""
        self._not_gone(of)
        old_price, old_freight, old_shares, _ = self.so_far(of)
        return self.change(
            name,
            "correction",
            of,
            day,
            price=old_price if price is None else price,
            freight=old_freight if freight is None else freight,
            bought_for=old_shares if bought_for is None else bought_for,
        )

    def _not_gone(self, sale: str) -> None:
        if any(row.of == sale and row.kind == "return" for row in self.rows):
            raise RefusedError("already_returned")

    def _write(self, row: Row) -> Row:
        if any(known.sale == row.sale for known in self.rows):
            raise RefusedError("sale_named_twice")
        self.rows.append(row)
        return row


@dataclass(frozen=True)
class Period:
    """The sums of a period: full VAT and margin scheme apart (324), union by country and rate for the one-stop return.

    `vat_on_sales` is VAT on sales at home, not the sum owed: input VAT is not in it, nor what is owed in other
    countries.
    """

    margin_vat: Fraction
    full_vat: Fraction
    vat_on_sales: Fraction
    union_due: dict[tuple[str, Fraction], tuple[Fraction, Fraction]]


def quarter(year: int, number: int) -> tuple[date, date]:
    """First and last day of a calendar quarter (a tax period of three months, 252, from memory)."""
    start = date(year, 3 * number - 2, 1)
    following = date(year + number // 4, 3 * number % 12 + 1, 1)
    return start, date.fromordinal(following.toordinal() - 1)


def period(rows: Iterable[Row], start: date, end: date) -> Period:
    """The sums of the rows of these days, each by its own day. Rows are rounded one by one and then summed.

    Union sales at the home rate stand with full VAT. A country's rows stand under the rate of each; those to
    businesses, which bear none, are due nowhere.
    """
    inside_period = [row for row in rows if start <= row.day <= end]
    margin = sum((row.vat for row in inside_period if row.column == "margin"), ZERO)
    full = sum((row.vat for row in inside_period if row.column == "full"), ZERO)
    due: dict[tuple[str, Fraction], tuple[Fraction, Fraction]] = {}
    for row in inside_period:
        if row.column == "union" and row.rate:
            net, vat = due.get((row.country, row.rate), (ZERO, ZERO))
            due[row.country, row.rate] = (net + row.net, vat + row.vat)
    return Period(margin, full, margin + full, due)
