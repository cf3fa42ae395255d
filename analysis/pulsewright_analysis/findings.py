"""Runs the measurements over a session and returns one `Findings`."""
from __future__ import annotations
