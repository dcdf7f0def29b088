"""The keys of the bench, taken together: none does two things, none is without words."""

from collections import Counter

import pytest
from auralize_tui.bench import BenchScreen
from auralize_tui.bindings import HEARING, PLAYING, TRIAL, VIEWING, WORKING

BENCH = [*PLAYING, *HEARING, *WORKING, *VIEWING]


@pytest.mark.parametrize("bindings", [BENCH, TRIAL], ids=["bench", "trial"])
def test_no_key_and_no_name_stands_twice(bindings):
    keys = Counter(key for one in bindings for key in one.key.split(","))
    names = Counter(one.id for one in bindings if one.id)
    assert not {key for key, count in (keys + names).items() if count > 1}


def test_every_key_does_something_of_its_own():
    """Two classes of the screen that gave an action one name would answer one key with the other's."""
    for one in BENCH:
        name = f"action_{one.action.partition('(')[0]}"
        owners = [kind for kind in BenchScreen.__mro__ if name in vars(kind)]
        ours = [kind for kind in owners if kind.__module__.startswith("auralize_tui")]
        assert ours, one
        if name not in ("action_choose", "action_hear"):  # go on to the one above
            assert len(ours) == 1, (one, ours)
