"""A sheet in which 1 is the best condition: what every answer says of it, and that mapping its numbers cures it."""

from __future__ import annotations

import csv
import io
from decimal import Decimal
from pathlib import Path

import pytest

from kitvalue.decisions.named import KitNamed, read_kit
from kitvalue.intake.settings.shop import read_shop
from kitvalue.intake.text.problems import texts
from tests.shops import run, sample_shop

LEAD = "conditions look upside down"
PLAN = "seven-piece"
OURS = {"1": "wipe", "2": "freshen", "3": "mend", "4": "remake", "5": "harvest"}
KIT = ("--series", "Burren", "--pieces", "5", "--condition", "3")
WORDS = {"wipe": "5", "freshen": "4", "mend": "3", "remake": "2", "harvest": "1"}


def turn(path: Path) -> None:
    """Rewrite a table's conditions as school marks: 6 less our grade."""
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8-sig")), delimiter=";"))
    at = rows[0].index("condition")
    for row in rows[1:]:
        ours = WORDS.get(row[at], row[at]).replace(",", ".")
        if ours:
            row[at] = format((6 - Decimal(ours)).normalize(), "f").replace(".", ",")
    out = io.StringIO()
    csv.writer(out, delimiter=";").writerows(rows)
    path.write_text(out.getvalue(), encoding="utf-8")


def turned_shop(place: Path) -> Path:
    shop = sample_shop(place, fitted=False)
    turn(shop / "prices.csv")
    turn(shop / "offers.csv")
    return shop


def mapped(shop: Path) -> Path:
    """The shop with its numbers, halves too, under [prices.words.condition]."""
    halves = {f"{n},5": f"{5.5 - n:g}" for n in range(1, 5)}
    lines = [f'"{mark}" = "{ours}"' for mark, ours in (OURS | halves).items()]
    path = shop / "shop.toml"
    text = path.read_text(encoding="utf-8")
    heading = "[prices.words.condition]"
    more = "\n".join([heading, *lines, ""])
    path.write_text(text.replace(f"{heading}\n", more) if heading in text else f"{text}\n{more}", encoding="utf-8")
    return shop


@pytest.fixture(scope="module")
def turned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A shop of turned grades, fitted."""
    shop = turned_shop(tmp_path_factory.mktemp("turned"))
    assert run(shop, "fit", "--json").data["cautions"][0].startswith(LEAD)
    return shop


@pytest.mark.parametrize("line", [("fit",), ("value", *KIT), ("price", PLAN), ("compare", PLAN)])
def test_no_answer_leads_without_the_caution(turned: Path, line: tuple[str, ...]) -> None:
    ran = run(turned, *line)
    assert ran.status == 0
    assert ran.out.startswith(f"Take care: {LEAD}")
    assert ran.out.count("look upside down") == 1
    for mapping in ('"2" = "freshen"', '"4" = "remake"'):
        assert mapping in " ".join(ran.out.split())


@pytest.mark.parametrize(
    "line", [("fit",), ("value", *KIT), ("price", PLAN), ("compare", PLAN), ("shortlist",), ("report",), ("card",)]
)
def test_the_caution_is_the_first_of_all(turned: Path, line: tuple[str, ...]) -> None:
    cautions = run(turned, *line, "--json").data["cautions"]
    assert cautions[0].startswith(LEAD)
    assert len(cautions) == len(set(cautions))


def test_from_a_fresh_fit_too(turned: Path) -> None:
    (turned / "out" / "fit.json").unlink()
    assert run(turned, "value", *KIT, "--json").data["cautions"][0].startswith(LEAD)


def test_the_report_says_so_above_everything_else(turned: Path) -> None:
    run(turned, "report")
    page = (turned / "out" / "report.html").read_text(encoding="utf-8")
    assert page.index("Conditions look upside down") < page.index("<section id=")
    assert page.rindex("Conditions look upside down") < page.rindex("Market values are estimates")


def test_the_sample_as_it_is_leads_with_no_caution(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    assert not run(shop, "value", *KIT).out.startswith("Take care")
    run(shop, "report")
    assert "upside down" not in (shop / "out" / "report.html").read_text(encoding="utf-8")


def test_mapped_numbers_give_the_figures_of_the_sheet_as_it_was(tmp_path: Path) -> None:
    shop = mapped(turned_shop(tmp_path))
    straight = sample_shop(tmp_path / "straight")
    for line in (("value", *KIT), ("value", *KIT[:-1], "4.5"), ("shortlist", "--plan", PLAN), ("compare", PLAN)):
        one, other = run(shop, *line, "--json"), run(straight, *line, "--json")
        assert one.status == other.status == 0
        data = one.data
        data["cautions"] = [text for text in data["cautions"] if "is our grade" not in text]
        data["caution_codes"] = [code for code in data["caution_codes"] if code != "our_grade"]
        assert data == other.data


def test_numbers_on_the_command_line_are_ours_and_the_answer_says_so(tmp_path: Path) -> None:
    shop = read_shop(mapped(turned_shop(tmp_path)))

    def asked(condition: str, finished: str | None = None) -> tuple[float, float | None, tuple[str, ...]]:
        read = read_kit(shop, ("Burren",), (), KitNamed("Burren", 5, condition, finished, (), None))
        return read.kit.condition, read.finished, texts(read.cautions)

    said = "--condition 2 is our grade 2 (remake); in your files it stands for grade 4 (freshen)"
    assert asked("2") == (2.0, None, (said,))
    assert asked("freshen", "3") == (4.0, 3.0, ())
    half = "--finished 4.5 is our grade 4.5; in your files it stands for grade 1.5"
    assert asked("mend", "4.5") == (3.0, 4.5, (half,))


def test_an_advert_is_jotted_in_the_numbers_of_the_sheet(tmp_path: Path) -> None:
    shop = mapped(turned_shop(tmp_path))
    assert run(shop, "jot", "Burren, 5 pieces, Zustand: 2, 450 EUR", "--yes").status == 0
    assert (shop / "prices.csv").read_text(encoding="utf-8").splitlines()[-1].split(";")[3] == "2"
    assert run(shop, "check", "--rows", "--json").data["rows"][-1]["condition"] == 4
