"""What a newcomer stumbles over is answered with what to write instead."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.shops import run, sample_shop

HEADER = "series;pieces;condition;price;date\n"
SETTINGS = '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n'


def checked(shop: Path, rows: str, more: str = "") -> str:
    shop.joinpath("shop.toml").write_text(SETTINGS + more, encoding="utf-8")
    shop.joinpath("prices.csv").write_text(HEADER + rows, encoding="utf-8")
    return run(shop, "check").err


@pytest.mark.parametrize(
    ("line", "cure"),
    [
        ('Teileträger = "harvest"', 'stands in double quotes: "Teileträger" = "harvest"'),
        ('sehr gut = "freshen"', 'stands in double quotes: "sehr gut" = "freshen"'),
        ("rate = 42,50", "write numbers with a decimal point, such as 42.50"),
    ],
)
def test_a_line_that_is_no_toml_is_shown_mended(tmp_path: Path, line: str, cure: str) -> None:
    (told,) = [one for one in checked(tmp_path, "", f"[prices.words.condition]\n{line}\n").splitlines() if cure in one]
    assert told.startswith("shop.toml line 5")


def test_a_heading_that_needs_quotes_is_shown_mended(tmp_path: Path) -> None:
    assert 'stands in double quotes: [series."Slane 2"]' in checked(tmp_path, "", "[series.Slane 2]\n")


@pytest.mark.parametrize(
    ("others", "cure"),
    [
        (["2/20/2025", "3/25/2025"], "set day_first = false under [files], as rows 3 and 4 can only be read"),
        (["20/2/2025", "25/3/2025"], "set day_first = true under [files], as rows 3 and 4 can only be read"),
        (["20/2/2025", "3/25/2025"], "row 3 can only be read day first, row 4 only month first"),
    ],
)
def test_rows_that_show_the_order_of_dates_are_named_and_decide_nothing(
    tmp_path: Path, others: list[str], cure: str
) -> None:
    rows = "".join(f"Burren;4;3;480;{day}\n" for day in ("12/6/2024", *others))
    err = checked(tmp_path, rows)
    assert "row 2, column date" in err
    assert "2024-06-12 or 2024-12-06" in err or "2024-12-06 or 2024-06-12" in err
    assert cure in err


def test_pieces_in_words_ask_for_a_number(tmp_path: Path) -> None:
    ran = run(sample_shop(tmp_path), "value", "--series", "Burren", "--pieces", "five", "--condition", "3")
    assert ran.status == 2
    assert "write a number of drums, 1 to 20" in ran.err


def test_a_grade_may_be_mapped_as_a_number(tmp_path: Path) -> None:
    err = checked(tmp_path, "Burren;4;sehr gut;480;\n", '[prices.words.condition]\n"sehr gut" = 4.5\n')
    assert "shop.toml" not in err
    assert "sehr gut" not in err


def test_a_feature_that_is_not_declared_is_named(tmp_path: Path) -> None:
    line = ("value", "--series", "Burren", "--pieces", "5", "--condition", "3", "--with")
    shop = sample_shop(tmp_path)
    assert "no feature" in run(shop, *line, "legs=yes").err
    settings = shop / "shop.toml"
    text = settings.read_text(encoding="utf-8")
    settings.write_text(text.replace("[prices.features]", '[prices.features]\nlegs = "yes-no"'), encoding="utf-8")
    told = run(shop, *line, "legs=yes")
    assert told.status != 0
    assert "legs" in told.err
    assert "column" in told.err
