"""What was set here: kept beside the rig when asked; and what is compared, rendered to files."""

from __future__ import annotations

from typing import Final

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Static
from textual.widgets.option_list import Option

from auralize.errors import AuralizeError
from auralize.gains import DropsWay
from auralize.live.settings import Settings, keep, kept, settings_path, throw_away
from auralize.live.sources import FileFeed
from auralize.renderer.options import RenderOptions

from .hearing import Hearing
from .picking import PickList
from .rendering import RenderPlan, RenderScreen

_CHOICES: Final = {
    "keep": "keep what is set here now: choice, signal, levels, loop, markers, pins",
    "take": "take up what is kept",
    "throw": "throw away what is kept",
}


class KeepScreen(ModalScreen[str | None]):
    """What is to become of the settings of this session."""

    BINDINGS = [Binding("escape", "dismiss(None)", "Leave", id="keep.leave")]

    def __init__(self, name: str, *, there: bool) -> None:
        super().__init__()
        self._name, self._there = name, there

    def compose(self) -> ComposeResult:
        what = [name for name in _CHOICES if self._there or name == "keep"]
        state = "is there" if self._there else "is not there; nothing is kept unless you ask"
        with Vertical(classes="card"):
            yield Static(
                f"Settings of this session, beside the rig: {self._name} {state}", markup=False
            )
            yield PickList(*(Option(_CHOICES[n], id=n) for n in what), markup=False)
            yield Static("Enter picks, Esc leaves. The volume is its device's own.", markup=False)

    @on(PickList.OptionSelected)
    def pick(self, event: PickList.OptionSelected) -> None:
        """That it is."""
        self.dismiss(event.option_id)


class Keeping(Hearing):
    """What is heard can be kept here."""

    pinned: list[str]
    drops: DropsWay
    makeup: float | None

    def settings(self) -> Settings:
        """What is set now."""
        status = self.engine.status()
        return Settings(
            self.chosen,
            self.signal,
            self.across,
            self.match,
            status.drops,
            status.makeup,
            status.loop,
            tuple(self.pinned),
            dict(self.markers),
        )

    def take_up(self) -> str:
        """Set what is kept beside the rig; what is to be told of it, nothing where there is none."""
        try:
            found = kept(self.draft.path, self.names, self.engine.status().length)
        except AuralizeError as error:
            return str(error)
        if found is None:
            return ""
        self.chosen, self.signal, self.across = found.chosen, found.signal, found.across
        self.match, self.drops, self.makeup = found.match, found.drops, found.makeup
        self.pinned, self.markers = list(found.pinned), dict(found.markers)
        self.engine.set_match(self.match)
        self.engine.set_drops(self.drops)
        self.engine.set_makeup(self.makeup)
        self.engine.loop(found.loop)
        self.hear()
        self.solve(*self.names)
        self.draw()
        return f"Taken up from {settings_path(self.draft.path).name}: what was set here last (W)"

    def action_keep(self) -> None:
        """Keep what is set, take up or throw away what is kept."""
        path = settings_path(self.draft.path)
        self.app.push_screen(KeepScreen(path.name, there=path.exists()), self._keep)

    def _keep(self, what: str | None) -> None:
        path = self.draft.path
        try:
            if what == "keep":
                self.say(f"Kept in {keep(path, self.settings())}")
            elif what == "take":
                self.say(self.take_up())
            elif what == "throw":
                throw_away(path)
                self.say(f"{settings_path(path).name} is thrown away")
        except AuralizeError as error:
            self.say(str(error))

    def action_render(self) -> None:
        """Render what is compared now: the pinned choices where there are two, else all of them."""
        if not isinstance(self.source, FileFeed):
            self.say(f"Files are rendered from sound files; {self.source.name} is none")
            return
        status = self.engine.status()
        names = self.pinned if len(self.pinned) == 2 else self.names
        signal = self.signal or "receiving"
        heard_drop = signal == "drop" and self.signal is not None
        makeup = status.makeup
        if heard_drop and status.drops == "one" and status.certainty != "unknown":
            makeup = status.gains.makeup  # as it is heard, also where fewer are compared
        drop = signal == "drop"
        options = RenderOptions(
            self.match,
            (signal,),
            source=True,
            across=self.across if drop else "both",
            makeup=makeup if drop and status.drops == "one" else None,
            drops=status.drops if drop else "one",
        )
        choices = [self.draft.rig.choices[name] for name in names]
        self.app.push_screen(RenderScreen(RenderPlan(self.source.path, choices, options)))
