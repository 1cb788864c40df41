"""Files are data only, the network is never touched, and no word of a file becomes markup, a script or a formula."""

from __future__ import annotations

import ast
import csv
import io
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitvalue.market.fitted import sealed
from tests.pages.markup import foreign, page_of
from tests.robust.processes import FROM_SHEET, LINES, VALUE, environment, words_of
from tests.shops import SAMPLE, Ran, book_shop, run, sample_shop

PACKAGE = SAMPLE.parent / "kitvalue"
FORBIDDEN = {
    "pickle", "cPickle", "dill", "joblib", "marshal", "shelve", "yaml", "subprocess", "socket", "urllib", "http",
    "requests", "httpx", "ftplib", "smtplib", "ctypes", "code", "pty", "runpy",
}  # fmt: skip
CALLS = {"eval", "exec", "compile", "__import__", "os.system", "os.popen", "pd.read_pickle", "breakpoint"}
GUARD = """
import sys
def guard(event, args):
    if event.startswith(("socket.", "subprocess.", "os.exec", "os.system", "os.fork", "os.posix_spawn", "urllib.")):
        raise SystemExit(f"forbidden: {event} {args}")
sys.addaudithook(guard)
if sys.argv[1] == "try":
    import socket
    socket.socket()
from click.testing import CliRunner
from kitvalue.cli.main import main
import json
for words in json.loads(sys.argv[2]):
    ran = CliRunner().invoke(main, ["--shop", sys.argv[1], *words], catch_exceptions=False)
    assert ran.exit_code == 0, (words, ran.exit_code, ran.output)
print("done", len(json.loads(sys.argv[2])))
"""


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_no_module_can_run_what_a_file_says(path: Path) -> None:
    allowed = {"ctypes"} if path.name == "solving.py" else set()  # to empty a buffer of C's, nothing that a file says
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            assert not {alias.name.split(".")[0] for alias in node.names} & (FORBIDDEN - allowed)
        elif isinstance(node, ast.ImportFrom):
            assert (node.module or "").split(".")[0] not in FORBIDDEN
        elif isinstance(node, ast.Call):
            assert ast.unparse(node.func) not in CALLS
            assert not any(key.arg in ("shell", "allow_pickle") for key in node.keywords)


def guarded(shop: str, lines: list[list[str]]) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", GUARD, shop, json.dumps(lines)], capture_output=True, text=True, env=environment(),
        check=False,
    )  # fmt: skip


def test_no_command_touches_the_network_or_starts_a_process(tmp_path: Path) -> None:
    lines = [words_of(line, tmp_path / "new") for line in LINES.values()]
    more = [["report", "--charts", str(tmp_path / "charts")], ["sheet", "seven-piece", "--pdf"]]
    more.append(words_of(FROM_SHEET, tmp_path / "other"))
    ran = guarded(str(sample_shop(tmp_path)), [*lines, *more])
    assert ran.returncode == 0, ran.stderr
    assert ran.stdout == f"done {len(LINES) + 3}\n"


def test_the_guard_above_guards() -> None:
    ran = guarded("try", [])
    assert ran.returncode != 0
    assert "forbidden: socket." in ran.stderr


# ---- a saved fit that was tampered with --------------------------------------------------------------------------


@pytest.fixture(scope="module")
def fitted(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, bytes, Ran]:
    shop = sample_shop(tmp_path_factory.mktemp("tampered"))
    right = run(shop, *VALUE, "--json")
    return shop, (shop / "out" / "fit.json").read_bytes(), right


def answers_or_refuses(shop: Path) -> Ran:
    ran = run(shop, *VALUE, "--json")  # an exception fails the test
    assert ran.status in (0, 1, 2)
    assert ("error" in ran.data) == (ran.status != 0)
    json.loads(ran.out, parse_constant=lambda name: pytest.fail(f"{name} in an answer"))
    assert "Traceback" not in ran.err
    assert ran.status == 0 or len(ran.err.splitlines()) == 1
    return ran


@settings(max_examples=3)
@given(cut=st.floats(0, 1), junk=st.binary(max_size=8))
def test_a_fit_cut_short_is_made_anew(fitted: tuple[Path, bytes, Ran], cut: float, junk: bytes) -> None:
    shop, data, right = fitted
    short = data[: int(cut * (len(data) - 3))] + junk
    (shop / "out" / "fit.json").write_bytes(short)
    assert answers_or_refuses(shop) == right


ODD = [None, True, -1, 0, 1e308, -1e308, 1e-308, 2**70, "", "x", [], {}, [None], "NaN"]


