"""Text that attacks: no sign of a file steers a terminal or hides in a table, no line to paste runs what a file says.

Common practice, no source, but for the apostrophe before formulas (CWE-1236) and signs that turn the reading order
(the Unicode Standard's annex 9, from memory).
"""

from __future__ import annotations

import ast
import json
import shlex
import shutil
import subprocess
from pathlib import Path

import pytest
from click.shell_completion import ShellComplete

from kitvalue.cli import answers
from kitvalue.cli.main import main
from tests.shops import book_shop, run, sample_shop
from tests.tooling import hostile

ODD = "Bur\x1b[31mren\u202e\x9b\x07\x7f\u2066"
RUNS = ("$(touch x)", "`touch x`", "; touch x #", "'; touch x; '", '"; touch x; "$(touch x)', "a b", "--help", "!x")
TAX = '[tax]\nrate = 23\nsell_on = "margin"\nrebuild = "margin"\n[selling]\nfee = 5\nmargin = 15\nfreight = 70\n'
BOOK = ("series", "pieces", "condition", "price", "price_kind", "note")


def rows(series: str) -> list[dict[str, object]]:
    return [
        {
            "series": (series, "Slane")[n % 2], "pieces": 4 + n % 3, "condition": 3 + n % 2, "price": 400 + 17 * n,
            "price_kind": "sold", "note": ODD,
        }
        for n in range(18)
    ]  # fmt: skip


def prints(text: str) -> bool:
    return all(line.isprintable() for line in text.split("\n"))


@pytest.mark.parametrize("seed", range(10))  # fuzz.py takes 1,500
def test_a_hostile_shop_and_a_command(tmp_path: Path, seed: int) -> None:
    outcome, faults = hostile.attempt(tmp_path / "work", seed)
    assert not faults, (outcome.args, outcome.err)


@pytest.mark.parametrize(
    "line",
    [
        ("check",), ("check", "--rows"), ("fit",), ("value", "--series", ODD, "--pieces", "5", "--condition", "3"),
        ("shortlist", "--csv"), ("jot", f"{ODD}, 22x16 16x16 13x9, 480 EUR, mend \x1b]0;x\x07", "--yes"), ("report",),
    ],
    ids=lambda line: line[0] + line[-1][:6],
)  # fmt: skip
@pytest.mark.parametrize("as_json", [False, True])
def test_signs_that_steer_a_terminal_are_spelt_out(tmp_path: Path, line: tuple[str, ...], as_json: bool) -> None:
    shop = book_shop(tmp_path / "shop", TAX, BOOK, rows(ODD))
    (shop / "offers.csv").write_text(f'offer,series,pieces,condition,price\n"{ODD}",{ODD},5,3,400\n', encoding="utf-8")
    book = len((shop / "prices.csv").read_bytes())
    ran = run(shop, *line, *(["--json"] if as_json else []))
    assert ran.status == 0, ran.err
    assert prints(ran.out), ran.out
    assert prints(ran.err), ran.err
    if as_json and line[0] in ("value", "fit", "shortlist"):
        assert json.dumps(ODD) in json.dumps(ran.data)  # nothing of it is lost to a program
    elif line[0] in ("value", "fit", "shortlist"):
        assert "Bur<U+001B>[31mren<U+202E>" in ran.out
    for path in (shop / "out").glob("*.csv"):
        assert prints(path.read_bytes().decode("utf-8-sig").replace("\r\n", "\n"))
    assert prints((shop / "prices.csv").read_bytes()[book:].decode().replace("\r\n", "\n"))


def test_answers_are_printed_in_one_place() -> None:
    """What else is printed are prompts of the program's own."""
    for path in Path(answers.__file__).parent.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) in ("click.echo", "print", "sys.stdout.write"):
                assert path.name == "answers.py" or all(isinstance(one, ast.Constant) for one in node.args)


def test_a_line_break_in_a_name_begins_no_line_of_an_answer(tmp_path: Path) -> None:
    shop = book_shop(tmp_path / "shop", "", BOOK, rows("Burren\nTake care: pay 900"))
    ran = run(shop, "fit")
    assert ran.status == 0
    assert not any(line.startswith("Take care: pay") for line in ran.out.split("\n"))


@pytest.mark.parametrize("name", RUNS)
def test_lines_to_paste_mean_what_they_say(tmp_path: Path, name: str) -> None:
    """Pasted into a shell whose kitvalue writes down its arguments: the name is one of them, and nothing else runs."""
    made = book_shop(tmp_path / "made", "", BOOK, rows(name))
    shop = tmp_path / f"shop {name.replace('/', '')}"
    ran = run(tmp_path, "new", str(shop), "--prices", str(made / "prices.csv"))
    assert ran.status == 0, ran.err
    place = tmp_path / "pasted"
    place.mkdir()
    lines = [m[1] for m in hostile.PASTED.finditer(ran.out)]
    assert len(lines) >= 3
    said = []
    for line in lines:
        shell = f'kitvalue() {{ printf "%s\\0" "$@"; }}\n{line}'
        done = subprocess.run(["/bin/sh", "-c", shell], cwd=place, capture_output=True, check=True)
        words = done.stdout.decode().split("\0")[:-1]
        assert words[:2] == ["--shop", str(shop)]
        said.append(words)
    assert not any(place.iterdir())
    assert any(words[2] == "value" and words[words.index("--series") + 1] == name for words in said)


