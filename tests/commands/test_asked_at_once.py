"""`new --prices` on a terminal: what only the owner can say is asked, one key an answer."""

from __future__ import annotations

import datetime as dt
import os
import pty
import select
import subprocess
import sys
import time
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest

from kitvalue.commands.new import take_over
from kitvalue.intake.arrival.questions import Question

SERIES = (*["Burren"] * 8, *["Slane"] * 6, "Corrib Burren")
ASKED = "stops asking"
HEAD = "Kit,Drums,State,Price,Kind,Where"


def sheet(place: Path) -> Path:
    """Fifteen rows: "odd" stands in most, then the kinds, the places and a maker's name before a series."""
    words = [
        ("odd" if n % 4 else "blau", "zz" if n % 5 == 0 else "asked", "club" if n < 2 else "shop") for n in range(15)
    ]
    rows = [
        f"{series},4,{state},{400 + 7 * n},{sort},{where}"
        for n, (series, (state, sort, where)) in enumerate(zip(SERIES, words, strict=True))
    ]
    path = place / "kits.csv"
    path.write_text("\n".join([HEAD, *rows, ""]), encoding="utf-8")
    return path


def on_a_terminal(place: Path, keys: str) -> str:
    """What stands on the screen of `new --prices` when these keys are pressed, one a question."""
    leader, follower = pty.openpty()
    words = [sys.executable, "-m", "kitvalue", "new", str(place / "shop"), "--prices", str(sheet(place))]
    with subprocess.Popen(words, stdin=follower, stdout=follower, stderr=follower, close_fds=True) as process:
        os.close(follower)
        screen, until = "", time.monotonic() + 60
        while time.monotonic() < until:
            ready, _, _ = select.select([leader], [], [], 0.2)
            told = " ".join(screen.split())
            if not ready and told.endswith(ASKED):  # a key pressed before it waits for one is lost
                os.write(leader, keys[told.count(ASKED) - 1].encode())
            try:
                part = os.read(leader, 4096) if ready else b" "
            except OSError:  # the other side is closed
                break
            if not part:
                break
            screen += part.decode("utf-8", "replace")
        process.wait(30)
    os.close(leader)
    assert process.returncode == 0, screen
    return " ".join(screen.split())


def settings(place: Path) -> Mapping[str, Any]:
    return tomllib.loads((place / "shop" / "shop.toml").read_text(encoding="utf-8"))


def test_one_key_answers_a_question_and_those_of_most_rows_come_first(tmp_path: Path) -> None:
    screen = on_a_terminal(tmp_path, "42spy")
    places = [screen.index(word) for word in ('"odd" (11 rows)', '"blau" (4 rows)', '"zz" (3 rows)', '"club" (2 rows)')]
    assert places == sorted(places)
    assert 'is "Corrib Burren" (1 row) the same as Burren?' in screen
    words = settings(tmp_path)["prices"]["words"]
    assert words["condition"] == {"odd": "freshen", "blau": "remake"}
    assert words["price_kind"]["zz"] == "sold"
    assert words["channel"] == {"shop": "dealer", "club": "private"}
    assert settings(tmp_path)["series"]["Burren"]["also"] == ["Corrib Burren"]
    assert "15 rows read, 15 used, 0 refused" in screen


def test_it_can_be_stopped_at_any_time_and_what_is_left_stays_open(tmp_path: Path) -> None:
    screen = on_a_terminal(tmp_path, "4q")
    assert screen.count("stops asking") == 2
    words = settings(tmp_path)["prices"]["words"]
    assert words["condition"] == {"odd": "freshen", "blau": ""}
    assert words["price_kind"] == {"zz": ""}
    assert "also" not in settings(tmp_path)["series"]["Burren"]


def test_another_key_leaves_a_word_open(tmp_path: Path) -> None:
    screen = on_a_terminal(tmp_path, "x2q")
    assert "left open" in screen
    assert settings(tmp_path)["prices"]["words"]["condition"] == {"odd": "", "blau": "remake"}


@pytest.mark.parametrize("answer", ["Look", None])
def test_a_column_that_nothing_tells_is_asked_for_first(tmp_path: Path, answer: str | None) -> None:
    path = tmp_path / "kits.csv"
    rows = [f"Burren,4,blau,{n},red" for n in range(400, 420)]
    path.write_text("\n".join(["Model,Drums,Look,Price,Hue", *rows, ""]), encoding="utf-8")
    asked: list[Question] = []

    def ask(question: Question) -> str | None:
        asked.append(question)
        return answer if question.column == "condition" and not question.word else None

    take_over(tmp_path / "shop", path, dt.date(2026, 11, 30), ask)
    assert (asked[0].column, asked[0].word) == ("condition", "")
    assert "Look" in asked[0].choices.values()
    columns = settings(tmp_path)["prices"]["columns"]
    assert columns["condition"] == (answer or "")
    assert ("blau" in [question.word for question in asked]) is (answer is not None)


def test_nothing_is_asked_without_a_terminal(tmp_path: Path) -> None:
    words = [sys.executable, "-m", "kitvalue", "new", str(tmp_path / "shop"), "--prices", str(sheet(tmp_path))]
    ran = subprocess.run(words, stdin=subprocess.DEVNULL, capture_output=True, text=True, check=True)
    assert "stops asking" not in ran.stdout
