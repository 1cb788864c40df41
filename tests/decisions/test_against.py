"""The original that a customer names: its price at the door, where it stands, the better buy. By hand."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from kitvalue.commands.folder import ShopFolder
from kitvalue.market.encoding import Kit
from kitvalue.market.outlook import outlook
from tests.shops import run, sample_shop

PLAN = "seven-piece"  # of its original: condition 3, freight 90, repair 250 of seven drums, no duty; finished: 5


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sample_shop(tmp_path_factory.mktemp("against"))


@pytest.mark.parametrize(
    ("options", "pieces", "condition", "door"),
    [
        ("--pieces 5 --condition 2 --freight 120 --repair 300", 5, 2, 2100 + 120 + 300),
        ("", 7, 3, 2100 + 90 + 250),
        ("--pieces 4", 4, 3, 2100 + 90 + 250 * 4 / 7),
        ("--condition freshen --freight 0", 7, 4, 2100 + 0 + 250),
        ("--condition 5", 7, 5, 2100 + 90),  # as good as the build: nothing to put right
        ("--pieces 9 --repair 0", 9, 3, 2100 + 90),
    ],
)
def test_what_it_comes_to_and_where_it_stands(
    options: str, pieces: int, condition: float, door: float, shop: Path
) -> None:
    told = run(shop, "compare", PLAN, "--against", "2100", *options.split(), "--json").data
    against = told["against"]
    assert (against["pieces"], against["condition"]) == (pieces, condition)
    assert against["door"] == pytest.approx(door, abs=0.005)
    fit = ShopFolder(shop, date.today()).market.fit
    sample = outlook(fit, Kit("Inishmore", pieces, condition, "sold", "private")).sample
    assert against["share_below"] == pytest.approx((sample < 2100).mean())  # freight and repair are the same on all
    sizes = {row["pieces"]: row["landed_at_price"] for row in told["by_pieces"]}
    assert against["ours_pieces"] == (pieces if pieces in sizes else 7)
    ours = sizes[against["ours_pieces"]]
    code = "ours_cheaper" if door > ours else "original_cheaper"
    assert against["verdict"]["code"] == ("level" if abs(door - ours) <= 0.03 * door else code)
    assert told["verdict"] == against["verdict"]


def test_duty_and_import_vat_are_those_of_the_plans_original(shop: Path) -> None:
    plan = shop / "builds" / f"{PLAN}.toml"
    before = plan.read_text(encoding="utf-8")
    plan.write_text(before.replace("[original]", "[original]\nduty = 4\nimport_vat = 23"), encoding="utf-8")
    told = run(shop, "compare", PLAN, "--against", "2100", "--freight", "120", "--json").data
    plan.write_text(before, encoding="utf-8")
    assert told["against"]["door"] == pytest.approx((2100 + 120) * 1.04 * 1.23 + 250, abs=0.005)


def test_the_first_lines_say_it_and_which_size_of_ours(shop: Path) -> None:
    smaller = run(shop, "compare", PLAN, "--against", "2100", "--pieces", "5").out
    assert smaller.startswith("The original is ")
    assert "Ours is the build with 5 of its 7 drums." in smaller
    assert "not offered with 9" in run(shop, "compare", PLAN, "--against", "2100", "--pieces", "9").out


def test_the_plans_repair_is_said_where_the_grade_is_another(shop: Path) -> None:
    line = ("compare", PLAN, "--against", "2100", "--condition", "2")
    assert "planned_repair" in run(shop, *line, "--json").data["caution_codes"]
    assert "planned_repair" not in run(shop, *line, "--repair", "300", "--json").data["caution_codes"]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("--pieces 5", "add --against PRICE"),
        ("--against 9e8", "is no price from"),
        ("--against 2100 --pieces 21", "1 to 20"),
        ("--against 2100 --condition 6", "is no condition"),
        ("--against 2100 --repair -1", "write 0 or an amount above 0"),
    ],
)
def test_what_is_wrong_is_one_line(line: str, said: str, shop: Path) -> None:
    ran = run(shop, "compare", PLAN, *line.split())
    assert ran.status == 2
    assert said in ran.err
    assert len(ran.err.splitlines()) == 1
