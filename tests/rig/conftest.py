"""Fixtures of the tests in this folder."""

from __future__ import annotations

from pathlib import Path

import pytest

FILES = {
    "z.txt": "20 8 0\n40 9 20\n80 8 0\n160 7 -10\n",
    "few.txt": "20 8 0\n40 8 0\n",
    "word.txt": "20 8 0\n40 x 0\n80 8 0\n160 8 0\n",
    "act.txt": "# a comment counts as a line\n20 8 0\n40 8 95\n80 8 0\n160 8 0\n",
    "cable.txt": "".join(f"{f} 0.0148 6.5e-7 6e-11\n" for f in (20, 200, 2000, 20000)),
    "c.s2p": "# HZ S RI R 50\n" + "".join(f"{f} 0 0 1 0 1 0 0 0\n" for f in (20, 200, 2000, 9000)),
}


@pytest.fixture
def landing(tmp_path: Path) -> Path:
    for name, content in FILES.items():
        (tmp_path / name).write_text(content, encoding="utf-8")
    return tmp_path
