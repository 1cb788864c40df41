"""Hostile and damaged shops and adverts for every command, and what none of them may do, whatever is in them.

`tests/tooling/fuzz.py` runs as many as one likes, `tests/robust/test_hostile_text.py` some of them.
"""

from __future__ import annotations

import contextlib
import csv
import importlib
import io
import json
import os
import pkgutil
import random
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
import traceback
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import kitvalue
from kitvalue.__main__ import run as run_program
from kitvalue.commands.writing import INPUTS, MARK
from tests.pages.markup import foreign

STARTER: Final = Path(__file__).resolve().parents[2] / "kitvalue" / "starter"
BUSY: Final = 20  # seconds of work after which a run is taken to hang
LIMIT: Final = 120.0  # seconds on the clock, on a machine that has other work
SECRET: Final = "line-of-another-file"  # noqa: S105
ATTACKS: Final = (
    "\x1b[31mred\x1b[0m", "\x1b]0;title\x07", "\x9b31m", "\x7f", "\x08\x08\x08", "a\rb", "a\nTotal: 1", "a\tb", "\x0b",
    "\u202e084\u202c", "\u2066x\u2069", "\u200eBurren", "Bur\u200bren", "Bur\u00adren", "\u2028", "\ue000",
    "\U000e0041", "$(touch x)", "`touch x`", "; touch x #", "'; touch x; '", '"; touch x; "', "a\\", "a && touch x",
    "| touch x", "!x", "=1+1", "@SUM(1)", "+49", "-rf", "--help", "../../outside/secret", "/etc/passwd",
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>', "javascript:alert(1)", "{{7*7}}", "%s%n", "\\u0000", "'''", '"""', "x" * 300,
    "\u6f22\u5b57", "\U0001f941", "e\u0301" * 20, "nan", "1e999", "0", "", " ",
)  # fmt: skip
ADVERTS: Final = (
    "Burren, 22x16 16x16 13x9 12x8 + Snare, guter Zustand, 480,00 EUR VB, Versand 45, 3.11.2026, Tel. 0171 1234567",
    "Corrib Burren 5-piece, mend, sold for €380, collect only, £20 extra for the stand",
    "Vends Slane 4 fûts 20/16/13, bon état, 450 € à débattre, envoi 30 €",
)
_PLAN: Final = "example"
_KIT: Final = ("--series", "Burren", "--pieces", "5", "--condition", "3")
LINES: Final = (
    ("check",), ("check", "--rows"), ("check", "--strict"), ("fit",), ("fit", "--plain", "--no-pool"), ("value", *_KIT),
    ("value", *_KIT, "--finished", "5", "--asked", "350", "--hours", "5", "--with", "{attack}"),
    ("value", "--series", "{attack}", "--pieces", "5", "--condition", "{attack}"), ("cost", _PLAN), ("cost", _PLAN,
    "--csv"), ("cost", "{attack}"), ("price", _PLAN), ("price", _PLAN, "--at", "2300"), ("price", "{attack}"),
    ("compare", _PLAN), ("compare", "{attack}"), ("done",), ("shortlist", "--csv"), ("shortlist", "--plan", _PLAN),
    ("shortlist", "--plan", "{attack}"), ("source", _PLAN), ("source", _PLAN, "--best", "3", "--write", "found"),
    ("source", "{attack}"), ("report",), ("sheet", _PLAN), ("sheet", _PLAN, "--lang", "de"), ("sheet", "{attack}"),
    ("card",), ("card", "--plan", _PLAN), ("jot", "{advert}"), ("jot", "{advert}", "--yes"), ("jot", "{advert}",
    "--offer", "--yes"), ("new", "{new}", "--prices", "{prices}"), ("new", "{new}"), ("{attack}",),
)  # fmt: skip
PASTED: Final = re.compile(r"^[ ]*(?:Now: )?(kitvalue .*(?:(?<=\\)\n.*)*)", re.MULTILINE)
_LIBRARY: Final = re.compile(r"site-packages|\.py:\d+|[A-Z]\w+Warning\b|Traceback|a fault of kitvalue itself")
_STRING: Final = re.compile(r'"((?:[^"\\\n]|\\.)*)"')


@dataclass(frozen=True)
class Outcome:
    """How one run of a command ended. `status` is None where it was stopped at the limit."""

    args: tuple[str, ...]
    status: int | None
    out: str
    err: str
    seconds: float


def load_all() -> None:
    """Load what any command may load, so that a run is a fork and no start."""
    heavy = ("statsmodels.api", "scipy.optimize", "scipy.special", "rapidfuzz.process", "filelock")
    for name in (*(module.name for module in pkgutil.walk_packages(kitvalue.__path__, "kitvalue.")), *heavy):
        importlib.import_module(name)


