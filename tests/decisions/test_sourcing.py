"""Filling a plan's drums: against a search through every answer, and its reasons."""

from __future__ import annotations

import itertools
import time
from decimal import Decimal
from typing import Any

import numpy as np
import pytest
from scipy import optimize

from kitvalue.decisions.filling import Bench, Filling, Rules, Supply, WantedDrum, fillings, why_none
from kitvalue.intake.settings.shop import BuyingTable
from kitvalue.intake.text.sizes import Size

CUT = 30.0


def size(diameter: int, depth: int) -> Size:
    return Size(Decimal(diameter), Decimal(depth))


def wanting(name: str, of: Size, new: float | None = None, extra: float = 0.0) -> WantedDrum:
    return WantedDrum(name, of, new, new or 0.0, extra={"new": extra})


def kit(offer: str, price: float, freight: float, sizes: tuple[Size, ...], credits: tuple[float, ...]) -> Supply:
    return Supply(offer, price + freight, price + freight, sizes, credits)


def searched(
    wanted: list[WantedDrum], kits: list[Supply], limits: BuyingTable, cut: float | None = CUT
) -> dict[frozenset[str], float]:
    """The least cost of every set of kits that can give the drums, by trying every assignment."""
    found: dict[frozenset[str], float] = {}
    for count in range(len(kits) + 1):
        for chosen in itertools.combinations(kits, count):
            if limits.kits is not None and count > limits.kits:
                continue
            shells = [(kit, place) for kit in chosen for place in range(len(kit.sizes))]
            spent = sum(kit.weight for kit in chosen)
            left = None if limits.budget is None else float(limits.budget) - spent
            cost = cheapest(wanted, shells, left, cut, frozenset(kit.offer for kit in chosen))
            if cost is not None and (left is None or left >= -1e-9):
                credit = sum(sum(kit.credits) for kit in chosen)
                found[frozenset(kit.offer for kit in chosen)] = spent - credit + cost
    return found


def cheapest(
    wanted: list[WantedDrum], shells: list[tuple[Supply, int]], left: float | None, cut: float | None,
    idle: frozenset[str],
) -> float | None:  # fmt: skip
    """The least that the drums cost on top of buying the kits, each shell used once; `idle` kits gave no drum yet."""
    if not wanted:
        return None if idle else 0.0
    drum, rest = wanted[0], wanted[1:]
    best: float | None = None
    for at, (kit, place) in enumerate(shells):
        one = kit.sizes[place]
        deeper = one.depth > drum.size.depth
        if one.diameter != drum.size.diameter or one.depth < drum.size.depth or (deeper and cut is None):
            continue
        more = cheapest(rest, shells[:at] + shells[at + 1 :], left, cut, idle - {kit.offer})
        if more is not None:
            cost = more + kit.credits[place] + (cut or 0.0 if deeper else 0.0)
            best = cost if best is None else min(best, cost)
    if drum.new is not None and (left is None or left - drum.new >= -1e-9):
        more = cheapest(rest, shells, None if left is None else left - drum.new, cut, idle)
        if more is not None:
            cost = more + drum.new + drum.extra.get("new", 0.0)
            best = cost if best is None else min(best, cost)
    return best


def random_case(seed: int) -> tuple[list[WantedDrum], list[Supply], BuyingTable]:
    rng = np.random.default_rng(seed)
    diameters, depths = (12, 13, 16), (8, 10, 12)

    def any_size() -> Size:
        return size(int(rng.choice(diameters)), int(rng.choice(depths)))

    wanted = [
        wanting(f"{d}", any_size(), float(rng.integers(40, 200)) if rng.random() < 0.4 else None,
                float(rng.integers(-10, 30)))
        for d in range(int(rng.integers(1, 5)))
    ]  # fmt: skip
    kits, credits = [], {(d, h): float(rng.integers(0, 60)) for d in diameters for h in depths}
    for i in range(int(rng.integers(0, 5))):
        sizes = tuple(any_size() for _ in range(int(rng.integers(1, 4))))
        kits.append(
            kit(f"D{i}", float(rng.integers(50, 400)), float(rng.integers(0, 60)), sizes,
                   tuple(credits[int(s.diameter), int(s.depth)] for s in sizes))
        )  # fmt: skip
    limits = BuyingTable(
        budget=Decimal(int(rng.integers(200, 900))) if rng.random() < 0.4 else None,
        kits=int(rng.integers(1, 4)) if rng.random() < 0.4 else None,
    )
    return wanted, kits, limits


