"""How the bench looks: three themes with named roles, and where things stand at each size.

Roles: $primary is what is heard, $secondary what is compared with it, $warning what may hurt or is lost.
Colours that carry a meaning are from the set of Okabe and Ito (2008, value from memory), which colour-blind
eyes tell apart, or darker ones of the same hues; no meaning hangs on a colour alone.
"""

from __future__ import annotations

from typing import Final

from textual.theme import Theme

DARK: Final = Theme(
    name="auralize-dark",
    primary="#56B4E9",
    secondary="#E69F00",
    warning="#F0B429",
    error="#F0703A",
    success="#2FBF8F",
    accent="#56B4E9",
    foreground="#D8E1E8",
    background="#0E1419",
    surface="#151D24",
    panel="#22303B",
    dark=True,
)
LIGHT: Final = Theme(
    name="auralize-light",
    primary="#005C99",
    secondary="#8A5200",
    warning="#8A5200",
    error="#A33B00",
    success="#00664B",
    accent="#005C99",
    foreground="#1B242B",
    background="#F6F7F4",
    surface="#FFFFFF",
    panel="#DDE4E8",
    dark=False,
)
CONTRAST: Final = Theme(
    name="auralize-contrast",
    primary="#FFFF00",
    secondary="#00FFFF",
    warning="#FFFF00",
    error="#FFB000",
    success="#00FF00",
    accent="#FFFF00",
    foreground="#FFFFFF",
    background="#000000",
    surface="#000000",
    panel="#303030",
    dark=True,
)
THEMES: Final = {"dark": DARK, "light": LIGHT, "high contrast": CONTRAST}
"""By the name that the palette lists."""

COLUMNS: Final = [(0, "-narrow"), (110, "-wide"), (160, "-broad")]
"""From how many columns on the screen is laid out like this ..."""
LINES: Final = [(0, "-low"), (24, "-short"), (30, "-tall"), (36, "-high"), (48, "-towering")]
"""... and from how many rows."""

CSS: Final = """
Screen { layout: vertical; background: $background; color: $foreground; }
#head { height: 1; background: $panel; padding: 0 1; }
#title { width: auto; max-width: 65%; text-style: bold; text-wrap: nowrap; text-overflow: ellipsis; }
#programme { width: 1fr; padding: 0 0 0 2; text-align: right; color: $text-muted;
             text-wrap: nowrap; text-overflow: ellipsis; }

#heard { height: auto; border: heavy $primary; padding: 0 1; }
#big { height: 3; display: none; color: $primary; }
#hearing { height: auto; layout: vertical; }
#now { width: 1fr; height: 3; text-style: bold; }
#drawing { width: 1fr; height: 5; display: none; color: $text-muted; }
#facts { height: 1; color: $text-muted; }

#top { height: 1fr; min-height: 7; }
#choices { width: 36; height: 100%; border: round $foreground 40%; padding: 0 1;
           border-title-color: $foreground; border-subtitle-color: $foreground; }
#curves { width: 1fr; height: 100%; }
#analyser { width: 1fr; display: none; }
#meters { height: 2; padding: 0 1; }
#news { height: 2; padding: 0 1; overflow: hidden; }
#message { height: auto; min-height: 1; }
#hint { height: 1; color: $primary; text-style: italic; }
#caution { height: 1; padding: 0 1; color: $warning; }

.-low #heard { border: none; border-left: thick $primary; background: $surface; }
.-short #now, .-tall #now, .-high #now, .-towering #now { height: 4; }
.-tall #drawing, .-high #drawing, .-towering #drawing { display: block; }
.-high #news, .-towering #news { height: 3; }
.-high #big, .-towering #big { display: block; }
.-towering #big { height: 6; }
.-wide #choices { width: 44; }
.-broad #choices { width: 60; }
.-wide #hearing, .-broad #hearing { layout: horizontal; }
.-wide #now, .-broad #now { width: 66; }
.-broad #drawing { max-width: 100; }

BenchApp.-plain #heard { border: ascii $primary; }
BenchApp.-plain #choices { border: ascii $foreground; }
BenchApp.-plain .card { border: ascii $foreground; }
BenchApp.-plain #big { display: none; }
BenchApp.-plain #title, BenchApp.-plain #programme { text-overflow: clip; }
BenchApp.-plain Button { border: ascii $foreground; }
BenchApp.-plain Button.-textual-compact { border: none; }

OptionList:nocolor > .option-list--option-highlighted { text-style: bold underline; }
Button:nocolor:focus { text-style: bold reverse; }
.card Input, .card OptionList, .card Select > SelectCurrent {
    border: round $foreground 40%; background: $surface; }
.card Input:focus, .card OptionList:focus, .card Select:focus > SelectCurrent {
    border: heavy $primary; }
BenchApp.-plain .card Input, BenchApp.-plain .card OptionList { border: ascii $foreground; }
BenchApp.-plain .card Select > SelectCurrent { border: ascii $foreground; }

ModalScreen { align: center middle; background: $background 70%; }
.card { width: 76; max-width: 100%; height: auto; max-height: 100%; border: round $primary;
        border-title-color: $primary; border-title-style: bold;
        padding: 0 1; background: $surface; scrollbar-gutter: stable; scrollbar-size-vertical: 1; }
.card Input, .card Select { height: 3; }
.card OptionList { max-height: 50vh; }
.-wide .card, .-broad .card { width: 96; }
TrialScreen { align-horizontal: center; }
.-tall .trial, .-high .trial, .-towering .trial { border: round $primary; padding: 1 3; }
.-wide .trial, .-broad .trial { width: 96; }
BenchApp.-plain .trial { border: none; }
"""
