"""Files that are written for other programs: a cost sheet and a shortlist as CSV, a plan as TOML."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Any, Literal, cast

from pydantic import BaseModel

from kitvalue.decisions.shortlist import JudgedOffer, Shortlist
from kitvalue.intake.settings.plan import Plan
from kitvalue.intake.settings.plancells import Share
from kitvalue.intake.settings.shop import SizeOrder
from kitvalue.intake.tables.csvout import Cell, csv_text
from kitvalue.intake.text.sizes import Size, size_text
from kitvalue.intake.text.tomltext import toml_text
from kitvalue.intake.text.words import spelt_out
from kitvalue.pages.words import feature_words
from kitvalue.workshop.costing import CostSheet
from kitvalue.workshop.money import cents

COSTS = ("group", "what", "quantity", "unit", "unit_price", "net", "basis")
OFFERS = (
    "offer", "series", "pieces", "condition", "asked", "freight", "buy_in", "asked_against_percent", "rank",
    "expected_paid", "open_at", "stop_at", "best_use", "route", "ceiling", "safe_ceiling", "expected_profit",
    "chance_of_loss", "hours", "profit_per_hour", "reason", "price_kind", "premium", "features", "finished",
    "finished_hours", "finished_parts", "bought_from", "vat", "premium_vat", "freight_by", "duty", "import_vat",
    "clearance",
)  # fmt: skip
FINEST = Decimal("0.0001")
DEFAULT = "# default:"
ASK_VAT = '# vat = "included"  # or "margin", "exempt", as the seller\'s invoice says: ask, then take the first # away'


def cost_csv(sheet: CostSheet, decimal: Literal[",", "."] = ".") -> str:
    """The sheet's lines by its route, one row each; money is net, credits are below 0, an unknown amount is blank.

    With a decimal comma the cells are parted by semicolons, as spreadsheets of such countries expect; else by commas.
    """
    rows = (
        (line.group.value, line.what, line.quantity.quantize(FINEST).normalize(), line.unit,
         None if line.unit_price is None else line.unit_price.quantize(FINEST), _money(line.net), line.basis)
        for line in sheet.chosen.lines
    )  # fmt: skip
    return csv_text(COSTS, rows, ";" if decimal == "," else ",", decimal)


def shortlist_csv(s: Shortlist) -> str:
    """The offers in the shortlist's order; what cannot be told is blank."""
    return csv_text(OFFERS, map(_offer, s.offers))


def _offer(one: JudgedOffer) -> list[Cell]:
    offer, best = one.offer, one.best
    in_best: list[Cell] = [None] * 8
    if best is not None:
        in_best = [
            best.use, best.route, *map(_money, (best.ceiling, best.safe_ceiling, best.expected_profit)),
            _share(best.chance_of_loss), *map(_money, (best.hours, best.profit_per_hour)),
        ]  # fmt: skip
    return [
        offer.offer, offer.series, offer.pieces, offer.condition,
        *map(_money, (offer.price, offer.freight, one.buy_in, one.against_percent)), _share(one.rank),
        *map(_money, (one.expected_paid, one.open_at, one.stop_at)), *in_best, one.reason,
        offer.price_kind, offer.premium or None,
        feature_words(offer.features) or None, offer.finished, _money(offer.hours), offer.parts, offer.bought_from,
        offer.vat, offer.premium_vat, offer.freight_by, offer.duty, offer.import_vat, offer.clearance,
    ]  # fmt: skip


def _money(value: Decimal | float | None) -> Decimal | None:
    """To the cent; blank where it is not known."""
    return None if value is None else cents(value if isinstance(value, Decimal) else Decimal(repr(value)))


def _share(value: float | None) -> Decimal | None:
    return None if value is None else Decimal(f"{value:.4f}")


