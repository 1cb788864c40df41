"""shop.toml: every mistake in one line of plain words, all at once."""

from __future__ import annotations

import contextlib
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.settings.shop import read_shop
from kitvalue.intake.settings.words import series_names
from kitvalue.intake.text.problems import FileError, Problem
from tests.intake.shops import SETTINGS, shop_in

LEAST = '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n'


def problems(folder: Path, settings: str) -> tuple[Problem, ...]:
    with pytest.raises(FileError) as caught:
        shop_in(folder, settings)
    assert caught.value.exit_status == 2
    for problem in caught.value.problems:
        line = problem.line()
        assert "\n" not in line
        assert "pydantic" not in line.lower()
        assert "validation" not in line.lower()
    return caught.value.problems


def message(folder: Path, settings: str) -> str:
    (problem,) = problems(folder, settings)
    return problem.line()


def test_numbers_come_from_the_files_own_text(tmp_path: Path) -> None:
    shop = shop_in(tmp_path, LEAST + "[tax]\nrate = 8.10\n[work]\nrate = 42\n")
    assert shop.tax is not None
    assert shop.work is not None
    assert str(shop.tax.rate) == "8.10"
    assert shop.work.rate == Decimal(42)
    assert shop.selling is None


def test_a_byte_order_mark_and_windows_line_ends(tmp_path: Path) -> None:
    (tmp_path / "shop.toml").write_bytes(b"\xef\xbb\xbf" + LEAST.replace("\n", "\r\n").encode())
    assert read_shop(tmp_path).shop.name == "Dock Road Drums"


