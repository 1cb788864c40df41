"""Build plans: found by name or path, and every mistake named with its line and key."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from kitvalue.intake.settings.plan import Plan, plan_names, plan_warnings, read_plan
from kitvalue.intake.settings.plancells import Sheet
from kitvalue.intake.settings.shop import Shop, TaxTable
from kitvalue.intake.text.problems import FileError, Level, Problem
from kitvalue.intake.text.sizes import Size
from tests.intake.shops import SETTINGS, shop_in

GOOD = """title = "Four-piece in Inishmore dress"
smallest = 2
[original]
series = "Inishmore"
condition = 3
freight = 90
repair = 220
[finished]
series = "inishmore"
share = 70
condition = "wipe"
[[donor]]
id = "A"
series = "Burren"
pieces = 4
condition = 3
price = 340.00
freight = 45
[[drum]]
id = "B22"
role = "bass"
size = "22x16"
from = "A"
positions = 8
[[drum]]
role = "rack"
size = "12 x 10"
from = "new"
price = 165.00
vat = "excluded"
positions = 6
[[work]]
what = "Cut the edges"
operation = "edge"
per = "edge"
only = ["bass", "new", "A", "B22"]
[[work]]
what = "Legs"
hours = 0.2
per = "each"
quantity = 3
[[part]]
what = "Covering"
per = "sheet"
sheet = "1370x610"
each = 48.00
[[surplus]]
what = "Stands"
from = "A"
value = 60
"""


@pytest.fixture
def shop(tmp_path: Path) -> Shop:
    (tmp_path / "builds").mkdir()
    return shop_in(tmp_path, SETTINGS)


def read(folder: Path, shop: Shop, text: str) -> Plan:
    (folder / "builds" / "kit.toml").write_text(text, encoding="utf-8")
    return read_plan("kit", folder, shop)


def problems(folder: Path, shop: Shop, text: str) -> tuple[Problem, ...]:
    with pytest.raises(FileError) as caught:
        read(folder, shop, text)
    for problem in caught.value.problems:
        assert problem.file == "builds/kit.toml"
        assert problem.level is Level.FILE
        assert "\n" not in problem.line()
    return caught.value.problems


def test_a_sound_plan(tmp_path: Path, shop: Shop) -> None:
    plan = read(tmp_path, shop, GOOD)
    assert (plan.name, plan.title, plan.smallest) == ("kit", "Four-piece in Inishmore dress", 2)
    assert plan.finished.condition == 5
    assert str(plan.donor[0].price) == "340.00"
    assert (plan.drum[1].from_, plan.drum[1].price, plan.work[1].hours) == ("new", Decimal("165.00"), Decimal("0.2"))
    assert plan_warnings(plan) == ()


@pytest.mark.parametrize(
    ("shops", "plans", "words"),
    [
        ("full", "none", "it is the whole business that is exempt from VAT or not"),
        ("none", "none", "the business is exempt from VAT"),
        ("none", "margin", "the business is exempt from VAT"),
    ],
)
def test_a_route_that_no_plan_can_have(tmp_path: Path, shop: Shop, shops: str, plans: str, words: str) -> None:
    taxed = TaxTable.model_validate({"rate": 23, "route": shops})
    (problem,) = problems(tmp_path, shop.model_copy(update={"tax": taxed}), f'route = "{plans}"\n{GOOD}')
    assert (problem.code, problem.column, problem.row) == ("route", "route", 1)
    assert words in problem.message


def test_sizes_and_sheets_are_read_once(tmp_path: Path, shop: Shop) -> None:
    plan = read(tmp_path, shop, GOOD.replace('"1370x610"', '" 1370.5 × 610"'))
    assert [drum.size for drum in plan.drum] == [Size(Decimal(22), Decimal(16)), Size(Decimal(12), Decimal(10))]
    assert plan.part[0].sheet == Sheet(Decimal("1370.5"), Decimal(610))
    swapped = shop_in(tmp_path, SETTINGS.replace('"EUR"', '"EUR"\nsize_order = "depth-diameter"', 1))
    text = GOOD.replace("22x16", "16x22").replace("12 x 10", "10 x 12")
    assert read(tmp_path, swapped, text).drum == plan.drum


def test_plans_are_found_by_name_ending_or_path(tmp_path: Path, shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    plan = read(tmp_path, shop, GOOD)
    other = tmp_path / "elsewhere é.toml"
    other.write_text(GOOD, encoding="utf-8")
    assert read_plan("kit.toml", tmp_path, shop) == plan
    assert read_plan(str(tmp_path / "builds" / "kit.toml"), tmp_path, shop) == plan
    assert read_plan("builds/kit.toml", tmp_path, shop) == plan
    assert read_plan(str(other), tmp_path, shop).name == "elsewhere é"
    (tmp_path / "builds" / "-kit 7.toml").write_text(GOOD, encoding="utf-8")
    assert read_plan("-kit 7", tmp_path, shop).name == "-kit 7"
    assert plan_names(tmp_path) == ("-kit 7", "kit")


@pytest.mark.parametrize("name", ["kitt", "", "a/b", "..", "x\0y", "kit/", "x" * 5000])
def test_an_unknown_plan_names_those_there_are(tmp_path: Path, shop: Shop, name: str) -> None:
    read(tmp_path, shop, GOOD)
    with pytest.raises(FileError, match="kit"):
        read_plan(name, tmp_path, shop)


def test_no_plans_at_all(tmp_path: Path, shop: Shop) -> None:
    with pytest.raises(FileError, match="holds no plans"):
        read_plan("kit", tmp_path, shop)


@pytest.mark.parametrize(
    ("old", "new", "column", "words"),
    [
        ('from = "A"\npositions = 8', 'from = "B"\npositions = 8', "drum 1, from", ['no donor "B"', "A"]),
        ('size = "22x16"', 'size = "22x16"\ncut_from = "22x14"', "drum 1, cut_from", ["is not deeper than 22x16"]),
        ('size = "22x16"', 'size = "22x16"\ncut_from = "24x18"', "drum 1, cut_from", ["24x18 cannot become 22x16"]),
        ('size = "12 x 10"', 'size = "12 x 10"\ncut_from = "12x12"', "drum 2, cut_from", ["a donor's drum only"]),
        ('size = "22x16"', 'size = "22x16"\ncutfrom = "22x18"', "drum 1, cutfrom", ["did you mean cut_from?"]),
        ('from = "A"\nvalue', 'from = "C"\nvalue', "surplus 1, from", ['no donor "C"']),
        ('series = "Inishmore"', 'series = "Inishmoor"', "original.series", ["did you mean Inishmore?"]),
        ('series = "inishmore"', 'series = "Slaine"', "finished.series", ["did you mean Slane?"]),
        ('series = "Burren"', 'series = "Buren"', "donor 1, series", ["did you mean Burren?"]),
        ('size = "22x16"', 'size = "16x22"', "drum 1, size", ["deeper than wide", "size_order"]),
        ('size = "12 x 10"', 'size = "12"', "drum 2, size", ["no drum size", "22x16"]),
        ('size = "12 x 10"', "size = 12", "drum 2, size", ["is no text"]),
        ("price = 165.00\nvat", "vat", "drum 2", ["new shell needs its price"]),
        ('size = "22x16"', 'size = "22x16"\nprice = 3', "drum 1, price", ['from = "new" only']),
        ("repair = 220\n", "", "original.repair", ["add repair"]),
        ("smallest = 2", "smallest = 3", "smallest", ["2 or less"]),
        ("pieces = 4", "pieces = 0", "donor 1, pieces", ["1 or more"]),
        ("pieces = 4", "pieces = 4.5", "donor 1, pieces", ["whole number"]),
        ('freight = 45\n', 'freight = 45\nvat = "margin"\n', "donor 1, vat", ["take it out"]),
        ('freight = 45\n', 'freight = 45\nbought_from = "dealer"\n',
        "donor 1, bought_from", ["private, trade, union or import"]),
        ('id = "A"', 'id = "new"', "donor 1, id", ["meaning of its own"]),
        ('operation = "edge"', 'operation = "egde"', "work 1, operation", ["[work.hours]", "did you mean edge?"]),
        ('operation = "edge"', 'operation = "edge"\nhours = 1', "work 1", ["one of operation, hours and each"]),
        ("hours = 0.2\n", "", "work 2", ["none of them"]),
        ("quantity = 3\n", "", "work 2", ["needs a quantity"]),
        ('per = "edge"', 'per = "edge"\nquantity = 2', "work 1, quantity", ["counted from the drums"]),
        ('per = "edge"', 'per = "egde"', "work 1, per", ["did you mean edge?"]),
        ('per = "edge"', 'per = "sheet"', "work 1, per", ["[[part]] only"]),
        ('only = ["bass", "new"', 'only = ["bas", "new"', "work 1, only", ['"bas"', "did you mean bass?"]),
        ('only = ["bass"', 'except = ["zzz"]\nonly = ["bass"', "work 1, except", ['"zzz"']),
        ('sheet = "1370x610"\n', "", "part 1", ["millimetres"]),
        ('sheet = "1370x610"', 'sheet = "1370"', "part 1, sheet", ['"1370"', "millimetres"]),
        ('sheet = "1370x610"', 'sheet = "1370x610 mm"', "part 1, sheet", ["no sheet size"]),
        ('sheet = "1370x610"', "sheet = 1370", "part 1, sheet", ["is no text"]),
        ('per = "sheet"', 'per = "shell"', "part 1, sheet", ["counts per shell"]),
        ("each = 48.00\n", "", "part 1", ["needs each"]),
        ('id = "B22"', 'id = "rack"', "drum 1, id", ["cannot be a drum's id"]),
        ('role = "rack"', 'role = "tom"', "drum 2, role", ["bass, floor, rack or snare"]),
        ("condition = 3\nprice", "condition = 3.3\nprice", "donor 1, condition", ["halves"]),
        ("share = 70", 'share = "70"', "finished.share", ["no number"]),
        ("share = 70", "share = [70, true]", "finished.share", ["no number", "[70, 100]"]),
        ("share = 70", "share = [100, 70]", "finished.share", ["the smaller first"]),
        ("share = 70", "share = [0, 70]", "finished.share", ["above 0"]),
        ("share = 70", "share = []", "finished.share", ["one number above 0, or two"]),
        ("title =", "titel =", None, ["titel", "did you mean title?"]),
        ("[[surplus]]", "[[surplu]]", "surplu", ["did you mean surplus?"]),
        ("title =", 'name = "x"\ntitle =', "name", ["its file's name is its name"]),
    ],
)  # fmt: skip
def test_one_mistake_is_named_with_its_place(
    tmp_path: Path, shop: Shop, old: str, new: str, column: str | None, words: list[str]
) -> None:
    assert old in GOOD
    found = problems(tmp_path, shop, GOOD.replace(old, new, 1))
    here = [problem for problem in found if column is None or problem.column == column]
    assert here, [problem.line() for problem in found]
    said = " ".join(problem.message for problem in here)
    for word in words:
        assert word in said
    assert any(problem.row is not None for problem in here)


def test_every_mistake_comes_at_once_in_the_files_order(tmp_path: Path, shop: Shop) -> None:
    text = (
        GOOD.replace('"22x16"', '"x"')
        .replace("smallest = 2", "smallest = 9")
        .replace('series = "Burren"', 'series = "B"')
    )
    found = problems(tmp_path, shop, text)
    assert [problem.column for problem in found] == ["smallest", "donor 1, series", "drum 1, size"]
    lines = text.split("\n")
    assert [lines[(problem.row or 0) - 1] for problem in found] == ["smallest = 9", 'series = "B"', 'size = "x"']


def test_donors_twice_unused_and_overdrawn(tmp_path: Path, shop: Shop) -> None:
    donor = '[[donor]]\nid = "{}"\nseries = "Burren"\npieces = 1\ncondition = 3\nprice = 1\n'
    assert [p.code for p in problems(tmp_path, shop, GOOD + donor.format("a"))] == ["donor_twice"]
    assert [p.code for p in problems(tmp_path, shop, GOOD + donor.format("Z"))] == ["donor_unused"]
    drum = '[[drum]]\nrole = "rack"\nsize = "10x9"\nfrom = "Z"\npositions = 6\n'
    (problem,) = problems(tmp_path, shop, GOOD + donor.format("Z") + drum + drum)
    assert (problem.code, problem.text) == ("too_many_drums", "1")


def test_a_donor_bought_for_what_is_sold_off_is_only_warned_of(tmp_path: Path, shop: Shop) -> None:
    more = '[[donor]]\nid = "Z"\nseries = "Burren"\npieces = 1\ncondition = 3\nprice = 1\n'
    more += '[[surplus]]\nwhat = "All of it"\nfrom = "Z"\nvalue = 50\n'
    more += '[[part]]\nwhat = "Wires"\nper = "drum"\neach = 3\nonly = ["snare"]\n'
    assert [(p.code, p.column, p.level) for p in plan_warnings(read(tmp_path, shop, GOOD + more))] == [
        ("donor_for_surplus", "donor 2", Level.WARNING), ("no_drum", "part 2", Level.WARNING),
    ]  # fmt: skip


def test_an_original_as_good_as_the_finished_kit_needs_no_repair(tmp_path: Path, shop: Shop) -> None:
    plan = read(
        tmp_path,
        shop,
        GOOD.replace("repair = 220\n", "").replace("condition = 3\nfreight = 90", "condition = 5\nfreight = 90"),
    )
    assert plan.original.repair is None


def test_a_shop_without_a_list_takes_any_series(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    shop = shop_in(tmp_path, SETTINGS.split("[series.Burren]")[0] + "[work]\nrate = 1\n[work.hours]\nedge = 1\n")
    assert read(tmp_path, shop, GOOD.replace('series = "Burren"', 'series = "Quilty"')).donor[0].series == "Quilty"


def test_a_donor_id_that_stands_twice_is_said_once(tmp_path: Path, shop: Shop) -> None:
    second = GOOD[GOOD.index("[[donor]]") : GOOD.index("[[drum]]")]
    more = second + '[[drum]]\nrole = "rack"\nsize = "10x9"\nfrom = "B"\npositions = 5\n'
    found = problems(tmp_path, shop, GOOD.replace("[[work]]", more + "[[work]]", 1))
    assert [p.code for p in found] == ["donor_twice"]


def test_a_shop_without_work_lacks_it_once(tmp_path: Path) -> None:
    (tmp_path / "builds").mkdir()
    bare = shop_in(tmp_path, SETTINGS).model_copy(update={"work": None})
    text = GOOD.replace("[[part]]", '[[work]]\nwhat = "Heads"\noperation = "head"\nper = "head"\n[[part]]', 1)
    (found,) = problems(tmp_path, bare, text)
    assert "shop.toml has no [work]" in found.message
    assert "edge and head" in found.message