def plan_text(plan: Plan, remark: str, order: SizeOrder, assumed: Mapping[str, str] = MappingProxyType({})) -> str:
    """The plan as TOML that reads back as the same plan, a remark on top. Keys at their default are left out.

    `assumed` says why keys that nobody named are so, by their place such as `drum 2.positions`: these are written with
    a remark. Sizes stand in the shop's `order`; where nobody has told a trade donor's VAT yet, a remark stands in its
    place.
    """
    blocks = [f"# {spelt_out(remark)}", _keys(plan, order, assumed)]
    for name, field in type(plan).model_fields.items():
        value = getattr(plan, name)
        if isinstance(value, BaseModel) and (field.is_required() or value != field.default):
            blocks.append(f"[{field.alias or name}]\n{_keys(value, order, assumed, f'{name}.')}")
        elif isinstance(value, tuple):
            for at, one in enumerate(value, 1):
                lines = f"[[{name}]]\n{_keys(one, order, assumed, f'{name} {at}.')}"
                asked = name == "donor" and one.bought_from == "trade" and one.vat is None
                blocks.append(f"{lines}\n{ASK_VAT}" if asked else lines)
    return "\n\n".join(block for block in blocks if block) + "\n"


def changed_text(text: str, old: Plan, new: Plan, order: SizeOrder) -> str:
    """A plan's file with what differs between two plans: keys in their place, new blocks at the end. All else stays
    byte for byte; a remark that a value was a default goes with it."""
    import tomlkit

    document, added = tomlkit.parse(text), list[str]()
    for name in type(new).model_fields:
        before, after = getattr(old, name), getattr(new, name)
        if isinstance(after, BaseModel):
            _change(document[name] if before != after else None, before, after, order)
        elif isinstance(after, tuple):
            for at, one in enumerate(after):
                if at >= len(before):
                    added.append(f"[[{name}]]\n{_keys(one, order, {})}\n")
                elif one != before[at]:
                    _change(cast("Any", document[name])[at], before[at], one, order)
    end = "\r\n" if "\r\n" in text else "\n"
    told = tomlkit.dumps(document)
    blocks = "".join(f"\n{block}" for block in added).replace("\n", end)
    return f"{told}{'' if told.endswith(end) or not added else end}{blocks}"


def _change(table: Any, old: BaseModel, new: BaseModel, order: SizeOrder) -> None:  # noqa: ANN401 - tomlkit's own
    import tomlkit

    for name, field in type(new).model_fields.items():
        before, after, key = getattr(old, name), getattr(new, name), field.alias or name
        if before == after:
            continue
        if after in (None, ()):
            del table[key]
            continue
        item = tomlkit.parse(f"x = {_value(after, order)}")["x"]
        was = table.item(key) if key in table else None
        table[key] = item
        if was is not None and was.trivia.comment.startswith(DEFAULT):
            table.item(key).trivia.comment_ws = table.item(key).trivia.comment = ""


def _keys(table: BaseModel, order: SizeOrder, assumed: Mapping[str, str], place: str = "") -> str:
    lines = []
    for name, field in type(table).model_fields.items():
        value, why = getattr(table, name), assumed.get(f"{place}{name}")
        first = value[0] if isinstance(value, tuple) and value else value
        if (
            (place or name != "name")
            and not isinstance(first, BaseModel)
            and value not in (None, ())
            and (why is not None or value != field.get_default(call_default_factory=True))
        ):
            line = f"{field.alias or name} = {_value(value, order)}"
            lines.append(line if why is None else f"{line}  {DEFAULT} {why}")
    return "\n".join(lines)


def _value(value: object, order: SizeOrder) -> str:
    match value:
        case bool():
            return "true" if value else "false"
        case Decimal():
            return f"{value:f}"
        case int():
            return str(value)
        case Share():
            return f"{value}" if value.low == value.high else f"[{value.low:f}, {value.high:f}]"
        case (Size(), *_) as sizes:
            return toml_text(" ".join(size_text(one, order) for one in sizes if isinstance(one, Size)))
        case tuple():
            return f"[{', '.join(_value(one, order) for one in value)}]"
        case Size():
            return toml_text(size_text(value, order))
        case Share():
            return f"{value.low:f}" if value.low == value.high else f"[{value.low:f}, {value.high:f}]"
    return toml_text(str(value))