def test_no_folder_and_no_settings(tmp_path: Path) -> None:
    with pytest.raises(FileError, match="no such folder"):
        read_shop(tmp_path / "gone")
    with pytest.raises(FileError, match=r"no shop\.toml"):
        read_shop(tmp_path)
    (tmp_path / "file").write_text("x")
    with pytest.raises(FileError, match="not a folder"):
        read_shop(tmp_path / "file")


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ("[tax]\nrate = 2300", ["line 5", "tax.rate", '"2300"', "below 100"]),
        ("[tax]\nrat = 23\nrate = 23", ["line 5", '"rat"', "[tax]", "did you mean rate?"]),
        ("[sellin]\nfee = 3", ['"sellin"', "did you mean selling?"]),
        ("[tax]\nrate = '23'", ['"23"', "no number", "without quotes"]),
        ("[tax]\nrate = true", ['"true"', "no number"]),
        ("[tax]\nrate = 23\nroute = 'ful'", ['"ful"', "did you mean full?"]),
        ("[tax]\nrate = nan", ['"NaN"', "tax.rate"]),
        ("[tax]\nrate = 1e400", ["tax.rate", "no sensible number"]),
        ("[tax]\nroute = 'full'", ["rate is missing", "[tax]"]),
        ("[tax]\nrate = 23\n[tax.destinations.CH]\nkind = 'exprt'\nvat = 8", ["tax.destinations.CH.kind", "export"]),
        ("[tax]\nrate = 23\n[tax.destinations.FR]\nkind = 'union'\nvat = 20\nduty = 3", ["union", "duty"]),
        ("[selling]\nfee = 100\nmargin = 18\nfreight = 60", ['"100"', "below 100"]),
        ("[work]\nrate = -1", ['"-1"', "0 or more"]),
        ("[work]\nrate = 42\n[work.hours]\nedge = 'x'", ["work.hours.edge", "no number"]),
        ("[files]\nday_first = 'yes'", ["true nor false"]),
        ("[files]\ndecimal = ';'", ["files.decimal", '","', '"."']),
        ("[files]\nencoding = 'utf9'", ['"utf9"', "no encoding"]),
        ("[files]\nencoding = 'base64'", ['"base64"', "no encoding"]),
        ("[prices.columns]\nprise = 'Preis'", ['"prise"', "did you mean price?"]),
        ("[prices.columns]\nPreis = 'price'", ['"Preis"', "before the ="]),
        ("[prices.columns]\nprice = 'Preis'\nfreight = 'preis '", ["already mapped to price"]),
        ("[prices.words.chanel]\nx = 'private'", ['"chanel"', "did you mean channel?"]),
        ("[prices.words.channel]\nx = 'deeler'", ['"deeler"', "private, dealer or auction"]),
        ("[prices.words.condition]\nx = '6'", ['"6"', "no grade"]),
        ("[prices.words.channel]\nshop = 'dealer'\nSHOP = 'private'", ["mapped twice"]),
        ("[prices.features]\nhardware = 'yesno'", ["did you mean yes-no?"]),
        ("[prices.features]\ncondition = 'word'", ['"condition"', "already a name"]),
        ("[prices.features]\nholes = 'number'\n[prices.words.holes]\nmany = '9'", ["holes is a number"]),
        ("[prices.features]\ncase = 'yes-no'\n[prices.words.case]\nhard = 'maybe'", ["neither yes nor no"]),
        ("[series.Burren]\nalso = 'x'", ["no list", "square brackets"]),
        ("[series.Burren]\nalso = ['slane']\n[series.Slane]", ["names two series"]),
        ("[series.Burren]\npart = 'doner'", ["did you mean donor?"]),
        ("series = 3", ["a table belongs here"]),
    ],
)  # fmt: skip
def test_one_mistake_gives_one_line(tmp_path: Path, more: str, words: list[str]) -> None:
    settings = f"{more}\n{LEAST}" if more.startswith("series =") else f"{LEAST}{more}\n"
    said = message(tmp_path, settings)
    assert said.startswith("shop.toml")
    for word in words:
        assert word in said


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ("", ["[shop]", "missing"]),
        ('[shop]\nname = "x\n', ["line 2", "not valid TOML"]),
        (LEAST + "[tax]\nrate = 23,5\n", ["line 5", "decimal point"]),
        ("[shop]\nname = Dock\n", ["line 2", "double quotes"]),
        (LEAST + "[shop]\n", ["line 4", "not valid TOML"]),
        ("a = " + "[" * 20000, ["shop.toml"]),
        ('[shop]\nname = "  "\ncurrency = "EUR"\n', ["blank"]),
        ('[shop]\nname = "x"\ncurrency = "euro"\n', ['"euro"', "three capital letters"]),
    ],
)
def test_broken_files(tmp_path: Path, settings: str, words: list[str]) -> None:
    said = message(tmp_path, settings)
    for word in words:
        assert word in said


def test_all_mistakes_come_at_once_in_the_files_order(tmp_path: Path) -> None:
    found = problems(tmp_path, LEAST + "[tax]\nrate = 2300\n[selling]\nfe = 1\nfee = 2\nmargin = 'x'\nfreight = 1\n")
    assert [(p.row, p.column) for p in found] == [(5, "tax.rate"), (7, "selling.fe"), (9, "selling.margin")]


def test_series_are_found_by_any_spelling_and_never_merged(tmp_path: Path) -> None:
    names = series_names(shop_in(tmp_path, SETTINGS))
    for text in ("Burren", " burren ", "BURREN\u00a0", "burren mki"):
        assert names.find(text) == "Burren"
    for text in ("Buren", "Corrib Burren", "Burren?", "Bur\u200bren"):
        assert names.find(text) is None
        assert names.advice(text).startswith("did you mean Burren? ")
    assert "Burren, Slane and Inishmore" in names.advice("Qqq")


@given(st.one_of(st.text(max_size=60), st.text("[]shop.name=\"x'EUR\n=1,{}# ", max_size=60)))
def test_any_text_is_a_shop_or_a_file_error(tmp_path_factory: pytest.TempPathFactory, text: str) -> None:
    folder = tmp_path_factory.getbasetemp()
    (folder / "shop.toml").write_bytes((LEAST + text).encode("utf-8", "replace"))
    with contextlib.suppress(FileError):
        assert read_shop(folder).shop.currency == "EUR"
