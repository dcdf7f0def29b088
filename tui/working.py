"""Work on the rig: edit, take back, write; and the way to a blind trial. The keys for them."""

from __future__ import annotations

import math
from pathlib import Path

from auralize.errors import AuralizeError
from auralize.gains import End
from auralize.live.incoming import NO_TRIAL
from auralize.live.protocol import EngineLike
from auralize.live.sources import Feed
from auralize.rig.editing import ChangedElsewhereError, RigDraft
from auralize.trials.preparing import Preparation

from .bindings import WORKING
from .conflict import ConflictScreen
from .edit import Edited, EditScreen
from .keeping import Keeping
from .news import News
from .presets import PresetScreen
from .setup import Offer, TrialSetup


class Working(Keeping):
    """What is heard can be changed here."""

    BINDINGS = WORKING

    def __init__(self, draft: RigDraft, source: Feed, engine: EngineLike, log_folder: Path) -> None:
        super().__init__(draft, source, engine)
        self.log_folder = log_folder

    def begin_work(self) -> None:
        """Say what was found and who else is here, and take up what was kept."""
        news = self.query_one(News)
        if self.draft.recovered:
            found = "Unsaved work was found and is in use; w writes it, u goes back to the file"
            mind = ". Mind: the rig file has been changed since that work" * self.draft.stale
            news.say(found + mind, math.inf, "work")
        if self.draft.others:
            others = ", ".join(f"process {one}" for one in self.draft.others if one) or "another"
            self.say(
                f"This rig is open at another bench ({others}): its unsaved work is left alone, and "
                "w here asks before it writes over what was written there",
                math.inf,
            )
        if told := self.take_up():
            self.say(told)

    def label(self, name: str) -> str:
        """The label of a choice, marked where edits may have made it, or the name, untrue."""
        label = self.draft.rig.choices[name].label
        if not self.draft.edited(name):
            return label
        return "(edited)" if label == name else f"(edited) {label}"

    def action_edit(self) -> None:
        """Edit the chosen choice."""
        self.app.push_screen(EditScreen(self.draft, self.chosen), self._edited)

    def _edited(self, done: Edited | None) -> None:
        if done is None:
            return
        if done.presets:
            self.action_presets()
        else:
            self._changed(done.words, done.chosen)

    def action_presets(self) -> None:
        """Usual lays and sizes of the run."""
        try:
            card = PresetScreen(self.draft, self.chosen)
        except AuralizeError as error:
            self.say(str(error))
        else:
            self.app.push_screen(card, self._preset)

    def _preset(self, words: str | None) -> None:
        if words:
            self._changed(words)

    def action_undo(self) -> None:
        """Take the last edit back."""
        if self.draft.undo():
            self._changed("The last edit is taken back")
        else:
            self.say("There is no edit to take back")

    def _changed(self, words: str, chosen: str | None = None) -> None:
        """Hear, solve and draw what an edit made of the rig."""
        choices, heard = self.draft.rig.choices, dict(self.engine.choices)
        edited = [n for n, choice in choices.items() if heard.get(n) != choice]
        for name in edited:
            self.engine.update_choice(choices[name])  # first, as ears wait for it
        self._name_anew(chosen)
        gone = [name for name in heard if name not in choices]
        self.solve(*edited, *gone)
        self.say(words)
        if self.across != "both" or gone or chosen:
            self.hear()  # it may be parted now, or be called otherwise
        for name in gone:
            self.engine.remove_choice(name)  # last, so that what is heard goes on by its new name
        if self.draft.unkept:
            self.say(f"A crash would lose this: {self.draft.unkept}")
        self.draw()

    def _name_anew(self, chosen: str | None) -> None:
        """The names there are now; where the chosen one is gone, that in its place is chosen."""
        before, self.names = self.names, list(self.draft.rig.choices)
        new = [name for name in self.names if name not in before]
        gone = [name for name in before if name not in self.names]
        called = {gone[0]: new[0]} if len(gone) == len(new) == 1 else {}
        self.pinned = [called.get(name, name) for name in self.pinned]
        if chosen is None and self.chosen not in self.names:
            at = min(before.index(self.chosen), len(self.names) - 1)
            chosen = called.get(self.chosen, self.names[at])
        self.chosen = chosen or self.chosen

    def action_write(self) -> None:
        """Write the rig file; where somebody else has changed it, ask."""
        if not self.draft.unsaved:
            self.say("Nothing to write: the file is as it is here")
            return
        try:
            self.draft.save()
        except ChangedElsewhereError:
            card = ConflictScreen(self.draft, self.draft.theirs() or "")
            self.app.push_screen(card, self._settled)
        except AuralizeError as error:
            self.say(str(error))
        else:
            self.say(f"Written to {self.draft.path}")
            self.draw()

    def _settled(self, words: str | None) -> None:
        if words:
            self._changed(words)

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
        others = [n for n in (*self.pinned, *self.names) if n in self.names and n != self.chosen]
        end = End(self.signal or "receiving", self.chosen, self.across).plain
        offer = Offer(self.chosen, others[0], end.signal, end.across)
        self.app.push_screen(TrialSetup(prepared, self.engine, offer))
