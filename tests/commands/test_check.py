"""`check`: every file read, like problems in one line, one thing to do first."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.shops import Ran, run, sample_shop

HEADER = "series;pieces;condition;price;date;note;ref\n"
SETTINGS = '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n'


def checked(shop: Path, rows: str, settings: str = SETTINGS, *args: str) -> Ran:
    shop.joinpath("shop.toml").write_text(settings, encoding="utf-8")
    shop.joinpath("prices.csv").write_text(HEADER + rows, encoding="utf-8")
    return run(shop, "check", *args)


def test_every_file_is_counted(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    rates = "date;currency;rate\n2024-01-01;CHF;1,05\n2024-02-01;CHF;x\n"
    shop.joinpath("rates.csv").write_text(rates, encoding="utf-8")
    shop.joinpath("done.csv").write_text("plan;finished_on;hours\nseven-piece;2024-03-01;30\n", encoding="utf-8")
    shop.joinpath("builds", "broken.toml").write_text("title = 1\n", encoding="utf-8")
    data = run(shop, "check", "--json").data
    assert [(one["file"], one["read"], one["used"], one["refused"]) for one in data["files"]] == [
        ("prices.csv", 160, 156, 0), ("offers.csv", 12, 12, 0), ("parts.csv", 13, 13, 0), ("rates.csv", 2, 1, 1),
        ("done.csv", 1, 1, 0),
    ]  # fmt: skip
    assert {one["file"]: one["usable"] for one in data["plans"]} == {
        "builds/broken.toml": False, "builds/inishmore-restored.toml": True, "builds/seven-piece.toml": True,
    }  # fmt: skip
    assert sum(problem["file"] == "rates.csv" for problem in data["problems"]) == 1
    ran = run(shop, "check")
    assert ran.status == 2
    assert "rates.csv: 2 rows read, 1 used, 1 refused" in ran.out
    assert "builds: 3 plans read, 2 usable (not broken.toml)" in ran.out


def test_problems_of_one_kind_share_a_line_and_json_keeps_each(tmp_path: Path) -> None:
    rows = "".join(f"Burren;4;3;{price};;;\n" for price in ("450-500", "480", "500-550", "1-2", "VB", "x"))
    ran = checked(tmp_path, rows)
    lines = ran.err.splitlines()
    (line,) = [line for line in lines if "is a range" in line]
    assert 'row 2, column price: "450-500" is a range' in line
    assert "2 more like it, rows 4 and 5" in line
    assert "First: mend prices.csv, column price, in rows 2, 4 and 5: write one amount" in ran.out
    data = checked(tmp_path, rows, SETTINGS, "--json").data
    assert [p["row"] for p in data["problems"] if p["code"] == "range"] == [2, 4, 5]
    assert data["first"].startswith("mend prices.csv")


def test_another_cure_is_another_kind(tmp_path: Path) -> None:
    rows = "".join(f"{name};4;3;480;;;\n" for name in ("Buren", "Burrenn", "Burren?", "Slan", "Slanee", "Slane1"))
    err = checked(tmp_path, rows, SETTINGS + "[series.Burren]\n[series.Slane]\n").err
    (one, other) = [line for line in err.splitlines() if "did you mean" in line]
    assert "row 2," in one
    assert "did you mean Burren? " in one
    assert 'under [series.Burren] (and 2 more like it, rows 3 and 4; also "Burrenn", "Burren?")' in one
    assert "did you mean Slane? " in other
    assert 'under [series.Slane] (and 2 more like it, rows 6 and 7; also "Slanee", "Slane1")' in other


def pasted(ran: Ran) -> dict[str, list[str]]:
    """The lines to paste, by the line that announces them."""
    text = ran.out.split("\nPaste into ")[1:]
    return {one.split(":\n\n")[0].replace("\n", " "): one.split(":\n\n")[1].strip().splitlines() for one in text}


def test_every_word_to_map_is_printed_once_to_paste(tmp_path: Path) -> None:
    rows = "".join(f"Burren;4;{word};480;;;\n" for word in ("gut", "mittel", "GUT", "gut", "Teileträger", "mittel"))
    ran = checked(tmp_path, rows)
    (line,) = [line for line in ran.err.splitlines() if "no bench grade" in line]
    assert line.endswith("(and 5 more like it, rows 3, 4, 5, 6 and 7)")
    ((place, lines),) = pasted(ran).items()
    assert place == "shop.toml; where the right side is open, write wipe, freshen, mend, remake or harvest"
    words = ['"gut" = ""  # 3 rows', '"mittel" = ""  # 2 rows', '"Teileträger" = "harvest"  # 1 row']
    assert lines == ["[prices.words.condition]", *words]
    filled = "\n".join(lines).replace('""', '"mend"')
    again = checked(tmp_path, rows, SETTINGS + filled)
    assert (again.status, pasted(again)) == (0, {})


def test_lines_go_under_a_heading_that_stands_already(tmp_path: Path) -> None:
    settings = SETTINGS + '[prices.words.condition]\n"good" = "freshen"\n'
    ((place, lines),) = pasted(checked(tmp_path, "Burren;4;freshn;480;;;\n", settings)).items()
    assert place == "shop.toml under [prices.words.condition], line 4"
    assert lines == ['"freshn" = "freshen"  # 1 row']


def test_words_of_channels_and_features_in_both_files(tmp_path: Path) -> None:
    settings = SETTINGS + '[prices.columns]\nchannel = "Wo"\n[prices.features]\nhardware = "yes-no"\n'
    tmp_path.joinpath("shop.toml").write_text(settings, encoding="utf-8")
    rows = 'Burren;4;fine;480;Forum Auktion;x\nBurren;4;3;490;Say "hi";-\n'
    tmp_path.joinpath("prices.csv").write_text("series;pieces;condition;price;Wo;hardware\n" + rows, encoding="utf-8")
    offers = "offer;series;pieces;condition;price;bought_from\na;Burren;4;fine;300;friend\n"
    tmp_path.joinpath("offers.csv").write_text(offers, encoding="utf-8")
    assert list(pasted(run(tmp_path, "check")).values()) == [
        ["[prices.words.condition]", '"fine" = ""  # 2 rows'],
        ["[prices.words.channel]", '"Forum Auktion" = "auction"  # 1 row', '"Say \\"hi\\"" = ""  # 1 row'],
        ["[prices.words.hardware]", '"x" = ""  # 1 row', '"-" = ""  # 1 row'],
    ]


def test_headers_of_ones_own_are_printed_to_paste(tmp_path: Path) -> None:
    tmp_path.joinpath("shop.toml").write_text(SETTINGS, encoding="utf-8")
    text = "Gesehen am;Wo;Serie / Modell;Teile;Farbe;VK\n3.4.2024;privat;Burren;4;rot;480\n"
    tmp_path.joinpath("prices.csv").write_text(text, encoding="utf-8")
    ran = run(tmp_path, "check")
    (line,) = [line for line in ran.err.splitlines() if "are missing" in line]
    assert 'such as series = "Serie / Modell"' in line
    ((place, lines),) = pasted(ran).items()
    assert place == "shop.toml; where the right side is open, write the header in the file"
    assert lines == [
        "[prices.columns]", 'series = "Serie / Modell"', 'pieces = "Teile"', 'condition = ""', 'price = "VK"',
        'date = "Gesehen am"', 'channel = "Wo"',
    ]  # fmt: skip
    tmp_path.joinpath("shop.toml").write_text(SETTINGS + "\n".join(lines), encoding="utf-8")
    ran = run(tmp_path, "check")  # a line that is still open is no mistake: it waits
    assert "column condition is missing" in ran.err
    assert "Fill in shop.toml, line 7 under [prices.columns]: write the header in the file" in ran.out


def test_an_offer_that_can_be_two_amounts_is_told_how_prices_are_read(tmp_path: Path) -> None:
    offers = 'offer;series;pieces;condition;price\na;Burren;4;3;"$1,100"\n'
    tmp_path.joinpath("offers.csv").write_text(offers, encoding="utf-8")
    told = '(prices.csv is read with decimal = ".")'
    ran = checked(tmp_path, "Burren;4;3;480.50;;;\n")
    assert ran.status == 2
    assert told in ran.err
    assert "undecided" not in ran.out
    assert told not in checked(tmp_path, "Burren;4;3;480;;;\n").err


def test_a_title_over_the_headers_is_taken_for_one(tmp_path: Path) -> None:
    ran = checked(tmp_path, "")
    (tmp_path / "prices.csv").write_text("My kits;;;\nSerie;Anzahl;Zustand;Preis\nBurren;4;3;480\n", encoding="utf-8")
    ran = run(tmp_path, "check")
    assert ran.status == 2
    assert 'if "My kits" is a title, delete the rows above the headers; else rename it' in ran.err


def test_two_of_a_kind_stay_apart_and_in_the_files_order(tmp_path: Path) -> None:
    err = checked(tmp_path, "Burren;4;3;x;;;\nBurren;0;3;480;;;\nBurren;4;3;y;;;\n").err
    rows = [line.split(",")[0] for line in err.splitlines() if "warning" not in line]
    assert rows == ["prices.csv row 2", "prices.csv row 3", "prices.csv row 4"]


@pytest.mark.parametrize(
    ("rows", "first"),
    [
        ("Burren;4;3;1.250;;;\n", "nothing of prices.csv is used"),
        ("Burren;4;3;480;;;\n", "add kits to prices.csv: it has 1 usable row"),
    ],
)
def test_what_to_do_first(tmp_path: Path, rows: str, first: str) -> None:
    assert first in checked(tmp_path, rows).out


def near(shop: Path, *rows: str) -> list[int]:
    data = checked(shop, "".join(f"{row}\n" for row in rows), SETTINGS, "--json").data
    assert data["files"][0]["used"] == len(rows)
    return [problem["row"] for problem in data["problems"] if problem["code"] == "near_duplicate"]


def test_relistings_without_a_ref_are_warned_of(tmp_path: Path) -> None:
    assert near(
        tmp_path,
        "Burren;4;3;520;2023-04-03;red, ad 17;",
        "Burren;4;3;480;2023-04-20;red, ad 17, relisted;",
        "Burren;4;3;450;2023-05-02;red, ad 17, relisted again;",
        "Burren;4;3;520;2023-04-03;blue, ad 31;",
    ) == [3, 4]  # fmt: skip
    assert near(tmp_path, "Slane;4;3;300;2023-04-03;;", "Slane;4;3;300;2023-04-20;;a1") == [3]
    cheaper = ("Slane;4;3;285;2023-04-20;;", "Slane;4;3;270;2023-05-08;;")  # 5 % a time, common practice, no source
    assert near(tmp_path, "Slane;4;3;300;2023-04-03;;", *cheaper) == [3, 4]


@pytest.mark.parametrize(
    "other",
    [
        "Slane;4;3;300;2023-08-20;;", "Slane;4;3;310;2023-04-20;;", "Slane;5;3;300;2023-04-20;;",
        "Slane;4;3;280;2023-04-20;another;", "Slane;4;3;250;2023-04-20;;",
        "Slane;4;3;300;2023-04-20;another;b2", "Slane;4;3;300;;;", "Kilbeg;4;3;300;2023-04-20;;",
    ],
)  # fmt: skip
def test_other_kits_are_not(tmp_path: Path, other: str) -> None:
    assert near(tmp_path, "Slane;4;3;300;2023-04-03;one;a1", other) == []


def test_a_close_spelling_is_named(tmp_path: Path) -> None:
    rows = "Burren;4;3;480;;;\nBurren;5;3;490;;;\nBuren;4;3;470;;;\n"
    assert "did you mean Burren?" in checked(tmp_path, rows).err
    assert "did you mean Burren?" in checked(tmp_path, rows, SETTINGS + "[series.Burren]\n").err


def test_a_makers_name_alone_is_no_slip_of_one_series(tmp_path: Path) -> None:
    rows = "".join(f"{name};4;3;{price};;;\n" for price, name in enumerate(
        ("Corrib Slane", "Corrib Slane", "Corrib Kilbeg", "Corrib", "Slane 2"), 480
    ))  # fmt: skip
    (line,) = [line for line in checked(tmp_path, rows).err.splitlines() if "series;" in line]
    assert '"Corrib" in row 5 can be any of Corrib Slane or Corrib Kilbeg' in line


def test_a_title_is_offered_for_no_column(tmp_path: Path) -> None:
    tmp_path.joinpath("shop.toml").write_text(SETTINGS, encoding="utf-8")
    tmp_path.joinpath("prices.csv").write_text("Kits and dates of 2026\nBurren,4,3,480\n", encoding="utf-8")
    ran = run(tmp_path, "check")
    assert "is a title, delete the rows above the headers" in ran.err
    assert "Paste" not in ran.out


def test_what_is_right_is_enough_to_go_on(tmp_path: Path) -> None:
    tmp_path.joinpath("shop.toml").write_text(SETTINGS, encoding="utf-8")
    book = "series,pieces,condition,price\n" + "".join(f"Burren,4,3,{n}\n" for n in range(480, 492))
    tmp_path.joinpath("prices.csv").write_text(
        book + "Burren,4,fine,500\nBurren,4,fair,510\nBurren,5,fair,520\n", encoding="utf-8"
    )
    out = " ".join(run(tmp_path, "check").out.split())
    assert "First: say in shop.toml what the words of column condition mean: 3 rows wait for it" in out
    assert "Or go on: the 12 rows of prices.csv that are right are enough for answers" in out
    tmp_path.joinpath("prices.csv").write_text(book.replace(",480\n", ",x\n"), encoding="utf-8")
    assert "Or go on" not in run(tmp_path, "check").out


def test_how_a_list_of_sizes_was_taken_is_nothing_to_look_at(tmp_path: Path) -> None:
    tmp_path.joinpath("shop.toml").write_text(SETTINGS, encoding="utf-8")
    head = "series,pieces,condition,price,date,price_kind,channel,currency,freight\n"
    rows = "".join(f"Burren,22-10-12-16,3,{480 + n},2026-01-02,asked,private,EUR,{n}\n" for n in range(12))
    tmp_path.joinpath("prices.csv").write_text(head + rows, encoding="utf-8")
    ran = run(tmp_path, "check")
    assert "12 rows read, 12 used" in ran.out
    assert "nothing to mend\nFirst: run kitvalue fit; nothing must be mended before" in ran.out
    assert '"22-10-12-16" lists sizes: as many drums count, 4 (and 11 more like it' in ran.err
