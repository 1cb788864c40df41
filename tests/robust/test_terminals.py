"""Whatever the terminal and the machine lack, every command answers as it should, and says nothing that is not ours."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from kitvalue.cli.main import main
from tests.robust.processes import LINES, VALUE, environment, files_in, thorough_but, words_of
from tests.shops import run, sample_shop


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sample_shop(tmp_path_factory.mktemp("terminals"))


def test_every_command_is_tried_here() -> None:
    assert set(LINES) == set(main.commands)


SIGNS = [(n, c) for n in LINES for c in ("cp1252", "cp850", "ascii") if c == "cp1252" or n not in ("fit", "report")]


@pytest.mark.parametrize(
    ("name", "charset"),
    thorough_but(lambda pair: pair[0] not in ("fit", "report") and pair[1] == "cp1252", SIGNS),
)
def test_a_terminal_of_few_signs(name: str, charset: str, shop: Path, tmp_path: Path) -> None:
    words = ["--shop", str(shop), *words_of(LINES[name], tmp_path / "new")]
    plain = CliRunner().invoke(main, words, catch_exceptions=False)
    poor = CliRunner(charset=charset).invoke(
        main, [*words[:2], *words_of(LINES[name], tmp_path / "new2")], catch_exceptions=False
    )
    assert poor.exit_code == plain.exit_code == 0
    assert poor.stdout.replace("new2", "new") == plain.stdout.encode(charset, "replace").decode(charset)
    rich = CliRunner().invoke(
        main, [*words[:2], *words_of(LINES[name], tmp_path / "new3"), "--json"], catch_exceptions=False
    )
    data = CliRunner(charset=charset).invoke(
        main, [*words[:2], *words_of(LINES[name], tmp_path / "new4"), "--json"], catch_exceptions=False
    )
    assert json.loads(data.stdout.replace("new4", "new3")) == json.loads(rich.stdout)  # no sign is lost


@pytest.mark.parametrize("name", thorough_but({"new", "value", "report", "card"}.__contains__, LINES))
def test_the_worst_machine_gives_the_same_answers_and_files(name: str, tmp_path: Path) -> None:
    """No locale, no display, no home, no place for a cache, a back end that does not exist, 60 columns, no colour."""
    worst = environment(
        LC_ALL="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0", PYTHONIOENCODING="ascii", MPLBACKEND="nonsense",
        HOME="/dev/null/none", MPLCONFIGDIR="/dev/null/none", COLUMNS="60", NO_COLOR="1", TERM="dumb",
    )  # fmt: skip
    worst.pop("DISPLAY", None)
    shop = sample_shop(tmp_path)
    words = words_of(LINES[name], tmp_path / "new")
    usual = run(shop, *words)
    if name == "new":
        (tmp_path / "new").rename(tmp_path / "first")
    ran = subprocess.run(
        [sys.executable, "-m", "kitvalue", "--shop", str(shop), *words],
        capture_output=True, env=worst, stdin=subprocess.DEVNULL, check=False,
    )  # fmt: skip
    assert ran.returncode == usual.status, ran.stderr
    assert ran.stdout.decode("ascii") == usual.out.encode("ascii", "replace").decode()
    assert ran.stderr.decode("ascii") == usual.err.encode("ascii", "replace").decode()
    if name == "new":
        assert files_in(tmp_path / "new") == files_in(tmp_path / "first")
    for path in (path for path in (shop / "out").iterdir() if path.is_file()):
        path.read_text(encoding="utf-8")


@pytest.mark.skipif(os.name != "posix", reason="pipes as POSIX has them")
@pytest.mark.parametrize("name", thorough_but({"help", "value", "fit", "sheet"}.__contains__, ["help", *LINES]))
def test_a_reader_that_stops_early_ends_a_command_without_a_word(name: str, shop: Path, tmp_path: Path) -> None:
    read, write = os.pipe()
    os.close(read)
    line = ("--help",) if name == "help" else LINES[name]
    ran = subprocess.run(
        [sys.executable, "-m", "kitvalue", "--shop", str(shop), *words_of(line, tmp_path / "piped")],
        stdout=write, stderr=subprocess.PIPE, text=True, env=environment(), stdin=subprocess.DEVNULL, check=False,
    )  # fmt: skip
    os.close(write)
    assert ran.returncode == 141, (name, ran.stderr)
    assert "Traceback" not in ran.stderr
    assert "ignored" not in ran.stderr


@pytest.mark.skipif(os.name != "posix", reason="a shell that closes streams")
@pytest.mark.parametrize("closed", thorough_but("<&- >&- 2>&-".__eq__, ["<&-", ">&-", "2>&-", "<&- >&- 2>&-"]))
def test_closed_streams(closed: str, shop: Path) -> None:
    for words in (["cost", "seven-piece"], ["fit"], ["jot"]) if ">" in closed else (["value", *VALUE[1:]], ["jot"]):
        script = f'"$@" {closed}'
        ran = subprocess.run(
            ["sh", "-c", script, "sh", sys.executable, "-m", "kitvalue", "--shop", str(shop), *words],  # noqa: S607
            capture_output=True, text=True, env=environment(), stdin=subprocess.DEVNULL, check=False,
        )  # fmt: skip
        assert ran.returncode == (2 if words == ["jot"] else 0), ran.stderr  # jot has no advert to read
        assert "Traceback" not in ran.stderr
    assert isinstance(json.loads((shop / "out" / "fit.json").read_bytes()), dict)


MISTAKES = [
    ["vlaue"], ["value"], ["value", "--series"], ["value", "--nope"], [*VALUE, "--pieces", "many"],
    [*VALUE, "--pieces", "0"], [*VALUE, "extra"], ["cost"], ["fit", "--on", "2026-01-01"], ["card", "--plan"],
    [*VALUE, "--on", "03/04/2026"], ["price", "seven-piece", "--at", "dear"], ["source", "seven-piece", "--best", "99"],
    ["sheet", "seven-piece", "--lang", "xx"], ["value", "--shop", "elsewhere"], ["two\nlines"], ["--nope", "fit"],
]  # fmt: skip


@pytest.mark.parametrize("words", MISTAKES, ids=" ".join)
@pytest.mark.parametrize("first", [True, False], ids=["json first", "json last"])
def test_a_mistake_on_the_line_is_one_line_and_one_object(words: list[str], first: bool, shop: Path) -> None:
    line = ["--json", "--shop", str(shop), *words] if first else ["--shop", str(shop), *words, "--json"]
    ran = CliRunner().invoke(main, line, catch_exceptions=False)
    assert ran.exit_code == 2
    data = json.loads(ran.stdout)
    assert set(data) == {"error", "problems", "cautions", "caution_codes"}
    assert data["error"]
    assert len(ran.stderr.splitlines()) == 1
    assert (
        len(CliRunner().invoke(main, ["--shop", str(shop), *(w for w in words if w != "--json")]).stderr.splitlines())
        == 1
    )


def test_a_stop_that_falls_where_nothing_can_be_raised_is_not_lost(shop: Path) -> None:
    """A callback of the collector swallows it, as one of the import system may: the run ends all the same."""
    code = (
        "import signal, time, weakref\n"
        "from kitvalue.commands import cost as command\n"
        "from kitvalue.__main__ import run\n"
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "class Thing: pass\n"
        "def stop(_): raise KeyboardInterrupt\n"
        "old = command.cost\n"
        "def cost(*given):\n"
        "    thing = Thing()\n"
        "    watch = weakref.ref(thing, stop)\n"
        "    del thing\n"
        "    time.sleep(1)\n"  # the work that is left
        "    return old(*given)\n"
        "command.cost = cost\n"
        "run()\n"
    )
    ran = subprocess.run(
        [sys.executable, "-c", code, "--shop", str(shop), "cost", "seven-piece"], env=environment(),
        capture_output=True, check=False, text=True,
    )  # fmt: skip
    assert ran.returncode == 130, ran.stderr
    assert ran.stdout == ""
    assert len(ran.stderr.strip().splitlines()) == 1


def stopped_while_loading() -> ImportError:
    """What a compiled library makes of Ctrl-C."""
    error = ImportError("initialization failed")
    error.__cause__ = KeyboardInterrupt()
    return error


@pytest.mark.parametrize(
    ("raised", "status"),
    [
        (KeyboardInterrupt(), 130),
        (stopped_while_loading(), 130),
        (MemoryError(), 2),
        (PermissionError(13, "Permission denied", "shop"), 2),
    ],
)
def test_what_ends_a_run_is_one_line_and_one_object(
    raised: BaseException, status: int, shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def ends(*given: object, **named: object) -> None:
        raise raised

    monkeypatch.setattr("kitvalue.commands.cost.cost", ends)
    ran = run(shop, "cost", "seven-piece", "--json")
    assert ran.status == status
    assert set(ran.data) == {"error", "problems", "cautions", "caution_codes"}
    assert len(ran.err.strip().splitlines()) == 1


def test_a_fault_of_the_program_is_one_object_and_keeps_its_traceback(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def ends(*given: object, **named: object) -> None:
        raise ZeroDivisionError("planted")

    monkeypatch.setattr("kitvalue.commands.cost.cost", ends)
    ran = CliRunner().invoke(main, ["--shop", str(shop), "cost", "seven-piece", "--json"])
    assert isinstance(ran.exception, ZeroDivisionError)
    assert "planted" in json.loads(ran.stdout)["error"]


def test_json_before_the_command_and_behind_it_say_the_same(shop: Path) -> None:
    words = ["--shop", str(shop), "cost", "seven-piece"]
    first, last = (CliRunner().invoke(main, line) for line in (["--json", *words], [*words, "--json"]))
    assert first.stdout == last.stdout
    assert json.loads(first.stdout)["net_cost"] > 0
