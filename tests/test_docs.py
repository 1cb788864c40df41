"""The help texts and the pages under docs/ are complete, and what they show can be typed."""

from __future__ import annotations

import csv
import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import click
import pytest
from click.shell_completion import ShellComplete
from pydantic import BaseModel

from kitvalue.cli.main import main
from kitvalue.intake.settings import shop as shops
from kitvalue.intake.settings.shop import read_shop
from tests.commands.test_starter import untaught
from tests.shops import SAMPLE, run, sample_shop

ROOT = SAMPLE.parent
NEWCOMER = ROOT / "tests" / "newcomer" / "kits.csv"
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = sorted(main.commands)


def help_of(name: str, width: int) -> str:
    command: click.Command = main if name == "" else main.commands[name]
    parent = None if name == "" else click.Context(main, info_name="kitvalue", terminal_width=width)
    return command.get_help(click.Context(command, info_name=name or "kitvalue", parent=parent, terminal_width=width))


def examples(name: str) -> list[list[str]]:
    """The command lines under "Example:" or "Start with:", lines that end in a backslash joined."""
    text = re.split(r"(?:Example|Start with):\n", help_of(name, 80))[1].split("\n\n")[0]
    lines = re.sub(r"\\\n", " ", text).splitlines()
    return [shlex.split(line) for line in lines if line.strip()]


