"""For all tests: how many processes they run in, and which signals reach what they start."""

import os
import signal

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


def pytest_xdist_auto_num_workers(config):
    """One more than there are cores: tests of the device mostly wait."""
    return (os.cpu_count() or 1) + 1
