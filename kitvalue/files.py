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
    write_whole_bytes(path, text.encode("utf-8"))


def write_whole_bytes(path: Path, data: bytes) -> None:
    """As `write_whole`, for bytes. A file that was there keeps its permissions; a link keeps pointing at its target."""
    temporary: Path | None = None
    try:
        target = path.resolve() if path.exists() else path
        mode = target.stat().st_mode & 0o7777 if target.exists() else 0o666 & ~_umask()
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}-", suffix=".tmp")
        temporary = Path(name)
        with open(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(mode)
        temporary.replace(target)
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
