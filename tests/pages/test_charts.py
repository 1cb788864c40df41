from __future__ import annotations

import os
import subprocess
import sys

import pytest

from kitvalue.pages import charts
from kitvalue.pages.charts import Box, coded, decoded, inline
from tests.pages.given import HOSTILE

DRAW = """
import sys
from kitvalue.pages import charts
from kitvalue.pages.charts import Box
with charts.drawing():
    figure, ax = charts.canvas(200, 80, Box(10, 10, 10, 10))
    ax.set_xlim(0, 2)
    ax.plot([0, 1, 2], [3, 1, 2], marker="o")
    charts.write(ax, (1, 2), "$a$ 太鼓 🥁")
    sys.stdout.write(charts.svg_of(figure))
assert "matplotlib.pyplot" not in sys.modules
"""


def drawn(text: str = "plain") -> str:
    with charts.drawing():
        figure, ax = charts.canvas(200, 80, Box(10, 10, 10, 10))
        ax.plot([0, 1], [0, 1], marker="o")
        charts.write(ax, (0.5, 0.5), text)
        return charts.svg_of(figure)


@pytest.mark.parametrize("backend", ["nonsense", "TkAgg"])
def test_no_backend_no_display_no_settings_of_the_machine(backend: str, tmp_path: object) -> None:
    settings = f"{tmp_path}/matplotlibrc"
    with open(settings, "w", encoding="utf-8") as file:
        file.write("lines.linewidth: 9\nsvg.fonttype: path\n")
    quiet = {k: v for k, v in os.environ.items() if k not in ("DISPLAY", "WAYLAND_DISPLAY", "MPLBACKEND")}
    runs = [
        subprocess.run(
            [sys.executable, "-W", "error", "-c", DRAW],
            env=quiet | extra, capture_output=True, text=True, check=True, encoding="utf-8",
        )
        for extra in ({}, {"MPLBACKEND": backend, "MATPLOTLIBRC": settings, "PYTHONHASHSEED": "7"})
    ]  # fmt: skip
    assert runs[0].stdout == runs[1].stdout
    assert "<text" in runs[0].stdout
    assert runs[1].stderr == ""


@pytest.mark.parametrize("text", HOSTILE)
def test_any_text_is_drawn_without_a_warning(text: str) -> None:
    assert decoded(coded(text)) == text
    assert coded(text) in drawn(text)


def test_an_inline_picture_has_its_own_ids_and_no_styles() -> None:
    first, second = (str(inline(drawn(), i, "wide", "A <title>", "words")) for i in ("a", "b"))
    assert 'id="a-t"' in first
    assert "A &lt;title&gt;" in first
    for text in (first, second):
        assert "xmlns" not in text
        assert "style" not in text
        assert "font-family" not in text
        assert "metadata" not in text
        assert 'role="img"' in text
    ids = [{part.split('"')[0] for part in text.split(' id="')[1:]} for text in (first, second)]
    assert not ids[0] & ids[1]
    assert all(f'href="#{i}' not in second for i in ids[0])