@pytest.mark.parametrize("name", ["", *COMMANDS])
def test_every_example_of_a_help_text_runs_on_the_first_shop(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    found = examples(name)
    assert found
    if name == "new":
        shutil.copy(NEWCOMER, "kits.csv")
    elif name:
        assert run(".", "new", "myshop").status == 0
    if name == "take":
        shutil.copy("myshop/prices.csv", "export.csv")
    for words in found:
        assert words[0] == "kitvalue"
        shop, rest = (words[2], words[3:]) if words[1] == "--shop" else (".", words[1:])
        ran = run(shop, *rest)
        assert ran.status == 0, ran.err
        assert ran.out.strip()


@pytest.mark.parametrize("name", COMMANDS)
def test_a_help_text_says_what_is_written_and_what_every_option_means(name: str) -> None:
    command = main.commands[name]
    text = help_of(name, 80)
    assert re.search(r"^  Writes? ", text, re.MULTILINE), "it says what is written"
    assert name == "new" or re.search(r"^  Reads  ", text, re.MULTILINE)
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help
            assert option.help.endswith("."), option.name


@pytest.mark.parametrize("name", ["", *COMMANDS])
@pytest.mark.parametrize("width", [60, 80])
def test_a_help_text_fits_a_narrow_terminal(name: str, width: int) -> None:
    assert [line for line in help_of(name, width).splitlines() if len(line) > width] == []


def test_no_summary_in_the_list_of_commands_is_cut() -> None:
    listed = help_of("", 80).split("Commands:\n")[1]
    assert "..." not in listed


def test_the_exit_statuses_are_told() -> None:
    told = help_of("", 80).split("Exit status:\n")[1].split("\n\n")[0]
    assert re.findall(r"^ +(\d) ", told, re.MULTILINE) == ["0", "1", "2"]


def offered(shop: Path | str, *words: str, begun: str = "") -> list[str]:
    """What a shell is offered for the word behind `words`."""
    shell = ShellComplete(main, {}, "kitvalue", "_KITVALUE_COMPLETE")
    return [item.value for item in shell.get_completions(["--shop", str(shop), *words], begun)]


def test_a_shell_is_offered_the_series_and_plans_of_the_shop(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    assert offered(shop, "value", "--series", begun="b") == ["Ballinfern", "Burren"]
    assert set(offered(shop, "value", "--series")) == set(read_shop(shop).series)
    for words in (["cost"], ["price"], ["compare"], ["source"], ["sheet"], ["card", "--plan"], ["shortlist", "--plan"]):
        assert offered(shop, *words) == ["inishmore-restored", "seven-piece"], words
    assert offered(shop, "cost", begun="s") == ["seven-piece"]


def test_a_shop_without_a_list_of_series_offers_those_of_its_fit(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path, fitted=False)
    settings = shop / "shop.toml"
    kept = re.sub(r"(?ms)^\[series\..*?(?=^\[(?!series))", "", settings.read_text(encoding="utf-8"))
    settings.write_text(kept, encoding="utf-8")
    assert offered(shop, "value", "--series") == []
    book = shop / "prices.csv"
    lines = book.read_bytes().splitlines(keepends=True)
    book.write_bytes(b"".join([lines[0], *(line for line in lines if b";Burren;" in line or b";Slane;" in line)]))
    assert run(shop, "fit").status == 0
    assert offered(shop, "value", "--series") == ["Burren", "Slane"]


@pytest.mark.parametrize("content", [None, b"", b"[series\n", b"series = 1\n", b"\xff\xfe", b"[series]\n"])
def test_what_cannot_be_read_offers_nothing(content: bytes | None, tmp_path: Path) -> None:
    if content is not None:
        (tmp_path / "shop.toml").write_bytes(content)
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "fit.json").write_text("[1]", encoding="utf-8")
    assert offered(tmp_path, "value", "--series") == []
    assert offered(tmp_path, "cost") == []
    assert offered(tmp_path / "nowhere", "cost") == []


def test_completion_loads_no_room_of_the_house() -> None:
    """A shell asks on every key: nothing heavy may be loaded for it."""
    code = (
        "import runpy, sys\n"
        "try:\n    runpy.run_module('kitvalue', run_name='__main__')\nexcept SystemExit:\n    pass\n"
        "heavy = {'numpy', 'pydantic', 'pandas', 'scipy', 'statsmodels', 'matplotlib', 'jinja2'}\n"
        "print(sorted(heavy & set(sys.modules)), file=sys.stderr)\n"
    )
    words = {"COMP_WORDS": "kitvalue --shop sample_data value --series In", "COMP_CWORD": "5"}
    ran = subprocess.run(
        [sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True,
        env={**os.environ, **words, "_KITVALUE_COMPLETE": "bash_complete", "_PYTHON__M_COMPLETE": "bash_complete"},
    )  # fmt: skip
    assert ran.stderr.splitlines()[-1] == "[]", ran.stderr


def remarks_that_are_settings(text: str) -> list[str]:
    """The lines of a TOML file that are settings behind a `# `."""
    return re.findall(r'(?m)^# ((?:[\w-]+|"[^"]+") = .+)$', text)


def without_mark(text: str, settings: list[str]) -> str:
    for setting in settings:
        text = text.replace(f"# {setting}\n", f"{setting}\n", 1)
    return text


@pytest.mark.parametrize("file", ["shop.toml", "builds/example.toml"])
def test_every_setting_behind_a_remark_is_valid(file: str, tmp_path: Path) -> None:
    shop = tmp_path / "myshop"
    assert run(".", "new", str(shop)).status == 0
    path = shop / file
    first = path.read_text(encoding="utf-8")
    settings = remarks_that_are_settings(first)
    assert settings
    for some in ([one] for one in settings):
        path.write_text(without_mark(first, some), encoding="utf-8")
        assert tomllib.loads(path.read_text(encoding="utf-8")) != tomllib.loads(first), some
        assert run(shop, "cost", "example").status == 0, some
    path.write_text(without_mark(first, settings), encoding="utf-8")
    assert run(shop, "cost", "example").status == 0


def test_a_wrong_setting_behind_a_remark_would_be_found(tmp_path: Path) -> None:
    shop = tmp_path / "myshop"
    assert run(".", "new", str(shop)).status == 0
    path = shop / "shop.toml"
    path.write_text(path.read_text(encoding="utf-8") + '\n# budged = "much"\n', encoding="utf-8")
    text = path.read_text(encoding="utf-8")
    assert remarks_that_are_settings(text)[-1] == 'budged = "much"'
    path.write_text(without_mark(text, remarks_that_are_settings(text)[-1:]), encoding="utf-8")
    assert run(shop, "cost", "example").status == 2


@pytest.mark.parametrize("table", [shops.BuyingTable, shops.JotTable], ids=lambda table: table.__name__)
def test_the_tables_that_may_stay_empty_are_taught_as_well(table: type[BaseModel]) -> None:
    assert untaught(table, (ROOT / "kitvalue" / "starter" / "shop.toml").read_text(encoding="utf-8")) == []


def newcomers_settings(shop: Path) -> None:
    """README's words written on the right of the lines that stand open in a new shop.toml; a guess must be the same."""
    section = README.split("## From your spreadsheet to the first decision")[1].split("\n## ")[0]
    (block,) = re.findall(r"```toml\n(.*?)```", section, re.DOTALL)
    path = shop / "shop.toml"
    text = path.read_text(encoding="utf-8")
    for word, ours in re.findall(r'^(".+?") = (".+?")$', block, re.MULTILINE):
        if f"\n{word} = {ours}  # " not in text:
            assert text.count(f'\n{word} = ""') == 1, f"{word} neither stands open nor is guessed so"
            text = text.replace(f'\n{word} = ""', f"\n{word} = {ours}")
    assert '= ""' not in text
    path.write_text(text, encoding="utf-8")


def test_a_newcomers_spreadsheet_comes_to_a_decision_by_readme(tmp_path: Path) -> None:
    """40 rows as a spreadsheet saves them: title line, semicolons, "€", Windows-1252, words and headers of its own."""
    shop = tmp_path / "myshop"
    ran = run(".", "new", str(shop), "--prices", str(NEWCOMER))
    assert ran.status == 0, ran.err
    assert "the 2 rows above its headers left blank" in ran.out
    newcomers_settings(shop)
    ran = run(shop, "check")
    assert "40 rows read, 36 used, 4 refused" in ran.out
    for cell in ('"Buren"', '"400-450 €"', "the cell is empty", '"4+2 Becken"'):
        assert cell in ran.err
    settings = (shop / "shop.toml").read_text(encoding="utf-8")
    (shop / "shop.toml").write_text(settings.replace("# also = [", "also = ["), encoding="utf-8")
    ran = run(shop, "check")
    assert "40 rows read, 37 used, 3 refused" in ran.out
    head = (shop / "offers.csv").read_text(encoding="utf-8-sig").strip().split(";")
    assert {"offer", "series", "pieces", "condition", "price", "finished", "hours", "parts", "hardware"} <= set(head)
    with (shop / "offers.csv").open("a", encoding="utf-8", newline="") as offers:
        rows = csv.DictWriter(offers, head, delimiter=";", lineterminator="\n")
        kit = {"offer": "A", "series": "Inishmore", "pieces": 5, "condition": "mittel", "price": "1.100,00 €"}
        rows.writerow({**kit, "finished": "gut", "hours": 6, "parts": 85, "hardware": "ja"})
        rows.writerow({"offer": "B", "series": "Burren", "pieces": 4, "condition": "mittel", "price": "380,00 €"})
    ran = run(shop, "shortlist", "--json")
    assert ran.status == 0, ran.err
    good, poor = ran.data["offers"]
    assert [good["offer"], poor["offer"]] == ["A", "B"]
    assert good["expected_profit"] > 0 > poor["expected_profit"]
    assert good["stop_at"] > 900
    kit = ("--series", "Inishmore", "--pieces", "5", "--condition", "mittel", "--with", "hardware=ja")
    work = ("--finished", "gut", "--hours", "6", "--parts", "85")
    ran = run(shop, "value", *kit, "--asked", "1100", *work, "--json")
    as_it_is, better = ran.data["asked"]["sold_in"]
    assert better["stop_at"] == good["stop_at"]
    assert as_it_is["stop_at"] > 0


def test_what_a_spreadsheet_calls_its_own_is_printed_to_paste(tmp_path: Path) -> None:
    """The way of a shop that stands already: headers first, then words, then what is left open."""
    shop = tmp_path / "myshop"
    assert run(".", "new", str(shop)).status == 0
    (shop / "prices.csv").write_bytes(NEWCOMER.read_bytes())
    assert "delete rows 1 to 2" in run(shop, "check").err or "is a title" in run(shop, "check").err
    (shop / "prices.csv").write_bytes(b"".join(NEWCOMER.read_bytes().splitlines(keepends=True)[2:]))
    headers = pasted(run(shop, "check").out, "[prices.columns]")
    assert 'series = "Serie"' in headers
    paste(shop, "[prices.columns]", headers)
    out = run(shop, "check").out
    words, kinds = (pasted(out, f"[prices.words.{column}]") for column in ("condition", "price_kind"))
    assert kinds == ['"Angebot" = "asked"  # 27 rows', '"VK" = ""  # 13 rows']
    assert words == [
        '"mittel" = ""  # 22 rows',
        '"gut" = ""  # 13 rows',
        '"schlecht" = ""  # 3 rows',
        '"sehr gut" = ""  # 1 row',
    ]
    paste(shop, "[prices.words.condition]", words)
    paste(shop, "[prices.words.price_kind]", kinds)
    out = run(shop, "check").out
    assert not pasted(out, "[prices.words.condition]")
    assert "Fill in shop.toml, lines " in out
    settings = (shop / "shop.toml").read_text(encoding="utf-8")
    (shop / "shop.toml").write_text(settings.replace('"mittel" = ""', '"mittel" = "mend"'), encoding="utf-8")
    assert run(shop, "check", "--json").data["files"][0]["used"] == 12  # "mittel" and "Angebot", all else right


def pasted(out: str, heading: str) -> list[str]:
    """The lines that `check` prints for one table."""
    for text in re.split(r"\n\n(?=Paste|Fill)", out):
        if re.match(rf"Paste into shop.toml under\s{re.escape(heading)}", text):
            return text.split(":\n\n", 1)[1].strip().split("\n")
    return []


def paste(shop: Path, heading: str, lines: list[str]) -> None:
    path = shop / "shop.toml"
    text = path.read_text(encoding="utf-8")
    assert text.count(f"\n{heading}\n") == 1
    path.write_text(text.replace(f"\n{heading}\n", "\n".join(["", heading, *lines, ""])), encoding="utf-8")
