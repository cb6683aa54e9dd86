"""Several tablets and the server, one seed one history: the invariants hold, and planted bugs are caught."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

import pytest

from tests.survey.capture import invariants
from tests.survey.capture.planted import BUGS, Bug, planted
from tests.survey.capture.simulation import World

pytestmark = pytest.mark.django_db
SEEDS = range(200)


def test_no_history_breaks_an_invariant():
    world = World.made()
    for seed in SEEDS:
        try:
            invariants.run(world, seed)
        except invariants.Broken as broken:
            pytest.fail(f"seed {seed}: {broken}")


def caught(bug: Bug, seeds: Iterator[int]) -> str:
    """What a planted bug breaks first; nothing if all histories pass."""
    world = World.made()
    with planted(bug):
        for seed in seeds:
            try:
                invariants.run(world, seed)
            except Exception as error:  # noqa: BLE001  a bug may break an invariant or the code itself: both catch it
                return f"seed {seed}: {error!r}"
    return ""


@pytest.mark.parametrize("bug", BUGS, ids=str)
def test_a_planted_bug_is_caught(bug):
    assert caught(bug, chain([bug.seed], SEEDS))


def test_a_bug_whose_words_are_gone_is_no_check():
    bug = BUGS[0]
    with pytest.raises(LookupError), planted(Bug(bug.name, bug.module, bug.function, "words that are gone", "")):
        pass
