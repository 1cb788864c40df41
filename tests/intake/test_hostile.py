"""Files that mean harm or are none: refused with one clear line, soon, and with little memory."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from kitvalue.intake.books.pricebook import read_pricebook
from kitvalue.intake.settings.shop import read_shop
from kitvalue.intake.text.problems import FileError
from tests import TODAY
from tests.intake.shops import read_bytes, refused, whole_file
from tests.shops import run

SETTINGS = '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n'
HEADER = b"series;pieces;condition;price;note\n"
ROW = b"Burren;4;3;480;x\n"
MANY = 5_000_000


def test_a_cell_of_five_megabytes(tmp_path: Path) -> None:
    big = b"1" * MANY
    long_note = read_bytes(tmp_path, HEADER + b"Burren;4;3;480;" + big + b"\n", SETTINGS)
    assert len(long_note.rows_as_read[0].note or "") == MANY
    (problem,) = refused(read_bytes(tmp_path, HEADER + b"Burren;4;3;" + big + b";x\n", SETTINGS))
    assert "too long" in problem.message
    assert len(problem.message) < 200
    assert whole_file(read_bytes(tmp_path, big + b";" + HEADER + ROW, SETTINGS)).code == "long_header"


def test_a_million_columns(tmp_path: Path) -> None:
    assert whole_file(read_bytes(tmp_path, b"a;" * 1_000_000 + b"\n" + ROW, SETTINGS)).code == "too_wide"
    (problem,) = refused(read_bytes(tmp_path, HEADER + ROW + b";" * 1_000_000 + b"\n", SETTINGS))
    assert "1000001 cells" in problem.message


@pytest.mark.parametrize("blank", [b"\n", b"\r", b"\r\n", b";;;;\n", b" \n"])
def test_more_lines_than_a_spreadsheet_has(tmp_path: Path, blank: bytes) -> None:
    for data in (blank * 2_000_001 + HEADER + ROW, HEADER + ROW + blank * 2_000_001):
        assert whole_file(read_bytes(tmp_path, data, SETTINGS)).code == "too_many_lines"


def test_many_blank_lines_are_no_rows(tmp_path: Path) -> None:
    reading = read_bytes(
        tmp_path, HEADER + ROW + b"\n" * 300_000 + b";;;;\n" * 1000 + ROW.replace(b"480", b"490"), SETTINGS
    )
    assert [row.row for row in reading.rows_as_read] == [2, 301_003]


def test_a_file_of_rows_that_are_none(tmp_path: Path) -> None:
    assert whole_file(read_bytes(tmp_path, HEADER + ROW + b"x\n" * 110_000, SETTINGS)).code == "ragged_file"


def test_nul_bytes(tmp_path: Path) -> None:
    assert whole_file(read_bytes(tmp_path, HEADER + ROW + b"\0" * 10, SETTINGS)).code == "nul_bytes"


def test_a_formula_in_every_cell(tmp_path: Path) -> None:
    row = b"=cmd|'/c calc'!A1;=1+1;@SUM(1);+480-1;-2\n"
    reading = read_bytes(tmp_path, HEADER + row * 2000, SETTINGS)
    assert (reading.counts.used, reading.counts.refused) == (0, 2000)
    assert run(tmp_path, "check").status == 2


def test_signs_that_turn_the_order_of_digits(tmp_path: Path) -> None:
    (problem,) = refused(read_bytes(tmp_path, HEADER + "Burren;4;3;\u202e480;x\n".encode(), SETTINGS))
    assert '"<U+202E>480"' in problem.message


@pytest.mark.parametrize("name", ["prices.csv", "offers.csv", "rates.csv", "shop.toml"])
@pytest.mark.parametrize("kind", ["pipe", "folder", "loop"])
def test_what_is_no_file(tmp_path: Path, name: str, kind: str) -> None:
    tmp_path.joinpath("shop.toml").write_text(SETTINGS, encoding="utf-8")
    tmp_path.joinpath("prices.csv").write_bytes(HEADER + ROW)
    path = tmp_path / name
    path.unlink(missing_ok=True)
    if kind == "pipe":
        os.mkfifo(path)
    elif kind == "folder":
        path.mkdir()
    else:
        path.symlink_to(path.name)
    ran = run(tmp_path, "check")
    if kind == "loop" and name in ("offers.csv", "rates.csv"):  # a link to nothing is no file
        assert ran.status == 0
    else:
        assert ran.status == 2
        assert name in ran.err + ran.out
    if name == "prices.csv":
        assert run(tmp_path, "jot", "--yes", "Burren 22/16/13, 400 EUR").status == 2


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("a = " + "[" * 3000, "nested"), ("a = [\n" + "[\n" * 100_000, "nested"), ("a = " + "{b=" * 900 + "\n",
            "nested"),
        (".".join(["a"] * 200_000) + " = 1\n", "long_line"), ("[" + ".".join(["a"] * 1900) + "]\n", "nested"),
        ("[" + ".".join(["a"] * 200_000) + "]\n", "long_line"), ("".join(f"[a{n}]\n" for n in range(5000)),
        "unknown_key"),
    ],
)  # fmt: skip
def test_settings_that_are_nested_or_long(tmp_path: Path, text: str, code: str) -> None:
    tmp_path.joinpath("shop.toml").write_text(SETTINGS + text, encoding="utf-8")
    with pytest.raises(FileError) as caught:
        read_shop(tmp_path)
    assert {problem.code for problem in caught.value.problems} == {code}
    assert len(caught.value.message) < 400


def test_a_device_is_no_file(tmp_path: Path) -> None:
    tmp_path.joinpath("shop.toml").write_text(SETTINGS, encoding="utf-8")
    path = tmp_path / "prices.csv"
    path.symlink_to("/dev/zero")
    assert whole_file(read_pricebook(path, read_shop(tmp_path), TODAY)).code == "not_a_file"
