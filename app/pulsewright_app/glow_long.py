"""Long records in an Afterglow picture: by their blocks first, then exact. Knows no toolkit."""

from __future__ import annotations

from collections.abc import Callable

from pulsewright.block_source import Room
from pulsewright.file_blocks import WORTH_SKIPPING
from pulsewright.session import Codes, Session
from pulsewright_analysis.overlay import Afterglow
from pulsewright_analysis.overlay_by_blocks import Refinement, Scales, add_coarse
from pulsewright_analysis.pyramid import Pyramid
from pulsewright_analysis.results import Floats, Ints

_INK_OF = {1: 0, -1: 1, 0: 2}
"""Which ink a record has by its polarity."""


class ByBlocks:
    """How the records of one channel are added by their blocks.

    Parameters
    ----------
    session : Session
    channel, width : int
        Place of the channel, and columns of the picture.
    pyramid : Pyramid
        Of the channel.
    starts : array (records of the session,)
        Time of sample 0 of each record as it is drawn, seconds.
    signs : int array (records of the session,) or None
        The polarity of each record, for an ink each.
    """

    def __init__(
        self, session: Session, channel: int, width: int, pyramid: Pyramid, starts: Floats, signs: Ints | None
    ) -> None:
        about = session.channels[channel]
        self.session, self.channel, self.width, self.pyramid, self.starts = session, channel, width, pyramid, starts
        self.scales = Scales(session.sample_interval, about.scale, about.offset)
        self._signs = signs

    def ink_of(self, record: int) -> int:
        """Return which ink a record has."""
        return 0 if self._signs is None else _INK_OF[int(self._signs[record])]

    def add_coarse(self, lane: list[Afterglow], records: Ints) -> None:
        """Add records as far as their blocks reach, each to its ink of a lane.

        Parameters
        ----------
        lane : list of Afterglow
            One for each ink.
        records : int array
            Each with a place in time.
        """
        inks = [self.ink_of(int(record)) for record in records]
        for ink, glow in enumerate(lane):
            chosen = records[[own == ink for own in inks]]
            if len(chosen):
                add_coarse(glow, self.pyramid, chosen, self.starts[chosen], self.scales)

    def refiner(self) -> Refiner:
        """Return what makes records exact on one thread."""
        return Refiner(self)


class Refiner:
    """Makes records exact that were added by their blocks; for one thread."""

    def __init__(self, by_blocks: ByBlocks) -> None:
        self._by_blocks = by_blocks
        self._refinement = Refinement(by_blocks.width, by_blocks.pyramid, by_blocks.scales, WORTH_SKIPPING)
        self._room = Room()

    def make_exact(self, lane: list[Afterglow], records: Ints, stopped: Callable[[], bool]) -> None:
        """Make some records exact; those of any lane, for lanes are added up in the end.

        Parameters
        ----------
        lane : list of Afterglow
            One for each ink; gets what changes.
        records : int array
        stopped : callable
            Asked between readings whether to leave off.

        Raises
        ------
        SessionFileError
            If samples cannot be read; what was not made exact stays coarse.
        """
        about = self._by_blocks
        source, channel = about.session.source, about.channel
        for record in records.tolist():

            def read(pieces: Ints, record: int = record) -> Codes:
                return source.read_pieces(record, channel, pieces, self._room)

            self._refinement.add(lane[about.ink_of(record)], record, float(about.starts[record]), read, stopped)
