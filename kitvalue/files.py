"""Writing a file whole or not at all: a temporary file beside the target, then a rename."""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from pathlib import Path

from kitvalue.intake.problems import FileError


def make_writable(folder: Path) -> None:
    """Make an output folder where it is missing, and find out before any work whether it can be written to.

    Raises FileError naming the folder and the reason.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=folder, prefix=".kitvalue-", suffix=".tmp")
        os.close(handle)
        Path(name).unlink()
    except OSError as why:
        raise FileError(f"cannot write to {folder}: {_reason(why)}") from why


def write_whole(path: Path, text: str) -> None:
    """Replace a file by UTF-8 text. An interrupted or failed write leaves the old file as it was.

    Raises FileError naming the file and the reason.
    """
    temporary: Path | None = None
    try:
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-", suffix=".tmp")
        temporary = Path(name)
        with open(handle, "w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(0o666 & ~_umask())
        temporary.replace(path)
    except OSError as why:
        _remove(temporary)
        raise FileError(f"cannot write {path}: {_reason(why)}") from why
    except BaseException:
        _remove(temporary)
        raise


def _remove(temporary: Path | None) -> None:
    if temporary is not None:
        with contextlib.suppress(OSError):
            temporary.unlink()


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _reason(why: OSError) -> str:
    match why.errno:
        case errno.ENOSPC:
            return "the disk is full"
        case errno.EACCES | errno.EPERM:
            return "no permission (or another program has it open; close it and run again)"
        case errno.EROFS:
            return "the disk is read-only"
        case errno.ENOTDIR | errno.EEXIST:
            return "something that is not a folder stands in the way"
        case _:
            return (why.strerror or str(why)).lower()
