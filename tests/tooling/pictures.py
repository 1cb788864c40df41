"""Make README's picture anew: `python tests/tooling/pictures.py`. Needs Debian's chromium.

The picture is the report of the sample shop in a browser, cut after the first chart and reduced to few colours.
"""

from __future__ import annotations

import io
import shutil
import tempfile
from datetime import date
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from kitvalue.commands.folder import ShopFolder
from kitvalue.commands.report import report

ROOT = Path(__file__).resolve().parents[2]
TARGET = ROOT / "shared" / "pictures" / "report.png"
WIDTH, HEIGHT, COLOURS = 1200, 1480, 240


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        shop = Path(place) / "sample_data"
        shutil.copytree(ROOT / "sample_data", shop, ignore=shutil.ignore_patterns("out"))
        page_file = report(ShopFolder(shop, date.today()), date.today()).written[0]
        with sync_playwright() as play:
            browser = play.chromium.launch(
                executable_path=shutil.which("chromium"),
                args=["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
            )
            page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT})
            page.goto(page_file.as_uri())
            shot = page.screenshot(clip={"x": 0, "y": 0, "width": WIDTH, "height": HEIGHT})
            browser.close()
    TARGET.parent.mkdir(parents=True, exist_ok=True)
    Image.open(io.BytesIO(shot)).convert("RGB").quantize(COLOURS).save(TARGET, optimize=True)
    print(f"{TARGET.relative_to(ROOT)}: {TARGET.stat().st_size // 1024} KiB")


if __name__ == "__main__":
    main()
