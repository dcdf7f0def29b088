"""For all tests: in how many processes, what is looked at for garbage, which signals reach what
they start."""

import contextlib
import gc
import importlib
import os
import signal
import sys
from pathlib import Path

import hypothesis
import pytest

# Two processes whose linear algebra takes two threads each get in each other's way on two cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# What is written tells the day; what is written twice is compared, also at midnight.
os.environ.setdefault("SOURCE_DATE_EPOCH", "1767225600")

# Started in the background, or by nohup, these are ignored, and so they would be by every command tested.
signal.signal(signal.SIGINT, signal.default_int_handler)
if hasattr(signal, "SIGHUP"):
    signal.signal(signal.SIGHUP, signal.SIG_DFL)


@pytest.fixture(scope="session", autouse=True)
def state_of_our_own(tmp_path_factory):
    """What the program remembers is not the user's while it is tested."""
    os.environ["XDG_STATE_HOME"] = str(tmp_path_factory.mktemp("state"))


@pytest.fixture
def in_time(tmp_path_factory):
    """One test after the other that plays as time goes, in whatever process: together they have gaps."""
    base = tmp_path_factory.getbasetemp()
    run = base.parent if "PYTEST_XDIST_WORKER" in os.environ else base
    with (run / "in-time.lock").open("w") as lock:
        if os.name == "posix":
            import fcntl

            fcntl.flock(lock, fcntl.LOCK_EX)
        yield


_unfreeze, _thawed = gc.unfreeze, []


def _noted():
    _unfreeze()
    _thawed.append(True)


gc.unfreeze = _noted  # to ask for the count takes as long as the search


def pytest_configure(config):
    """Of all tests each process imports another part first, so that each file is compiled by one of them:
    pytest's rewriting of assertions takes as long as all other collecting."""
    given = getattr(config, "workerinput", None)
    if given is None or config.option.file_or_dir:
        return
    number, count = int(given["workerid"].removeprefix("gw")), given["workercount"]
    for path in sorted(Path(__file__).parent.rglob("test_*.py"))[number::count]:
        if str(path.parent) not in sys.path:
            sys.path.insert(0, str(path.parent))
        with contextlib.suppress(Exception, pytest.skip.Exception):  # told when it is collected
            importlib.import_module(path.stem)


@hypothesis.settings(max_examples=1, database=None)
@hypothesis.given(hypothesis.strategies.none())
def _its_random_numbers_are_made(_):
    """What holds them it looks for among what is not frozen, or warns."""


def pytest_collection_finish():
    """Not among the tests themselves, 650 000 objects, which takes 0.3 s whenever a bench starts."""
    _its_random_numbers_are_made()
    gc.collect()
    gc.freeze()


@pytest.hookimpl(trylast=True)
def pytest_runtest_teardown():
    """A bench that ends has thawed them."""
    if _thawed:
        gc.freeze()
        _thawed.clear()


def pytest_sessionfinish():
    """What was left open is still told, by pytest's own search for garbage."""
    _unfreeze()


def pytest_xdist_auto_num_workers(config):
    """Two more than there are cores: tests of devices and browsers mostly wait."""
    return (os.cpu_count() or 1) + 2