def lay_out(place: Path, draw: random.Random) -> Path:
    """A shop made of the starter, with attacks in cells, headers, names and texts, perhaps damaged, beside a folder
    that it must not look into."""
    shop = place / "shop"
    shutil.rmtree(place, ignore_errors=True)
    shutil.copytree(STARTER, shop)
    outside = place / "outside"
    outside.mkdir()
    for name in ("secret.toml", "secret.txt", "secret.csv"):
        outside.joinpath(name).write_text(f"{SECRET}: of nobody's concern\n", encoding="utf-8")
    files = sorted(path for path in shop.rglob("*") if path.is_file())
    renamed = draw.choice(("Burren", "Slane", "Lisdoon", "D01", "D02", "A", "B", "rack", "edge", ""))
    name = draw.choice(ATTACKS)
    for path in files:
        text = path.read_text(encoding="utf-8")
        change = _attacked_table if path.suffix == ".csv" else _attacked_settings
        path.write_text(change(text, draw, renamed, name), encoding="utf-8", newline="")
    for path in draw.sample(files, draw.choice((0, 0, 0, 0, 1))):
        path.write_bytes(damaged(path.read_bytes(), draw))
    kind = draw.randrange(12)
    with contextlib.suppress(OSError, ValueError):  # a name that no file can have
        if kind == 0:
            link = shop / "builds" / draw.choice(("linked.toml", f"{_PLAN}.toml"))
            link.unlink(missing_ok=True)
            link.symlink_to(outside / draw.choice(("secret.toml", "secret.txt")))
        elif kind == 1:
            link = shop / draw.choice(INPUTS)
            link.unlink(missing_ok=True)
            link.symlink_to(outside / "secret.txt")
        elif kind == 2:
            (shop / "builds" / f"{_PLAN}.toml").rename(shop / "builds" / f"{draw.choice(ATTACKS)}.toml")
        elif kind == 3:
            (shop / draw.choice(INPUTS[1:])).unlink()
        elif kind == 4:
            (shop / "out").write_bytes(b"no folder")
    return shop


def _attacked_table(text: str, draw: random.Random, renamed: str, name: str) -> str:
    rows = list(csv.reader(io.StringIO(text, newline="")))
    for row in rows:
        row[:] = [name if renamed and cell == renamed else cell for cell in row]
    for _ in range(draw.choice((0, 0, 1, 3))):
        row = draw.choice(rows if draw.random() < 0.1 else rows[1:])
        at = draw.randrange(len(row))
        row[at] = draw.choice(ATTACKS) if draw.random() < 0.6 else row[at] + draw.choice(ATTACKS)
    made = io.StringIO(newline="")
    csv.writer(made).writerows(rows)
    return made.getvalue()


def _attacked_settings(text: str, draw: random.Random, renamed: str, name: str) -> str:
    if renamed:
        text = re.sub(rf'"{renamed}"|(?<=\.){renamed}(?=\])', lambda _: _written(name), text)
    for _ in range(draw.choice((0, 0, 0, 0, 1))):
        found = list(_STRING.finditer(text))
        m = draw.choice(found)
        text = text[: m.start()] + _written(draw.choice(ATTACKS)) + text[m.end() :]
    return text


def _written(text: str) -> str:
    """As TOML takes it: only the signs that it forbids are escaped, the others stand as they are."""
    return re.sub(r"[\x7f]", "\\\\u007f", json.dumps(text, ensure_ascii=False))


def damaged(data: bytes, draw: random.Random) -> bytes:
    """The bytes with a few wounds; attacks among them."""
    for _ in range(draw.choice((1, 1, 2, 5))):
        at = draw.randrange(len(data) + 1)
        to = min(len(data), at + draw.choice((0, 1, 2, 5, 20, 80)))
        put = draw.choice((draw.choice(ATTACKS).encode(), b"", bytes([draw.randrange(256)]), data[at:to] * 2))
        data = data[:at] + put + data[to:]
    return data


def line_of(shop: Path, draw: random.Random) -> tuple[str, ...]:
    """A command line for the shop."""
    line = draw.choice(LINES)
    advert = draw.choice(ADVERTS)
    if draw.random() < 0.8:
        advert = damaged(advert.encode(), draw).decode("utf-8", errors="replace").replace("\0", "")
    names = ("attack", "advert", "new", "prices")
    words = []
    for word in line:
        given = (draw.choice(ATTACKS), advert, str(shop.parent / "made $(touch x)"), str(shop / "prices.csv"))
        for name, text in zip(names, given, strict=True):
            word = text if word == f"{{{name}}}" else word
        words.append(word)
    return (*words, "--json") if draw.random() < 0.3 else tuple(words)


def run_line(shop: Path, args: tuple[str, ...]) -> Outcome:
    """The command in a process of its own that has all modules loaded already, stopped at its limits."""
    out, err = shop.parent / "stdout", shop.parent / "stderr"
    began = time.perf_counter()
    child = os.fork()
    if child == 0:
        _be_the_program(("--shop", str(shop), *args), out, err)
    status = None
    while status is None and time.perf_counter() - began < LIMIT:
        done, ended = os.waitpid(child, os.WNOHANG)
        status = os.waitstatus_to_exitcode(ended) if done else None
        time.sleep(0 if done else 0.002)
    if status is None:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
    texts = (path.read_bytes().decode("utf-8", errors="replace") for path in (out, err))
    return Outcome(args, status, *texts, time.perf_counter() - began)


