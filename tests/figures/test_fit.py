"""What length or size would do: against formulas by hand, and against what the figures then say."""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from auralize.circuit.sizing import EVEN_GAUGES, METRIC_AREAS, SHORTEST_RUN
from auralize.commands.main import main
from auralize.errors import AuralizeError
from auralize.figures import fit_text
from auralize.figures import text as show
from auralize.figures.blame import Reason
from auralize.figures.fit import LONGEST_RUN, Fit, Size, fit
from auralize.figures.numbers import figures
from auralize.rig.reading import load_rig
from auralize.units import gauge_area, show_frequency

# 1 nH/m, the least there is: at 20 kHz 0.1 % of 8 ohm for 60 m, which is 1e-5 dB.
OHMIC = 'construction = "measured"\nresistance = "10 ohm/km"\ninductance = "1 nH/m"'
LOOP = 0.010  # ohm/m
TWIN = 'construction = "twin"\nconductor = "0.5 mm2"\ninsulation = "0.8 mm"\n'


def text(
    cable: str = OHMIC, *, run: str = "", load: str = 'resistance = "8 ohm"', more: str = ""
) -> str:
    return f"""
[amplifier]
resistance = "0.3 ohm"
[cables.reel]
{cable}
[runs.sluice]
cable = "reel"
length = "30 m"
{run}
[loads.gatehouse]
type = "resistor"
{load}
{more}
"""


def written(folder: Path, content: str) -> Path:
    path = folder / "sluice.toml"
    path.write_text(content, encoding="utf-8")
    return path


def fitted(folder: Path, content: str, kind: str, tolerance: float, run: str | None = None) -> Fit:
    rig = load_rig(written(folder, content))
    (choice,) = rig.choices.values()
    return fit(rig, choice, run, kind, tolerance)  # type: ignore[arg-type]


def thinnest(found: Fit) -> tuple[str | None, str | None]:
    """Of the metric sizes, and of the gauges."""
    assert found.metric is not None
    assert found.gauge is not None
    return found.metric.thinnest, found.gauge.thinnest


# ---- length ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("decibels", [0.1, 0.5, 1.0, 3.0])
def test_longest_for_a_loss(decibels: float, tmp_path: Path) -> None:
    """1 + r l / R = 10^(dB/20), whatever the amplifier's own resistance."""
    found = fitted(tmp_path, text(), "loss", decibels)
    by_hand = 8.0 * (10.0 ** (decibels / 20.0) - 1.0) / LOOP
    assert found.longest == pytest.approx(by_hand, rel=3e-4)
    assert found.now == pytest.approx(20.0 * math.log10(1.0 + 30.0 * LOOP / 8.0), rel=1e-4)


@pytest.mark.parametrize("share", [0.02, 0.1, 0.5])
def test_longest_for_a_share_of_power(share: float, tmp_path: Path) -> None:
    """r l / (R + r l) of the power stays in the cable."""
    found = fitted(tmp_path, text(), "heat", share)
    assert found.longest == pytest.approx(8.0 * share / (1.0 - share) / LOOP, rel=2e-4)
    assert found.now == pytest.approx(0.3 / 8.3, rel=1e-6)


def test_longest_for_a_deviation(tmp_path: Path) -> None:
    """|1 + (r + j omega L) l / R| at 20 kHz over that at 1 kHz, solved by halving."""
    inductive = OHMIC.replace("1 nH/m", "0.65 uH/m")
    found = fitted(tmp_path, text(inductive), "deviation", 0.5)

    def level(length: float, hertz: float) -> float:
        z = (LOOP + 2j * math.pi * hertz * 0.65e-6) * length
        return 20.0 * math.log10(abs(1.0 + z / 8.0))

    low, high = 1.0, 1000.0
    while high - low > 1e-3:
        middle = (low + high) / 2.0
        within = level(middle, 20e3) - level(middle, 1e3) <= 0.5
        low, high = (middle, high) if within else (low, middle)
    assert found.longest == pytest.approx(low, rel=3e-4)


