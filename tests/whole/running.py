"""Commands run in this process, with their output held against what every answer promises."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from hypothesis import Phase, settings

from tests.shops import Ran, run
from tests.whole.contract import answer_of
from tests.whole.made import MadeShop

# Reasons for which a question about a valid shop has no answer: exit status 1.
NO_ANSWER = re.compile(
    r"rows are too few|usable rows; a fit needs|cannot be told apart|asked prices only|no rows of|take the whole price"
    r"|nothing is known of it|follow a formula|no price can meet|needs .* rows|chooses drums by donor"
)
NO_FILE = re.compile(r"there is no (offers|done)\.csv")
NONE_TO_SOURCE = re.compile(r"every drum is new")


def examples(usual: int) -> settings:
    """So many shops in the suite; KITVALUE_SHOPS=50 takes fifty times as many. Failures are not shrunk: a shop takes a
    second, and its shape is printed."""
    wanted = usual * int(os.environ.get("KITVALUE_SHOPS", "1"))
    return settings(max_examples=wanted, database=None, phases=[Phase.explicit, Phase.generate])


@contextmanager
def laid_out(made: MadeShop) -> Iterator[Path]:
    """The shop in a folder of its own."""
    with tempfile.TemporaryDirectory(prefix="whole-") as place:
        yield made.write(Path(place) / "shop")


def answered(folder: Path, *args: str) -> Ran:
    """A command that answers, or says in one clear line why it cannot."""
    ran = run(folder, *args)
    said = ran.out + ran.err
    assert "Traceback" not in said, said
    assert not re.search(r"(?<![\w-])(nan|inf|NaN|Infinity|None)(?![\w-])", ran.out), ran.out
    if ran.status == 0:
        assert ran.out.strip(), args
        return ran
    if ran.status == 1:
        if args[0] == "source":  # an answer: the drums cannot be had, and why
            assert re.search(r"cannot be|cannot give|no offer|budget|at most|infeasible", ran.out), ran.out
        else:
            assert NO_ANSWER.search(ran.err), ran.err
    elif ran.status == 2:
        known = {"check": ".", "source": NONE_TO_SOURCE.pattern}.get(args[0], NO_FILE.pattern)
        assert re.search(known, ran.err) or NO_FILE.search(ran.err), (args, ran.err)
    else:
        raise AssertionError(f"exit status {ran.status} of {args}")
    return ran


def asked(folder: Path, *args: str) -> dict[str, Any] | None:
    """The answer as JSON, None where there is none."""
    ran = answered(folder, *args, "--json")
    found = answer_of(args[0], ran.out)
    assert ("error" in found) <= (ran.status != 0), found
    return None if "error" in found else found


def commands(made: MadeShop) -> tuple[tuple[str, ...], ...]:
    """Every command that reads a shop, with sensible arguments."""
    kit = ("--series", made.asked.name, "--pieces", "5", "--condition", "3")
    features = made.settings["prices"]["features"]
    given = {"hardware": "yes", "holes": "2", "finish": "oil"}
    said = [word for name in features for word in ("--with", f"{name}={given[name]}")]
    plans = tuple(made.plans)
    return (
        ("check",), ("check", "--rows"), ("fit",), ("fit", "--plain"), ("fit", "--no-pool"),
        ("fit", "--plain", "--no-pool"), ("fit",), ("value", *kit),
        ("value", *kit, *said, "--finished", "wipe", "--on", "2027-02-01", "--since", "2026-01-01", "--range", "60"),
        ("value", "--series", "Ballinfern", "--pieces", "8", "--condition", "1", "--unseen"),
        *((command, plan) for plan in plans for command in ("cost", "price", "compare", "source")),
        ("cost", plans[0], "--csv"), ("price", plans[0], "--at", "1234.56"), ("shortlist", "--csv"),
        ("shortlist", "--plan", plans[-1], "--on", "2026-12-24"), ("source", plans[0], "--best", "3"),
        ("done",), ("report",), ("sheet", plans[0]), ("sheet", plans[-1], "--hide-costs", "--lang", "de"), ("card",),
        ("card", "--plan", plans[0]),
    )  # fmt: skip


def books(folder: Path) -> Sequence[Path]:
    """Every file in out/."""
    return sorted(path for path in (folder / "out").rglob("*") if path.is_file())
