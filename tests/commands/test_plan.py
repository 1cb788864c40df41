"""`plan`: a build laid out from a few words is the one that was meant, can be costed, and says what it assumed."""

from __future__ import annotations

import os
import random
import tomllib
from decimal import Decimal
from pathlib import Path

import pytest
from click.testing import CliRunner

from kitvalue.cli import answers as cli_answers
from kitvalue.cli import plan as cli_plan
from kitvalue.cli.main import main
from kitvalue.commands import plan as command
from kitvalue.commands.folder import ShopFolder
from kitvalue.decisions.layout import ORDER
from kitvalue.intake.settings.jobs import OURS, read_job
from kitvalue.intake.settings.plan import SurplusTable, read_plan
from kitvalue.workshop.costing import cost_sheet
from tests import TODAY, worked
from tests.shops import run, sample_shop

RANDOM_CALLS = int(os.environ.get("KITVALUE_PLANS", "12"))  # 200 before a release
JOBS = sorted(path.stem for path in OURS.glob("*.toml"))
SETTINGS = """[shop]
name = "Dock Road Drums"
currency = "EUR"
[tax]
rate = {vat_rate}
sell_on = "full"
rebuild = "full"
[work]
rate = {work_rate}
contingency = {contingency}
[work.hours]
edge = 0.5
veneer = 2.0
head = 0.2
assemble = 0.5
dispatch = 1.5
[selling]
fee = {fee}
margin = {margin}
step = {step}
freight = {freight}
"""
OFFERS = """offer,series,pieces,condition,price,price_kind,premium,freight,sizes,bought_from
A,Burren,4,3,340,,,45,22x16 13x11 16x16 12x10,private
B,Burren,2,3,280,,,30,10x9 14x14,private
C,Lisdoon,1,3.5,60,,,12,14x10,private
D,Slane,4,3,240,,,40,,private
E,Slane,1,3,,hammer,20,10,16x14,private
I,Inishmore,5,2,700,,,60,22x16 16x16 13x9 12x8 14x6.5,private
"""
JOB = """title = "As worked by hand"
[[work]]
what = "Fit heads"
operation = "head"
per = "head"
[[work]]
what = "Cut bearing edges"
operation = "edge"
per = "edge"
[[work]]
what = "Veneer"
operation = "veneer"
per = "shell"
[[work]]
what = "Assemble"
operation = "assemble"
per = "drum"
[[work]]
what = "Send"
operation = "dispatch"
per = "kit"
[[part]]
what = "Heads"
per = "head"
each = 14.20
[[part]]
what = "Veneer"
per = "sheet"
each = 96.00
sheet = "2440x1220"
overlap = 150
clearance = -10
turn = false
"""


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    (tmp_path / "jobs").mkdir()
    (tmp_path / "shop.toml").write_text(SETTINGS.format(**worked.CASE["settings"]))
    (tmp_path / "offers.csv").write_text(OFFERS)
    (tmp_path / "jobs" / "worked.toml").write_text(JOB)
    return tmp_path


def tail(*words: str) -> list[str]:
    return ["--original", "Inishmore", *words]


def test_the_worked_case_laid_out_has_its_figures_to_the_cent(shop: Path) -> None:
    drums = ", ".join(f"{size} {role}" for role, size, *_ in map(str.split, worked.CASE["drum"][0]["order"]))
    ran = run(
        shop, "plan", "case", *tail("--donors", "A,B", "--drums", drums, "--new", "18x16 floor=165"), "--job", "worked"
    )
    assert ran.status == 0, ran.err
    folder = ShopFolder(shop, TODAY)
    plan = read_plan("case", shop, folder.shop)
    assert [drum.positions for drum in plan.drum] == [8, 6, 8, 6, 6, 6, 8]
    values = worked.CASE["surplus"]
    sold = tuple(
        SurplusTable.model_validate({"what": "Stands", "from": donor, "value": Decimal(str(values[f"from_{donor}"]))})
        for donor in "AB"
    )
    for route, table in (("full", "full"), ("margin", "margin_route")):
        bare = tuple(donor.model_copy(update={"sizes": ()}) for donor in plan.donor)
        changes = {"surplus": sold, "route": route, "donor": bare}
        sheet = cost_sheet(plan.model_copy(update=changes), worked.shop(route=route))
        for figure in ("net_cost", "zero_profit_price", "floor", "landed_at_cost"):
            assert getattr(sheet.chosen, figure) == worked.expected(table, figure), (route, figure)