def test_a_resistor_on_resistance_never_deviates(tmp_path: Path) -> None:
    found = fitted(tmp_path, text(load='resistance = "100 ohm"'), "deviation", 0.5)
    assert found.longest == LONGEST_RUN
    assert "10 km and more" in fit_text.as_fits("", [found], "deviation", 0.5)


def test_what_would_do_does(tmp_path: Path) -> None:
    """The figures of the rig at the length that was found, at its worst frequency."""
    found = fitted(tmp_path, text(TWIN), "loss", 1.0)
    longer = text(TWIN).replace('"30 m"', f'"{found.longest!r} m"')
    (choice,) = load_rig(written(tmp_path, longer)).choices.values()
    assert figures(choice, (20e3,)).lines[0].loss_db == pytest.approx(-1.0, abs=1e-3)


def test_none_where_the_rest_does_too_much_already(tmp_path: Path) -> None:
    """Two joints of 2 ohm: 20 lg (12/8) = 3.52 dB without any cable at all."""
    found = fitted(tmp_path, text(run='far = "2 ohm"'), "loss", 1.0)
    assert (found.longest, found.shortest) == (None, SHORTEST_RUN)
    (why,) = found.no_length
    assert why.value == pytest.approx(20.0 * math.log10(12.0 / 8.0), rel=1e-6)
    printed = fit_text.as_fits("gatehouse", [found], "loss", 1.0)
    assert "will do: the joints of sluice alone break it (3.52 dB)." in " ".join(printed.split())


# ---- where it is worst ----------------------------------------------------------------------------

DRIVER = """type = "driver"
nominal = "8 ohm"
Re = "6 ohm"
Le = "0.5 mH"
fs = "100 Hz"
Qms = 5
Qes = 0.5
"""
STEP = 10.0 ** (1 / 200)
"""Ratio of two frequencies that are tried."""


def by_hand(hertz: float) -> complex:
    """Impedance of that driver in free air."""
    q = 1j * 5.0 * (hertz / 100.0 - 100.0 / hertz)
    return 6.0 + 2j * math.pi * hertz * 0.5e-3 + 6.0 * 10.0 / (1.0 + q)


def loss(hertz: float) -> float:
    return 20.0 * math.log10(abs(1.0 + 0.3 / by_hand(hertz)))


def deviation(hertz: float) -> float:
    return abs(loss(hertz) - loss(1000.0))


@pytest.mark.parametrize("how", [loss, deviation])
def test_the_worst_frequency_is_that_of_the_impedance(
    how: Callable[[float], float], tmp_path: Path
) -> None:
    """0.3 ohm of cable before a driver, its impedance written out; every hertz up to 20 kHz is tried."""
    content = text(load=DRIVER).replace('type = "resistor"\n', "", 1)
    kind = {loss: "loss", deviation: "deviation"}[how]
    found = fitted(tmp_path, content, kind, 0.1)
    worst = max(range(20, 20_001), key=how)
    assert found.worst is not None
    assert worst / STEP < found.worst < worst * STEP
    printed = fit_text.as_fits("", [found], kind, 0.1).splitlines()  # type: ignore[arg-type]
    (below,) = (
        printed[n + 1] for n, line in enumerate(printed) if " now  " in line and "len" not in line
    )
    shown = show_frequency(float(f"{found.worst:.3g}"))
    assert below.split() == ["which", "is", "at", *shown.split()]


def test_fit_and_figures_name_the_same_worst_frequency(tmp_path: Path) -> None:
    content = text(load=DRIVER).replace('type = "resistor"\n', "", 1)
    (choice,) = load_rig(written(tmp_path, content)).choices.values()
    found, numbers = fitted(tmp_path, content, "deviation", 0.1), figures(choice)
    assert found.worst == numbers.deviation_hz
    assert found.now == pytest.approx(abs(numbers.deviation_db), rel=1e-9)
    tables = fit_text.as_fits("", [found], "deviation", 0.1), show.as_table("", [numbers])
    first = [next(t for t in table.splitlines() if "which is at" in t) for table in tables]
    assert first[0].split() == first[1].split()


