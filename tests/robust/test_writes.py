"""Files are written whole or not at all: killed, out of room, by the wrong user, through links, two runs at once."""

from __future__ import annotations

import csv
import errno
import io
import json
import os
import random
import signal
import stat
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import pytest

from kitvalue.commands import writing as files
from kitvalue.intake.text.problems import FileError
from tests.robust.processes import WRITING, environment, files_in, started, thorough_but, two_at_once, words_of
from tests.shops import Ran, run, sample_shop

WRITER = """
import signal, sys
from pathlib import Path
from kitvalue.commands.writing import write_whole
signal.signal(signal.SIGINT, signal.default_int_handler)
place = Path(sys.argv[1])
print("ready", flush=True)
for n in range(10**6):
    write_whole(place, bytes([65 + n % 2]) * 300_000)
"""
NARROW = """
import resource, sys
resource.setrlimit(resource.RLIMIT_FSIZE, (200, 200))
from kitvalue.__main__ import run
run()
"""
ROUNDS = int(os.environ.get("KITVALUE_KILLS", "1"))  # KITVALUE_KILLS=5 kills five times as many
posix = pytest.mark.skipif(os.name != "posix", reason="signals, limits and links as POSIX has them")


def one_line(ran: Ran, *words: str) -> None:
    assert ran.status == 2, ran.err
    assert len(ran.err.splitlines()) == 1, ran.err
    assert "Traceback" not in ran.err
    for word in words:
        assert word in ran.err, ran.err


def left_over(folder: Path) -> list[Path]:
    return list(folder.rglob("*.tmp"))


# ---- killed ------------------------------------------------------------------------------------------------------


