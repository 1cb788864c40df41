"""Job sheets: what a kind of work needs, as files that come with the program, or the shop's own in jobs/."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Final

from pydantic import Field

from kitvalue.intake.settings.plan import NEW, ROLES, DrumTable, LineTable, PartLine, WorkLine
from kitvalue.intake.settings.shop import Shop, Table, Text, Whole
from kitvalue.intake.settings.toml import TomlFile, or_known
from kitvalue.intake.text.problems import FileError, Problem, shown

OURS: Final = Path(__file__).parent.parent / "jobs"
CUT: Final = "cut"  # in `only` and `except`: the drums that are cut down
CUT_SNARE: Final = "cut snare"
SPECIAL: Final = (*ROLES, NEW, CUT, CUT_SNARE)


class JobLine(LineTable):
    times: Annotated[Whole, Field(ge=1)] | None = None  # with per = "each": how many each drum has


class JobWork(JobLine, WorkLine):
    """A line of work; its `hours` stand in where [work.hours] lacks its `operation`."""


class JobPart(JobLine, PartLine):
    """A line of parts."""


class Job(Table):
    """One kind of work. `name` is the file's name without its ending."""

    name: str
    title: Text
    work: tuple[JobWork, ...] = ()
    part: tuple[JobPart, ...] = ()


def job_names(folder: Path) -> tuple[str, ...]:
    """The job sheets that a shop can name: the program's, and its own, which go before."""
    return tuple(sorted({path.stem for place in (OURS, folder / "jobs") for path in place.glob("*.toml")}))


def read_job(name: str, folder: Path, shop: Shop) -> Job:
    """A job sheet by its name. Raises FileError where there is none, or with every problem of it."""
    names = job_names(folder)
    if name not in names:
        raise FileError(f"there is no job sheet {shown(name)}; {or_known(name, names)}")
    own = folder / "jobs" / f"{name}.toml"
    toml = TomlFile(own if own.is_file() else OURS / f"{name}.toml", f"jobs/{name}.toml")
    return toml.checked(Job, {**toml.values, "name": name}, lambda job: list(_problems(job, shop, toml)))


def _problems(job: Job, shop: Shop, toml: TomlFile) -> Iterator[Problem]:
    hours = {} if shop.work is None else shop.work.hours
    for at, line in enumerate(job.work):
        if line.operation is not None and line.hours is None and line.operation not in hours:
            hint = or_known(line.operation, hours, "add its hours there, or give hours in this line")
            message = f"{shown(line.operation)} is not in shop.toml's [work.hours]; {hint}"
            yield toml.problem(("work", at, "operation"), "unknown_operation", message, line.operation)
    lines: tuple[tuple[str, Sequence[JobLine]], ...] = (("work", job.work), ("part", job.part))
    for table, rows in lines:
        for at, one in enumerate(rows):
            for name in {*one.only, *one.except_} - {*SPECIAL}:
                message = f"{shown(name)} is nothing that every kit can have; {or_known(name, SPECIAL)}"
                yield toml.problem((table, at, "only"), "unknown_name", message, name)
            if one.times is not None and one.per != "each":
                message = f'times goes with per = "each" only, and this line counts per {one.per}; take it out'
                yield toml.problem((table, at, "times"), "times", message, str(one.times))


def in_plan(
    line: JobWork | JobPart, drums: Sequence[DrumTable], cut: Sequence[DrumTable], shop: Shop
) -> WorkLine | PartLine | None:
    """A job's line as a plan has it; None where it is for none of the drums. `cut` are those that are cut down."""
    told = {CUT: [drum.id for drum in cut], CUT_SNARE: [drum.id for drum in cut if drum.role == "snare"]}
    names = {
        key: tuple(one for name in getattr(line, key) for one in told.get(name, [name])) for key in ("only", "except_")
    }
    if line.only and not names["only"]:
        return None
    present = {word for drum in drums for word in (drum.role, drum.from_, drum.id)}
    names["except_"] = tuple(name for name in names["except_"] if name in present)
    values = {key: value for key, value in line if key != "times"} | names
    kind: type[WorkLine | PartLine] = WorkLine if isinstance(line, JobWork) else PartLine
    if isinstance(line, JobWork) and line.operation is not None:
        own = shop.work is not None and line.operation in shop.work.hours
        values |= {"hours": None} if own else {"operation": None}
    made = kind.model_construct(**values)
    meant = made.chosen(drums)
    if not meant:
        return None
    if line.times is None:
        return made
    return made.model_copy(update={"quantity": line.times * len(meant)})
