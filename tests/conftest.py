"""For all tests: how many processes they run in, and how many threads each may take."""

import os

# Two processes whose linear algebra takes two threads each get in each other's way on two cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


def pytest_xdist_auto_num_workers(config):
    """One more than there are cores: tests of the device mostly wait."""
    return (os.cpu_count() or 1) + 1
