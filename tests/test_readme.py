"""README.md, docs/ and the program stay in step: commands run, outputs are the program's, nothing is missing."""

from __future__ import annotations

import re
import shlex
from dataclasses import dataclass
from pathlib import Path

import pytest

from kitvalue.cli.main import main
from kitvalue.intake.settings.shop import Shop
from tests.shops import SAMPLE, run, sample_shop

ROOT = SAMPLE.parent
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
README = (ROOT / "README.md").read_text(encoding="utf-8")
TEST_COMMAND = 'python3 -m venv .venv && .venv/bin/pip install -q -e ".[test]" && .venv/bin/python -m pytest'
RUN_COMMAND = "python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/kitvalue --shop sample_data report"


@dataclass(frozen=True)
class Shown:
    """A command on a page and the output printed under it; an ellipsis stands for lines left out."""

    page: str
    command: str
    output: str


def sessions() -> list[Shown]:
    found = []
    for page in PAGES:
        for block in re.findall(r"```console\n(.*?)```", page.read_text(encoding="utf-8"), re.DOTALL):
            for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
                command, _, output = part.partition("\n")
                found.append(Shown(page.name, command.strip(), output))
    return found


def matches(shown: str, real: str) -> bool:
    """Each run of shown lines between ellipses stands in the real output, in this order."""
    at = 0
    for piece in re.split(r"^\s*\.\.\.\n?", shown, flags=re.MULTILINE):
        where = real.find(piece.strip("\n"), at)
        if where < 0:
            return False
        at = where + len(piece.strip("\n"))
    return True


@pytest.mark.parametrize("shown", sessions(), ids=lambda s: f"{s.page}: {s.command}")
def test_shown_output_is_the_programs(shown: Shown, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sample_shop(tmp_path).rename(tmp_path / "sample_data")
    monkeypatch.chdir(tmp_path)
    words = shlex.split(shown.command)
    assert words[:3] == ["kitvalue", "--shop", "sample_data"]
    ran = run("sample_data", *words[3:])
    assert ran.status == 0, ran.err
    assert matches(shown.output, ran.out), ran.out


def test_there_are_shown_outputs() -> None:
    pages = [shown.page for shown in sessions()]
    assert pages.count("README.md") >= 4
    assert pages.count("questions.md") >= 10


def test_every_command_and_option_is_told() -> None:
    for name, command in main.commands.items():
        assert re.search(rf"^\| `{name}\b", README, re.MULTILINE), f"README lacks the command {name}"
        for option in command.params:
            if option.param_type_name == "option" and option.name != "as_json":
                assert option.opts[0] in README, f"README lacks {name} {option.opts[0]}"


def test_no_command_is_told_that_does_not_exist() -> None:
    section = README.split("## Commands")[1].split("\n## ")[0]
    assert set(re.findall(r"^\| `(\w+)\b", section, re.MULTILINE)) == set(main.commands)
    for page in PAGES:
        for name in re.findall(r"kitvalue --shop \S+ (\w+)", page.read_text(encoding="utf-8")):
            assert name in main.commands, f"{page.name}: {name}"


def test_every_table_of_the_settings_is_told() -> None:
    for name in Shop.model_fields:
        assert f"[{name}]" in README or f"[{name}." in README, name


def test_the_two_commands_are_those_that_are_checked() -> None:
    assert README.count(RUN_COMMAND) == 1
    assert README.count(TEST_COMMAND) == 1
    assert TEST_COMMAND in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_links_and_pictures_exist() -> None:
    for page in PAGES:
        for target in re.findall(r"\]\(([^)#]+)(?:#[^)]*)?\)", page.read_text(encoding="utf-8")):
            if not target.startswith("http"):
                assert (page.parent / target).exists(), f"{page.name}: {target}"