def test_a_kit_of_three_donors_a_new_shell_and_a_snare_cut_from_a_tom(shop: Path) -> None:
    words = tail(
        "--donors", "A,B,C", "--drums", "22x16 bass, 16x16 floor, 12x10, 10x9", "--new", "8x7 rack=90",
        "--cut", "14x5 snare from 14x10", "--job", "lacquer", "--job", "edges", "--job", "cut-down,new-shell,heads",
        "--finished", "4.5", "--share", "70-90", "--repair", "220",
    )  # fmt: skip
    ran = run(shop, "plan", "three", *words, "--json")
    assert ran.status == 0, ran.err
    assert ran.data["written"].endswith("three.toml")
    text = (shop / "builds" / "three.toml").read_text(encoding="utf-8")
    assert text == ran.data["text"]
    plan = read_plan("three", shop, ShopFolder(shop, TODAY).shop)
    assert [(drum.name, drum.from_) for drum in plan.drum] == [
        ("22x16 bass", "A"), ("16x16 floor", "A"), ("12x10 rack", "A"), ("10x9 rack", "B"), ("8x7 rack", "new"),
        ("14x5 snare", "C"),
    ]  # fmt: skip
    assert str(plan.drum[5].cut_from) == str(plan.drum[5].shell)
    assert (plan.finished.condition, str(plan.finished.share), plan.original.repair) == (
        Decimal("4.5"),
        "70 to 90",
        220,
    )
    order = [ORDER.index(line.operation) for line in plan.work if line.operation is not None]
    assert order == sorted(order)
    assert len({(line.what, line.only) for line in plan.work}) == len(plan.work)
    assert [line.only for line in plan.work if line.what == "Cut the snare beds"] == [("snare",)]  # not twice
    assert run(shop, "cost", "three", "--json").data["net_cost"] == ran.data["net_cost"]


def test_what_nobody_named_is_marked_in_the_plan(shop: Path) -> None:
    assert run(shop, "plan", "bare", *tail("--donors", "B")).status == 0
    text = (shop / "builds" / "bare.toml").read_text(encoding="utf-8")
    read = tomllib.loads(text)
    assert (read["original"]["condition"], read["original"]["repair"], read["original"]["freight"]) == (3, 0, 60)
    assert (read["finished"]["condition"], read["finished"]["share"], read["smallest"]) == (5, 70, 2)
    for line in (
        "condition = 3  # default: ",
        "repair = 0  # default: ",
        "share = 70  # default: ",
        "smallest = 2  # default: ",
    ):
        assert line in text
    assert run(shop, "plan", "own", *tail("--donors", "I")).status == 0
    assert "share = 100  # default: restored" in (shop / "builds" / "own.toml").read_text(encoding="utf-8")
    assert run(shop, "plan", "told", *tail("--donors", "B", "--repair", "10", "--finished", "wipe")).status == 0
    told = (shop / "builds" / "told.toml").read_text(encoding="utf-8")
    assert "repair = 10\n" in told
    assert "condition = 5\n" in told


def test_a_kit_without_donors_says_that_they_are_to_be_found(shop: Path) -> None:
    ran = run(shop, "plan", "open", *tail("--drums", "22x16 bass, 16x16 floor, 12x10 rack"), "--json")
    assert ran.status == 0, ran.err
    assert "no_donors" in ran.data["caution_codes"]
    assert "freight" in " ".join(ran.data["incomplete"]).lower()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ([], "--original is missing"),
        (tail(), "one of --donors, --drums and --new is needed"),
        (tail("--donors", "A,Z"), 'there is no offer "Z"'),
        (tail("--donors", "D"), "D has no sizes in offers.csv"),
        (tail("--donors", "E"), 'offer "E" has no price yet'),
        (tail("--donors", "A", "--drums", "22x16 bass, 14x6.5"), "no donor has a 14x6.5"),
        (tail("--donors", "A", "--drums", "22x16, 22x16"), "no donor has a 22x16"),
        (tail("--donors", "A,B", "--drums", "22x16 bass"), "no drum comes from B"),
        (tail("--donors", "A", "--cut", "13x12 rack from 13x11"), "13x12 cannot be cut from a 13x11"),
        (tail("--donors", "A", "--cut", "14x5 snare from 13x11"), "cannot be cut"),
        (tail("--donors", "A", "--cut", "13x5 snare"), "does not say from what"),
        (tail("--donors", "A", "--new", "20x12 bass"), "has no price"),
        (tail("--donors", "A", "--drums", "a large drum"), "is no drum"),
        (tail("--donors", "A", "--job", "rewrapp"), "did you mean rewrap?"),
        (tail("--donors", "A", "--job", "wrong"), '"gilding" is not in shop.toml'),
        (tail("--donors", "A", "--finished", "shiny"), "--finished"),
        (tail("--donors", "A", "--share", "80-70"), "--share"),
        (tail("--donors", "A", "--repair", "-1"), "--repair"),
    ],
)  # fmt: skip
def test_what_cannot_be_laid_out_is_one_line_and_nothing_is_written(shop: Path, words: list[str], said: str) -> None:
    (shop / "jobs" / "wrong.toml").write_text('title = "W"\n[[work]]\nwhat = "G"\noperation = "gilding"\nper = "kit"\n')
    ran = run(shop, "plan", "bad", *words)
    assert ran.status == 2
    assert said in ran.err
    assert len(ran.err.strip().splitlines()) == 1
    assert not (shop / "builds").exists()