def test_a_written_plan_is_named_for_the_shell(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    for name in ("$(touch x)", "-rf"):
        ran = run(shop, "source", "seven-piece", "--write", f"builds/{name}")
        assert ran.status == 0, ran.err
        line = next(line for line in ran.out.splitlines() if line.startswith("Now: "))
        words = shlex.split(line.removeprefix("Now: "))
        assert words[-1] == name
        assert run(shop, *words[1:], "--json").status in (0, 2)


def test_a_shell_is_offered_plain_names_only(tmp_path: Path) -> None:
    settings = "".join(f"[series.{json.dumps(name)}]\n" for name in ("Burren", "Slane 2", "$(touch x)", "a;b", "`x`"))
    shop = book_shop(tmp_path / "shop", settings, BOOK, rows("Burren"))
    (shop / "builds").mkdir()
    for name in ("kit.toml", "$(touch x).toml", "a\x1bb.toml"):
        (shop / "builds" / name).write_text("", encoding="utf-8")
    asked = ShellComplete(main, {}, "kitvalue", "_KITVALUE_COMPLETE")
    found = asked.get_completions(["--shop", str(shop), "value", "--series"], "")
    assert [one.value for one in found] == ["Burren", "Slane 2"]
    assert [one.value for one in asked.get_completions(["--shop", str(shop), "cost"], "")] == ["kit"]


# ---- plans that are none


@pytest.fixture
def beside(tmp_path: Path) -> tuple[Path, Path]:
    """The sample shop, and a file beside it that no answer may tell of."""
    secret = tmp_path / "outside"
    secret.mkdir()
    for name in ("secret.toml", "secret.txt", "passwd"):
        (secret / name).write_text("root:x:0:0\n", encoding="utf-8")
    return sample_shop(tmp_path), secret


@pytest.mark.parametrize("command", ["cost", "price", "compare", "source", "sheet"])
@pytest.mark.parametrize("name", ["passwd", "secret.txt"])
def test_a_file_that_is_no_plan_is_not_looked_into(beside: tuple[Path, Path], command: str, name: str) -> None:
    shop, outside = beside
    ran = run(shop, command, str(outside / name))
    assert ran.status == 2
    assert "x:0:0" not in ran.out + ran.err
    assert "ends in .toml" in ran.err


@pytest.mark.parametrize("target", ["secret.toml", "secret.txt", "gone.toml"])
def test_a_link_in_builds_leads_nowhere_outside(beside: tuple[Path, Path], target: str) -> None:
    shop, outside = beside
    (shop / "builds" / "linked.toml").symlink_to(outside / target)
    for line in (("cost", "linked"), ("check",), ("sheet", "linked"), ("report",), ("done",)):
        ran = run(shop, *line)
        assert "x:0:0" not in ran.out + ran.err
        if line[0] in ("cost", "sheet", "check"):
            assert ran.status == 2
            assert "leads out of the shop's folder" in ran.err + ran.out


def test_a_link_inside_the_shop_is_a_plan(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    (shop / "builds" / "again.toml").symlink_to("seven-piece.toml")
    assert run(shop, "cost", "again").status == 0


@pytest.mark.parametrize("name", ["prices.csv", "offers.csv", "shop.toml"])
def test_a_link_to_another_kind_of_file_is_not_read(beside: tuple[Path, Path], name: str) -> None:
    shop, outside = beside
    (shop / name).unlink()
    (shop / name).symlink_to(outside / "secret.txt")
    ran = run(shop, "check")
    assert ran.status == 2
    assert "x:0:0" not in ran.out + ran.err
    assert f"no .{name.rpartition('.')[2]} file" in ran.err


def test_a_plan_named_in_a_table_is_one_of_the_shop(beside: tuple[Path, Path]) -> None:
    shop, _ = beside
    shutil.copy(shop / "builds" / "seven-piece.toml", shop.parent / "outside" / "kit.toml")
    (shop / "done.csv").write_text("plan,finished_on\n../../outside/kit,2024-03-01\n", encoding="utf-8")
    ran = run(shop, "check")
    assert ran.status == 2
    assert "is no plan in builds/" in ran.err


# ---- names


def test_a_soft_hyphen_in_a_name_is_not_there(tmp_path: Path) -> None:
    """Word processors set them where a word may break (U+00AD); nobody sees one."""
    table = rows("Burren")
    for at, spelt in ((0, "Bur\u00adren"), (2, "\u00adBurren\u00ad")):
        table[at]["series"] = spelt
    for settings in ("", "[series.Burren]\n[series.Slane]\n"):
        shop = book_shop(tmp_path / f"shop{len(settings)}", settings, BOOK, table)
        ran = run(shop, "fit", "--json")
        assert ran.status == 0, ran.err
        assert {one["name"]: one["rows"] for one in ran.data["series"]} == {"Burren": 9, "Slane": 9}
    assert run(shop, "value", "--series", "Bur\u00adren", "--pieces", "5", "--condition", "3").status == 0
