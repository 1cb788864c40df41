"""The decimal sign by the sizes of prices: only where nothing else fits."""

from __future__ import annotations

import pytest

from kitvalue.intake.arrival.takeover import SizedSign, sign_by_size

PLAIN = ["130", "£480", "3900", "520", "640"]


@pytest.mark.parametrize(("mark", "sign", "between"), [(",", ".", "130 and 3,900"), (".", ",", "130 and 3.900")])
def test_marks_that_can_only_part_thousands(mark: str, sign: str, between: str) -> None:
    found = sign_by_size([*PLAIN, f"£1{mark}250", f"1{mark}050 ono", "", "on request", "-"])
    assert found is not None
    assert (found.sign, bool(found.why)) == (sign, True)
    assert found.why == f"1{mark}250 is more than a thousand: the other prices lie between {between}"


@pytest.mark.parametrize(
    "cells",
    [
        [*PLAIN[:4], "1,250"],  # too few to tell
        [*PLAIN, "12", "1,250"],  # 1.25 is no tenth of 12
        [*PLAIN, "1,250", "14,500"],  # nor 14.5 one of 130
        ["13", "14", "15", "16", "17", "1,250"],  # 1250 is far above all
        [*PLAIN, "780,500"],
    ],
)
def test_where_the_sizes_leave_it_open_the_likely_sign_is_not_sure(cells: list[str]) -> None:
    assert sign_by_size(cells) == SizedSign(".")


@pytest.mark.parametrize(
    "cells", [PLAIN, [], [*PLAIN, "1,250", "1.250"], [*PLAIN, "1,250", "480.50"], [*PLAIN, "1,250", "480,50"]]
)
def test_what_is_not_open_or_differs_has_no_sign(cells: list[str]) -> None:
    assert sign_by_size(cells) is None
