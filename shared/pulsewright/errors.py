"""The exceptions that a person can meet, each with a cause and a remedy."""

from __future__ import annotations


class PulsewrightError(Exception):
    """Something a person can mend: what is wrong, where, and what to do.

    Parameters
    ----------
    cause : str
        What is wrong and where, as a clause without a final full stop.
    remedy : str
        What to do about it, as a clause without a final full stop; may be empty.

    Attributes
    ----------
    cause, remedy : str
        As given.
    """

    def __init__(self, cause: str, remedy: str = "") -> None:
        self.cause = cause
        self.remedy = remedy
        super().__init__(self.sentence)

    @property
    def sentence(self) -> str:
        """The one line that a person reads."""
        return " ".join((f"{self.cause}; {self.remedy}." if self.remedy else f"{self.cause}.").split())


class SessionFileError(PulsewrightError):
    """A session file is missing, unreadable, of another layout, or contradicts itself."""


class RecordingError(PulsewrightError):
    """A recording of another format is damaged, or cannot be understood as it is.

    Parameters
    ----------
    cause, remedy : str
        As for every `PulsewrightError`.
    option : str
        The option that would mend it, so that a form can show the sentence beside its field; empty if none would.
    """

    def __init__(self, cause: str, remedy: str = "", option: str = "") -> None:
        super().__init__(cause, remedy)
        self.option = option


class SettingError(PulsewrightError):
    """A measuring setting has a value that cannot be used."""


class RecipeError(PulsewrightError):
    """A simulation recipe cannot be read or says something that has no meaning."""


class ClaimsFileError(PulsewrightError):
    """A claims file cannot be read or says something that has no meaning."""


class ReviewFileError(PulsewrightError):
    """A review file cannot be read or cannot be saved."""


class BudgetError(PulsewrightError):
    """A budget is asked for of something that has none."""


class EvidenceError(PulsewrightError):
    """An evidence sheet cannot be made or written."""


class FilterError(PulsewrightError):
    """A filter of records cannot be understood.

    Parameters
    ----------
    cause, remedy : str
        As for every `PulsewrightError`.
    start, stop : int
        The characters of the filter that cannot stand there; equal where something is missing.
    """

    def __init__(self, cause: str, remedy: str = "", start: int = 0, stop: int = 0) -> None:
        super().__init__(cause, remedy)
        self.start, self.stop = start, stop


class DisplayError(PulsewrightError):
    """The window cannot be shown on this machine."""
