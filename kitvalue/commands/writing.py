"""Writing a file whole or not at all: a temporary file beside the target, then a rename.

Killed at any moment, the old or the new file is there, whole. What is interrupted (Ctrl-C) clears its temporary file;
what is killed outright cannot, and the next write into that folder clears it once it is an hour old.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from kitvalue.intake.text.problems import Caution, FileError, Problem, shown

SETTINGS: Final = "shop.toml"
PRICES: Final = "prices.csv"
RATES: Final = "rates.csv"
OFFERS: Final = "offers.csv"
PARTS: Final = "parts.csv"
DONE: Final = "done.csv"
INPUTS: Final = (SETTINGS, PRICES, RATES, OFFERS, PARTS, DONE)  # beside the plans in builds/
MARK: Final = ".kitvalue-"  # how a temporary file's name begins
STALE: Final = 3600.0  # seconds after which no run is still writing it
NAME_KEPT: Final = 40  # characters of the target's name in that of its temporary file


@dataclass(frozen=True, slots=True)
class Printed:
    """The files written, and what the owner should know of them."""

    written: tuple[Path, ...]
    cautions: tuple[Caution, ...]
    problems: tuple[Problem, ...] = ()
    said: str = ""  # the verdict, where there is one


def make_writable(folder: Path) -> None:
    """Make an output folder where it is missing, and find out before any work whether it can be written to.

    Raises FileError naming the folder and the reason.
    """
    temporary: Path | None = None
    try:
        folder.mkdir(parents=True, exist_ok=True)
        if folder.is_symlink() and (folder / SETTINGS).exists():
            raise FileError(f"cannot write to {_named(folder)}: it leads to a shop's own files; remove that link")
        temporary = _temporary(folder / "test")
        os.close(_opened(temporary))
        temporary.unlink()  # here, not only below: an interrupt in between still finds it
    except OSError as why:
        raise FileError(f"cannot write to {_named(folder)}: {reason(why)}") from why
    finally:
        _remove(temporary)


def write_whole(path: Path, content: str | bytes) -> None:
    """Replace a file by bytes, or by text in UTF-8. An interrupted or failed write leaves the old file as it was.

    A file that was there keeps its permissions and, where we may, its owner; a link keeps pointing at its target.
    Raises FileError naming the file and the reason, also where that target is an input of the shop or no regular file.
    """
    temporary: Path | None = None
    try:
        target = Path(os.path.realpath(path))
        old = _replaced(path, target)
        temporary = _temporary(target)  # named before it is made: an interrupt in between finds it
        with open(_opened(temporary), "wb") as file:
            file.write(content if isinstance(content, bytes) else content.encode())
            file.flush()
            os.fsync(file.fileno())
        _clear_stale(temporary)
        _take_after(temporary, old)
        temporary.replace(target)
        _settle(target.parent)
    except OSError as why:
        raise FileError(f"cannot write {_named(path)}: {reason(why)}") from why
    finally:
        _remove(temporary)


def _replaced(path: Path, target: Path) -> os.stat_result | None:
    """The state of the file that is to be replaced, None where there is none yet. An output that is an input under
    another name, by a link of either kind, would be written over it: the shop lies in the folders about either end."""
    try:
        old = target.stat()
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(old.st_mode):
        raise FileError(f"cannot write {_named(path)}: something that is no file stands in the way")
    inputs: list[Path] = []
    for folder in dict.fromkeys((path.parent, path.parent.parent, target.parent, target.parent.parent)):
        if path.name not in INPUTS and (folder / SETTINGS).exists():
            inputs += [folder / name for name in INPUTS]
            plans = sorted((folder / "builds").glob("*.toml"))
            inputs += [plan for plan in plans if path.is_symlink() or os.path.realpath(plan) != str(target)]
    for other in inputs:
        with contextlib.suppress(OSError):
            if os.path.samestat(other.stat(), old):
                same = f"it is {_named(other)} under another name; remove that link"
                raise FileError(f"cannot write {_named(path)}: {same}")
    return old


def _temporary(target: Path) -> Path:
    return target.parent / f"{MARK}{target.name[:NAME_KEPT]}-{os.urandom(8).hex()}.tmp"


def _opened(temporary: Path) -> int:
    """A new file that only we can read, until it takes the target's place."""
    return os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)


def _clear_stale(temporary: Path) -> None:
    """Remove what killed runs left behind. Ages are told by the disk's own clock, from the file just written."""
    with contextlib.suppress(OSError):
        newest = temporary.stat().st_mtime
        for left in temporary.parent.glob(f"{MARK}*.tmp"):
            if left.lstat().st_mtime < newest - STALE:
                _remove(left)


def _take_after(temporary: Path, old: os.stat_result | None) -> None:
    """Permissions and owner of the file that it replaces, or those of any new file."""
    if old is None:
        mask = os.umask(0)
        os.umask(mask)
        temporary.chmod(0o666 & ~mask)
        return
    if hasattr(os, "chown"):
        with contextlib.suppress(OSError):
            os.chown(temporary, old.st_uid, old.st_gid)
    temporary.chmod(stat.S_IMODE(old.st_mode))


def _settle(folder: Path) -> None:
    """Have the rename itself on the disk, where the system lets a folder be synchronised."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _remove(temporary: Path | None) -> None:
    if temporary is not None:
        with contextlib.suppress(OSError):
            temporary.unlink(missing_ok=True)


def _named(path: Path) -> str:
    """A path for a message: as it is, or quoted with its invisible characters spelt out."""
    text = str(path)
    return text if text.isprintable() else shown(text, len(text))


_REASONS: Final = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk is full",
    errno.EFBIG: "the file would be larger than the system allows",
    errno.EACCES: "no permission (or another program has it open; close it and run again)",
    errno.EPERM: "no permission (or another program has it open; close it and run again)",
    errno.EROFS: "the disk is read-only",
    errno.ENAMETOOLONG: "the name is too long",
    errno.ENOTDIR: "something that is not a folder stands in the way",
    errno.EEXIST: "something that is not a folder stands in the way",
}


def reason(why: OSError) -> str:
    """Why the system refused, in the words of someone who has to do something about it."""
    return _REASONS.get(why.errno or 0) or (why.strerror or str(why)).lower()