# ---- size -----------------------------------------------------------------------------------------


def test_thinnest_for_a_share_by_hand(tmp_path: Path) -> None:
    """30 m into 8 ohm, 10 %: up to 0.889 ohm in the loop, 14.8 mohm/m for one conductor.

    IEC 60228 class 5: 1 mm2 19.5, 1.5 mm2 13.3 ohm/km. Of gauges (ASTM B258) 18 AWG has 0.823 mm2 and
    20.9 ohm/km by rho/A, 16 AWG 1.309 mm2 and 13.2. Skin effect adds under 3 % to these at 20 kHz.
    """
    found = fitted(tmp_path, text(TWIN + 'strands = "class 5"'), "heat", 0.10)
    assert thinnest(found) == ("1.5 mm2", "16 AWG")
    printed = fit_text.as_fits("", [found], "heat", 0.10)
    assert "1.5 mm2" in printed
    assert "16 AWG" in printed


@pytest.mark.parametrize(
    ("strands", "material", "sizes"),
    [
        ("class 5", "copper", "16 AWG"),
        ("class 2", "copper", "16 AWG"),
        ("stranded", "copper", None),
        ("solid", "copper", None),
        # Table 2 of IEC 60228 begins at 10 mm2 for aluminium.
        ("class 2", "aluminium", "2.5 mm2, 14 AWG"),
    ],
)
def test_a_size_that_the_class_lacks_comes_with_what_it_needs(
    strands: str, material: str, sizes: str | None, tmp_path: Path
) -> None:
    cable = TWIN.replace("0.5 mm2", "16 mm2") + f'strands = "{strands}"\nmaterial = "{material}"'
    found = fitted(tmp_path, text(cable), "heat", 0.10)
    printed = " ".join(fit_text.as_fits("", [found], "heat", 0.10).split())
    assert ("in the rig file" in printed) == (sizes is not None)
    if sizes is None:
        return
    assert f"in the rig file {'they need' if ',' in sizes else 'it needs'} strands" in printed
    assert f"{sizes}: by area, as IEC 60228 has no such size in that class" in printed
    taken = cable.replace("16 mm2", sizes.rpartition(", ")[2])
    with pytest.raises(AuralizeError, match="strands"):
        load_rig(written(tmp_path, text(taken)))
    (remedy,) = re.findall(r'needs? strands = "(\w+)"', printed)
    assert fitted(tmp_path, text(taken.replace(strands, remedy)), "heat", 0.10).now <= 0.10


@pytest.mark.parametrize(
    ("share", "metric", "gauge"),
    [(0.28, "0.5 mm2", 20), (0.17, "0.75 mm2", 18), (0.135, "1 mm2", 16), (0.1, "1.5 mm2", 16)],
)
def test_metric_and_gauge_sizes_follow_from_the_same_area(
    share: float, metric: str, gauge: int, tmp_path: Path
) -> None:
    """A = 2 rho l (1/h - 1) / R by hand, far enough from any size for skin effect not to count."""
    found = fitted(tmp_path, text(TWIN), "heat", share)
    assert thinnest(found) == (metric, f"{gauge} AWG")
    least = 2.0 * 1.7241e-8 * 30.0 * (1.0 / share - 1.0) / 8.0
    assert metric == next(f"{a * 1e6:g} mm2" for a in METRIC_AREAS if a >= least)
    assert gauge == next(g for g in EVEN_GAUGES if gauge_area(g) >= least)


