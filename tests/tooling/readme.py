"""Refresh the outputs shown in README.md and docs/: `python tests/tooling/readme.py`.

Every command of a console block is run on the sample shop again. A paragraph of the old output is replaced by the one
of the new output that begins alike, as many lines of it as before where it ends in an ellipsis; an ellipsis by itself
stays where it is. What has no counterpart is printed, to be mended by hand.
"""

from __future__ import annotations

import re
import shlex
import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.shops import run, sample_shop  # noqa: E402

ALIKE = 14  # letters of a first line by which two paragraphs are taken for the same


def paragraphs(text: str) -> list[str]:
    return text.strip("\n").split("\n\n")


def shortened(new: str, old: str) -> str:
    """The first lines of a paragraph, where the old one left out the rest."""
    kept = old.rstrip().splitlines()
    if kept[-1].strip() != "...":
        return new
    return "\n".join([*new.strip("\n").splitlines()[: len(kept) - 1], kept[-1]])


def refreshed(shown: str, real: str) -> str:
    """The old output with each paragraph as it is now."""
    found = []
    for old in paragraphs(shown):
        if old.strip() == "...":
            found.append(old)
            continue
        key = old.strip()[:ALIKE]
        new = next((p for p in paragraphs(real) if p.strip().startswith(key)), None)
        if new is None:
            print(f"no paragraph begins like {key!r}")
        found.append(old if new is None else shortened(new, old))
    return "\n\n".join(found) + "\n"


def pages() -> list[Path]:
    """Every page that shows outputs."""
    return [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]


def run_again(text: str, home: Path) -> str:
    """A page with the output under each command as the program prints it now."""

    def session(part: str) -> str:
        command, _, shown = part.partition("\n")
        ran = run(home, *shlex.split(command)[3:])
        assert ran.status == 0, ran.err
        real = ran.out.replace(str(home), "sample_data")
        return f"$ {command}\n{refreshed(shown, real)}"

    def block(found: re.Match[str]) -> str:
        parts = re.split(r"^\$ ", found[1], flags=re.MULTILINE)[1:]
        return "```console\n" + "\n".join(session(part) for part in parts) + "```"

    return re.sub(r"```console\n(.*?)```", block, text, flags=re.DOTALL)


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        shop = sample_shop(Path(place))
        home = Path(place) / "sample_data"
        shutil.move(shop, home)
        for path in pages():
            path.write_text(run_again(path.read_text(encoding="utf-8"), home), encoding="utf-8")


if __name__ == "__main__":
    main()