@settings(max_examples=6)
@given(st.data())
def test_a_fit_with_any_value_changed_never_breaks_a_command(
    fitted: tuple[Path, bytes, Ran], data: st.DataObject
) -> None:
    shop, kept, _ = fitted
    whole = json.loads(kept)
    digest = whole.pop("digest")
    assert len(digest) == 64
    at = whole
    while True:
        key = data.draw(st.sampled_from(sorted(at) if isinstance(at, dict) else range(len(at))))
        below = at[key]
        if not isinstance(below, (dict, list)) or not below or data.draw(st.integers(0, 4)) == 0:
            break
        at = below
    at[key] = data.draw(st.sampled_from(ODD))
    (shop / "out" / "fit.json").write_text(sealed(json.dumps(whole)), encoding="utf-8", newline="")
    answers_or_refuses(shop)


# ---- words that would be markup, a script or a formula ------------------------------------------------------------

NAMES = (
    "<script>alert(1)</script>", '"><img src=x onerror=alert(1)>', "=cmd|'/c calc'!A1", "@SUM(1)", "+49", "{{7*7}}",
)  # fmt: skip


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample shop with hostile words as series, offers, notes, features' owners, titles and its own name."""
    place = sample_shop(tmp_path_factory.mktemp("hostile"))
    plan = place / "builds" / "seven-piece.toml"
    text = plan.read_text(encoding="utf-8")
    lines = [f"title = {json.dumps(NAMES[1])}" if line.startswith("title") else line for line in text.splitlines()]
    plan.write_text("\n".join(lines), encoding="utf-8")
    assert NAMES[1] in plan.read_text(encoding="utf-8").replace("\\", "")
    settings_file = place / "shop.toml"
    text = settings_file.read_text(encoding="utf-8")
    settings_file.write_text(text.replace('"Dock Road Drums"', json.dumps(NAMES[0]), 1), encoding="utf-8")
    for name, columns in {"offers.csv": ("offer", "note"), "prices.csv": ("note",)}.items():
        raw = (place / name).read_text(encoding="utf-8-sig")
        rows = list(csv.DictReader(io.StringIO(raw), delimiter=";"))
        for at, row in enumerate(rows):
            for column in columns:
                if column in row:
                    row[column] = f"{NAMES[at % len(NAMES)]}{at if column == 'offer' else ''}"
        out = io.StringIO()
        writer = csv.DictWriter(out, list(rows[0]), delimiter=";")
        writer.writeheader()
        writer.writerows(rows)
        (place / name).write_text(out.getvalue(), encoding="utf-8")
    return place


def test_hostile_words_stay_words_on_every_page(hostile: Path) -> None:
    for line in (["report"], ["card", "--plan", "seven-piece"], ["sheet", "seven-piece"]):
        assert run(hostile, *line).status == 0
    pages = list((hostile / "out").glob("*.html"))
    assert len(pages) == 3
    for path in pages:
        html = path.read_text(encoding="utf-8")
        assert not foreign(html, scripts=2 if path.name == "card.html" else 0)
        assert "49" not in page_of(html).all("h1")[0].text


def test_hostile_words_are_no_formulas_in_the_tables(hostile: Path) -> None:
    assert run(hostile, "shortlist", "--csv").status == 0
    assert run(hostile, "cost", "seven-piece", "--csv").status == 0
    seen = []
    for path in (hostile / "out").glob("*.csv"):
        text = path.read_text(encoding="utf-8-sig")
        sign = ";" if text.splitlines()[0].count(";") else ","
        for row in csv.reader(io.StringIO(text), delimiter=sign):
            for cell in row:
                assert not cell.startswith(("=", "@", "\t", "\r")), cell
                if cell.startswith(("+", "-")):
                    float(cell.replace(",", "."))
            seen += row
    assert any("cmd|" in cell for cell in seen)


def test_a_hostile_series_is_told_in_one_line_and_stays_text(tmp_path: Path) -> None:
    rows = [
        {
            "series": NAMES[n % 3], "pieces": 4 + n % 3, "condition": 3 + n % 2, "price": 400 + 17 * n,
            "price_kind": "sold",
        }
        for n in range(18)
    ]  # fmt: skip
    shop = book_shop(tmp_path / "shop", "", rows[0], rows)
    assert run(shop, "report").status == 0
    page = page_of((shop / "out" / "report.html").read_text(encoding="utf-8"))
    assert not page.all("script")
    assert not any("onerror" in e.attributes for e in page.inside)
    ran = run(shop, "value", "--series", "\x1b[31mred", "--pieces", "5", "--condition", "3")
    assert "\x1b" not in ran.err
    shutil.rmtree(shop)
