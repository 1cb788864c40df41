"""`new --prices`: from a spreadsheet as it is to a shop folder that can be read, and what is left to be said."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.commands import new as arriving
from kitvalue.intake.settings.shop import read_shop
from kitvalue.intake.text.problems import FileError
from tests import TODAY
from tests.shops import Ran, run

HEAD = "Date,Model,Sizes,State,Price,Sold?,Stands?,Where seen,Colour"
STATES = ("mint", "v good", "shells ok", "tatty")


def spreadsheet(place: Path, *lines: str) -> Path:
    path = place / "kits seen.csv"
    path.write_text("\n".join([*lines, ""]), encoding="utf-8")
    return path


def rows(count: int) -> list[str]:
    """Kits of two series, the larger and better ones dearer, as somebody writes them down."""
    found = []
    for n in range(count):
        series, sizes = ("Burren", "22/12/16") if n % 2 else ("Inishmore", "22/12/13/16")
        price = (400 if n % 2 else 900) + 40 * (n % 4) + 7 * n
        found.append(
            f'{n % 27 + 1} Mar 2026,{series},{sizes},{STATES[n % 4]},"£{price:,}",'
            f"{'sold' if n % 3 else 'asking'},{'yes' if n % 2 else 'no'},{'club' if n % 5 else 'paper'},red"
        )
    return found


def laid_out(place: Path, *lines: str) -> Ran:
    return run(".", "new", str(place / "myshop"), "--prices", str(spreadsheet(place, *lines)))


def fill(shop: Path, **words: str) -> None:
    """Write on the right of lines that stand open."""
    path = shop / "shop.toml"
    text = path.read_text(encoding="utf-8")
    for word, ours in words.items():
        spelt = word.replace("_", " ")
        assert text.count(f'\n"{spelt}" = ""') == 1, spelt
        text = text.replace(f'\n"{spelt}" = ""', f'\n"{spelt}" = "{ours}"')
    path.write_text(text, encoding="utf-8")


def test_a_spreadsheet_comes_to_a_value_by_filling_in_words(tmp_path: Path) -> None:
    ran = laid_out(tmp_path, "Kits seen in 2026,,,,,,,,", HEAD, *rows(40))
    shop = tmp_path / "myshop"
    assert ran.status == 0, ran.err
    for told in (
        "the 1 row above its headers left blank", "pieces = Sizes", "not used Colour", "Inishmore 20, Burren 20",
        "GBP, as the prices say", "guesses mint = wipe (10 rows), v good = wipe (10), tatty = remake (10)",
        "look at the guesses, write over",
        "Write wipe, freshen, mend, remake or harvest: that is 5 wipe", "(channel): all count",
        'decimal ".", as 1,', "is more than a thousand: the other prices lie between",
        "value --series Inishmore --pieces 4 --condition 5 --asked 350",
    ):  # fmt: skip
        assert told in " ".join(ran.out.split()), told
    assert "10 rows wait for 1 word" in " ".join(ran.out.split())
    fill(shop, shells_ok="freshen")
    ran = run(shop, "check", "--json")
    assert ran.data["files"][0]["used"] == 40, ran.err
    valued = run(shop, "value", "--series", "Burren", "--pieces", "3", "--condition", "4", "--json").data
    assert 300 < valued["buy_in"]["typical"] < 900
    assert valued["kit"]["series"] == "Burren"


def test_the_answer_as_json(tmp_path: Path) -> None:
    spreadsheet(tmp_path, HEAD, *rows(6), rows(8)[7], rows(5)[4])
    ran = run(".", "new", str(tmp_path / "myshop"), "--prices", str(tmp_path / "kits seen.csv"), "--json")
    assert ran.data["columns"]["pieces"] == "Sizes"
    assert ran.data["files"] == [
        "builds/example.toml", "done.csv", "offers.csv", "parts.csv", "prices.csv", "shop.toml",
    ]  # fmt: skip
    assert ran.data["series"] == [
        {"name": "Inishmore", "rows": 4, "alike": {}, "same": {}},
        {"name": "Burren", "rows": 4, "alike": {}, "same": {}},
    ]  # fmt: skip
    text = (tmp_path / "myshop" / "shop.toml").read_text(encoding="utf-8").split("\n")
    assert {text[at - 1].split(" = ")[0] for at in ran.data["open_lines"]} == {
        '"shells ok"',
    }
    assert ran.data["guesses"] == [
        {"column": "condition", "word": "mint", "means": "wipe", "rows": 3},
        {"column": "condition", "word": "v good", "means": "wipe", "rows": 2},
        {"column": "condition", "word": "tatty", "means": "remake", "rows": 2},
        {"column": "channel", "word": "club", "means": "private", "rows": 6},
        {"column": "channel", "word": "paper", "means": "private", "rows": 2},
    ]  # fmt: skip
    assert any(problem["code"] == "not_a_grade" for problem in ran.data["problems"])


def test_a_column_that_is_not_found_stands_open(tmp_path: Path) -> None:
    ran = laid_out(tmp_path, "Model,Look,Price,Stands", *(f"Burren,fine,{n},a few" for n in range(400, 420)))
    assert "(column pieces and condition): write the header in the file on the right" in " ".join(ran.out.split())
    text = (tmp_path / "myshop" / "shop.toml").read_text(encoding="utf-8")
    assert "0 refused No row can be read before step 1 is done. Next: 1. shop.toml, line" in told(ran)
    assert 'pieces = ""' in text
    assert 'condition = ""' in text
    assert '"a few" = ""  # 20 rows' in text  # words of the columns that are known


def told(ran: Ran) -> str:
    """What was printed, in one line."""
    assert all(len(line) <= 80 for line in ran.out.split("\n") if "/" not in line)  # a path is not folded
    return " ".join(ran.out.split())


def test_columns_of_money_that_cannot_be_used_are_told(tmp_path: Path) -> None:
    ran = laid_out(
        tmp_path,
        "Modèle;Fûts;État;Prix demandé;Prix payé;Prix de vente",
        *(f"Burren;4;bon;{450 + n};{380 + n};{690 + n}" for n in range(14)),
    )
    assert '"Prix de vente" is not used: where it is what you got after your own work' in told(ran)
    assert "sold_for = Prix payé" in told(ran)
    shop = tmp_path / "myshop"
    assert '"bon" = "freshen"  # 14 rows; a guess: is it so?' in settings(tmp_path)
    checked = run(shop, "check", "--json").data
    assert checked["files"][0]["used"] == 14
    assert "undecided" not in str(checked["problems"])


def settings(place: Path) -> list[str]:
    return (place / "myshop" / "shop.toml").read_text(encoding="utf-8").split("\n")


def test_a_decimal_sign_that_the_sizes_tell_is_written_with_its_reason(tmp_path: Path) -> None:
    ran = laid_out(
        tmp_path, "Kit,Drums,State,Price", *(f"Burren,4,4,{n}" for n in range(450, 470)), 'Burren,4,4,"1,250"'
    )
    why = "1,250 is more than a thousand: the other prices lie between 450 and 469"
    assert f'decimal ".", as {why}' in told(ran)
    assert f'decimal = "."  # {why}' in settings(tmp_path)
    assert run(tmp_path / "myshop", "check", "--json").data["files"][0]["used"] == 21


def test_a_decimal_sign_that_is_open_is_asked_for_and_its_likely_line_stands_ready(tmp_path: Path) -> None:
    ran = laid_out(
        tmp_path, "Kit,Drums,State,Price", *(f"Burren,4,4,{n}" for n in (450, 460, 470)), 'Burren,4,4,"1,250"'
    )
    assert 'write decimal = "." if 1,250 is more than a thousand' in told(ran)
    assert 'decimal ".", as' not in told(ran)
    assert any(line.startswith('# decimal = "." ') for line in settings(tmp_path))
    assert not any(line.startswith("decimal =") for line in settings(tmp_path))


def test_a_decimal_sign_that_a_cell_proves_needs_no_sizes(tmp_path: Path) -> None:
    rows = [f"Burren,4,4,{n}" for n in range(450, 2500)]  # the proof lies beyond the rows that are looked at
    ran = laid_out(tmp_path, "Kit,Drums,State,Price", 'Burren,4,4,"1,250"', *rows, "Burren,4,4,480.50")
    assert "more than a thousand" not in told(ran)
    assert any(line.startswith('decimal = "."   ') for line in settings(tmp_path))


def step(ran: Ran, number: int) -> str:
    """One step of what is to be done next."""
    return told(ran).split(f" {number}. ")[1].split(f" {number + 1}. ")[0]


def test_guesses_come_first_and_a_row_with_one_waits_for_nothing(tmp_path: Path) -> None:
    ran = laid_out(
        tmp_path, "Kit,Drums,State,Asking,Sold?", *(f"Burren,4,bit rough,{n},{'x' * (n % 2)}" for n in range(450, 470))
    )
    assert "20 rows read, 20 used, 0 refused" in ran.out
    assert WAITS not in told(ran)
    at = settings(tmp_path).index('"bit rough" = "remake"  # 20 rows; a guess: is it so?') + 1
    assert step(ran, 1).startswith(f"shop.toml, line {at} (condition): look at the guesses, write over what you mean")
    assert "fill in" not in step(ran, 1)
    assert '"Sold?" is not used' in step(ran, 2)


def test_the_lines_of_own_figures_and_two_values_are_named(tmp_path: Path) -> None:
    cells = [f"Burren,4,{'good' if n % 3 else 'mint'},{n}" for n in range(450, 470)]
    ran = laid_out(tmp_path, "Kit,Drums,State,Price", *cells, "Burren,4+2,good,480", "Burren,4,good,on request")
    lines = settings(tmp_path)
    for key in ("rate = 23 ", 'sell_on = "full"', "rate = 42.00", "prepare = 3", "margin = 18"):
        (at,) = (at for at, line in enumerate(lines, 1) if line.startswith(key))
        assert f"line {at} (" in step(ran, 2), key
    value = "value --series Burren --pieces 4 --condition 4 --asked 350"
    assert step(ran, 3).replace(" \\ ", " ").split(" Then, for more:")[0].endswith(value)
    assert step(ran, 4).startswith("2 rows cannot be used; what to mend in each: kitvalue")
    assert step(ran, 5).startswith("Where you would restore it first, in 5 hours")
    assert step(ran, 5).replace(" \\ ", " ").endswith(f"{value} --finished 5 --hours 5 --parts 60")


def test_a_kit_of_the_best_grade_is_not_restored(tmp_path: Path) -> None:
    ran = laid_out(tmp_path, "Kit,Drums,State,Price", *(f"Burren,4,mint,{n}" for n in range(450, 470)))
    assert "--condition 5" in told(ran)
    assert "--finished" not in told(ran)


WAITS = "That is as it should be: "


def test_what_the_rows_wait_for_stands_below_their_count(tmp_path: Path) -> None:
    ran = laid_out(
        tmp_path, "Kit,Drums,State,Price,On", *(f"Burren,4,zingy,{n},0{n % 9 + 1}/02/2026" for n in range(450, 462))
    )
    assert f"12 refused\n{WAITS}the rows wait for 1 word and the order of days" in ran.out
    assert "order of days in shop.toml (steps 1 and 2 below). Next:" in told(ran)


def test_rows_that_wait_for_nothing_in_the_settings_are_told_apart(tmp_path: Path) -> None:
    rows = [f"Burren,4,{'zingy' if n % 2 else '4'},{n}" for n in range(450, 462)]
    ran = laid_out(tmp_path, "Kit,Drums,State,Price", *rows, "Burren,4,zingy,on request")
    assert f"{WAITS}6 rows wait for 1 word in shop.toml (step 1 below); `check` names what is wrong in 1 more." in told(
        ran
    )
    (tmp_path / "other").mkdir()
    ran = laid_out(tmp_path / "other", "Kit,Drums,State,Price", "Burren,4,zingy,480", *["Burren,4,4,on request"] * 5)
    assert WAITS not in told(ran)  # most have to be mended


@pytest.mark.parametrize("head", ["Kit,Drums,State,Price", "Kit,Drums,Look,Price"])
def test_where_no_row_waits_for_a_word_nothing_is_said(tmp_path: Path, head: str) -> None:
    state = "4" if "State" in head else "zingy"  # without a column of conditions the file cannot be used as it is
    assert WAITS not in told(laid_out(tmp_path, head, *(f"Burren,4,{state},{n}" for n in range(450, 462))))


def test_a_feature_that_the_sheet_lacks_is_not_warned_about(tmp_path: Path) -> None:
    assert laid_out(tmp_path, "Kit,Drums,State,Price", *(f"Burren,4,4,{n}" for n in range(450, 470))).status == 0
    assert "hardware" not in str(run(tmp_path / "myshop", "check", "--json").data)
    assert "# [prices.words.hardware]" in settings(tmp_path)


def test_ticks_beside_an_asking_price_are_told_with_the_line_to_write(tmp_path: Path) -> None:
    ran = laid_out(
        tmp_path,
        "Kit,Drums,State,Asking,Sold?",
        *(f"Burren,4,good,{n},{'x' if n % 2 else ''}" for n in range(450, 470)),
    )
    lines = settings(tmp_path)
    at = lines.index("[prices.columns]") + 1
    assert f'write sold_for = "ITS HEADER" below line {at} of shop.toml ([prices.columns])' in told(ran)
    assert '"Sold?" is not used: "Asking" is what was asked, not what was paid' in told(ran)
    assert not any(line.startswith("price_kind =") for line in lines)


def test_a_price_that_says_paid_and_an_amount_left_over_are_told(tmp_path: Path) -> None:
    ran = laid_out(tmp_path, "Kit,Drums,State,Paid", *(f"Burren,4,good,{n}" for n in range(450, 470)))
    assert '"Paid" counts as asked: where it is what was paid, add a column price_kind' in told(ran)
    (tmp_path / "other").mkdir()
    rows = [f"Burren,4,good,{n},{n * 3 % 20 + 430}" for n in range(450, 470)]
    ran = laid_out(tmp_path / "other", 'Kit,Drums,State,Price,"My ""deal"""', *rows)
    assert 'if it is what a kit went for, write sold_for = "My \\"deal\\"" below line' in told(ran)


