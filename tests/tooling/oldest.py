"""The oldest versions that pyproject.toml allows, as pip reads them: `python tests/tooling/oldest.py > oldest.txt`."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
TOOLS = (
    "hypothesis",
    "pytest",
    "pytest-xdist",
)  # of the test extra, those that the tests of the oldest versions run with
OF_THEIR_DAY = ("pyparsing<3.3",)  # newer ones warn in the oldest matplotlib, which we do not call them by


def bounds() -> dict[str, str]:
    """Each package that the program needs, its PDF and the tools of the tests -> its lower bound."""
    with (ROOT / "pyproject.toml").open("rb") as file:
        project = tomllib.load(file)["project"]
    extra = project["optional-dependencies"]
    tools = [need for need in extra["test"] if need.startswith(TOOLS)]
    found = {}
    for need in (*project["dependencies"], *extra["pdf"], *tools):
        match = re.fullmatch(r"([\w.-]+)>=([\w.]+)", need)
        if match is None:
            raise SystemExit(f"{need}: a lower bound alone is expected")
        found[match[1]] = match[2]
    return found


def main() -> None:
    for name, version in bounds().items():
        print(f"{name}=={version}")
    for need in OF_THEIR_DAY:
        print(need)


if __name__ == "__main__":
    main()
