"""Where a session's samples come from: the protocol, and the source over an array in memory."""

from __future__ import annotations

from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

Codes = NDArray[Any]


class BlockSource(Protocol):
    """Where a session's samples come from; codes of one fixed integer type, or float32."""

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample as stored."""

    def read(self, first: int, stop: int) -> Codes:
        """Return records first … stop − 1 on all channels, shape (stop − first, channels, record length).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last.
        """

    def read_channel(self, first: int, stop: int, channel: int) -> Codes:
        """Return records first … stop − 1 on one channel, shape (stop − first, record length).

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last.
        channel : int
            Place of the channel, from 0.
        """

    def read_stretch(self, record: int, first: int, stop: int) -> Codes:
        """Return samples first … stop − 1 of one record on all channels, shape (channels, stop − first).

        Parameters
        ----------
        record : int
            Number of the record, from 0.
        first, stop : int
            First sample, and the one after the last, as a slice takes them.
        """

    def close(self) -> None:
        """Give back what the source holds."""


class ArraySource:
    """A block source over an array in memory, for notebooks, simulations and tests."""

    def __init__(self, samples: Codes) -> None:
        self._samples = samples

    @property
    def shape(self) -> tuple[int, int, int]:
        """Records, channels, record length."""
        records, channels, length = self._samples.shape
        return records, channels, length

    @property
    def dtype(self) -> np.dtype[Any]:
        """Type of a sample as stored."""
        return self._samples.dtype

    def read(self, first: int, stop: int) -> Codes:
        """Return records first … stop − 1 on all channels, as a read-only view.

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.

        Returns
        -------
        array (stop − first, channels, record length)
            Samples as stored.
        """
        block = self._samples[first:stop]
        block.flags.writeable = False
        return block

    def read_channel(self, first: int, stop: int, channel: int) -> Codes:
        """Return records first … stop − 1 on one channel, as a read-only view.

        Parameters
        ----------
        first, stop : int
            First record, and the one after the last, as a slice takes them.
        channel : int
            Place of the channel, from 0.

        Returns
        -------
        array (stop − first, record length)
            Samples as stored.
        """
        return self.read(first, stop)[:, channel]

    def read_stretch(self, record: int, first: int, stop: int) -> Codes:
        """Return samples first … stop − 1 of one record on all channels, as a read-only view.

        Parameters
        ----------
        record : int
            Number of the record, from 0.
        first, stop : int
            First sample, and the one after the last, as a slice takes them.

        Returns
        -------
        array (channels, stop − first)
            Samples as stored.
        """
        codes: Codes = self.read(record, record + 1)[0, :, first:stop]
        return codes

    def close(self) -> None:
        """Nothing is held."""