@pytest.mark.parametrize("odd", ["two\nlines", "a\ttab", 'a "quote"', "back\\slash", "bell\x07", "del\x7f"])
def test_words_with_signs_that_need_an_escape_are_found_again(tmp_path: Path, odd: str) -> None:
    cell = '"' + odd.replace('"', '""') + '"'
    ran = laid_out(tmp_path, "Model,Drums,State,Price,Where", *(f"Burren,4,{cell},{n},{cell}" for n in range(400, 420)))
    assert ran.status == 0, ran.err
    told = " ".join(ran.out.split())
    assert "(condition): write wipe" in told
    assert "(channel): all count as private" in told
    assert "Paste" not in run(tmp_path / "myshop", "check").out  # what stands open is not to be pasted again


def test_the_spreadsheet_is_left_alone_and_its_rows_are_copied_byte_for_byte(tmp_path: Path) -> None:
    path = spreadsheet(tmp_path, HEAD, *rows(5))
    before = path.read_bytes()
    assert run(".", "new", str(tmp_path / "myshop"), "--prices", str(path)).status == 0
    assert path.read_bytes() == before == (tmp_path / "myshop" / "prices.csv").read_bytes()


@pytest.mark.parametrize(
    ("lines", "told"),
    [(["hello", "world"], "has no row of headers"), ([], "is empty"), (["PK\x03\x04"], "is a workbook")],
)
def test_what_cannot_be_taken_over_leaves_no_folder(tmp_path: Path, lines: list[str], told: str) -> None:
    ran = laid_out(tmp_path, *lines)
    assert (ran.status, ran.out) == (2, "")
    assert told in ran.err
    assert ran.err.count("\n") == 1
    assert not (tmp_path / "myshop").exists()


