"""Work on the rig: edit, take back, write; and the way to a blind trial. The keys for them."""

from __future__ import annotations

from pathlib import Path

from auralize.errors import AuralizeError
from auralize.live.incoming import NO_TRIAL
from auralize.live.protocol import EngineLike
from auralize.live.sources import Feed
from auralize.rig.editing import RigDraft
from auralize.rig.fields import Change
from auralize.trials.preparing import Preparation

from .bindings import WORKING
from .edit import EditScreen
from .hearing import Hearing
from .setup import TrialSetup


class Working(Hearing):
    """What is heard can be changed here."""

    BINDINGS = WORKING

    def __init__(self, draft: RigDraft, source: Feed, engine: EngineLike, log_folder: Path) -> None:
        super().__init__(draft, source, engine)
        self.log_folder = log_folder

    def action_edit(self) -> None:
        """Edit the chosen choice."""
        self.app.push_screen(EditScreen(self.draft, self.chosen), self._edited)

    def _edited(self, change: Change | None) -> None:
        if change is not None:
            self._changed(change.words)

    def action_undo(self) -> None:
        """Take the last edit back."""
        if self.draft.undo():
            self._changed("The last edit is taken back")
        else:
            self.say("There is no edit to take back")

    def _changed(self, words: str) -> None:
        """Hear, solve and draw what an edit made of the rig."""
        heard = self.engine.choices
        edited = [n for n, choice in self.draft.rig.choices.items() if heard.get(n) != choice]
        for name in edited:
            self.engine.update_choice(self.draft.rig.choices[name])  # first, as ears wait for it
        self.solve(*edited)
        self.say(words)
        if self.across != "both":
            self.hear()  # it may be parted now
        if self.draft.unkept:
            self.say(f"A crash would lose this: {self.draft.unkept}")
        self.draw()

    def action_write(self) -> None:
        """Write the rig file."""
        if not self.draft.unsaved:
            self.say("Nothing to write: the file is as it is here")
            return
        try:
            self.draft.save()
        except AuralizeError as error:
            self.say(str(error))
            return
        self.say(f"Written to {self.draft.path}")
        self.draw()

    def action_blind(self) -> None:
        """Set up a blind trial."""
        if len(self.names) < 2:
            self.say("A blind trial needs two choices; this rig has one")
            return
        if self.engine.status().live_input is not None:
            self.say(NO_TRIAL.capitalize())
            return
        self.engine.pause()
        prepared = Preparation(self.draft.rig, self.source, self.log_folder, self.engine)
        self.app.push_screen(TrialSetup(prepared, self.engine))
