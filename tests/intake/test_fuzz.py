"""Damaged files: an answer or one clear refusal, never a traceback. `tests/tooling/fuzz.py` runs many more."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.tooling.fuzz import Readers

NAMES = ("prices.csv", "offers.csv", "rates.csv", "done.csv", "shop.toml", "plan", "jot", "jot into")
ANSWERS = ("used", "rows", "file", "refused")


@pytest.fixture(scope="module")
def readers(tmp_path_factory: pytest.TempPathFactory) -> Readers:
    return Readers(tmp_path_factory.mktemp("fuzz"))


def test_every_reader_is_tried(readers: Readers) -> None:
    assert set(readers.by_name) == set(NAMES)


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=150)
@given(seed=st.integers(0, 10**9))
def test_damaged_files(readers: Readers, name: str, seed: int) -> None:
    assert readers.take(name, seed) in ANSWERS


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=60)
@given(data=st.binary(max_size=300))
def test_any_bytes(readers: Readers, name: str, data: bytes) -> None:
    assert readers.answer(name, data) in ANSWERS
