"""Quantities as people write them: parsed, converted and shown, and refused in words that help."""

import math
import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize import units
from auralize.units import Quantity, gauge_area, gauge_diameter, nearest_gauge, parse

EXACT = 1e-12
"""Relative: a factor and one product, each rounded once or twice in double precision."""

READS: list[tuple[str, Quantity, float]] = [
    # metric
    ("62 m", "length", 62.0),
    ("62m", "length", 62.0),
    ("  62   m ", "length", 62.0),
    ("+62 m", "length", 62.0),
    (".5 mm", "length", 0.5e-3),
    ("5. mm", "length", 5e-3),
    ("1.5e2 cm", "length", 1.5),
    ("0.3 km", "length", 300.0),
    ("2.5 mm2", "area", 2.5e-6),
    ("0.04 cm2", "area", 4e-6),
    ("1e-6 m2", "area", 1e-6),
    ("8 ohm", "resistance", 8.0),
    ("8 ohms", "resistance", 8.0),
    ("50 mohm", "resistance", 0.05),
    ("10 kohm", "resistance", 1e4),
    ("0.35 mH", "inductance", 0.35e-3),
    ("1.5 uH", "inductance", 1.5e-6),
    ("650 nH", "inductance", 650e-9),
    ("10 uF", "capacitance", 10e-6),
    ("100 pF", "capacitance", 100e-12),
    ("8 msH", "semi-inductance", 8e-3),
    ("14.8 ohm/km", "resistance per length", 14.8e-3),
    ("14.8 mohm/m", "resistance per length", 14.8e-3),
    ("14.8 ohm / km", "resistance per length", 14.8e-3),
    ("0.65 uH/m", "inductance per length", 0.65e-6),
    ("60 pF/m", "capacitance per length", 60e-12),
    ("31.5 Hz", "frequency", 31.5),
    ("16 kHz", "frequency", 16e3),
    ("60 l", "volume", 0.06),
    ("60 L", "volume", 0.06),
    ("60 litres", "volume", 0.06),
    ("0.06 m3", "volume", 0.06),
    ("-6 dB", "level", -6.0),
    ("100 V", "voltage", 100.0),
    ("0.5 kW", "power", 500.0),
    ("2 s", "time", 2.0),
    ("250 ms", "time", 0.25),
    ("1.5 min", "time", 90.0),
    # foot, inch and yard: exact since 1959 (NIST SP 811, appendix B; values from memory)
    ("200 ft", "length", 60.96),
    ("1 in", "length", 0.0254),
    ("100 yd", "length", 91.44),
    ("1 mil", "length", 25.4e-6),
    ("1 ft3", "volume", 0.028316846592),
    ("1 ohm/kft", "resistance per length", 1.0 / 304.8),
    ("1 uH/ft", "inductance per length", 1e-6 / 0.3048),
    ("30 pF/ft", "capacitance per length", 30e-12 / 0.3048),
    # feet and inches together: 12 inches to a foot
    ("10 ft 6 in", "length", 126 * 0.0254),
    ("12 feet 6 inches", "length", 150 * 0.0254),
    ("10' 6\"", "length", 126 * 0.0254),
    ("10'6\"", "length", 126 * 0.0254),
    ("10\u2032 6\u2033", "length", 126 * 0.0254),
    ("10\u2019 6\u201d", "length", 126 * 0.0254),
    ("200'", "length", 60.96),
    ("200 FT", "length", 60.96),
    ("200 ft.", "length", 60.96),
    ('6"', "length", 6 * 0.0254),
    ("0.5 in", "length", 0.0127),
    # the letter for the point: IEC 60062 (value from memory)
    ("4R", "resistance", 4.0),
    ("4 R", "resistance", 4.0),
    ("4R7", "resistance", 4.7),
    ("0R1", "resistance", 0.1),
    ("1k5", "resistance", 1500.0),
    ("4\u03a9", "resistance", 4.0),
    ("8 Ohm", "resistance", 8.0),
    ("8 OHMS", "resistance", 8.0),
    ("10 kOhm", "resistance", 1e4),
    ("14.8 Ohm/km", "resistance per length", 14.8e-3),
    ("38 hz", "frequency", 38.0),
    ("1 KHz", "frequency", 1000.0),
    ("2.5 sq", "area", 2.5e-6),
    ("2.5 mm sq", "area", 2.5e-6),
    ("2.5 qmm", "area", 2.5e-6),
    # written out
    ("100 feet", "length", 30.48),
    ("1 foot", "length", 0.3048),
    ("100 Feet", "length", 30.48),
    ("2 inches", "length", 0.0508),
    ("1 inch", "length", 0.0254),
    ("100 yards", "length", 91.44),
    ("40 mils", "length", 1.016e-3),
    ("30 metres", "length", 30.0),
    ("30 meters", "length", 30.0),
    ("1 metre", "length", 1.0),
    ("8 millimetres", "length", 8e-3),
    ("8 millimeter", "length", 8e-3),
    ("8 centimetres", "length", 0.08),
    ("0.3 kilometers", "length", 300.0),
    ("2.5 mm^2", "area", 2.5e-6),
    ("2.5 sq mm", "area", 2.5e-6),
    ("2.5 sqmm", "area", 2.5e-6),
    ("2.5 square millimetres", "area", 2.5e-6),
    ("60 liters", "volume", 0.06),
    ("2 ft^3", "volume", 2 * 0.028316846592),
    ("14.8 ohms/kilometre", "resistance per length", 14.8e-3),
    ("100 volts", "voltage", 100.0),
    ("50 watts", "power", 50.0),
    ("2 seconds", "time", 2.0),
    ("1 minute", "time", 60.0),
    # signs of the trade, in each of the code points that keyboards and data sheets give
    ("2.5 mm²", "area", 2.5e-6),
    ("2 ft³", "volume", 2 * 0.028316846592),
    ("8 \u03a9", "resistance", 8.0),  # Greek capital omega
    ("8 \u2126", "resistance", 8.0),  # ohm sign
    ("50 m\u03a9", "resistance", 0.05),
    ("14.8 \u2126/km", "resistance per length", 14.8e-3),
    ("10 \u00b5F", "capacitance", 10e-6),  # micro sign
    ("10 \u03bcF", "capacitance", 10e-6),  # Greek small mu
    ("62\u00a0m", "length", 62.0),  # no-break space
    ("62\u2009m", "length", 62.0),  # thin space
]


