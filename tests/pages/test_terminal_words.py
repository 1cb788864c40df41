"""What the answers say where a figure alone would leave a newcomer guessing."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.shops import book_shop, run, sample_shop

COLUMNS = ("series", "pieces", "condition", "price", "price_kind", "channel")
VALUE = ("value", "--pieces", "5", "--condition", "3", "--series")
FAR = "COD, PRD and PRB count every row in full"


def words(text: str) -> str:
    """The text without its line breaks."""
    return " ".join(text.split())


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sample_shop(tmp_path_factory.mktemp("words"))


def private_book(place: Path, slip: str | None = None, offers: bool = False) -> Path:
    """A book of private sightings only; `slip` takes the place of one price."""
    draw = random.Random(7)
    rows = []
    for i in range(30):
        series, base = (("Burren", 300), ("Slane", 250), ("Kilbeg", 420))[i % 3]
        price = base * (1 + 0.15 * (i % 4)) * draw.uniform(0.85, 1.15)
        rows.append((series, 3 + i % 4, 3 + i % 3, f"{price:.2f}", ("asked", "sold")[i // 3 % 2], "private"))
    if slip is not None:
        rows[4] = (*rows[4][:3], slip, *rows[4][4:])
    shop = book_shop(place, "", COLUMNS, [dict(zip(COLUMNS, row, strict=True)) for row in rows])
    if offers:
        (shop / "offers.csv").write_text(
            "offer,series,pieces,condition,price\nX1,Burren,5,3,250.00\n", encoding="utf-8"
        )
    return shop


def test_the_same_figure_twice_says_why(tmp_path: Path, sample: Path) -> None:
    why = "resale equals buy-in: the same condition, and no dealer's price to tell apart"
    shop = private_book(tmp_path / "private")
    assert why in run(shop, *VALUE, "Burren").out
    assert why not in run(shop, *VALUE, "Burren", "--finished", "5").out
    assert why not in run(sample, *VALUE, "Burren").out  # this book has dealers


def test_the_report_says_of_the_resale_value_what_value_does(tmp_path: Path, sample: Path) -> None:
    shop = private_book(tmp_path / "private", offers=True)
    assert "resale is valued as a private sale (no dealer rows)" in words(run(shop, *VALUE, "Burren").out)
    assert run(shop, "report").status == 0
    page = (shop / "out" / "report.html").read_text(encoding="utf-8")
    assert "Resale is valued as a private sale (no dealer rows), in the condition it has now." in page
    assert "as a dealer sells it" not in page


def test_a_row_far_off_says_what_it_counts(sample: Path, tmp_path: Path) -> None:
    assert "far off: weighs 0." in run(sample, *VALUE, "Burren", "--details").out
    shop = private_book(tmp_path / "slip", slip="31000.00")
    told = run(shop, "value", "--series", "Slane", "--pieces", "3", "--condition", "4", "--details").out
    assert "far off: weighs nothing" in words(told)


def test_fit_explains_its_measures_and_what_a_slip_does_to_them(sample: Path, tmp_path: Path) -> None:
    told = run(sample, "fit").out
    for name in ("COD, spread of the ratios", "PRD, dear against cheap", "PRB, tilt with the price"):
        assert name in told
    assert f"{FAR}; rows 59 and 68 move them far" in told
    assert f"{FAR}; row 6 alone moves them far" in run(private_book(tmp_path / "slip", "31000.00"), "fit").out
    assert FAR not in run(private_book(tmp_path / "none"), "fit").out


def test_fit_says_of_which_kit_the_level_is_known(sample: Path) -> None:
    assert "of 4 pieces, condition 3 (mend), sold in private on the newest date" in words(run(sample, "fit").out)


@pytest.mark.parametrize("at", [900, 3100])
def test_the_price_asked_about_comes_first(at: int, sample: Path) -> None:
    asked = ("price", "seven-piece", "--at", str(at))
    told, data = words(run(sample, *asked).out), run(sample, *asked, "--json").data
    profit, market = data["profit"], data["market_price"]
    left = f"leaves {data['margin']:.1f} % instead of 18" if profit > 0 else f"loses {-profit:,.2f}"
    lead = told.split("(EUR, gross) ")[0]
    assert lead.startswith(f"{at:,} {left}; {data['floor'] - at:,.2f} less than the floor.")
    assert ("of originals cost more at the door" in lead) == (at > market)


@pytest.mark.parametrize(("plan", "at"), [("seven-piece", None), ("inishmore-restored", 2750)])
def test_above_the_market_the_share_of_dearer_originals_is_that_of_compare(
    plan: str, at: int | None, sample: Path
) -> None:
    """One measure in both answers: `hardly a buyer` never stands beside a large share of dearer originals."""
    asked = ("price", plan, *(() if at is None else ("--at", str(at))))
    told, dearer = words(run(sample, *asked).out), run(sample, *asked, "--json").data["originals_dearer"]
    assert f"above the market, {100 * dearer:.0f} % of originals cost more at the door" in told
    assert ("expect hardly a buyer" in told) == (dearer < 0.10)
    if at is None:
        assert dearer == run(sample, "compare", plan, "--json").data["chance_build_cheaper"]


def test_below_the_market_nothing_is_said_of_dearer_originals(sample: Path) -> None:
    told = words(run(sample, "price", "inishmore-restored").out)
    assert "of originals cost more" not in told
    assert "hardly a buyer" not in run(sample, "price", "inishmore-restored").out


def test_what_never_turns_the_answer_is_said_once(sample: Path) -> None:
    told = run(sample, "compare", "seven-piece", "--details").out
    assert told.count("that price leaves a loss") == 1
    names = "share, covering cost, freight of the original, condition of the original"
    assert f"at the market price: that price leaves a loss, whatever the value ({names})" in words(told)
    assert "- at cost: it does not enter the landed cost (share)" in told


def test_beside_an_answer_five_refusals_are_told_and_the_others_counted(tmp_path: Path) -> None:
    shop = private_book(tmp_path / "refused")
    book = shop / "prices.csv"
    lines = book.read_text(encoding="utf-8").splitlines()
    for at, broken in enumerate(["Burren,x,3,300,asked,private", "Burren,5,9,300,asked,private",
                                 "Burren,5,3,free,asked,private", "Burren,5,3,300,stolen,private",
                                 "Burren,5,3,300,asked,lorry", "Burren,5,3,-5,asked,private",
                                 "Burren,1.5,3,300,asked,private"], start=2):  # fmt: skip
        lines[at] = broken
    book.write_text("\n".join([*lines, ""]), encoding="utf-8")
    for command in ("fit", "report"):
        ran = run(shop, command)
        assert ran.status == 0
        told = ran.err.splitlines()
        assert len(told) == 6
        assert told[-1] == "and 2 more, 2 warnings: kitvalue check lists them"
        assert all(line.startswith("prices.csv row ") for line in told[:-1])
    assert len([line for line in run(shop, "check").err.splitlines() if line.startswith("prices.csv row ")]) == 7


def test_a_resale_below_the_buy_in_is_explained(tmp_path: Path) -> None:
    settings = '[shop]\nname = "Dock Road Drums"\ncurrency = "EUR"\n'
    rows = [f"Burren,{4 + n % 3},3,{500 + 9 * n},sold,private" for n in range(14)]
    rows += [f"Burren,{4 + n % 3},3,{380 + 9 * n},sold,dealer" for n in range(6)]
    (tmp_path / "shop.toml").write_text(settings, encoding="utf-8")
    book = "\n".join(["series,pieces,condition,price,price_kind,channel", *rows, ""])
    (tmp_path / "prices.csv").write_text(book, encoding="utf-8")
    kit = ("value", "--series", "Burren", "--pieces", "5", "--condition", "3")
    told = "resale is below buy-in: dealer rows lie under private ones in this book"
    assert told in run(tmp_path, *kit).out
    (tmp_path / "prices.csv").write_text(book.replace(",dealer", ",private"), encoding="utf-8")
    assert told not in run(tmp_path, *kit).out
