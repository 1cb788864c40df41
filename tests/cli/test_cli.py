"""The command line as a user meets it: answers, exits, one clear line for every mistake."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.shops import Ran, book_shop, run, sample_shop

COMMANDS = {
    "check": (),
    "fit": (),
    "value": ("--series", "Burren", "--pieces", "5", "--condition", "3"),
    "cost": ("seven-piece",),
    "price": ("seven-piece",),
    "compare": ("seven-piece",),
    "shortlist": ("--plan", "seven-piece"),
    "source": ("seven-piece",),
    "report": (),
    "sheet": ("seven-piece",),
    "card": ("--plan", "inishmore-restored"),
}
KEYS = {
    "check": {"files"},
    "fit": {
        "rows", "terms", "left_out", "series", "unusual", "tau2", "sigma2", "reference_date", "pooled", "robust",
        "accuracy",
    },
    "value": {"kit", "buy_in", "resale", "comparables"},
    "cost": {"lines", "quantities", "net_cost", "purchase", "routes", "incomplete"},
    "price": {
        "floor", "cap", "resale", "market_price", "profit_at_market", "suggested", "binding", "net", "vat", "profit",
        "margin", "markup", "ways_out", "destinations",
    },
    "compare": {
        "by_pieces", "crossings", "chance_none", "tie_price_at_cost", "tie_price_at_price", "share_below_tie_at_cost",
        "share_below_tie_at_price", "unknowns", "like_for_like",
    },
    "shortlist": {"offers"},
    "source": {"status", "cost", "gap", "buy", "drums", "new_shells", "leftovers"},
    "report": {"written"},
    "sheet": {"written"},
    "card": {"written"},
}  # fmt: skip
INNER = {
    ("fit", "terms"): {"name", "coefficient", "se", "low", "high", "percent"},
    ("fit", "left_out"): {"term", "reason"},
    ("fit", "series"): {"name", "rows", "effect", "percent"},
    ("fit", "unusual"): {"row", "series", "weight", "observed", "expected"},
    ("value", "comparables"): {
        "row", "series", "pieces", "condition", "date", "observed", "adjustments", "adjusted",
    },
    ("cost", "lines"): {"what", "quantity", "unit", "unit_price", "net"},
    ("cost", "routes"): {
        "route", "allowed", "reason", "net_cost", "zero_profit_price", "floor", "landed_at_cost",
    },
    ("price", "destinations"): {"place", "kind", "seller_gets", "buyer_pays"},
    ("compare", "by_pieces"): {
        "pieces", "build_at_cost", "build_at_price", "original_typical", "original_low", "original_high",
        "chance_build_cheaper",
    },
    ("shortlist", "offers"): {
        "offer", "series", "asked", "buy_in", "asked_against_percent", "rank", "open_at", "stop_at", "best_use",
        "expected_profit", "chance_of_loss", "profit_per_hour", "uses", "reason",
    },
    ("source", "drums"): {"drum", "from", "cut_down"},
    ("compare", "crossings"): {"pieces", "low", "high"},
    ("compare", "unknowns"): {
        "name", "planned", "break_even", "break_even_market", "reason", "swing_down", "swing_up",
    },
}  # fmt: skip


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sample_shop(tmp_path_factory.mktemp("sample"))


@pytest.mark.parametrize("command", COMMANDS)
def test_json_has_the_keys_that_other_programs_read(shop: Path, command: str) -> None:
    ran = run(shop, command, *COMMANDS[command], "--json")
    assert ran.status == 0, ran.err
    assert KEYS[command] | {"problems", "cautions"} <= set(ran.data)
    for (of, key), names in INNER.items():
        if of == command:
            for entry in ran.data[key]:
                assert names <= set(entry), f"{key}: {names - set(entry)}"


@pytest.mark.parametrize("command", COMMANDS)
def test_text_speaks_to_people(shop: Path, command: str) -> None:
    ran = run(shop, command, *COMMANDS[command])
    assert ran.status == 0
    assert ran.out.strip()
    assert "nan" not in ran.out.lower().split()
    assert "None" not in ran.out
    for line in ran.out.splitlines():
        assert len(line) <= 140, line


def test_value_names_both_ranges_apart(shop: Path) -> None:
    ran = run(shop, "value", *COMMANDS["value"], "--range", "90", "--details")
    assert "one sale, 90 %" in ran.out
    assert "market level, 90 %" in ran.out
    data = run(shop, "value", *COMMANDS["value"], "--json").data["buy_in"]
    assert data["low"] < data["level_low"] < data["typical"] < data["level_high"] < data["high"]


def test_series_condition_and_features_are_read_by_the_shops_words(shop: Path) -> None:
    plain = run(shop, "value", "--series", "Inishmore", "--pieces", "5", "--condition", "3", "--json").data
    spelt = run(shop, "value", "--series", " INISH more ", "--pieces", "5", "--condition", "Mend", "--json").data
    assert spelt["kit"]["series"] == "Inishmore"
    assert spelt["buy_in"] == plain["buy_in"]
    dear = run(
        shop, "value", "--series", "Inishmore", "--pieces", "5", "--condition", "3", "--with", "hardware=yes",
        "--with", "holes=0", "--json",
    ).data  # fmt: skip
    assert dear["buy_in"]["typical"] > plain["buy_in"]["typical"]
    assert dear["kit"]["features"] == {"hardware": True, "holes": 0.0}


def test_value_is_the_same_from_the_saved_fit_and_from_a_fresh_one(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    fresh = run(shop, "value", *COMMANDS["value"], "--json")
    assert (shop / "out" / "fit.json").exists()
    assert run(shop, "value", *COMMANDS["value"], "--json") == fresh


def test_a_changed_price_book_is_fitted_again(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    before = run(shop, "value", *COMMANDS["value"], "--json").data["buy_in"]["typical"]
    book = (shop / "prices.csv").read_text(encoding="utf-8-sig")
    head, *rows = book.splitlines(keepends=True)
    (shop / "prices.csv").write_text(head + "".join(r for r in rows if ";Burren;5;" not in r), encoding="utf-8")
    after = run(shop, "value", *COMMANDS["value"], "--json").data["buy_in"]["typical"]
    assert after != before


def test_a_tampered_fit_is_made_anew(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    fresh = run(shop, "value", *COMMANDS["value"], "--json")
    fit = shop / "out" / "fit.json"
    fit.write_text(fit.read_text(encoding="utf-8").replace('"theta": ', '"theta": -'), encoding="utf-8")
    assert run(shop, "value", *COMMANDS["value"], "--json") == fresh
    assert '"theta": -' not in fit.read_text(encoding="utf-8")


def test_options_of_fit_show_in_what_rests_on_it(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    data = run(shop, "fit", "--plain", "--no-pool", "--json").data
    assert (data["robust"], data["pooled"]) == (False, False)
    cautions = " ".join(run(shop, "value", *COMMANDS["value"], "--json").data["cautions"])
    assert "plain fit" in cautions
    assert "without pooling" in cautions


def test_check_rows_shows_every_used_row(shop: Path) -> None:
    data = run(shop, "check", "--rows", "--json").data
    assert len(data["rows"]) == data["files"][0]["used"]
    assert {"file", "row", "series", "pieces", "condition", "price", "date", "hardware", "holes"} <= set(
        data["rows"][0]
    )


def test_check_strict_refuses_the_file_for_one_bad_row(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    with (shop / "prices.csv").open("a", encoding="utf-8", newline="") as file:
        file.write("01.11.2026;Burren;4;3;about 400;asked;private;;;no;0;;\r\n")
    easy, strict = run(shop, "check", "--json"), run(shop, "check", "--strict", "--rows", "--json")
    assert easy.status == strict.status == 2
    assert easy.data["files"][0]["used"] == 156
    assert strict.data["files"][0]["used"] == 0
    assert strict.data["rows"] == []
    assert [p["code"] for p in strict.data["problems"] if p["level"] == "file"] == ["strict"]


# ---- mistakes ----------------------------------------------------------------------------------------------------


def lines(ran: Ran) -> list[str]:
    return [line for line in ran.err.splitlines() if line]


def one_line(ran: Ran, status: int, *words: str) -> None:
    """One clear line, the right status, nothing on stdout."""
    assert ran.status == status, ran.err
    assert len(lines(ran)) == 1, ran.err
    assert ran.out == ""
    for word in words:
        assert word in ran.err, ran.err


def test_no_such_folder(tmp_path: Path) -> None:
    one_line(run(tmp_path / "none", "fit"), 2, "no such folder", str(tmp_path / "none")[:40])  # a long name is cut


def test_no_shop_toml(tmp_path: Path) -> None:
    one_line(run(tmp_path, "check"), 2, "no shop.toml", "kitvalue new")


def test_a_misspelt_key_is_named_with_the_nearest(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    text = (shop / "shop.toml").read_text(encoding="utf-8")
    (shop / "shop.toml").write_text(text.replace("contingency =", "contingncy ="), encoding="utf-8")
    one_line(run(shop, "cost", "seven-piece"), 2, "shop.toml line ", '"contingncy"', "contingency?")


def edited_plan(place: Path, old: str, new: str) -> Path:
    shop = sample_shop(place)
    plan = shop / "builds" / "seven-piece.toml"
    text = plan.read_text(encoding="utf-8")
    assert old in text
    plan.write_text(text.replace(old, new, 1), encoding="utf-8")
    return shop


def test_a_plan_naming_an_unknown_donor(tmp_path: Path) -> None:
    shop = edited_plan(tmp_path, 'from = "B"', 'from = "Z"')
    one_line(run(shop, "cost", "seven-piece"), 2, "builds/seven-piece.toml", '"Z"', "A")


def test_a_plan_naming_an_unknown_series(tmp_path: Path) -> None:
    shop = edited_plan(tmp_path, 'series = "Burren"', 'series = "Buren"')
    one_line(run(shop, "compare", "seven-piece"), 2, "builds/seven-piece.toml", '"Buren"', "did you mean Burren?")


def test_an_unknown_plan_names_the_plans_there_are(shop: Path) -> None:
    one_line(run(shop, "cost", "eight-piece"), 2, '"eight-piece"', "seven-piece")


def twelve(prices: dict[int, object], series: tuple[str, ...] = ("Burren", "Slane")) -> list[dict[str, object]]:
    return [
        {
            "series": series[i % len(series)], "pieces": 4 + i % 3, "condition": 3 + i % 2,
            "price": prices.get(i, 400 + 17 * i), "price_kind": "sold", "ref": i,
        }
        for i in range(12)
    ]  # fmt: skip


@pytest.mark.parametrize("price", [0, -450])
def test_a_price_of_nothing_is_refused_by_row(tmp_path: Path, price: int) -> None:
    shop = book_shop(tmp_path, "", twelve({})[0], twelve({4: price}))
    ran = run(shop, "fit")
    assert ran.status == 1
    assert lines(ran)[0].startswith("prices.csv row 6, column price: ")
    assert f'"{price}"' in lines(ran)[0]
    short = "11 usable rows; a fit needs 12: add 1 more observed kit, or mend the refused row: "
    assert lines(ran)[-1].endswith(f"{short}kitvalue check lists what to write")
    assert run(shop, "check").status == 2


def test_a_book_of_refused_rows_alone_asks_to_mend_them(tmp_path: Path) -> None:
    rows = [row | {"condition": "lovely"} for row in twelve({})]
    ran = run(
        book_shop(tmp_path, "", rows[0], rows), "value", "--series", "Burren", "--pieces", "4", "--condition", "3"
    )
    assert ran.status == 1
    assert lines(ran)[-1].endswith("or mend the 12 refused rows: kitvalue check lists what to write")


def test_eleven_usable_rows(tmp_path: Path) -> None:
    shop = book_shop(tmp_path, "", twelve({})[0], twelve({})[:11])
    for command in ("fit", "value"):
        ran = run(shop, command, *COMMANDS[command])
        assert ran.status == 1
        assert "11 usable rows; a fit needs 12: add 1 more observed kit" in ran.err
    assert not (shop / "out" / "fit.json").exists()


def test_one_series_only_is_fitted_and_others_are_refused(tmp_path: Path) -> None:
    shop = book_shop(tmp_path, "", twelve({})[0], twelve({}, ("Burren",)))
    data = run(shop, "fit", "--json").data
    assert "series" in [out["term"] for out in data["left_out"]]
    assert run(shop, "value", *COMMANDS["value"]).status == 0
    one_line(run(shop, "value", "--series", "Slane", "--pieces", "4", "--condition", "3"), 1, '"Slane"', "Burren")


def test_an_output_folder_that_cannot_be_made_is_found_before_the_fit(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path, fitted=False)
    (shop / "out").write_text("in the way", encoding="utf-8")
    for command in ("fit", "report"):
        one_line(run(shop, command), 2, "out")
    assert (shop / "out").read_text(encoding="utf-8") == "in the way"
    assert run(shop, "value", *COMMANDS["value"]).status == 0  # an answer needs no place to be kept


@contextmanager
def ordinary_user() -> Iterator[None]:
    """Root may write anywhere, so such a test runs as nobody (user 65534)."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_read_only_output_folder_leaves_the_old_report() -> None:
    with tempfile.TemporaryDirectory() as place:
        Path(place).chmod(0o755)
        shop = sample_shop(Path(place))
        out = shop / "out"
        (out / "report.html").write_text("old", encoding="utf-8")
        out.chmod(0o555)
        run(shop, "check")  # so that what is imported late is there before the user changes
        with ordinary_user():
            for command in ("fit", "report"):
                one_line(run(shop, command), 2, f"cannot write to {out}", "no permission")
        out.chmod(0o755)
        assert (out / "report.html").read_text(encoding="utf-8") == "old"
        assert sorted(p.name for p in out.iterdir()) == ["fit.json", "report.html"]