@pytest.mark.parametrize(("text", "quantity", "value"), READS, ids=[r[0] for r in READS])
def test_a_quantity_is_read_in_si(text: str, quantity: Quantity, value: float) -> None:
    assert parse(text, quantity) == pytest.approx(value, rel=EXACT)


@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        # 0 degC is 32 degF and 273.15 K, 100 degC is 212 degF, and the scales meet at -40: definitions.
        ("35 degC", 35.0),
        ("35 °C", 35.0),
        ("35 C", 35.0),
        ("32 degF", 0.0),
        ("212 °F", 100.0),
        ("-40 F", -40.0),
        ("95 degF", 35.0),
        ("273.15 K", 0.0),
    ],
)
def test_temperatures_come_out_in_celsius(text: str, celsius: float) -> None:
    assert parse(text, "temperature") == pytest.approx(celsius, rel=EXACT, abs=1e-12)


@pytest.mark.parametrize(
    ("text", "quantity", "value"),
    [
        ("\u221240 degF", "temperature", -40.0),
        ("\u22126 dB", "level", -6.0),
    ],
)
def test_the_true_minus_sign_counts_as_a_minus(text: str, quantity: Quantity, value: float) -> None:
    """U+2212, which text programs put where a hyphen was typed; its spelling is listed beside µ and Ω."""
    assert parse(text, quantity) == pytest.approx(value, rel=EXACT)