@pytest.mark.parametrize(("kind", "tolerance"), [("loss", 0.6), ("loss", 1.0), ("heat", 0.09)])
def test_thinnest_will_do_and_the_next_thinner_will_not(
    kind: str, tolerance: float, tmp_path: Path
) -> None:
    content = text(TWIN, load='resistance = "12 ohm"')
    found = fitted(tmp_path, content, kind, tolerance)
    sizes = [f"{area * 1e6:g} mm2" for area in METRIC_AREAS]
    at = sizes.index(thinnest(found)[0] or "")
    assert at > 0, "nothing thinner to try"
    now = [
        fitted(tmp_path, content.replace("0.5 mm2", size), kind, tolerance).now
        for size in sizes[at - 1 : at + 1]
    ]
    assert now[1] <= tolerance < now[0]


def test_only_the_run_that_is_asked_for_changes(tmp_path: Path) -> None:
    """Two runs of one cable, 30 m each: 0.5 mm2 stays in the other, 2 x 30 m x rho/A = 2.07 ohm."""
    more = '[runs.spur]\ncable = "reel"\nlength = "30 m"\nfrom = "sluice"'
    content = text(TWIN, load='resistance = "8 ohm"\nat = "spur"', more=more)
    other = 2.0 * 30.0 * 1.7241e-8 / 0.5e-6
    whole = 8.0 * 0.25 / 0.75  # ohm in all cable at a quarter of the power
    found = fitted(tmp_path, content, "heat", 0.25, "sluice")
    least = 2.0 * 30.0 * 1.7241e-8 / (whole - other)  # 1.74 mm2
    by_area = next(f"{a * 1e6:g} mm2" for a in METRIC_AREAS if a >= least)
    assert thinnest(found)[0] == by_area == "2.5 mm2"


def test_a_measured_cable_has_no_size(tmp_path: Path) -> None:
    found = fitted(tmp_path, text(), "loss", 0.5)
    assert (found.metric, found.gauge) == (None, None)
    printed = fit_text.as_fits("gatehouse", [found], "loss", 0.5)
    assert "A measured cable has no size" in printed
    assert [line.split()[-1] for line in printed.splitlines()[-2:]] == ["measured", "measured"]


def test_sizes_that_do_not_fit_the_spacing_are_passed_over(tmp_path: Path) -> None:
    """Centres 2.3 mm apart leave room for 2.5 mm2 (2.06 mm across at a fill of 0.75), not for 4."""
    cores = 'construction = "twin"\nconductor = "0.5 mm2"\nspacing = "2.3 mm"'
    assert thinnest(fitted(tmp_path, text(cores), "heat", 0.07))[0] == "2.5 mm2"
    none = fitted(tmp_path, text(cores), "heat", 0.045)
    assert none.metric == Size(None, "2.5 mm2", why=(Reason("it takes thicker copper"),))
    assert "none up to 2.5 mm2" in fit_text.as_fits("", [none], "heat", 0.045)
    wider = cores.replace("2.3 mm", "3 mm")
    assert thinnest(fitted(tmp_path, text(wider), "heat", 0.045))[0] == "4 mm2"


def test_none_says_up_to_which_size_was_tried(tmp_path: Path) -> None:
    """2 rho l / A of 16 mm2 and 6 AWG (13.3 mm2) is 0.8 and 1.0 % of 8 ohm."""
    found = fitted(tmp_path, text(TWIN), "heat", 0.005)
    assert thinnest(found) == (None, None)
    *_, metric, gauge = fit_text.as_fits("", [found], "heat", 0.005).splitlines()
    assert metric.endswith(" none up to 16 mm2")
    assert gauge.endswith(" none up to 6 AWG")


def test_no_size_of_a_series_may_fit(tmp_path: Path) -> None:
    """0.05 mm2 is 0.29 mm across at a fill of 0.75, and 0.5 mm2 is 0.92 mm."""
    cores = 'construction = "twin"\nconductor = "0.05 mm2"\nspacing = "0.5 mm"'
    found = fitted(tmp_path, text(cores), "heat", 0.05)
    printed = fit_text.as_fits("", [found], "heat", 0.05).splitlines()
    assert [line.endswith(" none fits") for line in printed[-2:]] == [True, True]


