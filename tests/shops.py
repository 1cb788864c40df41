"""Shop folders for tests of the command line, and how to run it."""

from __future__ import annotations

import csv
import json
import shutil
import tempfile
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from kitvalue.cli.main import main

SAMPLE = Path(__file__).parent.parent / "sample_data"


@dataclass(frozen=True)
class Ran:
    """What one run left behind."""

    status: int
    out: str
    err: str

    @property
    def data(self) -> dict[str, Any]:
        found = json.loads(self.out)
        assert isinstance(found, dict)
        return found


def run(folder: Path | str, *args: str) -> Ran:
    """Run a command on a shop folder in this process. An exception that is not a user's error fails the test."""
    result = CliRunner().invoke(main, ["--shop", str(folder), *args], catch_exceptions=False, env={"KITVALUE_SHOP": ""})
    return Ran(result.exit_code, result.stdout, result.stderr)


def sample_shop(place: Path, *, fitted: bool = True) -> Path:
    """A copy of the sample shop without its output, but for the saved fit if `fitted`."""
    shop = place / "shop"
    shutil.copytree(SAMPLE, shop, ignore=shutil.ignore_patterns("out"))
    if fitted:
        (shop / "out").mkdir()
        (shop / "out" / "fit.json").write_bytes(sample_fit())
    return shop


@cache
def sample_fit() -> bytes:
    """The sample shop's saved fit, made once in each process of the tests."""
    with tempfile.TemporaryDirectory() as place:
        shop = sample_shop(Path(place), fitted=False)
        assert run(shop, "fit").status == 0
        return (shop / "out" / "fit.json").read_bytes()


def book_shop(place: Path, settings: str, columns: Iterable[str], rows: Iterable[Mapping[str, object]]) -> Path:
    """A shop with a price book of the given rows."""
    place.mkdir(exist_ok=True)
    head = '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n'
    (place / "shop.toml").write_text(head + settings, encoding="utf-8")
    with (place / "prices.csv").open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(columns))
        writer.writeheader()
        writer.writerows(rows)
    return place
