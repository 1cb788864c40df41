"""Tables and running text for a terminal: nothing is wider than it, and nothing is lost on the way."""

from __future__ import annotations

import shlex

from hypothesis import given
from hypothesis import strategies as st

from kitvalue.pages.terminal.table import as_wide_as, command, facts, fold, table, wrapped
from kitvalue.pages.words import width

WIDTH = 80  # where nobody says another
WORDS = st.text(alphabet="abcdefg ü漢é%", max_size=90).map(lambda text: " ".join(text.split(" ")).strip())
FIGURES = st.integers(-(10**12), 10**12).map(lambda n: f"{n:,}")


@st.composite
def tables(draw: st.DrawFn) -> tuple[list[str], list[list[str]], list[str]]:
    titles = st.lists(
        st.sampled_from(["row", "landed at cost", "original, one sale", "", "漢字 kit"]), min_size=1, max_size=9
    )
    columns = [title + draw(st.sampled_from(["", "<"])) for title in draw(titles)]
    rows = [[draw(WORDS if c.endswith("<") else FIGURES) for c in columns] for _ in range(draw(st.integers(1, 4)))]
    return columns, rows, [draw(WORDS) for _ in rows]


@given(tables(), st.sampled_from([60, 80, 120]))
def test_no_table_is_wider_than_a_terminal_and_none_loses_a_sign(
    made: tuple[list[str], list[list[str]], list[str]], most: int
) -> None:
    columns, rows, under = made
    with as_wide_as(most):
        text = table(" | ".join(columns), rows, under=under)
    for line in text.splitlines():
        assert width(line) <= most or len(line.split()) <= 2, line  # a heading and one long word
    kept = "".join(sorted(c for c in text if c not in " -\n"))
    cells = "".join(cell for row in rows for cell in row) + "".join(under)
    for sign in set(cells) - set(" -"):
        assert kept.count(sign) >= cells.count(sign), sign


def test_a_table_that_fits_is_set_as_it_is() -> None:
    columns = ["series<", "level known to"]
    assert table(" | ".join(columns), [["Burren", "9.9 %"], ["Slane", "12.0 %"]]).splitlines() == [
        "  series  level known to",
        "  ------  --------------",
        "  Burren           9.9 %",
        "  Slane           12.0 %",
    ]


def test_headings_are_folded_before_words_and_no_deeper_than_needed() -> None:
    columns = ["offer<", *("landed at the floor" for _ in range(6))]
    lines = table(" | ".join(columns), [["A kit", *["1,234"] * 6]]).splitlines()
    assert lines[0].split() == ["landed", "at"] * 6
    assert lines[1].split() == ["offer", *["the", "floor"] * 6]
    assert lines[3].startswith("  A kit  ")
    assert len(lines) == 4


def test_words_are_folded_where_headings_are_not_enough() -> None:
    columns = ["kit<", "what it still needs<", "price"]
    lines = table(" | ".join(columns), [["Inishmore " * 4, "new heads and edges " * 4, "1,234"]]).splitlines()
    assert all(width(line) <= WIDTH for line in lines)
    assert " ".join(lines).count("Inishmore") == 4
    assert [line for line in lines if line.endswith("1,234")] == [lines[2]]


def test_a_table_of_too_many_figures_is_told_row_by_row() -> None:
    columns = ["to<", *(f"price {i}" for i in range(9))]
    text = table(
        " | ".join(columns), [["home", *["1,234,567.00"] * 9], ["CH", *["7,654,321.00"] * 9]], under=["", "by lorry"]
    )
    blocks = text.split("\n\n")
    assert [block.splitlines()[0].split() for block in blocks] == [["to", "home"], ["to", "CH"]]
    assert blocks[0].splitlines()[1] == "  price 0  1,234,567.00"
    assert blocks[1].splitlines()[-1] == "  by lorry"


def test_a_text_stands_under_its_row() -> None:
    lines = table("row | seen", [["59", "3,900"], ["159", "350"]], under=["a slip?", ""]).splitlines()
    assert lines[2:] == ["   59  3,900", "       a slip?", "  159    350"]


def test_a_column_with_nothing_in_it_is_left_out() -> None:
    columns = ["drum<", "<"]
    assert table(" | ".join(columns), [["22x16", ""]]).splitlines() == ["  drum", "  -----", "  22x16"]
    assert table(" | ".join(columns), [["22x16", "cut down"]]).splitlines()[-1] == "  22x16  cut down"


def test_a_path_and_a_percentage_stay_whole() -> None:
    path = "/home/owner/" + "workshop/" * 9 + "out/fit.json"
    assert wrapped(f"Saved in {path}", "").splitlines() == ["Saved in", path]
    assert fold("a share of 70 % is a guess", 13) == ["a share of", "70 % is a", "guess"]
    assert fold("prices have moved +4.5 %  (-0.4 % to +9.7 %)", 36) == [
        "prices have moved +4.5 %  (-0.4 % to", "+9.7 %)",
    ]  # fmt: skip


def test_facts_go_on_under_their_own_column() -> None:
    lines = facts([("cost", "x " * 60), ("leftovers", "none")]).splitlines()
    assert lines[0].startswith("  cost       x")
    assert lines[1].startswith("             x")
    assert lines[-1] == "  leftovers  none"


@given(st.lists(st.text(alphabet="abc-/ü漢'é \"", min_size=1, max_size=30), min_size=1, max_size=12))
def test_a_folded_command_is_the_command_to_a_shell(arguments: list[str]) -> None:
    line = shlex.join(arguments)
    shown = command(line, "     ")
    assert shlex.split(shown.replace("\\\n", "")) == arguments  # a shell takes the sign and the end of line away
    for one in shown.splitlines():
        assert width(one) <= WIDTH or len(shlex.split(one.removesuffix(" \\"))) == 1
    assert len(shown.splitlines()) == 1 or width(shown.replace(" \\\n       ", " ")) > WIDTH - 2