# --- wire gauge -----------------------------------------------------------------------------------

# ASTM B258, table of nominal diameters in thousandths of an inch (values from memory).
B258_MILS = {
    "4/0": 460.0,
    "3/0": 409.6,
    "2/0": 364.8,
    "1/0": 324.9,
    "1": 289.3,
    "2": 257.6,
    "6": 162.0,
    "10": 101.9,
    "12": 80.8,
    "14": 64.1,
    "16": 50.8,
    "18": 40.3,
    "24": 20.1,
    "30": 10.0,
    "36": 5.0,
    "40": 3.1,
}
HALF_DIGIT = 0.0501 * 25.4e-6
"""m; the table is rounded to a tenth of a mil."""


@pytest.mark.parametrize(("gauge", "mils"), B258_MILS.items())
def test_gauges_are_those_of_astm_b258(gauge: str, mils: float) -> None:
    diameter = math.sqrt(4.0 / math.pi * parse(f"{gauge} AWG", "area"))
    assert diameter == pytest.approx(mils * 25.4e-6, abs=HALF_DIGIT)


def test_the_two_diameters_that_define_the_gauge_are_exact() -> None:
    """ASTM B258: 4/0 is 0.4600 in, 36 is 0.0050 in, 39 equal ratios between (value from memory)."""
    assert gauge_diameter(-3) == pytest.approx(0.4600 * 0.0254, rel=EXACT)
    assert gauge_diameter(36) == pytest.approx(0.0050 * 0.0254, rel=EXACT)


def test_three_sizes_up_is_half_the_area_within_a_third_of_a_percent() -> None:
    """Common practice, no source; 92^(6/39) = 2.005 by the definition of the gauge."""
    assert gauge_area(11) / gauge_area(14) == pytest.approx(2.0, rel=0.0033)


@pytest.mark.parametrize(
    "text",
    [
        *(
            "14 AWG",
            "14AWG",
            "14 awg",
            " 14  Awg ",
            "14.0 AWG",
            "AWG 14",
            "AWG14",
            "14 ga",
            "14ga.",
        ),
        *("14 gauge", "#14", "# 14", "AWG #14", "#14 AWG", "No. 14", "gauge 14"),
    ],
)
def test_a_gauge_is_read_however_it_is_typed(text: str) -> None:
    # 14 AWG is 2.08 mm2 (ASTM B258, value from memory).
    assert parse(text, "area") == pytest.approx(2.08e-6, rel=1e-3)


@pytest.mark.parametrize("text", ["AWG 2/0", "#2/0", "2/0 ga", "AWG 00"])
def test_more_than_one_nought_is_read_however_it_is_typed(text: str) -> None:
    assert parse(text, "area") == parse("2/0 AWG", "area")


@pytest.mark.parametrize(
    ("text", "right"),
    [
        ("2x2.5 mm2", '"2.5 mm2"'),
        ("2 x 2.5", '"2.5 mm2"'),
        ("4\u00d74 mm\u00b2", '"4 mm\u00b2"'),
        ("2 x 14 AWG", '"14 AWG"'),
        ("14/2", '"14 AWG"'),
        ("16/4 AWG", '"16 AWG"'),
        (
            "24/0.2",
            '"0.75 mm2"',
        ),  # 24 strands of 0.2 mm are sold as 0.75 mm2: common practice, no source
    ],
)
def test_a_whole_cable_is_answered_with_one_conductor_of_it(text: str, right: str) -> None:
    sentence = refusal(text, "area")
    assert repr(text) in sentence
    assert right in sentence
    assert_shows_an_example(sentence, "area")


@pytest.mark.parametrize(
    "text", ["35 º C", "35 degrees C", "35 deg. C", "35 degrees Celsius", "35 Celsius"]
)
def test_degrees_are_read_however_they_are_typed(text: str) -> None:
    assert parse(text, "temperature") == pytest.approx(35.0, rel=EXACT)


