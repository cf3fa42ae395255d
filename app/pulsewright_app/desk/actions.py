"""Every action of the desk in one list: what it is called, its shortcut, what it says under Help."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from PySide6.QtCore import QModelIndex, QPersistentModelIndex, QSize, Qt
from PySide6.QtGui import QAction
from PySide6.QtWidgets import (
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from pulsewright_app.desk.form_page import BesideTheDesk


@dataclass(frozen=True)
class Described:
    """An action before it is made.

    Attributes
    ----------
    name : str
        What the program calls it.
    menu : str
        The menu that it stands in.
    text : str
        What a person reads.
    shortcut : str
        The keys.
    about : str
        One phrase for tooltips, for Help, and for screen readers.
    toggles : bool
        Whether it stays on or off.
    needs_session : bool
        Whether it can be used only with a session on the desk.
    """

    name: str
    menu: str
    text: str
    shortcut: str
    about: str
    toggles: bool = False
    needs_session: bool = True


ACTIONS: tuple[Described, ...] = (
    Described("open", "Session", "Open …", "Ctrl+O", "Open a session file", needs_session=False),
    Described(
        "import",
        "Session",
        "Import …",
        "Ctrl+I",
        "Turn recordings into a session",
        needs_session=False,
    ),
    Described("sample", "Session", "Try the sample with faults", "Ctrl+T", "Open the sample", needs_session=False),
    Described("another", "Session", "Another window", "Ctrl+N", "A window for another session", needs_session=False),
    Described("measure", "Session", "Measure again", "F5", "Measure by the settings that count now"),
    Described(
        "claims_again", "Session", "Read the claims again", "Shift+F5", "Judge by the claims file as it is written now"
    ),
    Described("claims_page", "Session", "Claims …", "Ctrl+K", "Write what is claimed, and see what it comes to"),
    Described("cancel", "Session", "Stop", "Ctrl+.", "Stop writing a table, or else the measuring that goes on"),
    Described("close", "Session", "Close the session", "Ctrl+W", "Go back to the first screen"),
    Described("preferences", "Session", "Preferences …", "Ctrl+,", "How the desk begins", needs_session=False),
    Described("quit", "Session", "Leave", "Ctrl+Q", "Close the desk", needs_session=False),
    Described("undo", "Edit", "Undo", "Ctrl+Z", "Take back the last thing that you added or moved"),
    Described("redo", "Edit", "Redo", "Ctrl+Shift+Z", "Bring back what was taken back"),
    Described("add_pair", "Markers", "Put down a marker pair", "M", "Put a marker pair down at the pointer"),
    Described("add_levels", "Levels", "Put down a level pair", "H", "Put a pair of levels down at the pointer"),
    Described("remove_pair", "Markers", "Remove the pair", "Shift+M", "Remove the pair of the chosen marker or level"),
    Described("next_marker", "Markers", "Next marker", "K", "Choose the next marker or level"),
    Described("marker_before", "Markers", "Marker before", "Shift+K", "Choose the marker or level before"),
    Described("snap_now", "Markers", "Marker to what is nearest", "J", "Let it go to a pulse, a sample or a level now"),
    Described("nudge_earlier", "Markers", "Marker one sample earlier", "Left", "Move the selected marker earlier"),
    Described("nudge_later", "Markers", "Marker one sample later", "Right", "Move the selected marker later"),
    Described(
        "nudge_far_earlier", "Markers", "Marker ten samples earlier", "Shift+Left", "Move it earlier by ten samples"
    ),
    Described("nudge_far_later", "Markers", "Marker ten samples later", "Shift+Right", "Move it later by ten samples"),
    Described("nudge_up", "Levels", "Level one code up", "Up", "Move the chosen level up by one code"),
    Described("nudge_down", "Levels", "Level one code down", "Down", "Move the chosen level down by one code"),
    Described("nudge_far_up", "Levels", "Level ten codes up", "Shift+Up", "Move it up by ten codes"),
    Described("nudge_far_down", "Levels", "Level ten codes down", "Shift+Down", "Move it down by ten codes"),
    Described(
        "threshold",
        "Levels",
        "Level as threshold",
        "Shift+H",
        "Measure with the chosen level as threshold",
    ),
    Described(
        "follow", "Markers", "Follow the pulses", "T", "Let the chosen pair follow its pulses, or fix it in time", True
    ),
    Described(
        "follow_one",
        "Markers",
        "Follow with this one alone",
        "Alt+T",
        "Let the chosen marker alone follow, or fix it",
        True,
    ),
    Described("pair_series", "Markers", "Pair over all records …", "Shift+T", "Tabulate a pair that follows"),
    Described("suggested_n", "Markers", "N from the pulses between", "N", "Set N by the pulses found"),
    Described("pair_ahead", "Markers", "Move the pair left", "Ctrl+Left", "Left in the panel, up in the sheet"),
    Described("pair_back", "Markers", "Move the pair right", "Ctrl+Right", "Right in the panel, down in the sheet"),
    Described("note_pair", "Markers", "Note on the pair", "Shift+N", "Write a note on it, for the sheet"),
    Described(
        "snap_pulses", "Markers", "Markers go to pulses", "Ctrl+1", "Dropped near a pulse or its levels, go there", True
    ),
    Described("snap_samples", "Markers", "Markers go to samples", "Ctrl+2", "Dropped, go to the nearest sample", True),
    Described("snap_nothing", "Markers", "Markers stay put", "Ctrl+3", "Dropped, stay where they are", True),
    Described(
        "snap_crossings", "Markers", "Markers go to crossings", "Ctrl+4", "Dropped near a 50 % crossing, go there", True
    ),
    Described(
        "draw_span", "Edit", "Draw where pulses are", "S", "The next drag says where pulses are looked for", True
    ),
    Described(
        "span_shown", "Edit", "Pulses in what is shown", "Shift+S", "Look for pulses in the stretch that is shown"
    ),
    Described(
        "draw_alignment_span", "Edit", "Draw where alignment is", "A", "The next drag says where it is measured", True
    ),
    Described(
        "alignment_span_shown", "Edit", "Alignment in what is shown", "Shift+A", "Measure alignment in what is shown"
    ),
    Described(
        "clear_spans", "Edit", "Clear the spans", "Ctrl+Shift+S", "Give both spans back to claims file or default"
    ),
    Described("cable_delay", "Channels", "Cable delay …", "Alt+D", "Write the cable delay of the current channel"),
    Described("flag", "Edit", "Flag this record", "F", "Flag the current record, or take its flag away", True),
    Described("flag_on", "Edit", "Flag and go on", "G", "Flag the current record and go to the next"),
    Described("reject_pulse", "Edit", "Reject this pulse", "X", "Leave the pulse at the pointer out of the measuring"),
    Described(
        "take_pulses_back", "Edit", "Take pulses back", "Shift+X", "Let the record's rejected pulses count again"
    ),
    Described("first", "Go", "First", "Home", "Go to the first record"),
    Described("back", "Go", "Back", "PgUp", "Go one record back"),
    Described("play", "Go", "Play", "Space", "Step through the records, or stop", True),
    Described("forward", "Go", "Forward", "PgDown", "Go one record forward"),
    Described("last", "Go", "Last", "End", "Go to the last record"),
    Described("loop", "Go", "Loop", "Ctrl+L", "Start again after the last record", True),
    Described("next_flag", "Go", "Next flagged", "Shift+F", "Go to the next flagged record"),
    Described("next_against", "Go", "Next against a claim", "Shift+V", "Go to the next record that speaks against one"),
    Described("flag_before", "Go", "Flagged before", "Alt+Shift+F", "Go to the flagged record before"),
    Described(
        "against_before",
        "Go",
        "Against a claim before",
        "Alt+Shift+V",
        "Go to the record before that speaks against one",
    ),
    Described("go_to", "Go", "Go to …", "Ctrl+G", "Write a record's number, or a time since the first trigger"),
    Described("filter", "Go", "Filter the records", "Ctrl+R", "Write which records to step through"),
    Described(
        "only_matching", "Go", "Only those that match", "Ctrl+Shift+R", "Step only through the matching records", True
    ),
    Described("single", "View", "Single", "Alt+1", "The current record, channel by channel", True),
    Described("stacked", "View", "Stacked", "Alt+2", "Neighbouring records, each offset upward", True),
    Described("afterglow", "View", "Afterglow", "Alt+3", "All records accumulated (persistence)", True),
    Described("map", "View", "Map", "Alt+4", "Every record as one row of an image", True),
    Described("lanes", "View", "A lane for each channel", "L", "Lanes, or all channels on one axis", True),
    Described("next_channel", "Channels", "Next channel", "Ctrl+Down", "Make the next channel the current one"),
    Described("previous_channel", "Channels", "Previous channel", "Ctrl+Up", "Make the channel before the current one"),
    Described("rows_apart", "View", "Records farther apart", "Ctrl+Shift+Up", "Spread the records of Stacked"),
    Described("rows_together", "View", "Records closer", "Ctrl+Shift+Down", "Let the records of Stacked lie closer"),
    Described("only_channel", "Channels", "Only this channel", "C", "Show the current channel alone"),
    Described("only_module", "Channels", "Only its module", "Shift+C", "Show the module of the chosen row alone"),
    Described("all_channels", "Channels", "All channels", "Alt+Shift+C", "Show every channel"),
    Described("drawn_larger", "Channels", "Draw it larger", "Alt+Shift+Up", "Draw the current channel larger"),
    Described("drawn_smaller", "Channels", "Draw it smaller", "Alt+Shift+Down", "Draw the current channel smaller"),
    Described("drawn_higher", "Channels", "Draw it higher", "Alt+Up", "Draw the current channel higher in Single"),
    Described("drawn_lower", "Channels", "Draw it lower", "Alt+Down", "Draw the current channel lower in Single"),
    Described("as_recorded", "Channels", "Draw it as recorded", "Alt+Home", "Draw the current channel as recorded"),
    Described("reference_here", "View", "Lay this record beneath", "R", "Take the current record as the reference"),
    Described("reference_mean", "View", "Lay the mean beneath", "Shift+R", "Take the mean of the records as reference"),
    Described("no_reference", "View", "Nothing beneath", "Alt+Shift+R", "Take the reference away"),
    Described("difference", "View", "Difference", "D", "Draw current less reference: below, in place, or not at all"),
    Described("dark", "View", "Dark", "Ctrl+D", "Dark desk, or light", True, needs_session=False),
    Described("closer", "Zoom", "Closer", "+", "Show a shorter stretch of time"),
    Described("farther", "Zoom", "Farther", "-", "Show a longer stretch of time"),
    Described("fit", "Zoom", "Show everything", "W", "Show the whole record and all its values"),
    Described("zoom_back", "Zoom", "Zoom back", "Backspace", "Return to the zoom before"),
    Described("zoom_forward", "Zoom", "Zoom forward", "Shift+Backspace", "Return to the zoom that was gone back from"),
    Described("zoom_pulse", "Zoom", "Zoom to the pulse", "P", "Show the current record's pulse on the current channel"),
    Described("zoom_span", "Zoom", "Zoom to the pulses' span", "Z", "Show where pulses are looked for"),
    Described("zoom_alignment_span", "Zoom", "Zoom to the alignment's span", "Shift+Z", "Show where it is measured"),
    Described("channels_panel", "Panels", "Channels panel", "Alt+C", "Show or hide the channels", True),
    Described("records_panel", "Panels", "Records panel", "Alt+R", "Show or hide the records", True),
    Described("markers_panel", "Panels", "Markers panel", "Alt+M", "Show or hide the markers", True),
    Described("findings_panel", "Panels", "Findings panel", "Alt+F", "Show or hide the findings", True),
    Described("figure", "Panels", "Figure of the findings, large", "Alt+G", "Show the chosen figure in its own window"),
    Described("usual_layout", "Panels", "Panels as at first", "Alt+0", "Put every panel back where it was at first"),
    Described("save_sheet", "Hand over", "Evidence sheet …", "Ctrl+E", "Save the evidence sheet as PDF or HTML"),
    Described("add_view", "Hand over", "Add this view to the sheet", "V", "Keep what is shown for the evidence sheet"),
    Described("sheet_views", "Hand over", "Views on the sheet …", "Ctrl+Shift+V", "Captions and order of added views"),
    Described("save_picture", "Hand over", "Picture …", "Ctrl+P", "Save the view as PNG or SVG"),
    Described("copy_picture", "Hand over", "Copy the picture", "Ctrl+Shift+C", "Copy the view as it is on the screen"),
    Described("save_numbers", "Hand over", "Numbers …", "Ctrl+Shift+E", "Save every table as CSV into a folder"),
    Described("save_records", "Hand over", "Records …", "Ctrl+Alt+R", "Save all records, or those that match, as CSV"),
    Described("guide", "Help", "Five-minute guide", "Shift+F1", "Ten steps on the sample", needs_session=False),
    Described("shortcuts", "Help", "Keys and gestures", "F1", "List every action with its keys", needs_session=False),
    Described("cautions", "Help", "Cautions", "Ctrl+F1", "What to be careful about", needs_session=False),
    Described("about", "Help", "About Pulsewright", "Alt+F1", "What this program is", needs_session=False),
)

GESTURES: tuple[tuple[str, str], ...] = (
    ("Drag across the plot", "Zoom to that stretch"),
    ("Wheel", "Zoom in time about the pointer"),
    ("Shift and wheel", "Zoom in value about the pointer"),
    ("Drag with the right or middle button", "Push the window along"),
    ("Double-click on the plot", "Put a marker pair down there"),
    ("Shift and double-click on the plot", "Put a level pair down there"),
    ("Drag a marker line", "Move that marker"),
    ("Drag a level", "Move that level"),
    ("Drag a bracket's end at the plot's upper edge", "Change where pulses are looked for"),
    ("Drag a wedge at the plot's lower edge", "Change where alignment is measured"),
    ("Click a lane in Single", "Make that channel the current one"),
    ("Click a record in Stacked or Map", "Go to that record"),
    ("Click a spot in Afterglow", "List the records that pass there"),
    ("F in the records", "Flag the chosen records, or take their flags away"),
    ("X in the records", "Reject the first pulse of each chosen record, or take the pulses back"),
    ("O in the records", "Sort them by the next column"),
    ("Shift and O in the records", "Sort them the other way round"),
    ("Escape in a field", "Leave it as it was; below the rail, give the keys back to the view"),
    ("Tab, and Shift and Tab", "Go to the next control, or back"),
    ("Click a point of a figure", "Go to its record, or its channel"),
    ("Double-click a figure", "Show it in a window of its own"),
)


MENUS = {
    "Session": "&Session",
    "Edit": "&Edit",
    "Markers": "Mar&kers",
    "Levels": "&Levels",
    "Channels": "Cha&nnels",
    "Go": "G&o",
    "View": "&View",
    "Zoom": "&Zoom",
    "Panels": "P&anels",
    "Hand over": "&Hand over",
    "Help": "Hel&p",
}
"""The menus, each with the letter that opens it together with Alt; no panel has that letter."""


def make_actions(owner: QWidget, answers: dict[str, Callable[[], object]]) -> dict[str, QAction]:
    """Return every action by its name, answered by the function of that name.

    Raises
    ------
    KeyError
        If an action has no answer.
    """
    made = {}
    for described in ACTIONS:
        action = QAction(described.text, owner)
        action.setShortcut(described.shortcut)
        action.setCheckable(described.toggles)
        action.setToolTip(f"{described.about} ({action.shortcut().toString()})")
        action.setStatusTip(described.about)
        answer = answers[described.name]
        action.triggered.connect(lambda _=False, call=answer: call())
        owner.addAction(action)
        made[described.name] = action
    return made


class _WholeRows(QStyledItemDelegate):
    """Draws no frame about the cell that has the keyboard, which looks like a button: its row is marked."""

    def initStyleOption(self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex) -> None:
        """Take what is drawn from the table, without the keyboard."""
        super().initStyleOption(option, index)
        option.state &= ~QStyle.StateFlag.State_HasFocus


class ShortcutsPage(BesideTheDesk):
    """Lists every action with its keys, and every gesture."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Keys and gestures")
        self.table = QTableWidget(len(ACTIONS) + len(GESTURES), 2)
        self.table.setAccessibleName("Keys and gestures")
        self.table.setHorizontalHeaderLabels(["Keys or gesture", "What it does"])
        self.table.setTabKeyNavigation(False)
        self.table.verticalHeader().hide()
        self.table.setEditTriggers(QTableWidget.EditTrigger.NoEditTriggers)
        for row, (keys, about) in enumerate([*((a.shortcut, a.about) for a in ACTIONS), *GESTURES]):
            for column, text in enumerate((keys, about)):
                item = QTableWidgetItem(text)
                item.setFlags(Qt.ItemFlag.ItemIsSelectable | Qt.ItemFlag.ItemIsEnabled)
                self.table.setItem(row, column, item)
        self.table.setItemDelegate(_WholeRows(self.table))
        self.table.setSelectionBehavior(QTableWidget.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QTableWidget.SelectionMode.SingleSelection)
        self.table.selectRow(0)
        self.table.resizeColumnsToContents()
        texts = self.table.horizontalHeader().length() + 3 * self.table.verticalScrollBar().sizeHint().width()
        self.table.horizontalHeader().setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
        column_layout = QVBoxLayout(self)
        column_layout.addWidget(self.table)
        self.resize(QSize(max(560, texts), 620).boundedTo(self.screen().availableSize()))
