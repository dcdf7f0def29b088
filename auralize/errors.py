"""What can go wrong for a user, each as one clear sentence, and the exit codes that tell it."""

from enum import IntEnum
from unicodedata import category


class ExitCode(IntEnum):
    """What the command tells the shell."""

    OK = 0
    SOME_FAILED = 1
    """Of several files some could not be done; all others were."""
    BAD_INPUT = 2
    """Something that was given cannot be used; the sentence on stderr says what."""
    INTERRUPTED = 130
    """Stopped by the user (128 + SIGINT); nothing partial is left behind."""


def one_line(text: str) -> str:
    """The text with line breaks and all else that is no print escaped; spaces of all widths stay."""
    return "".join(
        sign
        if sign.isprintable() or category(sign) == "Zs"
        else sign.encode("unicode_escape").decode()
        for sign in text
    )


class AuralizeError(Exception):
    """Root of all errors a user can mend: its text is one sentence, fit to be shown as it is.

    What is raised is one of its children, each of which is a ValueError or an OSError as well.
    """

    code = ExitCode.BAD_INPUT
    """What the command ends with."""

    def __str__(self) -> str:
        """The sentence on one line, whatever the names of files and fields in it."""
        return one_line(super().__str__())


class RequestError(AuralizeError, ValueError):
    """What was asked for is not there, or cannot be done so."""


class SomeFailedError(AuralizeError, ValueError):
    """Of several files some could not be done; all others were."""

    code = ExitCode.SOME_FAILED


class FileError(AuralizeError, OSError):
    """A file cannot be read or written, or a folder cannot be made."""


class RigError(AuralizeError, ValueError):
    """A rig file says something that cannot be, or says it wrongly."""

    place: tuple[str, ...] = ()
    """The field it is about, where that is known; ..."""
    sentence: str = ""
    """... and what is said of it, without the name of file and field."""


class MeasurementError(AuralizeError, ValueError):
    """A measurement cannot be read, or cannot be what was measured."""


class AudioFileError(AuralizeError, ValueError):
    """A sound file cannot be read, or cannot be written."""


class DesignError(AuralizeError, ValueError):
    """No filter can be made for what was asked."""