def test_a_failed_run_leaves_an_older_output(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    assert run(shop, "report").status == 0
    page, fit = shop / "out" / "report.html", shop / "out" / "fit.json"
    old = page.read_bytes(), fit.read_bytes()
    text = (shop / "prices.csv").read_text(encoding="utf-8-sig")
    (shop / "prices.csv").write_text("".join(text.splitlines(keepends=True)[:8]), encoding="utf-8")
    assert run(shop, "report").status == 1
    assert run(shop, "fit").status == 1
    assert (page.read_bytes(), fit.read_bytes()) == old


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("--condition", "9"), ['"9"', "1 to 5"]),
        (("--condition", "good"), ['"good"', "freshen"]),
        (("--finished", "0"), ["--finished", '"0"']),
        (("--with", "hardware"), ["name=value"]),
        (("--with", "hardwear=yes"), ["did you mean hardware?"]),
        (("--with", "hardware=perhaps"), ["neither yes nor no"]),
        (("--with", "holes=many"), ["no number"]),
        (("--with", "holes=1", "--with", "holes=2"), ["twice"]),
        (("--on", "03/04/2026"), ["one way"]),
    ],
)
def test_odd_options_of_value(shop: Path, args: tuple[str, ...], words: list[str]) -> None:
    ran = run(shop, "value", *COMMANDS["value"], *args)
    assert ran.status == 2
    for word in words:
        assert word in ran.err


