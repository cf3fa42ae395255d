"""What a session is: records, channels, modules, their settings, units and files."""

from __future__ import annotations

from pulsewright.errors import PulsewrightError
from pulsewright.quantity import Quantity
from pulsewright.session import Channel, Session

__all__ = ["Channel", "PulsewrightError", "Quantity", "Session"]
