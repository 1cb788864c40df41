"""Drums: geometry against the units file, counts against what every drum builder knows."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest

from kitvalue.intake.settings.plan import DrumTable, PartLine, WorkLine
from kitvalue.intake.text.sizes import Size
from kitvalue.workshop.quantities import Counted, Quantity, buying_list, count
from tests import worked
from tests.checks import check_rows


def drum(size: str = "22x14", role: Any = "bass", **changes: Any) -> DrumTable:
    across, deep = size.split("x")
    values: dict[str, Any] = {
        "role": role, "size": Size(Decimal(across), Decimal(deep)), "from": changes.pop("from_", "A"), "positions": 8,
    }  # fmt: skip
    return DrumTable.model_validate(values | changes)


def part(per: str, **changes: Any) -> PartLine:
    return PartLine.model_validate({"what": "Part", "per": per, "each": 1} | changes)


def quantity(per: str, drums: list[DrumTable], **changes: Any) -> Decimal:
    counted = count(part(per, **changes), drums)
    assert isinstance(counted, Counted)
    return counted.quantity


@pytest.mark.parametrize("row", check_rows("units.csv", "inch_"), ids=lambda row: row["id"])
def test_inches_are_exact(row: dict[str, str]) -> None:
    one = drum(f"{row['input']}x{row['input']}")
    assert one.size.diameter_mm == one.size.depth_mm == Decimal(row["expected"])


@pytest.mark.parametrize("row", check_rows("units.csv", "shell_"), ids=lambda row: row["id"])
def test_shell_areas(row: dict[str, str]) -> None:
    for per in ("m2_outside", "m2_inside"):
        assert abs(quantity(per, [drum(row["input"])]) - Decimal(row["expected"])) <= Decimal(row["tolerance"])


# common practice, no source
@pytest.mark.parametrize(("per", "needed"), [("rod", 16), ("claw", 16), ("head", 2), ("hoop", 2), ("edge", 2)])
def test_a_double_headed_bass_drum_with_eight_positions(per: str, needed: int) -> None:
    assert quantity(per, [drum()]) == needed


# common practice, no source
@pytest.mark.parametrize(
    ("per", "needed"),
    [("head", 1), ("hoop", 1), ("edge", 1), ("rod", 6), ("position", 6), ("claw", 0), ("shell", 1)],
)
def test_a_tom_with_one_head(per: str, needed: int) -> None:
    assert quantity(per, [drum("12x8", "rack", heads=1, positions=6)]) == needed


def test_lines_for_the_kit_are_whole_while_one_of_their_drums_is_built() -> None:
    kit = [drum(), drum("12x8", "rack")]
    assert quantity("kit", kit) == 1
    assert quantity("each", kit, quantity=3, only=["bass"]) == 3
    assert quantity("each", kit, quantity=3, only=["floor"]) == 0
    assert quantity("hour", kit, quantity=Decimal("1.5")) == Decimal("1.5")
    assert quantity("hole", [drum(holes=3), drum(holes=2)]) == 5
    assert quantity("drum", kit) == quantity("shell", kit) == 2


def test_only_and_except_mean_roles_donors_new_and_ids() -> None:
    kit = [drum(id="B22"), drum("12x8", "rack", from_="B"), drum("16x16", "floor", from_="new", id="F")]

    def meant(**words: Any) -> list[str | None]:
        line = WorkLine.model_validate({"what": "Work", "per": "drum", "hours": 1} | words)
        return [d.role for d in line.chosen(kit)]

    assert meant() == ["bass", "rack", "floor"]
    assert meant(only=["bass", "B"]) == ["bass", "rack"]
    assert meant(only=["new"]) == ["floor"]
    assert meant(**{"except": ["B22", "F"]}) == ["rack"]
    assert meant(only=["A"], **{"except": ["bass"]}) == []


@pytest.mark.parametrize(
    ("line", "words"),
    [
        (part("sheet", sheet="0x610"), "above 0 mm"),
        (
            part("sheet", sheet="1370x300", turn=False),
            "the 22x14 bass: its strip is 1806 x 344 mm, and the sheet is 1370 x 300",
        ),
        (part("sheet", sheet="1370x610", clearance=200), "leaves nothing to cover"),
    ],
)
def test_sheets_that_cannot_be_counted_say_why(line: PartLine, words: str) -> None:
    counted = count(line, [drum()])
    assert isinstance(counted, str)
    assert words in counted


def test_the_buying_list() -> None:
    rows = buying_list([drum(), drum("12x8", "rack", heads=1, positions=6, from_="new"), drum("12x9", "rack")])
    assert Quantity('Heads 12"', Decimal(3), "head", "2 batter, 1 resonant") in rows
    assert Quantity('Heads 22"', Decimal(2), "head", "1 bass batter, 1 bass front") in rows
    by_drum = "16 for 22x14 bass, 6 for 12x8 rack, 16 for 12x9 rack"
    assert Quantity("Tension rods", Decimal(38), "rod", by_drum) in rows
    assert Quantity("Claws", Decimal(16), "claw", "bass drum") in rows
    assert Quantity("Hoops", Decimal(5), "hoop") in rows
    assert Quantity("Bearing edges", Decimal(5), "edge") in rows
    assert not any("to cover" in row.what for row in rows)
    assert Quantity("New shell 12x8 rack", Decimal(1), "shell") in rows
    assert not any(row.what == "Holes" for row in rows)


def test_shells_to_cut_down_are_in_the_buying_list() -> None:
    tom = Size(Decimal(14), Decimal(10))
    rows = buying_list([drum(), drum("14x5", "snare", positions=10, cut_from=tom)])
    assert Quantity("Shell of 14x10 to cut down", Decimal(1), "shell", "for the 14x5 snare") in rows
    assert Quantity("Tension rods", Decimal(36), "rod", "16 for 22x14 bass, 20 for 14x5 snare") in rows
    area = next(row.quantity for row in rows if row.what.startswith("Shell area"))
    assert area == drum().size.area_m2 + drum("14x5", "snare").size.area_m2  # as it is after the cut


def test_heads_say_what_they_are_for() -> None:
    rows = buying_list([drum("14x6.5", "snare", positions=10), drum("14x14", "floor"), drum("14x5", "snare", heads=1)])
    assert rows[0] == Quantity('Heads 14"', Decimal(5), "head", "2 snare batter, 1 snare side, 1 batter, 1 resonant")


def test_wooden_hoops_that_are_covered_are_in_the_buying_list() -> None:
    cover = {"what": "Cover hoops", "operation": "cover_hoop", "per": "hoop", "hours": 0.5, "only": ["bass"]}
    drums = [drum(), drum("12x8", "rack")]
    work = worked.plan(work=[cover, cover]).work  # covered once, however often it is said
    (row,) = [row for row in buying_list(drums, work) if "to cover" in row.what]
    # 22 inches round: pi * 558.8 mm
    assert row == Quantity('Hoops to cover 22"', Decimal(2), "hoop", "each a strip of 1756 mm and its overlap")
    assert not any("to cover" in row.what for row in buying_list(drums, worked.plan().work))


def test_the_strips_to_cut_add_up_to_their_length() -> None:
    counted = count(part("sheet", sheet="1370x610", turn=False), [drum(), drum("16x16", "floor")])
    assert isinstance(counted, Counted)
    bass, floor = counted.cuttings
    strip = bass.strip
    assert (strip.drum, len(bass.pieces), round(strip.length), round(strip.width)) == ("22x14 bass", 2, 1856, 344)
    assert sum(bass.pieces) == strip.length
    assert (floor.pieces, round(floor.strip.length)) == ((floor.strip.length,), 1327)
    assert all(piece <= 1370 for cutting in counted.cuttings for piece in cutting.pieces)


def test_drums_have_the_sizes_of_the_plan() -> None:
    plan = worked.plan(drum=[{"role": "rack", "size": "12 x 7 1/2", "positions": 6, "from": "A"}])
    assert plan.drum[0].size == Size(Decimal(12), Decimal("7.5"))
