"""What the program is built from: the lower bounds are the versions tested, and none is known to be unsafe."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.shops import SAMPLE
from tests.tooling.oldest import OF_THEIR_DAY, bounds

ROOT = SAMPLE.parent
# The first versions without a published fault, from memory: CVE-2024-56201, CVE-2024-56326 and CVE-2025-27516 (jinja2),
# CVE-2024-3772 (pydantic), CVE-2021-42771 (babel), CVE-2023-25399 (scipy), CVE-2021-41496 (numpy).
SAFE_SINCE = {"jinja2": "3.1.6", "pydantic": "2.4.0", "babel": "2.9.1", "scipy": "1.10.0", "numpy": "1.22.0"}


def parts(version: str) -> tuple[int, ...]:
    return tuple(int(part) for part in version.split("."))


def test_the_versions_tested_are_the_lower_bounds() -> None:
    printed = subprocess.run(
        [sys.executable, str(ROOT / "tests" / "tooling" / "oldest.py")], capture_output=True, text=True, check=True
    ).stdout.split()
    assert printed == [f"{name}=={version}" for name, version in bounds().items()] + list(OF_THEIR_DAY)
    assert {"numpy", "pandas", "statsmodels", "click", "fpdf2", "pytest"} <= set(bounds())
    assert "tests/tooling/oldest.py" in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", SAFE_SINCE)
def test_no_lower_bound_has_a_published_fault(name: str) -> None:
    assert parts(bounds()[name]) >= parts(SAFE_SINCE[name])
