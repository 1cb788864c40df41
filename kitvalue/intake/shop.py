"""shop.toml: the settings of one workshop."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Literal, TypeVar

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from kitvalue.intake.problems import FileError, shown
from kitvalue.intake.settings import TomlFile
from kitvalue.intake.shopchecks import shop_problems


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
    if isinstance(value, bool):
        return "true" if value else "false"
    return f"{value:f}" if isinstance(value, Decimal) else str(value) if isinstance(value, int) else value


def _filled(value: object) -> object:
    """A mapping without the lines whose right side is still open: these say nothing yet."""
    if not isinstance(value, Mapping):
        return value
    return {key: one for key, one in value.items() if not isinstance(one, str) or one.strip()}


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
Route = Literal["full", "margin", "none"]
SizeOrder = Literal["diameter-depth", "depth-diameter"]
FeatureKind = Literal["number", "yes-no", "word"]


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
    features: dict[str, FeatureKind] = {}


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


class TaxTable(Table):
    rate: Percent
    route: Route = "full"
    destinations: dict[str, Destination] = {}


class WorkTable(Table):
    rate: Money  # net, per hour
    contingency: Percent = Decimal(0)  # percent of labour
    prepare: Money | None = None  # hours to make a bought kit ready for selling on as it is
    part_out: Money | None = None  # hours to take a kit apart and sell it in parts
    hours: dict[str, Money] = {}  # hours for one unit of each operation


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


class BuyingTable(Table):
    budget: Money | None = None  # for donors and new shells in all
    kits: Annotated[Whole, Field(ge=1)] | None = None  # donors for one build
    bench_hours: Money | None = None  # of the shop's own, for all that is bought


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


def read_shop(folder: Path) -> Shop:
    """The settings in `folder`/shop.toml. Raises FileError with every problem of the file."""
    if not folder.is_dir():
        what = "is not a folder" if folder.exists() else "there is no such folder"
        raise FileError(f"{shown(str(folder))}: {what}")
    path = folder / "shop.toml"
    if not path.exists():
        raise FileError(f"there is no shop.toml in {shown(str(folder))}; `kitvalue new FOLDER` lays out a shop folder")
    toml = TomlFile(path, "shop.toml")
    return toml.checked(Shop, toml.values, lambda shop: shop_problems(shop, toml))