@pytest.mark.parametrize(("text", "same"), [("00", "2/0"), ("000", "3/0"), ("0000", "4/0")])
def test_a_row_of_noughts_is_not_one_nought(text: str, same: str) -> None:
    """ASTM B258 writes 4/0 also as 0000 (from memory): to read it as 1/0 halves the area unseen."""
    assert parse(f"{text} AWG", "area") == pytest.approx(parse(f"{same} AWG", "area"), rel=EXACT)


def test_one_nought_is_one_nought() -> None:
    assert parse("0 AWG", "area") == parse("1/0 AWG", "area")


@given(st.floats(-3.0, 40.0))
@settings(derandomize=True, max_examples=100)
def test_the_nearest_gauge_undoes_the_area(gauge: float) -> None:
    assert nearest_gauge(gauge_area(gauge)) == pytest.approx(gauge, abs=1e-9)


@pytest.mark.parametrize("text", ["41 AWG", "99 AWG", "-4 AWG", "5/0 AWG", "0/0 AWG"])
def test_a_gauge_outside_the_table_is_refused(text: str) -> None:
    assert "AWG" in refusal(text, "area")


# --- refusals -------------------------------------------------------------------------------------


def refusal(text: str, quantity: Quantity) -> str:
    with pytest.raises(ValueError, match=r"\S") as caught:
        parse(text, quantity)
    sentence = str(caught.value)
    assert "\n" not in sentence
    return sentence


@pytest.mark.parametrize(
    ("text", "quantity", "unit", "value"),
    [
        ("2", "time", "s", 2.0),
        (" 250 MS ", "time", "s", 0.25),
        ("2 s", "time", "ms", 2.0),
        ("-6", "level", "dB", -6.0),
        ("\u22126DB", "level", "dB", -6.0),
        ("48 khz", "frequency", "Hz", 48e3),
        ("50 feet", "length", "m", 15.24),
    ],
)
def test_what_is_typed_has_a_unit_to_fall_back_on(
    text: str, quantity: Quantity, unit: str, value: float
) -> None:
    assert units.typed(text, quantity, unit) == pytest.approx(value, rel=EXACT)


@pytest.mark.parametrize("text", ["", "long", "nan", "2 m", "2,5", "1e999"])
def test_what_is_typed_and_is_no_time_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="time"):
        units.typed(text, "time", "s")


BARE: list[tuple[str, Quantity]] = [("62", "length"), ("2.5", "area"), ("8", "resistance")]
BARE += [("20", "temperature"), ("14.8", "resistance per length"), ("1000", "frequency")]


@pytest.mark.parametrize(("text", "quantity"), BARE)
def test_a_bare_number_is_asked_for_its_unit(text: str, quantity: Quantity) -> None:
    sentence = refusal(text, quantity)
    assert repr(text) in sentence
    assert "no unit" in sentence
    assert_shows_an_example(sentence, quantity)


WRONG: list[tuple[str, Quantity]] = [
    ("2.5 mm", "area"),
    ("62 mm2", "length"),
    ("62 ohm", "length"),
    ("62 M", "length"),
    ("8 H", "resistance"),
    ("8 Mohm", "resistance"),
    ("14.8 ohm", "resistance per length"),
    ("14.8 ohm/kg", "resistance per length"),
    ("20 mH", "semi-inductance"),
    ("35 ohm", "temperature"),
    ("14 AWG", "length"),
    ("38 rpm", "frequency"),
    ("3 dBm", "level"),
    ("1 2 m", "length"),
    ("0x10 m", "length"),
    ("1_000 m", "length"),
    ("1/2 in", "length"),
    ("62 square metres", "length"),
    ("5 ins", "length"),
]


