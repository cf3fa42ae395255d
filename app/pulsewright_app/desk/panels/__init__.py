"""The four panels of the desk: channels, records, markers, findings."""

from __future__ import annotations

from pulsewright_app.desk.panels.channels import ChannelsPanel
from pulsewright_app.desk.panels.findings import FindingsPanel
from pulsewright_app.desk.panels.markers import MarkersPanel
from pulsewright_app.desk.panels.records import RecordsPanel

__all__ = ["ChannelsPanel", "FindingsPanel", "MarkersPanel", "RecordsPanel"]
