"""The words of languages: every file has English's keys, its patterns can be read, and none is read without need."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import pytest

from kitvalue.intake.text.languages import any_of, word_lists, word_numbers
from kitvalue.intake.text.lexicon import MEANINGS
from kitvalue.intake.text.vocabulary import CHANNELS, GRADES, OPTIONAL, PRICE_KINDS, REQUIRED

HERE = Path(__file__).parent.parent.parent
FILES = sorted((HERE / "kitvalue" / "intake" / "words").glob("??.toml"))

NOT_ENGLISH = {"cells.anything", "roles.paid within", "roles.sold within"}  # words that English has no need of


def keys(table: dict[str, Any], above: str = "") -> set[str]:
    """The keys of a file with those above them; where words are keys to numbers, only the table's."""
    return {
        name
        for key, value in table.items()
        for name in (
            keys(value, f"{above}{key}.") if isinstance(value, dict) else {above + key * (type(value) is list)}
        )
    }


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_a_language_has_no_keys_of_its_own(path: Path) -> None:
    english = keys(tomllib.loads((path.parent / "en.toml").read_text(encoding="utf-8")))
    assert keys(tomllib.loads(path.read_text(encoding="utf-8"))) <= english | NOT_ENGLISH


def test_the_keys_are_words_of_ours() -> None:
    assert set(word_lists("headers")) <= {*REQUIRED, *OPTIONAL, "hardware"}
    assert set(word_lists("grades")) == set(GRADES)
    assert set(word_lists("values.condition")) <= set(GRADES)
    assert set(word_lists("values.channel")) == set(CHANNELS)
    assert set(word_lists("values.price_kind")) == set(PRICE_KINDS)
    assert set(MEANINGS) <= set(word_lists("adverts"))


@pytest.mark.parametrize("table", ["cells", "adverts", "amounts", "phrases"])
def test_every_pattern_can_be_read(table: str) -> None:
    for key in word_lists(table):
        assert re.compile(any_of(table, key))


@pytest.mark.parametrize(
    "table", ["grades", "values.condition", "values.price_kind", "values.channel", "values.yes-no"]
)
def test_a_word_means_one_thing(table: str) -> None:
    words = [word for known in word_lists(table).values() for word in dict.fromkeys(known)]
    assert len(set(words)) == len(words)


def test_numbers_of_all_languages() -> None:
    assert (word_numbers("months")["jänner"], word_numbers("months")["may"]) == (1, 5)
    assert set(word_numbers("months").values()) == set(range(1, 13))
    assert set(word_numbers("weekdays").values()) == set(range(7))


def test_settings_and_plain_cells_are_read_without_the_words() -> None:
    code = (
        "import sys; from pathlib import Path\n"
        "from kitvalue.intake.settings.shop import read_shop\n"
        "from kitvalue.intake.text import dates, languages, numbers, sizes, words\n"
        "read_shop(Path(sys.argv[1]))\n"
        "numbers.read_amount('480.50'), dates.read_date('2026-11-03')\n"
        "sizes.read_size('22x16'), sizes.read_pieces('5')\n"
        "words.says_not_known('2026-11-03')\n"
        "print(languages._merged.cache_info().misses)\n"
    )
    shop = HERE / "sample_data"
    ran = subprocess.run([sys.executable, "-c", code, str(shop)], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "0"
