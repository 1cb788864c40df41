"""From the bytes of a file to its text: which encoding, and whether it is a text at all."""

from __future__ import annotations

import codecs
import os
import re
import stat
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from kitvalue.intake.text.problems import FileError, Level, Problem, shown

MOST_BYTES: Final = 256 * 1024 * 1024
MOST_LINES: Final = 2_000_000
_MARKS: Final = (  # longest first: the mark of UTF-32 begins with that of UTF-16
    (codecs.BOM_UTF32_LE, "utf-32"), (codecs.BOM_UTF32_BE, "utf-32"), (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"),
)  # fmt: skip
_BINARY: Final = (
    (b"PK\x03\x04", "is a workbook (Excel or LibreOffice), whatever its name says"),
    (b"\xd0\xcf\x11\xe0", "is an old Excel workbook, whatever its name says"),
    (b"\x09\x08", "is an old Excel workbook, whatever its name says"),
    (b"%PDF", "is a PDF document"), (b"{\\rtf", "is a word processor's document"), (b"\x1f\x8b", "is a packed file"),
    (b"\x89PNG", "is a picture"), (b"\xff\xd8\xff", "is a picture"), (b"7z\xbc\xaf", "is a packed file"),
)  # fmt: skip
_MARKUP: Final = re.compile(rb"\s*(?:<\?xml|<!doctype|<html|<table|<head|<meta)", re.IGNORECASE)
# UTF-8 for Western letters, no-break space and £, curly quotes, dashes and €: pairs that no one writes in Windows-1252.
_UTF8_PAIR: Final = re.compile(rb"\xc3[\x80-\xbf]|\xc2[\xa0-\xbf]|\xe2\x80[\x90-\xbf]|\xe2\x82\xac")
_SAVE_AS: Final = "save it as CSV UTF-8"


@dataclass(frozen=True, slots=True)
class DecodedText:
    """The text of a file, the encoding it was read by, and what is to be said about that."""

    text: str
    encoding: str
    problems: tuple[Problem, ...]


def refused_file(
    file: str, code: str, message: str, *, row: int | None = None, column: str | None = None, text: str | None = None
) -> FileError:
    """The error that carries one problem for which nothing of the file is used."""
    problem = Problem(file, row, column, text, code, Level.FILE, message)
    return FileError(problem.line(), [problem])


def read_bytes(path: Path, file: str) -> bytes:
    """The bytes of a regular file. Raises FileError for a folder, pipe or device, and beyond `MOST_BYTES`."""
    try:
        status = path.stat()
        if stat.S_ISDIR(status.st_mode):
            raise refused_file(file, "not_a_file", "is a folder, not a file")
        if not stat.S_ISREG(status.st_mode):
            raise refused_file(file, "not_a_file", "is a pipe or a device, not a file")
        if status.st_size > MOST_BYTES:
            raise refused_file(file, "too_big", f"is larger than {MOST_BYTES // 2**20} MB; split it")
        kind = Path(os.path.realpath(path)).suffix.lower()
        if kind != path.suffix.lower():  # a message would quote what no table or settings file is
            message = f"is a link to a file that is no {path.suffix} file; put the file itself there"
            raise refused_file(file, "link_to_another", message)
        return path.read_bytes()
    except FileNotFoundError:
        raise refused_file(file, "no_file", f"there is no such file in {shown(str(path.parent))}") from None
    except (OSError, ValueError) as why:
        reason = why.strerror if isinstance(why, OSError) and why.strerror else "the path is not valid"
        raise refused_file(file, "cannot_read", f"cannot be read: {reason}") from None


def decode(data: bytes, file: str, encoding: str | None = None) -> DecodedText:
    """The text in `data`: by its byte order mark, else by `encoding`, else UTF-8, else Windows-1252 with a warning.

    Raises FileError where the bytes are no text or fit no encoding.
    """
    if not data:
        raise refused_file(file, "empty_file", "the file is empty")
    for start, what in _BINARY:
        if data.startswith(start):
            raise refused_file(file, "not_text", f"{what}; open it and {_SAVE_AS}")
    if _MARKUP.match(data[:200]):
        raise refused_file(file, "not_text", f"is a web page or XML; open it in a spreadsheet and {_SAVE_AS}")
    decoded = _by_rule(data, file, encoding)
    at = decoded.text.find("\x00")
    if at >= 0:
        where = f"holds NUL bytes (the first in line {_line_of(decoded.text[:at])})"
        likely = "utf-16-le" if data[1::2].count(0) >= data[::2].count(0) else "utf-16-be"
        hint = f'it may be UTF-16 without its mark: set encoding = "{likely}" under [files], or '
        raise refused_file(file, "nul_bytes", f"{where}; {hint if data.count(0) * 3 > len(data) else ''}{_SAVE_AS}")
    if len(decoded.text) > MOST_LINES and max(decoded.text.count("\n"), decoded.text.count("\r")) > MOST_LINES:
        message = f"has more than {MOST_LINES:,} lines, and a spreadsheet holds 1,048,576 rows; delete the empty ones"
        raise refused_file(file, "too_many_lines", f"{message}, or split it")
    if not decoded.text or decoded.text.isspace():
        raise refused_file(file, "empty_file", "the file is empty but for spaces and line breaks")
    return decoded


def _by_rule(data: bytes, file: str, encoding: str | None) -> DecodedText:
    for mark, name in _MARKS:
        if data.startswith(mark):
            return DecodedText(_strictly(data, name, file), name.removesuffix("-sig"), ())
    if encoding is None:
        try:
            return DecodedText(data.decode("utf-8"), "utf-8", ())
        except UnicodeDecodeError as why:
            return _as_windows(data, file, why.start)
    text = _strictly(data, encoding, file)
    named_utf8 = encoding.lower().replace("_", "-") in ("utf-8", "utf8", "utf-8-sig")
    if named_utf8 or _UTF8_PAIR.search(data) is None or not _is_utf8(data):
        return DecodedText(text, encoding, ())
    message = f"was read as {encoding}, as [files] encoding says, but looks like UTF-8; take that setting out"
    doubt = Problem(file, None, None, encoding, "encoding_doubtful", Level.WARNING, message)
    return DecodedText(text, encoding, (doubt,))


def _is_utf8(data: bytes) -> bool:
    return _reads(data, "utf-8")


def _reads(data: bytes, encoding: str) -> bool:
    try:
        data.decode(encoding)
    except UnicodeDecodeError:
        return False
    return True


def _set_to(data: bytes) -> str:
    """The setting of an encoding that reads the file: of those of old PCs and Macs, which know every byte, the one in
    which more of what is not ASCII are small letters.
    """
    signs = bytes(one for one in data if one > 127)
    letters = {name: sum(map(str.islower, signs.decode(name))) for name in ("mac-roman", "cp850")}
    likely = "cp1252" if _reads(data, "cp1252") else max(letters, key=lambda name: letters[name])
    return f'set encoding = "{likely}" under [files] if it then reads right'


def _strictly(data: bytes, encoding: str, file: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as why:
        line = _line_of(data[: why.start].decode("latin-1"))
        what = f"is not {encoding}: byte 0x{data[why.start]:02X} in line {line}"
        utf8 = "take encoding out of [files]: the file reads as UTF-8"
        cure = utf8 if _is_utf8(data) else f"{_SAVE_AS}, or {_set_to(data)}"
        raise refused_file(file, "bad_encoding", f"{what}; {cure}") from None
    except (LookupError, ValueError):
        raise refused_file(file, "bad_encoding", f"cannot be read as {shown(encoding)}; {_SAVE_AS}") from None


def _as_windows(data: bytes, file: str, at: int) -> DecodedText:
    """Windows-1252, the encoding of spreadsheet exports that say nothing; never Latin-1, which has no euro sign."""
    line = _line_of(data[:at].decode("latin-1"))
    pair = _UTF8_PAIR.search(data)
    if pair is not None:
        other = _line_of(data[: pair.start()].decode("latin-1"))
        what = f"mixes two encodings: line {other} holds UTF-8, and line {line} does not"
        raise refused_file(file, "mixed_encodings", f"{what}; {_SAVE_AS} in one go")
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError as why:
        place = f"byte 0x{data[why.start]:02X} in line {_line_of(data[: why.start].decode('latin-1'))}"
        what = f"is neither UTF-8 nor Windows-1252 ({place})"
        raise refused_file(file, "bad_encoding", f"{what}; {_SAVE_AS}, or {_set_to(data)}") from None
    word = re.search(r"\w*[^\x00-\x7f][\w\x80-\uffff]*", text)
    sample = f" (line {line} reads {shown(word[0], 30)})" if word is not None else ""
    likely = "cp1252" if b"\n" in data else "mac-roman"  # line ends of CR alone come from old Mac programs
    warning = Problem(
        file, None, None, None, "encoding_guessed", Level.WARNING,
        f'is not UTF-8 and was read as Windows-1252{sample}; {_SAVE_AS}, or set encoding = "{likely}" under [files]',
    )  # fmt: skip
    return DecodedText(text, "cp1252", (warning,))


def _line_of(before: str) -> int:
    return before.count("\n") + before.count("\r") - before.count("\r\n") + 1