@pytest.mark.parametrize("words", [(), ("--prices", "kits.csv")])
def test_a_folder_with_something_in_it_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("kits.csv").write_text("\n".join([HEAD, *rows(4)]), encoding="utf-8")
    Path("myshop").mkdir()
    Path("myshop", "mine.txt").write_text("mine", encoding="utf-8")
    ran = run(".", "new", "myshop", *words)
    assert ran.status == 2
    assert ran.err.startswith("myshop is not empty: give a new or an empty folder, nothing is written over")
    assert ran.err.count("\n") == 1
    assert os.listdir("myshop") == ["mine.txt"]


@pytest.mark.parametrize("fails", ["prices.csv", "shop.toml"])
def test_where_one_file_cannot_be_written_none_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fails: str) -> None:
    whole = arriving.write_whole

    def full(path: Path, data: bytes) -> None:
        if path.name == fails:
            raise FileError(f"cannot write {path}: the disk is full")
        whole(path, data)

    monkeypatch.setattr(arriving, "write_whole", full)
    assert "the disk is full" in laid_out(tmp_path, HEAD, *rows(4)).err
    assert not any((tmp_path / "myshop").iterdir())


@given(
    st.lists(
        st.lists(st.text(alphabet='Burenaé 45/,"=#[]€\\', max_size=12), min_size=3, max_size=5), min_size=1, max_size=12
    ),
    st.sampled_from([",", ";", "\t"]),
)
def test_whatever_stands_in_the_cells_the_settings_can_be_read(table: list[list[str]], sign: str) -> None:
    cells = [sign.join('"' + cell.replace('"', '""') + '"' for cell in row) for row in table]
    head = sign.join(["Series", "Drums", "State", "Price", "Stands"])
    with tempfile.TemporaryDirectory() as name:
        shop = Path(name) / "myshop"
        path = spreadsheet(Path(name), head, *cells)
        done = arriving.take_over(shop, path, TODAY)
        assert read_shop(shop).prices.columns["pieces"] == "Drums"
        lines = (shop / "shop.toml").read_text(encoding="utf-8").split("\n")
        for block in done.settings.to_fill:
            assert all(' = ""' in lines[at - 1] for at in block.open_at)