def test_errors_in_json_are_still_one_object(tmp_path: Path) -> None:
    ran = run(tmp_path / "none", "value", *COMMANDS["value"], "--json")
    assert ran.status == 2
    assert ran.data["problems"] == []
    assert "no such folder" in ran.data["error"]


def test_new_lays_out_a_shop_that_works_and_never_writes_over(tmp_path: Path) -> None:
    ran = run(".", "new", str(tmp_path / "mine"))
    assert ran.status == 0
    shop = tmp_path / "mine"
    assert run(shop, "check").status == 0
    assert run(shop, "compare", "example").status == 0
    before = {p: p.read_bytes() for p in shop.rglob("*") if p.is_file()}
    one_line(run(".", "new", str(shop)), 2, "not empty")
    assert {p: p.read_bytes() for p in shop.rglob("*") if p.is_file()} == before


def test_every_command_shows_help_with_an_example() -> None:
    from kitvalue.cli.main import main

    for name in main.commands:
        ran = run(".", name, "--help")
        assert ran.status == 0
        assert "Example:" in ran.out
        assert f"kitvalue {'' if name == 'new' else '--shop myshop '}{name}" in ran.out


# ---- start-up ----------------------------------------------------------------------------------------------------

HEAVY = ("pandas", "scipy", "statsmodels", "matplotlib")


