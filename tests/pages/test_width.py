"""Every answer reads in a terminal 60, 80 and 120 columns wide; only a word that cannot be broken, such as a path, is
longer. On a terminal the verdict is bold."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from kitvalue.cli.main import main
from kitvalue.pages.words import width
from tests.robust.processes import ADVERT, VALUE
from tests.shops import run, sample_shop

SHOPS = {"starter": ("example",), "sample": ("seven-piece", "inishmore-restored")}
LINES = [
    "new another", "check", "check --rows", "fit", "fit --plain --no-pool", " ".join(VALUE),
    f"{' '.join(VALUE)} --finished wipe --since 2025-06-01 --range 95 --details", "cost PLAN --csv",
    "cost PLAN --details", "price PLAN", "price PLAN --at 900", "price PLAN --at 12345.67 --details", "compare PLAN",
    "compare PLAN --against 4100 --pieces 5 --details", "shortlist", "shortlist --csv --plan PLAN",
    "source PLAN --best 3 --write PLAN-found", "done", "jot", "take FILE", "report", "card --plan PLAN", "sheet PLAN",
    "plan --jobs",
]  # fmt: skip


def too_wide(text: str, most: int) -> list[str]:
    """The lines that are wider than a terminal and could be broken, without those that are pasted into a file."""
    lines = [line for line in text.splitlines() if width(line) > most and len(line.split()) > 1]
    return [line for line in lines if not re.match(r" +(?:\w+ = \[|[^;, ]+[;,]\S)", line)]  # to paste into a file


def words_of(line: str, plan: str) -> list[str]:
    words = [word.replace("PLAN", plan).replace("FILE", "shop/prices.csv") for word in line.split()]
    return [words[0], ADVERT, *words[1:]] if words[0] == "jot" else words


@pytest.fixture(scope="module", params=SHOPS)
def shop(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A shop in the current folder, so that the paths in the answers are short."""
    place = tmp_path_factory.mktemp("width")
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(place)
        if request.param == "starter":
            assert run(".", "new", "shop").status == 0
        else:
            sample_shop(place)
        yield str(request.param)


def test_every_command_is_tried_here() -> None:
    assert {line.split()[0] for line in LINES} == set(main.commands)


def as_wide(columns: int, patch: pytest.MonkeyPatch) -> None:
    patch.setattr("kitvalue.cli.answers._columns", lambda: columns)


@pytest.mark.parametrize("columns", [60, 80, 120])
@pytest.mark.parametrize("line", LINES)
def test_an_answer_fits_the_terminal(line: str, columns: int, shop: str, monkeypatch: pytest.MonkeyPatch) -> None:
    if shop == "sample" and (columns > 60 or line == "report"):
        pytest.skip("it says no more than in the other shop, and takes seconds")
    as_wide(columns, monkeypatch)
    if line.startswith(("new", "source")):  # a name of its own: nothing is written over
        line += str(columns)
    for plan in SHOPS[shop] if "PLAN" in line else ("",):
        ran = run("shop", *words_of(line, plan))
        assert ran.status in (0, 1, 2) if line.startswith("source") else ran.status == 0, ran.err
        assert ran.out.strip()
        assert too_wide(ran.out, columns) == []


def test_answers_of_larger_money_fit_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Prices in hundreds of thousands, as in currencies of small units, and names as long as people give them."""
    monkeypatch.chdir(tmp_path)
    assert run(".", "new", "shop").status == 0
    book, offers, plan = (tmp_path / "shop" / name for name in ("prices.csv", "offers.csv", "builds/example.toml"))
    long = "Burren-Special-Edition-of-the-Anniversary"
    for path in (book, offers):
        lines = path.read_text(encoding="utf-8").replace("Burren", long).splitlines()
        at = lines[0].split(",").index("price")
        rows = [line.split(",") for line in lines[1:]]
        thousandfold = [",".join([*r[:at], f"{1000 * float(r[at]):.2f}", *r[at + 1 :]]) for r in rows]
        path.write_text("\n".join([lines[0], *thousandfold, ""]), encoding="utf-8")
    settings = tmp_path / "shop" / "shop.toml"
    lines = settings.read_text(encoding="utf-8").replace("Burren", long).replace("# most = 1_000_000", "most = 1e9")
    settings.write_text(lines, encoding="utf-8")
    text = plan.read_text(encoding="utf-8").replace("Burren", long)
    amounts = re.compile(r"^((?:price|freight|repair|value|spare) = )([\d.]+)", re.MULTILINE)
    plan.write_text(amounts.sub(lambda m: f"{m[1]}{1000 * float(m[2]):.2f}", text), encoding="utf-8")
    for line in LINES:
        if line.startswith(("fit", "cost", "price", "compare", "shortlist")):
            ran = run("shop", *words_of(line, "example"))
            assert ran.status == 0, ran.err
            assert too_wide(ran.out, 80) == [], line
    ran = run("shop", "value", "--series", long, "--pieces", "5", "--condition", "freshen")
    assert ran.status == 0, ran.err
    assert too_wide(ran.out, 80) == []


@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")
@pytest.mark.parametrize(("columns", "plain"), [("70", False), ("40", False), ("300", True)])
def test_a_terminal_is_asked_how_wide_it_is_and_shows_the_verdict_bold(
    columns: str, plain: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import pty

    shop = sample_shop(tmp_path)
    monkeypatch.setenv("COLUMNS", columns)
    monkeypatch.setenv("NO_COLOR", "1" if plain else "")
    said: list[bytes] = []

    def read(fd: int) -> bytes:
        said.append(os.read(fd, 4096))
        return said[-1]

    pty.spawn([sys.executable, "-m", "kitvalue", "--shop", str(shop), "price", "seven-piece"], read)
    told = b"".join(said).decode().replace("\r\n", "\n")
    first, _, rest = told.partition("\n\n")
    assert (first.startswith("\x1b[1m"), first.endswith("\x1b[0m")) == (not plain, not plain)
    assert "\x1b" not in rest
    least, most = {"70": (62, 70), "40": (52, 60), "300": (100, 120)}[columns]
    assert least < max(map(width, rest.splitlines())) <= most