@posix
def test_killed_while_writing_the_old_or_the_new_file_is_whole(tmp_path: Path) -> None:
    draw = random.Random(8)
    runs = [(n, draw.choice((signal.SIGKILL, signal.SIGINT)), draw.uniform(0, 0.012)) for n in range(60 * ROUNDS)]

    def one(given: tuple[int, signal.Signals, float]) -> str:
        number, how, after = given
        place = tmp_path / str(number)
        place.mkdir()
        path = place / "fit.json"
        path.write_bytes(b"@" * 300_000)
        with subprocess.Popen(
            [sys.executable, "-c", WRITER, str(path)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL,
            env=environment(),
        ) as writer:  # fmt: skip
            assert writer.stdout is not None
            assert writer.stdout.readline() == b"ready\n"
            time.sleep(after)
            writer.send_signal(how)
            try:
                writer.wait(timeout=30)
            finally:
                writer.kill()
        data = path.read_bytes()
        assert len(data) == 300_000
        assert len(set(data)) == 1, "half of one and half of the other"
        if how == signal.SIGINT:
            assert not left_over(place)
        return "left" if left_over(place) else chr(data[0])

    seen = two_at_once(one, runs)
    assert {"A", "B", "left"} <= set(seen), "the moments drawn hit no write"


@posix
def test_whole_commands_killed_leave_whole_files(tmp_path: Path) -> None:
    shops = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        shops.append(sample_shop(tmp_path / name))
        for command in ("fit", "report", "card"):
            assert run(shops[-1], command).status == 0
        assert run(shops[-1], "sheet", "seven-piece").status == 0
    lines = [WRITING[name] for name in ("fit", "report", "jot", "card", "sheet")]
    draw = random.Random(9)

    def some_of_each(shop: Path) -> None:
        books = {(shop / "prices.csv").read_bytes()}  # every state that the price book has had
        for line in lines * ROUNDS:
            how = draw.choice((signal.SIGKILL, signal.SIGINT))
            begun = started(shop, list(line))
            time.sleep(draw.uniform(0.15, 1.1))
            begun.send_signal(how)
            out, err = begun.communicate(timeout=60)
            assert begun.returncode in (0, 130, -how), err
            answers = [path for path in (shop / "out").iterdir() if path.suffix in (".json", ".html", ".csv")]
            assert answers
            assert all(whole(path) for path in answers)
            assert all(kept.read_bytes() in books for kept in (shop / "out" / "before").rglob("*.csv"))
            books.add((shop / "prices.csv").read_bytes())
            rows = (shop / "prices.csv").read_bytes().decode("utf-8-sig")
            assert rows.endswith("\n")
            assert len({len(row) for row in csv.reader(io.StringIO(rows, newline=""), delimiter=";")}) == 1
            if how == signal.SIGINT:
                assert not left_over(shop)
                assert begun.returncode != 130 or out == b""
                lost = b"<frozen importlib" in err  # before the program ran: Python itself can only say so
                assert begun.returncode == -how or lost or b"Traceback" not in err, err
            for left in left_over(shop):
                left.unlink()

    two_at_once(some_of_each, shops)


def whole(path: Path) -> bool:
    text = path.read_text(encoding="utf-8")
    if path.suffix == ".json":
        return isinstance(json.loads(text), dict)
    return text.rstrip().endswith("</html>")


def test_what_a_killed_run_left_is_cleared_once_it_is_an_hour_old(tmp_path: Path) -> None:
    old, young, other = (tmp_path / name for name in (".kitvalue-fit.json-0.tmp", ".kitvalue-x-1.tmp", "mine.tmp"))
    for path in (old, young, other):
        path.write_text("half")
    for path in (old, other):
        os.utime(path, (time.time() - 2 * files.STALE,) * 2)
    files.write_whole(tmp_path / "fit.json", "{}")
    assert sorted(p.name for p in tmp_path.iterdir()) == [young.name, "fit.json", "mine.tmp"]


@posix
def test_the_folder_is_synchronised_after_the_rename(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So that a power cut does not lose the new name (POSIX fsync; the Linux manual, fsync(2), from memory)."""
    seen: list[str] = []
    real_fsync, real_replace = os.fsync, Path.replace

    def fsync(handle: int) -> None:
        seen.append("folder" if stat.S_ISDIR(os.fstat(handle).st_mode) else "file")
        real_fsync(handle)

    def replace(self: Path, target: Path) -> Path:
        seen.append("rename")
        return real_replace(self, target)

    monkeypatch.setattr(os, "fsync", fsync)
    monkeypatch.setattr(Path, "replace", replace)
    files.write_whole(tmp_path / "fit.json", "{}")
    assert seen == ["file", "rename", "folder"]


@posix
def test_permissions_and_links_stay(tmp_path: Path) -> None:
    far = tmp_path / "far"
    far.mkdir()
    (far / "fit.json").write_text("old")
    (far / "fit.json").chmod(0o640)
    (tmp_path / "fit.json").symlink_to(far / "fit.json")
    (tmp_path / "to-come.json").symlink_to(far / "to-come.json")
    for name in ("fit.json", "to-come.json"):
        files.write_whole(tmp_path / name, "new")
        assert (tmp_path / name).is_symlink()
        assert (far / name).read_text() == "new"
    assert stat.S_IMODE((far / "fit.json").stat().st_mode) == 0o640


@posix
def test_a_device_or_a_folder_is_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "card.html").symlink_to(os.devnull)
    (tmp_path / "report.html").mkdir()
    os.mkfifo(tmp_path / "fit.json")
    for name in ("card.html", "report.html", "fit.json"):
        with pytest.raises(FileError, match="no file stands in the way"):
            files.write_whole(tmp_path / name, "x")
    assert stat.S_ISCHR(os.stat(os.devnull).st_mode)


# ---- no room -----------------------------------------------------------------------------------------------------


@posix
@pytest.mark.parametrize("name", thorough_but({"new", "jot", "fit", "report", "sheet"}.__contains__, WRITING))
def test_without_room_every_command_keeps_the_old_files_and_says_so_in_one_line(name: str, tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    before = files_in(shop)
    ran = subprocess.run(
        [sys.executable, "-c", NARROW, "--shop", str(shop), *words_of(WRITING[name], tmp_path / "new")],
        capture_output=True, text=True, env=environment(), stdin=subprocess.DEVNULL, check=False,
    )  # fmt: skip
    assert ran.returncode == 2, ran.stderr
    assert "cannot write" in ran.stderr.splitlines()[-1]
    assert "larger than the system allows" in ran.stderr.splitlines()[-1]
    assert len(ran.stderr.splitlines()) == 1, ran.stderr
    assert files_in(shop) == before
    assert not left_over(tmp_path)


@pytest.mark.parametrize("number", ["ENOSPC", "EDQUOT", "EROFS", "EIO"])
def test_a_disk_that_fails_midway_leaves_the_old_file(
    number: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "fit.json").write_text("old")

    def fails(handle: int) -> None:
        raise OSError(getattr(errno, number), os.strerror(getattr(errno, number)))

    monkeypatch.setattr(os, "fsync", fails)
    with pytest.raises(FileError, match=r"cannot write .*fit\.json: .+"):
        files.write_whole(tmp_path / "fit.json", "new")
    assert files_in(tmp_path) == {"fit.json": b"old"}


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
@pytest.mark.parametrize("words", [["cost", "seven-piece"], ["cost", "seven-piece", "--json"], ["--help"]])
def test_an_answer_that_finds_no_room_is_one_line(words: list[str], tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    with open("/dev/full", "wb") as full:
        ran = subprocess.run(
            [sys.executable, "-m", "kitvalue", "--shop", str(shop), *words], stdout=full, stderr=subprocess.PIPE,
            text=True, env=environment(), check=False,
        )  # fmt: skip
    assert ran.returncode == 2
    assert ran.stderr == "cannot write the answer: the disk is full\n"


# ---- over an input -----------------------------------------------------------------------------------------------

OUTPUTS = {
    "fit": "fit.json",
    "report": "report.html",
    "card": "card.html",
    "sheet": "sheet-seven-piece.html",
    "sheet --pdf": "sheet-seven-piece.pdf",
    "cost": "cost-seven-piece.csv",
    "shortlist": "shortlist.csv",
}


@posix
@pytest.mark.parametrize("kind", thorough_but("symbolic".__eq__, ["symbolic", "hard"]))
@pytest.mark.parametrize("name", OUTPUTS)
def test_an_output_that_is_an_input_by_a_link_is_refused(name: str, kind: str, tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    path = shop / "out" / OUTPUTS[name]
    path.unlink(missing_ok=True)
    for target in (shop / "prices.csv", shop / "builds" / "seven-piece.toml"):
        if kind == "hard":
            path.hardlink_to(target)
        else:
            path.symlink_to(target)
        before = files_in(shop)
        one_line(run(shop, *WRITING[name]), "cannot write", path.name, target.name, "under another name")
        after = files_in(shop)
        assert {k: v for k, v in after.items() if not k.startswith("out")} == {
            k: v for k, v in before.items() if not k.startswith("out")
        }
        path.unlink()


@posix
@pytest.mark.thorough
def test_a_picture_that_is_an_input_by_a_link_is_refused(tmp_path: Path) -> None:
    shop, charts = sample_shop(tmp_path), tmp_path / "charts"
    assert run(shop, "report", "--charts", str(charts)).status == 0
    picture = sorted(charts.iterdir())[0]
    picture.unlink()
    picture.symlink_to(shop / "prices.csv")
    before = (shop / "prices.csv").read_bytes()
    one_line(run(shop, "report", "--charts", str(charts)), picture.name, "prices.csv under another name")
    assert (shop / "prices.csv").read_bytes() == before


@posix
def test_an_output_folder_that_is_the_shop_itself_is_refused(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path, fitted=False)
    (shop / "out").symlink_to(shop)
    before = files_in(shop)
    for name in OUTPUTS:
        one_line(run(shop, *WRITING[name]), "out", "remove that link")
    assert files_in(shop) == before


def test_a_plan_is_never_written_over(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    before = files_in(shop / "builds")
    for name in ("seven-piece", "builds/seven-piece.toml", str(shop / "shop.toml")):
        one_line(run(shop, "source", "seven-piece", "--write", name), "is there already")
    assert files_in(shop / "builds") == before


@posix
def test_a_price_book_that_is_a_link_is_still_jotted_into(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    (shop / "prices.csv").rename(tmp_path / "kept-elsewhere.csv")
    (shop / "prices.csv").symlink_to(tmp_path / "kept-elsewhere.csv")
    before = (tmp_path / "kept-elsewhere.csv").read_bytes()
    assert run(shop, *WRITING["jot"]).status == 0
    assert (shop / "prices.csv").is_symlink()
    assert (tmp_path / "kept-elsewhere.csv").read_bytes().startswith(before)


def needs_python(user: int | None) -> None:
    """Skip where an ordinary user cannot run this Python with its packages."""
    look = [sys.executable, "-c", "import click, kitvalue.cli.main"]
    try:
        able = subprocess.run(look, user=user, env=environment(), capture_output=True, check=False).returncode == 0
    except PermissionError:
        able = False
    if not able:
        pytest.skip("an ordinary user cannot run this Python with its packages")


# ---- folders and names -------------------------------------------------------------------------------------------


@posix
def test_every_writing_command_says_in_one_line_that_it_may_not_write() -> None:
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        place.chmod(0o755)
        shop = sample_shop(place)
        user = 65534 if os.geteuid() == 0 else None  # nobody: root may write anywhere
        for folder in (shop, shop / "out", shop / "builds", place):
            folder.chmod(0o555)
        try:
            needs_python(user)

            def one(command: str) -> None:
                ran = subprocess.run(
                    [sys.executable, "-m", "kitvalue", "--shop", str(shop), *words_of(WRITING[command], place / "new")],
                    user=user, capture_output=True, text=True, env=environment(HOME=str(place)), check=False,
                    stdin=subprocess.DEVNULL,
                )  # fmt: skip
                assert ran.returncode == 2, (command, ran.stderr)
                assert len(ran.stderr.splitlines()) == 1, (command, ran.stderr)
                assert "no permission" in ran.stderr, (command, ran.stderr)
                assert ran.stdout == ""

            two_at_once(one, WRITING)
        finally:
            for folder in (place, shop, shop / "out", shop / "builds"):
                folder.chmod(0o755)


@posix
def test_a_shop_that_may_not_be_read_is_one_line_and_one_object() -> None:
    needs_python(65534 if os.geteuid() == 0 else None)
    with tempfile.TemporaryDirectory() as name:
        place = Path(name)
        shop = sample_shop(place)  # in a folder that is root's alone
        user = 65534 if os.geteuid() == 0 else None
        if user is None:
            place.chmod(0)
        ran = subprocess.run(
            [sys.executable, "-m", "kitvalue", "--shop", str(shop), "check", "--json"],
            user=user, capture_output=True, text=True, env=environment(), check=False,
        )  # fmt: skip
        place.chmod(0o700)
    assert ran.returncode == 2, ran.stderr
    assert len(ran.stderr.splitlines()) == 1, ran.stderr
    assert set(json.loads(ran.stdout)) == {"error", "problems", "cautions", "caution_codes"}


@pytest.mark.parametrize(
    "name", ["two words", "Büro für Trommeln", "🥁 太鼓", "-dash", "two\nlines", 'it\'s "so"', "$HOME"]
)
def test_awkward_names_of_folders(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(".", "new", "--", name).status == 0
    assert (tmp_path / name / "shop.toml").exists()
    one_line(run(".", "new", "--", name), "not empty")
    heavy = [["report", "--charts", f"{name}/charts"], ["sheet", "example", "--pdf"]] if "\n" in name else []
    for words in (["fit"], ["card"], *heavy):
        assert run(name, *words).status == 0
    assert (tmp_path / name / "out" / ("report.html" if heavy else "card.html")).exists()
    (tmp_path / name / "prices.csv").unlink()
    ran = run(name, "fit")
    assert len(ran.err.splitlines()) == 1, ran.err
    one_line(run(f"{name}/none", "check"), "no such folder")


@posix
def test_a_name_that_is_nearly_too_long_is_written_and_a_longer_one_refused(tmp_path: Path) -> None:
    files.write_whole(tmp_path / ("ü" * 120 + ".csv"), "x")
    with pytest.raises(FileError, match="the name is too long"):
        files.write_whole(tmp_path / ("ü" * 130), "x")
    assert not left_over(tmp_path)


def test_runs_at_once_in_one_shop_each_leave_a_whole_file(tmp_path: Path) -> None:
    shop = sample_shop(tmp_path)
    lines = [list(WRITING[name]) for name in ("fit", "report", "card", "sheet", "fit")]
    begun = [started(shop, words) for words in lines]
    for one in begun:
        _, err = one.communicate(timeout=120)
        assert one.returncode == 0, err
        assert b"Traceback" not in err
    assert not left_over(shop)
    assert {p.name for p in (shop / "out").iterdir() if whole(p)} == {
        "fit.json", "report.html", "card.html", "sheet-seven-piece.html",
    }  # fmt: skip