@pytest.mark.parametrize(("text", "quantity"), WRONG)
def test_a_unit_of_something_else_is_refused(text: str, quantity: Quantity) -> None:
    sentence = refusal(text, quantity)
    assert repr(text) in sentence
    assert_shows_an_example(sentence, quantity)


@pytest.mark.parametrize(
    "text", ["", "   ", "m", "nan m", "inf m", "-inf m", "sixty m", "--5 m", "m 62", "62 m\nx"]
)
def test_what_begins_with_no_number_is_refused(text: str) -> None:
    sentence = refusal(text, "length")
    assert repr(text) in sentence
    assert_shows_an_example(sentence, "length")


def test_a_number_beyond_all_numbers_is_refused() -> None:
    assert "too large" in refusal("1e999 m", "length")


@pytest.mark.parametrize(("text", "quantity"), [("2,5 mm2", "area"), ("62,5 m", "length")])
def test_a_decimal_comma_is_named_as_such(text: str, quantity: Quantity) -> None:
    sentence = refusal(text, quantity)
    assert repr(text) in sentence
    assert "comma" in sentence


def test_a_comma_between_thousands_is_not_answered_with_use_a_point() -> None:
    """Whoever follows that advice on "1,000 ft" writes "1.000 ft": a run a thousandth as long."""
    sentence = refusal("1,000 ft", "length")
    assert "comma" in sentence
    assert "decimal comma; use a point" not in sentence


def assert_shows_an_example(sentence: str, quantity: Quantity) -> None:
    """The sentence must hold a text in double quotes that would have been right."""
    examples = re.findall(r'"([^"]+)"', sentence)
    assert examples, sentence
    assert any(_is_read(example, quantity) for example in examples), sentence


def _is_read(text: str, quantity: Quantity) -> bool:
    try:
        return math.isfinite(parse(text, quantity))
    except ValueError:
        return False


@pytest.mark.parametrize("quantity", list(units.UNITS))
@pytest.mark.parametrize("text", ["rubbish", "7", "7 furlongs"])
def test_every_quantity_has_a_refusal_in_plain_english(text: str, quantity: Quantity) -> None:
    sentence = refusal(text, quantity)
    assert quantity in sentence
    assert f"{'a' if quantity[0] in 'aeiou' else 'an'} {quantity}" not in sentence


@pytest.mark.parametrize("quantity", list(units.UNITS))
def test_an_unknown_unit_is_answered_with_those_that_are_right(quantity: Quantity) -> None:
    listed = (
        refusal("7 furlongs", quantity).rpartition(", in ")[2].replace(" or ", ", ").split(", ")
    )
    assert set(units.UNITS[quantity]) <= set(listed)
    for unit in listed:
        assert _is_read(f"7 {unit}", quantity), unit


# --- there and back -------------------------------------------------------------------------------


@pytest.mark.parametrize("quantity", [q for q in units.UNITS if q != "temperature"])
def test_every_listed_unit_is_read_by_its_own_factor(quantity: Quantity) -> None:
    for unit, factor in units.UNITS[quantity].items():
        assert parse(f"3 {unit}", quantity) == pytest.approx(3.0 * factor, rel=EXACT), unit


SHOWN: list[tuple[Quantity, str, float, float]] = [
    ("resistance", "ohm", 1e-3, 9e5),
    ("inductance", "H", 1e-9, 0.9),
    ("capacitance", "F", 1e-12, 9e-4),
    ("frequency", "Hz", 1.0, 9e5),
]
THREE_DIGITS = 0.00501
"""Relative: half a step in the third digit of 1.00."""


