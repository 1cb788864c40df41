"""The pages to hand out, through the command line: what is written where, and what is refused in one line."""

from __future__ import annotations

import re
import sys
import xml.etree.ElementTree as ElementTree
from pathlib import Path

import pytest

from kitvalue.intake.settings.plan import read_plan
from kitvalue.intake.settings.shop import read_shop
from tests.pages.markup import page_of
from tests.shops import Ran, run, sample_shop

PNG = b"\x89PNG\r\n\x1a\n"


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sample_shop(tmp_path_factory.mktemp("printing"))


def written(ran: Ran) -> list[Path]:
    assert ran.status == 0, ran.err
    return [Path(path) for path in ran.data["written"]]


def test_a_sheet_is_written_under_its_plans_name(shop: Path) -> None:
    (path,) = written(run(shop, "sheet", "seven-piece", "--json"))
    assert path == shop / "out" / "sheet-seven-piece.html"
    text = page_of(path.read_text(encoding="utf-8")).text
    price = run(shop, "price", "seven-piece", "--json").data["suggested"]
    assert f"€{price:,.0f}" in text
    shares = run(shop, "compare", "seven-piece", "--json").data["share_below_tie_at_price"]
    assert round(20 * shares) == 19
    assert "nineteen in twenty" in text
    assert "two years on shells, hardware and our work" in text


@pytest.mark.parametrize(
    ("language", "words"), [("en", "Or a used original?"), ("de", "Oder ein gebrauchtes Original?")]
)
def test_the_language_is_chosen(shop: Path, language: str, words: str) -> None:
    (path,) = written(run(shop, "sheet", "inishmore-restored", "--lang", language, "--json"))
    page = page_of(path.read_text(encoding="utf-8"))
    assert page.all("html")[0].attributes["lang"] == language
    assert words in page.text


def test_nothing_of_the_price_book_rows_is_on_a_sheet(shop: Path) -> None:
    (path,) = written(run(shop, "sheet", "inishmore-restored", "--json"))
    text = page_of(path.read_text(encoding="utf-8")).all("body")[0].text
    book = (shop / "prices.csv").read_text(encoding="utf-8-sig").splitlines()
    head = book[0].split(";")
    at = [head.index(name) for name in ("ref", "note") if name in head]
    private = {cells[i].strip('"') for cells in (row.split(";") for row in book[1:]) for i in at}
    private = {cell for cell in private if len(cell) > 3}
    assert len(private) > 10
    assert [cell for cell in private if cell in text] == []
    plan = read_plan("inishmore-restored", shop, read_shop(shop))
    assert f"{plan.donor[0].price:,.2f}" not in text
    assert f"{plan.donor[0].price:,.0f}" not in text


def test_options_hide_the_costs_or_show_the_purchases(shop: Path) -> None:
    def sheet(*options: str) -> str:
        (path,) = written(run(shop, "sheet", "seven-piece", *options, "--json"))
        return page_of(path.read_text(encoding="utf-8")).text

    assert "How the price comes about" in sheet()
    assert "How the price comes about" not in sheet("--hide-costs")
    assert "Used drums, bought in" not in sheet()
    assert "Used drums, bought in" in sheet("--show-purchases")


def test_the_pdf_stands_beside_the_page(shop: Path) -> None:
    pytest.importorskip("fpdf")
    html, pdf = written(run(shop, "sheet", "seven-piece", "--pdf", "--json"))
    assert pdf == html.with_suffix(".pdf")
    assert pdf.read_bytes().startswith(b"%PDF-")


def test_without_its_library_pdf_is_refused_in_one_line_and_nothing_is_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop = sample_shop(tmp_path)
    monkeypatch.setitem(sys.modules, "fpdf", None)
    monkeypatch.delitem(sys.modules, "kitvalue.pages.sheet.pdf", raising=False)
    ran = run(shop, "sheet", "seven-piece", "--pdf")
    assert ran.status == 2
    assert len(ran.err.splitlines()) == 1
    assert 'pip install "kitvalue[pdf]"' in ran.err
    assert not (shop / "out" / "sheet-seven-piece.html").exists()


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("sheet", "no-such"), "there is no plan"),
        (("sheet", "seven-piece", "--lang", "xx"), "write de or en"),
        (("card", "--plan", "no-such"), "there is no plan"),
    ],
)
def test_slips_are_told_in_one_line(shop: Path, args: tuple[str, ...], words: str) -> None:
    ran = run(shop, *args)
    assert ran.status == 2
    assert len(ran.err.splitlines()) == 1
    assert words in ran.err


def test_a_shop_without_promises_is_told_so(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    text = (shop / "shop.toml").read_text(encoding="utf-8")
    (shop / "shop.toml").write_text(re.split(r"(?m)^\[promise", text)[0], encoding="utf-8")
    said = run(shop, "sheet", "seven-piece", "--lang", "de", "--json").data["cautions"]
    assert any("[promise.de]" in caution for caution in said)


def test_the_card_is_small_and_carries_the_plans_ceilings(shop: Path) -> None:
    (path,) = written(run(shop, "card", "--json"))
    assert path == shop / "out" / "card.html"
    plain = path.read_text(encoding="utf-8")
    assert path.stat().st_size < 60_000
    assert "Ceilings for" not in plain
    (path,) = written(run(shop, "card", "--plan", "inishmore-restored", "--json"))
    row = next(e for e in page_of(path.read_text(encoding="utf-8")).all("tr") if "Donor A" in e.text)
    (stop,) = (float(e.text.replace(",", "")) for e in row.all("td"))
    plan = read_plan("inishmore-restored", shop, read_shop(shop))
    assert float(plan.donor[0].price) < stop  # the plan as written pays


def test_the_reports_pictures_are_written_as_files(shop: Path, tmp_path: Path) -> None:
    place = tmp_path / "pictures"
    paths = written(run(shop, "report", "--charts", str(place), "--json"))
    page = page_of(paths[0].read_text(encoding="utf-8"))
    figures = [e.attributes["id"] for e in page.all("figure")]
    assert sorted(p.name for p in paths[1:]) == sorted(f"{name}.{kind}" for name in figures for kind in ("svg", "png"))
    assert set(place.iterdir()) == set(paths[1:])
    for path in paths[1:]:
        data = path.read_bytes()
        if path.suffix == ".png":
            assert data.startswith(PNG)
        else:
            root = ElementTree.fromstring(data)
            assert root.tag == "{http://www.w3.org/2000/svg}svg"
            assert "kv" not in re.findall(r"kv[0-9a-f]{8,}vk", data.decode())
            assert not re.search(r"kv([0-9a-f]{2})+vk", data.decode())


def test_a_place_for_pictures_that_cannot_be_is_refused_before_any_work(shop: Path, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    ran = run(shop, "report", "--charts", str(tmp_path / "file" / "pictures"))
    assert ran.status == 2
    assert len(ran.err.splitlines()) == 1