def _be_the_program(args: tuple[str, ...], out: Path, err: Path) -> None:
    """In the child: run the program as installed and leave without the parent's own endings."""
    status = 99
    resource.setrlimit(resource.RLIMIT_CPU, (BUSY, BUSY))
    try:
        for number, path in ((0, os.devnull), (1, out), (2, err)):
            os.dup2(os.open(path, os.O_RDWR | os.O_CREAT | os.O_TRUNC), number)
        sys.stdin = open(0, closefd=False, encoding="utf-8")  # noqa: SIM115
        sys.stdout, sys.stderr = (open(n, "w", closefd=False, encoding="utf-8") for n in (1, 2))  # noqa: SIM115
        sys.argv = ["kitvalue", *args]
        run_program()
        status = 0
    except SystemExit as end:
        status = end.code if isinstance(end.code, int) else 0 if end.code is None else 98
    except BaseException:
        traceback.print_exc()
    finally:
        with contextlib.suppress(Exception):
            sys.stdout.flush()
            sys.stderr.flush()
        os._exit(status)


def faults(shop: Path, before: dict[str, bytes], outcome: Outcome) -> list[str]:
    """What a run did that no run may do."""
    if outcome.status in (None, -signal.SIGXCPU, -signal.SIGKILL):
        return ["no answer in time"]
    found = [] if outcome.status in (0, 1, 2) else [f"exit status {outcome.status}"]
    for name, text in (("stdout", outcome.out), ("stderr", outcome.err)):
        odd = {c for c in text if not c.isprintable() and c != "\n"}
        found += [f"{name} holds {sorted(odd)!r}"] if odd else []
        found += [f"{name} tells of another file"] if SECRET in text else []
    found += [f"stderr: {m[0]}" for m in [_LIBRARY.search(outcome.err)] if m]
    found += ["an error of no line"] if outcome.status and not (outcome.err + outcome.out).strip() else []
    if "--json" in outcome.args and "--help" not in outcome.args:
        try:
            json.loads(outcome.out, parse_constant=lambda name: found.append(f"{name} in the answer"))
        except ValueError:
            found.append("no JSON")
    return found + _runs_in_a_shell(shop, outcome) + _wrong_files(shop, before, outcome)


def _runs_in_a_shell(shop: Path, outcome: Outcome) -> list[str]:
    """Lines to paste, pasted: a shell in an empty folder runs them with a kitvalue that does nothing."""
    lines = [m[1] for m in PASTED.finditer(outcome.out)] if "--json" not in outcome.args else []
    if not any("touch" in line for line in lines):
        return []
    place = shop.parent / "pasted"
    place.mkdir(exist_ok=True)
    for line in lines:
        subprocess.run(["/bin/sh", "-c", f"kitvalue() {{ :; }}\n{line}"], cwd=place, capture_output=True, check=False)
    return [f"a line to paste ran something: {lines}"] if any(place.iterdir()) else []


def files_of(shop: Path) -> dict[str, bytes]:
    """Every file of the shop but its answers, by name."""
    return {
        str(path.relative_to(shop)): path.read_bytes()
        for path in shop.rglob("*")
        if path.is_file() and path.relative_to(shop).parts[0] != "out"
    }


def _wrong_files(shop: Path, before: dict[str, bytes], outcome: Outcome) -> list[str]:
    """Files cut short, inputs changed that nobody asked to change, odd signs in a table that was written."""
    found = [f"left behind: {path.name}" for path in shop.rglob(f"{MARK}*")]
    after = files_of(shop)
    for name, data in before.items():
        now = after.get(name)
        if now == data:
            continue
        if name not in ("prices.csv", "offers.csv") or "--yes" not in outcome.args or now is None:
            found.append(f"{name} was changed")
        elif not now.startswith(data):
            found.append(f"{name} lost what it held")
        else:
            found += _odd_cells(name, now[len(data) :].decode("utf-8", errors="replace"))
    out = shop / "out"
    for path in sorted(out.rglob("*")) if out.is_dir() else []:
        if not path.is_file() or "before" in path.parts:
            continue
        text = path.read_bytes().decode("utf-8", errors="surrogateescape")
        if path.suffix == ".csv":
            found += _odd_cells(path.name, text.removeprefix("\ufeff"))
        elif path.suffix == ".html":
            scripts = 2 if path.name == "card.html" else 0
            found += [f"{path.name} holds {what}" for what in foreign(text, scripts)]  # fails where it is cut short
        elif path.suffix == ".json":
            json.loads(text)
    return found


def _odd_cells(name: str, text: str) -> list[str]:
    lines = text.replace("\r\n", "\n")
    odd = sorted({c for c in lines if not c.isprintable() and c not in "\n\t"})
    return [f"{name} holds {odd!r}"] if odd else []


def attempt(place: Path, seed: int) -> tuple[Outcome, list[str]]:
    """One hostile shop and one command."""
    draw = random.Random(f"command {seed}")
    shop = lay_out(place, draw)
    before = files_of(shop)
    outcome = run_line(shop, line_of(shop, draw))
    return outcome, faults(shop, before, outcome)
