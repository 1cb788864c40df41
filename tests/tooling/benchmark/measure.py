"""Seconds and memory of a call or of a whole process, and rows of the table."""

from __future__ import annotations

import json
import math
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

LAUNCH = Path(__file__).with_name("launch.py")
COMPILED = {"PYTHONPYCACHEPREFIX": str(Path(tempfile.gettempdir()) / f"kitvalue-bench-{os.getuid()}")}


@dataclass(frozen=True)
class Spent:
    """Seconds by the clock and of the processor (all threads); `peak` MiB of a whole process, 0 for a mere call."""

    wall: float
    cpu: float
    peak: float = 0.0


@dataclass(frozen=True)
class Compared:
    """One row: ours and the peer's, and up to which ratio the target is met."""

    what: str
    ours: Spent
    peer: Spent
    target: float
    against: str
    memory: bool = False

    def line(self) -> str:
        if self.memory:
            ours, peer, unit, cpu = self.ours.peak, self.peer.peak, "MiB", ""
        else:
            ours, peer, unit, cpu = self.ours.wall, self.peer.wall, "s  ", shown_ratio(self.ours.cpu / self.peer.cpu)
        verdict = "met" if ours / peer <= self.target else "MISSED"
        figures = f"{ours:10.3f}{peer:12.3f} {unit}{shown_ratio(ours / peer):>10}{cpu:>10}"
        return f"{self.what:44}{figures}  {shown_ratio(self.target):>8} {verdict:7} {self.against}"


HEADING = f"{'':44}{'ours':>10}{'peer':>12}    {'ratio':>10}{'of CPU':>10}  {'target':>8} {'':7} peer"


def shown_ratio(ratio: float) -> str:
    return f"{ratio:.2f}" if ratio >= 0.1 else f"1/{1 / ratio:,.0f}"


def call(run: Callable[[], object]) -> Spent:
    wall, cpu = time.perf_counter(), time.process_time()
    run()
    return Spent(time.perf_counter() - wall, time.process_time() - cpu)


def python(*words: str) -> Spent:
    """A process of this Python, its modules compiled before as those of an installed program. Fails where it fails."""
    line, surroundings = [sys.executable, str(LAUNCH), sys.executable, *words], {**os.environ, **COMPILED}
    surroundings.pop("PYTHONDONTWRITEBYTECODE", None)
    done = subprocess.run(line, capture_output=True, text=True, env=surroundings)
    if done.returncode:
        raise SystemExit(done.stderr)
    return Spent(**json.loads(done.stdout))


def middle(runs: Sequence[Spent]) -> Spent:
    """The median of each figure."""
    return Spent(*(statistics.median(getattr(one, name) for one in runs) for name in ("wall", "cpu", "peak")))


def alternately(ours: Callable[[], Spent], peer: Callable[[], Spent], times: int) -> tuple[Spent, Spent]:
    """The medians of each, run in turn so that a machine's moods hit both, after a first run that nobody counts."""
    ours(), peer()
    pairs = [(ours(), peer()) for _ in range(times)]
    return middle([one for one, _ in pairs]), middle([other for _, other in pairs])


def exponents(sizes: Sequence[int], seconds: Sequence[float]) -> list[str]:
    """log(time) against log(size) from each size to the next: 1 is linear. A dash for the first."""
    found = ["-"]
    for at in range(1, len(sizes)):
        rise = max(seconds[at], 1e-9) / max(seconds[at - 1], 1e-9)
        found.append(f"{math.log(rise) / math.log(sizes[at] / sizes[at - 1]):.2f}")
    return found
