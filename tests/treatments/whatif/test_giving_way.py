"""The least that must give way, against exhaustive search over small cases."""

from __future__ import annotations

from itertools import product
from random import Random

import pytest

from treatments.whatif.giving_way import Found, Rung, least

TARGET = 0.9


def a_case(seed: int):
    """Up to seven objects with one or two rungs, and a chance that grows with what the rungs bring."""
    draw = Random(seed)
    rungs = {}
    for n in range(draw.randint(2, 7)):
        price, gain, own = 0.0, 0.0, []
        for _ in range(draw.randint(1, 2)):
            price, gain = price + draw.uniform(1, 6), gain + draw.uniform(0.5, 4)
            own.append(Rung(price, gain))
        rungs[f"o{n}"] = own
    need = draw.uniform(0.2, 0.9) * sum(own[-1].gain for own in rungs.values())

    def chance(given) -> float:
        return min(1.0, TARGET * sum(rungs[name][count - 1].gain for name, count in given.items()) / need)

    return rungs, chance


def price(rungs, given) -> float:
    return sum(rungs[name][count - 1].price for name, count in given.items() if count)


def cheapest(rungs, chance) -> float:
    """The best of all combinations."""
    names = list(rungs)
    found = []
    for counts in product(*(range(len(rungs[name]) + 1) for name in names)):
        given = {name: count for name, count in zip(names, counts, strict=True) if count}
        if chance(given) >= TARGET:
            found.append(price(rungs, given))
    return min(found)


def test_it_reaches_the_chance_nothing_can_be_taken_back_and_costs_little_more_than_the_best():
    ratios = []
    for seed in range(150):
        rungs, chance = a_case(seed)
        found = least(rungs, chance, TARGET)
        assert found.reached and found.least and found.chance >= TARGET
        assert chance(found.given) == pytest.approx(found.chance)
        for name, count in found.given.items():
            fewer = {n: c for n, c in (found.given | {name: count - 1}).items() if c}
            assert chance(fewer) < TARGET
        ratios.append(price(rungs, found.given) / cheapest(rungs, chance))
    assert min(ratios) >= 1 - 1e-9
    assert sum(ratios) / len(ratios) < 1.12 and max(ratios) < 2.0


def test_nothing_gives_way_where_the_chance_is_there_already():
    assert least({"a": [Rung(1, 1)]}, lambda given: 0.95, TARGET) == Found({}, 0.95, True, True, 1)


def test_out_of_reach_it_says_what_is_the_most_that_can_be_had():
    found = least({"a": [Rung(1, 1), Rung(2, 2)], "b": []}, lambda given: 0.1 + 0.1 * len(given), TARGET)
    assert not found.reached and found.given == {"a": 2} and found.chance == pytest.approx(0.2)
    assert not least({}, lambda given: 0.5, TARGET).reached


@pytest.mark.parametrize("target", [0, 1, -1, 2, float("nan")])
def test_a_target_that_is_no_chance_is_refused(target):
    with pytest.raises(ValueError, match="target"):
        least({}, lambda given: 0.5, target)


def test_prices_that_fall_are_refused():
    with pytest.raises(ValueError, match="price"):
        least({"a": [Rung(2, 1), Rung(1, 2)]}, lambda given: 0.5, TARGET)


def test_progress_is_told_and_can_end_the_search():
    told = []
    rungs, chance = a_case(3)
    found = least(rungs, chance, TARGET, progress=told.append)
    assert told == list(range(1, found.evaluations + 1))

    def stop(_):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        least(rungs, chance, TARGET, progress=stop)
