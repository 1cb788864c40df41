"""builds/NAME.toml: what is to be built, from what, and what the customer could buy instead."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator, Field
from pydantic_core import PydanticCustomError

from kitvalue.intake.plancases import plan_cautions, plan_problems
from kitvalue.intake.problems import FileError, Problem, shown
from kitvalue.intake.settings import TomlFile
from kitvalue.intake.shop import Money, Number, Percent, Route, Shop, Table, Text, Truth, Whole
from kitvalue.intake.vocabulary import grade
from kitvalue.intake.words import listed, nearest


def _a_grade(value: object) -> object:
    """A bench grade in halves, as a number or one of our words."""
    known = None if isinstance(value, bool) else grade(str(value))
    if known is None:
        raise PydanticCustomError("grade", "is no grade")
    return known


Grade = Annotated[Decimal, BeforeValidator(_a_grade), Field(ge=1, le=5)]
Role = Literal["bass", "floor", "rack", "snare"]
VatWord = Literal["included", "excluded"]
Per = Literal[
    "kit", "drum", "shell", "edge", "hoop", "head", "position", "rod", "claw",
    "hole", "m2_outside", "m2_inside", "sheet", "hour", "each",
]  # fmt: skip


class OriginalTable(Table):
    series: Text
    condition: Grade
    freight: Money
    premium: Percent = Decimal(0)
    repair: Money | None = None  # gross; required where its condition is below the finished one
    duty: Percent = Decimal(0)
    import_vat: Percent = Decimal(0)
    channel: Literal["private", "dealer", "auction"] = "private"


class FinishedTable(Table):
    series: Text
    share: Annotated[Number, Field(gt=0)] = Decimal(100)  # percent of that series' price
    condition: Grade


class DonorTable(Table):
    id: Text
    series: Text
    pieces: Annotated[Whole, Field(ge=1)]
    condition: Grade
    price: Money
    freight: Money | None = None  # None: unknown, and the sheet says so
    spare: Money | None = None  # what a drum of it left over is worth
    bought_from: Literal["private", "trade", "import"] = "private"
    vat: Literal["included", "margin"] | None = None  # a trade donor says which


class DrumTable(Table):
    role: Role
    size: str
    from_: Annotated[str, Field(alias="from")]  # a donor's id, or "new"
    positions: Annotated[Whole, Field(ge=1)]  # tension points per head
    id: str | None = None
    holes: Annotated[Whole, Field(ge=0)] = 0
    heads: Literal[1, 2] = 2
    price: Money | None = None  # of a new shell
    vat: VatWord | None = None


class LineTable(Table):
    """What [[work]] and [[part]] lines share."""

    what: Text
    per: Per
    only: tuple[str, ...] = ()  # roles, donor ids, "new", drum ids; all drums when absent
    except_: Annotated[tuple[str, ...], Field(alias="except")] = ()
    quantity: Annotated[Number, Field(gt=0)] | None = None  # for `each` and `hour`
    each: Money | None = None  # money for one unit
    vat: VatWord = "excluded"


class WorkLine(LineTable):
    operation: str | None = None  # a key of [work.hours]
    hours: Money | None = None  # hours for one unit


class PartLine(LineTable):
    sheet: str | None = None  # "1370x610", millimetres
    overlap: Money = Decimal(50)  # millimetres, one a joint
    clearance: Number = Decimal(6)  # at each edge; negative where veneer stands over
    turn: Truth = True  # may a strip lie across the sheet?


class SurplusTable(Table):
    what: Text
    from_: Annotated[str, Field(alias="from")]
    value: Money  # gross


class Plan(Table):
    """One build. `name` is the file's name without its ending."""

    name: str
    title: Text
    smallest: Annotated[Whole, Field(ge=1)] = 3
    route: Route | None = None
    original: OriginalTable
    finished: FinishedTable
    donor: tuple[DonorTable, ...] = ()
    drum: Annotated[tuple[DrumTable, ...], Field(min_length=1)]
    work: tuple[WorkLine, ...] = ()
    part: tuple[PartLine, ...] = ()
    surplus: tuple[SurplusTable, ...] = ()


def read_plan(name_or_path: str, folder: Path, shop: Shop) -> Plan:
    """A plan by its NAME (builds/NAME.toml in the shop folder, with or without the ending) or by a path.

    Raises FileError with every problem of the file, or with the names there are where it does not exist.
    """
    path = _plan_path(name_or_path, folder)
    file = f"builds/{path.name}" if path.parent == folder / "builds" else str(path)
    toml = TomlFile(path, file)
    if "name" in toml.values:
        message = "a plan has no key name: its file's name is its name; write title for what it is called"
        raise FileError(f"{file}: {message}", [toml.problem(("name",), "unknown_key", message, "name")])
    values = {**toml.values, "name": path.stem}
    return toml.checked(Plan, values, lambda plan: plan_problems(plan, shop, toml))


def plan_warnings(plan: Plan) -> tuple[Problem, ...]:
    """What is allowed in a plan and yet worth a word, such as a donor bought for what is sold off."""
    return tuple(plan_cautions(plan, f"builds/{plan.name}.toml"))


def plan_names(folder: Path) -> tuple[str, ...]:
    """The names of the plans in a shop folder, sorted."""
    builds = folder / "builds"
    return tuple(sorted(path.stem for path in builds.glob("*.toml"))) if builds.is_dir() else ()


def _plan_path(name: str, folder: Path) -> Path:
    ending = "" if name.endswith(".toml") else ".toml"
    named = [folder / "builds" / f"{name}{ending}"] if name and Path(name).name == name else []
    for path in (*named, Path(name), folder / name, Path(f"{name}.toml")):
        try:
            if path.name and path.is_file():
                return path
        except (OSError, ValueError):
            continue
    names = plan_names(folder)
    if not names:
        raise FileError(f"there is no plan {shown(name)}: {shown(str(folder / 'builds'))} holds no plans")
    likely = nearest(name.removesuffix(".toml"), names)
    hint = f"did you mean {likely}?" if likely else f"the plans are: {listed(names)}"
    raise FileError(f"there is no plan {shown(name)}; {hint}")