def total(answer: Filling, wanted: list[WantedDrum], kits: list[Supply]) -> float:
    """What an answer costs, added up from what it says."""
    by_name, bought = {w.name: w for w in wanted}, [k for k in kits if k.offer in answer.buy]
    cost = sum(k.weight for k in bought)
    for drum in answer.drums:
        want = by_name[drum.drum]
        cost += CUT if drum.cut_down else 0.0
        cost += (want.new or 0.0) + want.extra.get("new", 0.0) if drum.offer is None else 0.0
    credits = {k.offer: k.credits for k in bought}
    return cost - sum(credits[d.offer or ""][d.place or 0] for d in answer.leftovers)


@pytest.mark.parametrize("block", range(10))
def test_equal_to_a_search_through_every_answer(block: int) -> None:
    solved = 0
    for seed in range(30 * block, 30 * block + 30):
        wanted, kits, limits = random_case(seed)
        every = searched(wanted, kits, limits)
        answers = fillings(wanted, kits, Bench(CUT), Rules(limits), best=3)
        if not every:
            assert not answers
            assert why_none(wanted, kits, Bench(CUT), limits)
            continue
        solved += 1
        best = sorted(every.values())[:3]
        assert [a.weight for a in answers] == pytest.approx(best, abs=0.006)
        assert len({a.buy for a in answers}) == len(answers)
        for answer in answers:
            assert answer.status == "optimal"
            assert answer.bound == answer.weight
            assert answer.weight == pytest.approx(every[frozenset(answer.buy)], abs=0.006)
            assert total(answer, wanted, kits) == pytest.approx(answer.weight, abs=0.006)
            shells = [(d.offer, d.place) for d in (*answer.drums, *answer.leftovers) if d.offer is not None]
            assert len(set(shells)) == len(shells)
    assert solved >= 5


def test_reasons_name_the_drum() -> None:
    one = kit("D1", 300, 40, (size(22, 16), size(13, 9)), (0, 0))
    wanted = [
        wanting("18x16 bass", size(18, 16)),
        wanting("13x11 rack", size(13, 11)),
        wanting("22x14 bass", size(22, 14)),
    ]
    assert not fillings(wanted, [one], Bench(), Rules(BuyingTable()))
    assert why_none(wanted, [one], Bench(), BuyingTable()) == (
        "18x16 bass: no 18-inch drum on offer, and no new shell price given",
        "13x11 rack: every 13-inch drum on offer is shallower, and no new shell price given",
        "22x14 bass: only deeper ones on offer; set cut_down under [work.hours] to have one cut down",
    )


def test_two_wanted_and_one_on_offer() -> None:
    one = kit("D1", 300, 40, (size(13, 9),), (0,))
    (reason,) = why_none([wanting(n, size(13, 9)) for n in ("a", "b")], [one], Bench(CUT), BuyingTable())
    assert "too few 13-inch drums" in reason


def test_a_budget_that_is_too_small_says_what_it_takes() -> None:
    one = kit("D1", 300, 40, (size(13, 9),), (0,))
    reasons = why_none([wanting("a", size(13, 9))], [one], Bench(CUT), BuyingTable(budget=Decimal(200)))
    assert reasons == ("the budget is 200.00, and the cheapest set of kits takes 340.00",)


def test_two_hundred_offers_and_twelve_drums_within_a_minute() -> None:
    rng = np.random.default_rng(20260106)
    diameters, depths = (10, 12, 13, 14, 16, 18, 20, 22), (8, 10, 12, 14, 16)
    kits = [
        kit(
            f"D{i}", float(rng.uniform(150, 900)), 50.0,
            tuple(size(int(rng.choice(diameters)), int(rng.choice(depths))) for _ in range(5)),
            tuple(float(rng.uniform(0, 90)) for _ in range(5)),
        )
        for i in range(200)
    ]  # fmt: skip
    wanted = [wanting(f"{i}", size(int(rng.choice(diameters)), int(rng.choice(depths)))) for i in range(12)]
    start = time.process_time()
    (answer,) = fillings(wanted, kits, Bench(CUT), Rules(BuyingTable()))
    assert answer.status == "optimal"
    assert time.process_time() - start < 60


def test_an_answer_that_is_not_proven_tells_what_a_cheaper_one_could_save(monkeypatch: pytest.MonkeyPatch) -> None:
    """The solver's own answer, as if the time had been up with a bound of 12.34 under it."""
    one = kit("D1", 300, 40, (size(13, 9), size(16, 10)), (0, 25))
    wanted = [wanting("a", size(13, 9))]
    milp = optimize.milp

    def stopped(*args: Any, **options: Any) -> Any:
        result = milp(*args, **options)
        result.status, result.mip_dual_bound = 1, result.fun - 12.34
        return result

    monkeypatch.setattr(optimize, "milp", stopped)
    (answer,) = fillings(wanted, [one], Bench(CUT), Rules(BuyingTable()))
    assert (answer.status, answer.weight, round(answer.weight - answer.bound, 2)) == (
        "gap",
        315.0,
        12.34,
    )  # 340 less the 25 of the drum left over
