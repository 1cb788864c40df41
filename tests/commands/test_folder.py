"""The one writer of the shop's own files: nothing is lost, all of a change is written or none of it."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest
from filelock import FileLock

from kitvalue.commands import folder as folders
from kitvalue.commands.folder import KEPT, ShopFolder, state_of
from kitvalue.intake.text.problems import FileError
from tests import TODAY


def files(place: Path) -> dict[str, bytes]:
    return {str(p.relative_to(place)): p.read_bytes() for p in sorted(place.rglob("*")) if p.is_file()}


@pytest.fixture
def folder(tmp_path: Path) -> ShopFolder:
    (tmp_path / "prices.csv").write_bytes(b"old prices\n")
    (tmp_path / "offers.csv").write_bytes(b"old offers\n")
    return ShopFolder(tmp_path, TODAY)


def states(folder: ShopFolder, *names: str) -> dict[str, str]:
    return {name: state_of(folder.bytes_of(name)) for name in names}


def test_what_a_file_held_is_kept(folder: ShopFolder) -> None:
    folder.change({"prices.csv": b"new\n"}, states(folder, "prices.csv"))
    assert (folder.path / "prices.csv").read_bytes() == b"new\n"
    assert files(folder.path / "out" / "before") == {"000001/prices.csv": b"old prices\n"}


def test_the_last_changes_are_kept_and_older_ones_go(folder: ShopFolder) -> None:
    for n in range(KEPT + 3):
        folder.change({"prices.csv": b"%d" % n}, states(folder, "prices.csv"))
    kept = files(folder.path / "out" / "before")
    assert len(kept) == KEPT
    assert kept[f"{KEPT + 3:06}/prices.csv"] == b"%d" % (KEPT + 1)
    assert "000003/prices.csv" not in kept
    assert "000004/prices.csv" in kept


def test_a_new_file_and_one_in_builds_are_one_change(folder: ShopFolder) -> None:
    (folder.path / "builds").mkdir()
    (folder.path / "builds" / "a.toml").write_bytes(b"old plan")
    names = ("builds/a.toml", "done.csv")
    folder.change({"builds/a.toml": b"new plan", "done.csv": b"first"}, states(folder, *names))
    assert (folder.path / "done.csv").read_bytes() == b"first"
    assert files(folder.path / "out" / "before") == {"000001/builds/a.toml": b"old plan"}


@pytest.mark.parametrize("meanwhile", [b"changed\n", None])
def test_a_file_that_was_changed_or_removed_meanwhile_stops_all(folder: ShopFolder, meanwhile: bytes | None) -> None:
    read = states(folder, "prices.csv", "offers.csv")
    path = folder.path / "offers.csv"
    path.unlink() if meanwhile is None else path.write_bytes(meanwhile)
    before = {name: data for name, data in files(folder.path).items() if not name.startswith("out")}
    with pytest.raises(FileError, match=r"offers\.csv has changed since it was read; nothing is written"):
        folder.change({"prices.csv": b"new", "offers.csv": b"new"}, read)
    assert {name: data for name, data in files(folder.path).items() if not name.startswith("out")} == before


@pytest.mark.parametrize("fails", ["prices.csv", "offers.csv", "done.csv"])
def test_where_one_of_several_cannot_be_written_none_is(
    folder: ShopFolder, monkeypatch: pytest.MonkeyPatch, fails: str
) -> None:
    whole = folders.write_whole

    def full(path: Path, content: str | bytes) -> None:
        if path == folder.path / fails and content == b"new":
            raise FileError(f"cannot write {path}: the disk is full")
        whole(path, content)

    monkeypatch.setattr(folders, "write_whole", full)
    names = ("prices.csv", "offers.csv", "done.csv")
    with pytest.raises(FileError, match="the disk is full"):
        folder.change(dict.fromkeys(names, b"new"), states(folder, *names))
    own = {name: data for name, data in files(folder.path).items() if not name.startswith("out")}
    assert own == {"prices.csv": b"old prices\n", "offers.csv": b"old offers\n"}


@pytest.mark.parametrize("stopped_behind", ["prices.csv", "offers.csv", "done.csv"])
def test_a_stop_right_behind_a_write_takes_all_back(
    folder: ShopFolder, monkeypatch: pytest.MonkeyPatch, stopped_behind: str
) -> None:
    whole = folders.write_whole

    def stopped(path: Path, content: str | bytes) -> None:
        whole(path, content)
        if path == folder.path / stopped_behind and content == b"new":
            raise KeyboardInterrupt

    monkeypatch.setattr(folders, "write_whole", stopped)
    names = ("prices.csv", "offers.csv", "done.csv")
    with pytest.raises(KeyboardInterrupt):
        folder.change(dict.fromkeys(names, b"new"), states(folder, *names))
    own = {name: data for name, data in files(folder.path).items() if not name.startswith("out")}
    assert own == {"prices.csv": b"old prices\n", "offers.csv": b"old offers\n"}


def test_two_writers_do_not_lose_each_others_rows(tmp_path: Path) -> None:
    """Each reads, adds a line and writes; a writer whose reading is out of date is told so and tries again."""
    (tmp_path / "prices.csv").write_bytes(b"")

    def add(mark: bytes) -> None:
        folder = ShopFolder(tmp_path, TODAY)
        for _ in range(15):
            while True:
                data = folder.bytes_of("prices.csv") or b""
                try:
                    folder.change({"prices.csv": data + mark}, {"prices.csv": state_of(data)})
                    break
                except FileError as why:
                    assert "has changed" in why.message  # noqa: PT017 - the loop tries again

    writers = [threading.Thread(target=add, args=(mark,)) for mark in (b"a", b"b")]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    text = (tmp_path / "prices.csv").read_bytes()
    assert sorted(text) == sorted(b"a" * 15 + b"b" * 15)


def test_another_run_that_keeps_writing_is_named(folder: ShopFolder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folders, "PATIENCE", 0.05)
    (folder.path / "out").mkdir()
    with FileLock(folder.path / "out" / ".lock"), pytest.raises(FileError, match="another run is writing"):
        folder.change({"prices.csv": b"new"}, states(folder, "prices.csv"))
    assert (folder.path / "prices.csv").read_bytes() == b"old prices\n"