# ---- the command ----------------------------------------------------------------------------------

TWO = '[runs.spur]\ncable = "reel"\nlength = "20 m"\nfrom = "sluice"'


def test_one_of_several_runs_must_be_named(tmp_path: Path) -> None:
    content = text(load='resistance = "8 ohm"\nat = "spur"', more=TWO)
    with pytest.raises(
        AuralizeError, match=r"^--run: .* right is one of sluice, spur; --cable sizes"
    ):
        fitted(tmp_path, content, "loss", 0.5)
    by_hand = 8.0 * (10.0**0.025 - 1.0) / LOOP - 30.0
    assert fitted(tmp_path, content, "loss", 0.5, "spur").longest == pytest.approx(
        by_hand, rel=1e-3
    )


def test_a_run_beside_the_way_is_refused(tmp_path: Path) -> None:
    more = TWO + '\n[loads.tower]\ntype = "resistor"\nresistance = "8 ohm"\nat = "spur"'
    content = 'listen = "gatehouse"\n' + text(load='resistance = "8 ohm"\nat = "sluice"', more=more)
    with pytest.raises(AuralizeError, match=r"right is one of sluice; "):
        fitted(tmp_path, content, "loss", 0.5, "spur")


def test_a_load_without_a_run_is_refused(tmp_path: Path) -> None:
    content = text(load='resistance = "8 ohm"\nat = "amplifier"')
    with pytest.raises(AuralizeError, match="there is no run on the way to gatehouse"):
        fitted(tmp_path, content, "loss", 0.5)


CHOICES = "".join(f'[choices.wet-{n}]\nruns.sluice.length = "{30 + n} m"\n' for n in range(7))


@pytest.mark.parametrize("limit", [("--loss", "0.5 dB"), ("--deviation", "1"), ("--heat", "10 %")])
def test_the_table_keeps_to_80_columns(
    limit: tuple[str, str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, text(TWIN, more=CHOICES))
    assert main(["fit", str(path), *limit]) == 0
    printed = capsys.readouterr().out
    assert max(map(len, printed.splitlines())) <= 80
    below = printed.partition("\n\n")[2]
    for n in range(7):
        assert below.count(f"wet-{n}") == 1
        assert f"{30 + n} m (" in printed
    assert ("all cable and joints together" in printed) == (limit[0] == "--heat")


@pytest.mark.parametrize("fault", ["short", "open"])
def test_a_fault_is_silent_or_without_loss(
    fault: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, text(TWIN, more=f"[choices.it]\nloads.gatehouse.type = '{fault}'"))
    for limit in (("--loss", "0.5"), ("--deviation", "0.5")):
        assert main(["fit", str(path), *limit]) == 0
        printed = capsys.readouterr().out
        assert "nan" not in printed.lower()
        assert "inf" not in printed.lower()
        assert ("silent" in printed) == (fault == "short")
        assert ("everywhere" in printed) == (fault == "short")


@pytest.mark.parametrize(
    ("limit", "right"),
    [
        (("--loss", "0"), '"0.5 dB"'),
        (("--loss", "-1 dB"), '"0.5 dB"'),
        (("--deviation", "some"), '"0.5 dB"'),
        (("--heat", "0"), '"10 %"'),
        (("--heat", "100 %"), '"10 %"'),
        (("--heat", "a tenth"), '"10 %"'),
    ],
)
def test_tolerances_that_cannot_be_are_refused(
    limit: tuple[str, str], right: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = written(tmp_path, text())
    option, value = limit
    assert main(["fit", str(path), f"{option}={value}"]) == 2
    told = capsys.readouterr().err
    assert f"{option}: {value!r} was found" in told
    assert right in told
    assert told.count("\n") == 1
