"""Refresh the outputs shown in README.md: `python tests/tooling/readme.py`.

Every console block is run on the sample shop again. A paragraph of the old output is replaced by the one of the new
output that begins alike; an ellipsis stays where it is. What has no counterpart is printed, to be mended by hand.
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


def refreshed(shown: str, real: str) -> str:
    """The old output with each paragraph as it is now."""
    found = []
    for old in paragraphs(shown):
        if old.strip() == "...":
            found.append(old)
            continue
        key = old.strip("\n")[:ALIKE]
        new = next((p for p in paragraphs(real) if p.strip("\n").startswith(key)), None)
        if new is None:
            print(f"no paragraph begins like {key!r}")
        found.append(new or old)
    return "\n\n".join(found) + "\n"


def main() -> None:
    path = ROOT / "README.md"
    text = path.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as place:
        shop = sample_shop(Path(place))
        home = Path(place) / "sample_data"
        shutil.move(shop, home)

        def again(block: re.Match[str]) -> str:
            words = shlex.split(block[1])
            ran = run(home, *words[3:])
            assert ran.status == 0, ran.err
            real = ran.out.replace(str(home), "sample_data")
            return f"```console\n$ {block[1]}\n{refreshed(block[2], real)}```"

        text = re.sub(r"```console\n\$ (.*?)\n(.*?)```", again, text, flags=re.DOTALL)
    path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