@pytest.mark.parametrize(("quantity", "unit", "low", "high"), SHOWN, ids=[s[0] for s in SHOWN])
@given(share=st.floats(0.0, 1.0))
@settings(derandomize=True, max_examples=50)
def test_what_is_shown_can_be_typed_in_again(
    quantity: Quantity, unit: str, low: float, high: float, share: float
) -> None:
    value = low * (high / low) ** share
    assert parse(units.show(value, unit), quantity) == pytest.approx(value, rel=THREE_DIGITS)


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0 H"),
        (-0.0, "0 H"),
        (2e-6, "2.00 uH"),
        (-2e-6, "-2.00 uH"),
        (99.96e-6, "100 uH"),
        (999.4e-6, "999 uH"),
        (999.6e-6, "1.00 mH"),
        (0.9996, "1.00 H"),
        (1000.0, "1.00 kH"),
        (5e6, "5000 kH"),
        (math.inf, "inf H"),
    ],
)
def test_the_prefix_keeps_three_digits_readable(value: float, text: str) -> None:
    assert units.show(value, "H") == text


@pytest.mark.parametrize(
    ("value", "form", "text"),
    [
        (-0.0, ".2f", "0.00"),
        (-0.004, ".2f", "0.00"),
        (-0.004, "+.2f", "0.00"),
        (0.004, "+.2f", "0.00"),
        (-0.006, "+.2f", "-0.01"),
        (0.006, "+.2f", "+0.01"),
        (-0.0004, ".1%", "0.0%"),
        (-0.4, ".0f", "0"),
        (-10.0, ".0f", "-10"),
        (-math.inf, "+.2f", "-inf"),
    ],
)
def test_what_rounds_to_zero_has_no_sign(value: float, form: str, text: str) -> None:
    assert units.rounded(value, form) == text


@pytest.mark.parametrize(
    ("metres", "text"),
    [(62.0, "62 m (203 ft)"), (0.01, "0.01 m (0.0328 ft)"), (91.44, "91.4 m (300 ft)")],
)
def test_a_length_is_shown_in_both_systems(metres: float, text: str) -> None:
    assert units.show_length(metres) == text


@pytest.mark.parametrize("metres", [305.0, 400.0, 1234.0, 10_000.0])
def test_a_long_run_is_shown_without_powers_of_ten(metres: float) -> None:
    """1000 ft is an ordinary run; nobody reads "1.31e+03 ft"."""
    shown = units.show_length(metres)
    assert "e+" not in shown
    numbers = [float(n) for n in re.findall(r"[\d.]+", shown)]
    assert numbers == pytest.approx([metres, metres / 0.3048], rel=THREE_DIGITS)


@pytest.mark.parametrize(
    ("area", "text"),
    [
        (2.5e-6, "2.5 mm2 (13.2 AWG)"),
        (0.75e-6, "0.75 mm2 (18.4 AWG)"),
        (107.2e-6, "107 mm2 (4/0 AWG)"),
    ],
)
def test_an_area_is_shown_with_its_gauge(area: float, text: str) -> None:
    # The trade pairs 2.5 mm2 with 13 to 14 AWG, 0.75 mm2 with 18 (common practice, no source).
    assert units.show_area(area) == text


@pytest.mark.parametrize("square_millimetres", [53.5, 56.0, 60.0])
def test_no_area_is_shown_with_a_gauge_below_nought(square_millimetres: float) -> None:
    """Between 1/0 (53.5 mm2) and 2/0 a number like -0.35 AWG is no name that a shop would know."""
    assert "(-" not in units.show_area(square_millimetres * 1e-6)


@pytest.mark.parametrize(
    ("hertz", "text"),
    [(0.0, "0 Hz"), (31.5, "31.5 Hz"), (1250.0, "1.25 kHz"), (16e3, "16 kHz"), (20e3, "20 kHz")],
)
def test_a_frequency_is_named_like_its_band(hertz: float, text: str) -> None:
    assert units.show_frequency(hertz) == text


def test_levels_and_ratios_undo_each_other() -> None:
    assert units.decibels(10.0) == pytest.approx(20.0, rel=EXACT)
    assert units.decibels(0.0) == -math.inf
    assert units.amplitude(-math.inf) == 0.0
    assert units.amplitude(units.decibels(0.3)) == pytest.approx(0.3, rel=EXACT)