@pytest.mark.parametrize("name", ["../up", "", "a/b", ".hidden"])
def test_a_name_leads_nowhere_else(shop: Path, name: str) -> None:
    assert run(shop, "plan", name, *tail("--donors", "A")).status == 2


def test_a_plan_is_never_written_over(shop: Path) -> None:
    assert run(shop, "plan", "kit", *tail("--donors", "A")).status == 0
    before = (shop / "builds" / "kit.toml").read_bytes()
    ran = run(shop, "plan", "kit", *tail("--donors", "B"), "--yes")
    assert (ran.status, "is there already" in ran.err) == (2, True)
    assert (shop / "builds" / "kit.toml").read_bytes() == before


@pytest.mark.parametrize(("last", "written"), [("y", True), ("n", False)])
def test_a_terminal_is_asked_for_what_is_missing(
    shop: Path, last: str, written: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    for module in (cli_answers, cli_plan):
        monkeypatch.setattr(module, "is_terminal", lambda *streams: True)
    given = ["A,C", "", "8x7 rack=90", "14x5 snare from 14x10", "rewrap,heads", "", last]  # at most ten answers
    ran = CliRunner().invoke(
        main, ["--shop", str(shop), "plan", "asked", "--original", "Inishmore"], input="\n".join(given) + "\n"
    )
    assert ran.exit_code == 0, ran.output
    assert (shop / "builds" / "asked.toml").exists() is written
    if written:
        drums = [(drum.name, drum.from_) for drum in read_plan("asked", shop, ShopFolder(shop, TODAY).shop).drum]
        assert ("14x5 snare", "C") in drums
        assert ("8x7 rack", "new") in drums
        assert len(drums) == 6


def test_the_job_sheets_are_listed_and_a_shop_s_own_goes_before(shop: Path) -> None:
    assert set(JOBS) == {
        "heads", "polish", "rewrap", "veneer-outside", "veneer-both", "lacquer", "oil", "edges", "cut-down",
        "new-shell",
    }  # fmt: skip
    listed = [one["name"] for one in run(shop, "plan", "--jobs", "--json").data["jobs"]]
    assert listed == sorted([*JOBS, "worked"])
    (shop / "jobs" / "heads.toml").write_text((OURS / "heads.toml").read_text().replace("14.20", "9.99"))
    assert run(shop, "plan", "own", *tail("--donors", "A", "--job", "heads")).status == 0
    plan = read_plan("own", shop, ShopFolder(shop, TODAY).shop)
    assert [part.each for part in plan.part] == [Decimal("9.99")]


@pytest.mark.parametrize("name", JOBS)
def test_a_job_sheet_is_sound_and_says_where_its_hours_are_from(shop: Path, name: str) -> None:
    assert "from memory" in (OURS / f"{name}.toml").read_text(encoding="utf-8").splitlines()[0]
    job = read_job(name, shop, ShopFolder(shop, TODAY).shop)
    assert all(line.operation in ORDER and line.hours is not None for line in job.work)


def test_hours_of_a_job_sheet_stand_in_where_the_shop_has_none(shop: Path) -> None:
    assert run(shop, "plan", "spray", *tail("--donors", "A", "--job", "lacquer", "--job", "heads")).status == 0
    plan = read_plan("spray", shop, ShopFolder(shop, TODAY).shop)
    hours = {line.what: (line.operation, line.hours) for line in plan.work}
    assert hours["Fit the heads"] == ("head", None)  # as the shop has it
    assert hours["Spray the outside"] == (None, Decimal("0.4"))


CHANGES = (
    (("--share", "82.5"), "share = 70  # default: of a rebuild, until your sales teach another", "share = 82.5"),
    (("--finished", "4.5"), "condition = 5  # default: wipe", "condition = 4.5"),
    (("--repair", "210"), "repair = 0  # default: what it needs to play and look like yours", "repair = 210"),
)


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize(("words", "old", "new"), CHANGES)
def test_a_change_leaves_all_else_byte_for_byte(
    shop: Path, words: tuple[str, ...], old: str, new: str, end: str
) -> None:
    assert run(shop, "plan", "kit", *tail("--donors", "A,C", "--job", "heads")).status == 0
    path = shop / "builds" / "kit.toml"
    text = path.read_text(encoding="utf-8").replace("[original]", "[original]   # his own words, älter")
    path.write_bytes(text.replace("\n", end).encode())
    before = path.read_bytes()
    assert before.count(old.encode()) == 1
    ran = run(shop, "plan", "kit", "--change", *words)
    assert ran.status == 0, ran.err
    assert path.read_bytes() == before.replace(old.encode(), new.encode())


def test_a_change_from_inside_the_shop_s_folder(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(shop)
    assert run(".", "plan", "kit", *tail("--donors", "A")).status == 0
    ran = run(".", "plan", "kit", "--change", "--share", "80")
    assert ran.status == 0, ran.err


def test_a_change_adds_shells_and_work_behind_what_is_there(shop: Path) -> None:
    assert run(shop, "plan", "kit", *tail("--donors", "A,C", "--job", "heads")).status == 0
    path = shop / "builds" / "kit.toml"
    before = path.read_bytes()
    words = ("--new", "8x7 rack=90", "--job", "edges", "--job", "heads")
    assert run(shop, "plan", "kit", "--change", *words).status == 0
    assert path.read_bytes().startswith(before)
    plan = ShopFolder(shop, TODAY).plan("kit")
    assert [(drum.name, drum.from_) for drum in plan.drum][-1] == ("8x7 rack", "new")
    assert [line.what for line in plan.work].count("Fit the heads") == 1
    assert "Cut the bearing edges" in [line.what for line in plan.work]
    unchanged = path.read_bytes()
    ran = run(shop, "plan", "kit", "--change", "--cut", "13x12 from 13x11")
    assert (ran.status, path.read_bytes()) == (2, unchanged)
    assert run(shop, "plan", "none", "--change", "--share", "80").status == 2


def test_random_calls_write_plans_that_cost_accepts(shop: Path) -> None:
    draw = random.Random(20)
    folder = ShopFolder(shop, TODAY)
    for at in range(RANDOM_CALLS):
        donors = draw.sample(["A", "B", "C", "I"], draw.randint(0, 4))
        news = [
            f"{draw.choice([8, 12, 16, 20])}x{draw.randint(6, 14)}={draw.randint(50, 200)}"
            for _ in range(draw.randint(0, 2))
        ]
        if not donors and not news:
            news = ["16x14 floor=150.50"]
        told = command.Told(
            original=draw.choice(["Inishmore", "Burren", "inishmore "]),
            donors=",".join(donors) or None, new=tuple(news),
            cut=("14x5 snare from 14x10",) if "C" in donors and draw.random() < 0.5 else (),
            jobs=tuple(draw.sample([*JOBS, "worked"], draw.randint(0, 5))),
            finished=draw.choice([None, "5", "mend", "4.5"]), share=draw.choice([None, "85", "60-90.5"]),
            repair=draw.choice([None, "0", "220.50"]),
        )  # fmt: skip
        made = command.plan(folder, f"random{at}", told)
        command.write_plan(folder, made)
        plan = ShopFolder(shop, TODAY).plan(f"random{at}")
        assert plan == made.plan
        assert cost_sheet(plan, folder.shop, parts=folder.parts_for(plan)).net_cost == made.sheet.net_cost


def test_a_restored_kit_teaches_nothing_of_a_rebuild(tmp_path: Path) -> None:
    """The sample's done.csv has both kinds in one dress; each share is learned of its own kind."""
    shop = sample_shop(tmp_path)
    for name, donor, teacher in (("one", "D01", "seven-piece"), ("two", "D10", "inishmore-restored")):
        words = ("plan", name, "--original", "Inishmore", "--donors", donor, "--job", "heads", "--yes")
        assert f"what done has learned of {teacher}" in " ".join(run(shop, *words).out.split())
