"""From bytes to cells: encodings, line ends, delimiters, quotes, headers, and the spreadsheet's row numbers."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitvalue.intake.settings.shop import FilesTable
from kitvalue.intake.tables.headers import WantedColumns, letter, split_lines, split_rows
from kitvalue.intake.tables.table import TextTable, read_table, table_from_text
from kitvalue.intake.text.decoding import DecodedText, decode
from kitvalue.intake.text.problems import FileError, Level, Problem

WANTED = WantedColumns(("name", "price"), ("note", "date"), {"note": "remark"}, "[prices.columns]")


def table(text: str, delimiter: str | None = None) -> TextTable:
    return table_from_text(DecodedText(text, "utf-8", ()), "prices.csv", WANTED, delimiter)


def cells(found: TextTable) -> list[tuple[int, list[str]]]:
    return [(found.row(at), found.row_cells(at)) for at in range(len(found))]


def whole(text: str) -> Problem:
    with pytest.raises(FileError) as caught:
        table(text)
    (problem,) = caught.value.problems
    assert problem.level is Level.FILE
    assert caught.value.exit_status == 2
    return problem


def refused_bytes(data: bytes, encoding: str | None = None) -> str:
    with pytest.raises(FileError) as caught:
        decode(data, "prices.csv", encoding)
    assert "\n" not in caught.value.message
    return caught.value.message


# ---- encodings -----------------------------------------------------------------------------------------------------

TEXT = "name;price\nBörse € “ok”;480\n"


@pytest.mark.parametrize(
    ("data", "encoding"),
    [
        (TEXT.encode("utf-8"), "utf-8"),
        (b"\xef\xbb\xbf" + TEXT.encode("utf-8"), "utf-8"),
        (TEXT.encode("utf-16"), "utf-16"),
        (b"\xfe\xff" + TEXT.encode("utf-16-be"), "utf-16"),
        (TEXT.encode("utf-32"), "utf-32"),
    ],
)
def test_a_mark_or_utf8_says_the_encoding(data: bytes, encoding: str) -> None:
    assert decode(data, "prices.csv") == DecodedText(TEXT, encoding, ())


def test_windows_1252_is_the_last_resort_and_is_said() -> None:
    found = decode(TEXT.encode("cp1252"), "prices.csv")
    assert (found.text, found.encoding) == (TEXT, "cp1252")
    (warning,) = found.problems
    assert warning.level is Level.WARNING
    assert "1252" in warning.message
    assert "Börse" in warning.message
    assert decode(TEXT.encode("cp1252"), "prices.csv", "cp1252") == DecodedText(TEXT, "cp1252", ())


def test_line_ends_of_cr_alone_hint_at_an_old_mac() -> None:
    text = "name;price\rBörse;1\r"
    (warning,) = decode(text.encode("mac-roman"), "prices.csv").problems
    assert 'encoding = "mac-roman"' in warning.message
    assert decode(text.encode("mac-roman"), "prices.csv", "mac-roman").text == text


def test_a_mark_comes_before_the_setting() -> None:
    assert decode(b"\xef\xbb\xbf" + TEXT.encode(), "prices.csv", "cp1252").text == TEXT


def test_a_setting_that_looks_wrong_is_said() -> None:
    (warning,) = decode("name;price\nBörse;480\n".encode(), "prices.csv", "cp1252").problems
    assert warning.code == "encoding_doubtful"
    assert "reads as UTF-8" in refused_bytes(TEXT.encode("utf-8"), "cp1252")


def test_two_encodings_in_one_file_are_not_guessed() -> None:
    message = refused_bytes("name;price\nBörse;1\n".encode() + "Börse;2\n".encode("cp1252"))
    assert "line 2" in message
    assert "line 3" in message


def test_a_sharp_s_before_a_curly_quote_is_no_second_encoding() -> None:
    assert decode("„Spaß“;1\n".encode("cp1252"), "prices.csv").encoding == "cp1252"


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "empty"), (b"\xef\xbb\xbf", "empty"), (b" \r\n\r\n", "empty"), (b"PK\x03\x04abc", "workbook"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1", "workbook"), (b"%PDF-1.7", "PDF"), (b"<html><table>", "web page"),
        (b"<?xml version='1.0'?>", "XML"), (b"name;price\nA\x00;1\n", "line 2"),
        ("name;price\n".encode("utf-16-le"), "UTF-16"),
        (b"name;price\nB\x81;1\n", "0x81"),
    ],
)  # fmt: skip
def test_what_is_no_text_is_refused(data: bytes, word: str) -> None:
    assert word in refused_bytes(data)


def test_an_encoding_that_does_not_fit_names_the_line() -> None:
    assert "line 2" in refused_bytes("name;price\nBörse;1\n".encode("cp1252"), "utf-8")
    assert "no_such" in refused_bytes(b"name", "no_such")


def test_folders_pipes_and_missing_files(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "prices.csv")
    (tmp_path / "folder.csv").mkdir()
    for name, word in (("prices.csv", "pipe"), ("folder.csv", "folder"), ("none.csv", "no such file")):
        with pytest.raises(FileError, match=word):
            read_table(tmp_path / name, WANTED, FilesTable())


# ---- rows and cells ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_line_ends(end: str) -> None:
    assert cells(table(end.join(["name;price", "A;1", "", "B;2", ""]))) == [(2, ["A", "1"]), (4, ["B", "2"])]


def test_only_line_breaks_break_lines() -> None:
    assert cells(table("name;price\nA\x0b\x0c\x1c\x85\u2028B;1\n")) == [(2, ["A\x0b\x0c\x1c\x85\u2028B", "1"])]


def test_a_cell_with_line_breaks_is_one_row() -> None:
    found = table('name;price;remark\r\nA;1;"first\r\nsecond\r\n\r\nthird"\r\nB;2;\r\n')
    assert cells(found) == [(2, ["A", "1", "first\nsecond\n\nthird"]), (3, ["B", "2", ""])]


def test_quotes() -> None:
    found = table('name;price;remark\nA;1;"he said ""go""; then"\nB;2;22"/16"\n"C";"3";""\n D ; "4";5 "" 6\n')
    assert [row for _, row in cells(found)] == [
        ["A", "1", 'he said "go"; then'], ["B", "2", '22"/16"'], ["C", "3", ""], [" D ", ' "4"', '5 "" 6'],
    ]  # fmt: skip


def test_blank_rows_are_silent_and_count() -> None:
    found = table('name;price;remark\n\n;;\n  ; ;\n"";"";""\nA;1;\n\n')
    assert cells(found) == [(6, ["A", "1", ""])]
    assert (found.read, found.read - len(found), found.problems) == (1, 0, ())


def test_ragged_rows_say_both_counts() -> None:
    found = table("name;price;remark\nA;1;ok\nB;2\nC;3;x;y\n")
    assert cells(found) == [(2, ["A", "1", "ok"])]
    assert (found.read, found.read - len(found)) == (3, 2)
    assert [(p.row, p.code) for p in found.problems] == [(3, "ragged_row"), (4, "ragged_row")]
    assert "2 cells, the header has 3" in found.problems[0].message
    assert "4 cells, the header has 3" in found.problems[1].message


def test_a_delimiter_behind_every_row_shifts_nothing() -> None:
    assert cells(table("name;price\nA;1;\nB;2;\n")) == [(2, ["A", "1"]), (3, ["B", "2"])]
    assert [p.row for p in table("name;price\nA;1\nB;2;\n").problems] == [3]


def test_nameless_trailing_columns() -> None:
    quiet = table("name;price;;\nA;1;;\nB;2\n")
    assert quiet.problems == ()
    assert [row[:2] for _, row in cells(quiet)] == [["A", "1"], ["B", "2"]]
    (warning,) = table("name;price;;\nA;1;;x\n").problems
    assert (warning.code, warning.column) == ("nameless_column", "D")
    assert "row 2" in warning.message


def test_an_unclosed_quote_refuses_the_file_and_names_the_cell() -> None:
    for text in ('name;price;remark\nA;1;ok\nB;2;"22 inch, small mark\nC;3;ok\nD;4;"with bag"\n',
                 'name;price;remark\nA;1;ok\nB;2;"22 inch, small mark\nC;3;ok\n'):  # fmt: skip
        problem = whole(text)
        assert (problem.row, problem.column, problem.text) == (3, "remark", "22 inch, small mark")
        assert "swallowed" in problem.message


def test_a_quote_that_another_row_closes_is_found_too() -> None:
    head = "name;price;remark;date\nA;1;ok;2024-01-01\n"
    text = head + 'B;2;x;"2024-01-02\nC;3;y;2024-01-03\nD;4;22 inch;2024-01-04"\nE;5;;\n'
    assert whole(text).row == 3
    text = 'name;price;remark;date\nA;1;"ok;2024-01-01\nB;2;bass 22";2024-01-02\nC;3;z;2024-01-03\n'
    assert whole(text).row == 2


def test_a_quote_that_closes_too_early_refuses_its_row() -> None:
    found = table('name;price;remark\nA;1;"22" bass"\nB;2;ok\n')
    assert found.rows.tolist() == [3]
    (problem,) = found.problems
    assert (problem.row, problem.column, problem.code) == (2, "remark", "stray_quote")


def test_a_header_that_comes_again_is_refused() -> None:
    (problem,) = table("name;price\nA;1\nNAME; Price\nB;2\n").problems
    assert (problem.row, problem.code, problem.level) == (3, "header_again", Level.REFUSED)


# ---- headers -------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("sign", [";", ",", "\t", "|"])
def test_the_delimiter_is_judged_on_the_header(sign: str) -> None:
    found = table(sign.join(["name", "price", "remark"]) + "\n" + sign.join(["A", "1", "x y"]) + "\n")
    assert found.delimiter == sign
    assert list(found.cells[found.header.places["note"]]) == ["x y"]


def test_notes_and_header_texts_do_not_mislead_the_delimiter() -> None:
    assert table("name;price;EUR, gross, 2024\nA;1;a, b, c, d\n").delimiter == ";"


def test_a_first_line_for_spreadsheets_says_the_delimiter_and_is_no_row() -> None:
    assert cells(table("sep=|\nname|price\nA|1\n")) == [(2, ["A", "1"])]


def test_header_names_ignore_case_outer_spaces_and_composition() -> None:
    wanted = WantedColumns(("name", "price"), (), {"price": "Geb\u00fchr"}, "[prices.columns]")
    text = DecodedText(" NAME\u00a0;Gebu\u0308hr\u200b\nA;1\n", "utf-8", ())
    assert table_from_text(text, "prices.csv", wanted).header.places == {"name": 0, "price": 1}


def test_a_missing_column_lists_what_was_not_recognised() -> None:
    problem = whole("name;Preis (€);Datum\nA;1;x\n")
    assert problem.column == "price"
    for word in ("price is missing", '"Preis (€)"', '"Datum"', "[prices.columns]"):
        assert word in problem.message


def test_a_column_twice() -> None:
    problem = whole("name;price;x;PRICE \nA;1;2;3\n")
    assert problem.code == "column_twice"
    assert "columns B and D" in problem.message


def test_a_header_that_is_not_in_row_1_is_said_with_its_row() -> None:
    problem = whole("Corrib 2024;;\n;;\nwhen;what;\nname;price;remark\nA;1;x\n")
    assert problem.row == 1
    assert "in row 4" in problem.message
    assert "rows 1 to 3" in problem.message


def test_blank_rows_above_the_header_are_said_and_keep_the_numbers() -> None:
    found = table("\n\nname;price\nA;1\n")
    assert cells(found) == [(4, ["A", "1"])]
    assert found.problems[0].code == "blank_above"


def test_titles_above_the_header_are_passed_over_and_keep_the_numbers() -> None:
    """Common practice of spreadsheets, no source: a title, its day, a blank row, then the headers."""
    found = table("Seen prices;;\n30.06.2025;;\n;;\nname;price;remark\nA;1;x\n")
    assert cells(found) == [(5, ["A", "1", "x"])]
    assert found.problems[0].code == "blank_above"


def test_a_row_of_the_table_above_its_header_is_never_passed_over() -> None:
    assert whole("A;1\nname;price\nB;2\n").code == "late_header"


def test_header_only_and_a_million_columns() -> None:
    assert whole("name;price\n\n").code == "no_rows"
    assert whole("a;" * 1_000_000 + "\n1;2\n").code == "too_wide"


def test_a_mapped_header_comes_before_our_own_name() -> None:
    found = table("name;price;note;remark\nA;1;x;y\n")
    assert list(found.cells[found.header.places["note"]]) == ["y"]
    assert [p.code for p in found.problems] == ["unused_column"]


def test_columns_are_lettered_as_in_a_spreadsheet() -> None:
    assert [letter(n) for n in (0, 25, 26, 51, 701, 702)] == ["A", "Z", "AA", "AZ", "ZZ", "AAA"]


# ---- properties ----------------------------------------------------------------------------------------------------

CELL = st.text(st.sampled_from('ab1;,"\n\t |ä'), max_size=6)


def written(row: list[str], sign: str) -> str:
    return sign.join('"' + cell.replace('"', '""') + '"' for cell in row)


@given(st.lists(st.lists(CELL, min_size=2, max_size=2), min_size=1, max_size=6), st.sampled_from([";", ",", "\t", "|"]))
def test_every_quoted_table_comes_back(rows: list[list[str]], sign: str) -> None:
    text = "\r\n".join(written(row, sign) for row in rows) + "\r\n"
    found = list(split_rows(split_lines(text), sign))
    assert [raw.cells for raw in found] == rows
    assert [raw.row for raw in found] == list(range(1, len(rows) + 1))


@given(st.one_of(st.binary(max_size=80), st.text('name;price\n"A1,\t|\r ', max_size=80).map(str.encode)),
       st.sampled_from([b"", b"name;price;note\n", b'"name","price"\r\n', b"\xff\xfe", b"\xef\xbb\xbf"]))  # fmt: skip
def test_any_bytes_are_a_table_or_a_file_error(data: bytes, start: bytes) -> None:
    try:
        found = table_from_text(decode(start + data, "prices.csv"), "prices.csv", WANTED)
    except FileError:
        return
    assert found.read - len(found) == sum(one.level is Level.REFUSED for one in found.problems)
    assert found.read > 0
    assert len(found.cells) == len(found.header.cells)


@pytest.mark.parametrize("encoding", ["cp850", "cp437"])
def test_the_encoding_advised_for_an_old_pcs_file_shows_its_letters(encoding: str) -> None:
    text = "Serie;Stück;Zustand;Preis\nBurren;4;mäßig, schön für Größe;400\n"
    with pytest.raises(FileError, match='encoding = "cp850"'):
        decode(text.encode(encoding), "prices.csv")
    assert decode(text.encode(encoding), "prices.csv", "cp850").text == text