def modules_of(shop: Path, *args: str) -> set[str]:
    """The heavy libraries that a run of the command line loads."""
    code = (
        "import sys\n"
        "from kitvalue.cli.main import main\n"
        "try:\n    main(sys.argv[1:])\nexcept SystemExit as end:\n    assert not end.code, end.code\n"
        f"print('\\n@', *sorted(set({HEAVY!r}) & set(sys.modules)))\n"
    )
    ran = subprocess.run([sys.executable, "-c", code, "--shop", str(shop), *args], capture_output=True, text=True)
    assert ran.returncode == 0, ran.stderr
    return set(re.findall(r"^@(.*)$", ran.stdout, re.MULTILINE)[-1].split())


@pytest.mark.parametrize("command", ["--help", "value", "cost", "price", "card"])
def test_light_commands_load_no_heavy_library(shop: Path, command: str) -> None:
    run(shop, "fit")
    assert modules_of(shop, command, *COMMANDS.get(command, ())) == set()
    if command == "value":
        assert modules_of(shop, command, *COMMANDS[command], "--asked", "350") == set()


def test_the_heavy_libraries_are_found_where_they_are_used(shop: Path) -> None:
    """The test above can fail: fit loads scipy, report matplotlib."""
    assert "scipy" in modules_of(shop, "fit")
    assert "matplotlib" in modules_of(shop, "report")


def test_the_module_runs_as_the_command(shop: Path) -> None:
    ran = subprocess.run(
        [sys.executable, "-m", "kitvalue", "--shop", str(shop), "cost", "seven-piece", "--json"],
        capture_output=True, text=True, cwd=os.sep,
    )  # fmt: skip
    assert ran.returncode == 0
    assert json.loads(ran.stdout)["net_cost"] > 0
