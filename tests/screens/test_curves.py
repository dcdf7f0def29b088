"""Curves as they are drawn with characters."""

import numpy as np
import pytest
from auralize_tui.curves import CurvePanel, column_at, columns_of, draw

from support.bench_app import drive

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")


def test_the_frequency_axis_is_logarithmic():
    columns = columns_of(60)
    assert np.allclose(np.diff(np.log(columns)), np.log(1000) / 60)
    assert column_at(20, 60) == 0
    assert column_at(20_000, 60) == 59
    assert abs(column_at(632.5, 60) - 30) <= 1


def test_a_curve_is_drawn_where_it_is():
    levels = np.linspace(-6.0, 0.0, 54)
    lines = draw({"1": levels}, "1", None, 60, 14)
    assert lines[0].rstrip().endswith("1")  # 0 dB is top right
    assert lines[-3][6] == "1"  # -6 dB is bottom left
    assert max(len(line) for line in lines) <= 60


def test_curves_fill_their_widget(app):
    async def steps(pilot):
        drawn = app.screen.query_one(CurvePanel).render().plain
        assert "terminals, dB" in drawn
        assert "prog|" in drawn
        assert {"1", "2", "3"} <= set(drawn)

    drive(app, steps)
