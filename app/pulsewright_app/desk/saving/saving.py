"""The answers of the menu Hand over: pages that come up, and what is copied or written at once."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from PySide6.QtCore import QObject
from PySide6.QtGui import QGuiApplication
from PySide6.QtWidgets import QFileDialog, QWidget

from pulsewright_app.desk.panels.rows_text import text_of
from pulsewright_app.desk.saving.files import PICTURE, SHEET, TABLES, Files
from pulsewright_app.desk.saving.picture_page import PicturePage, screen_image
from pulsewright_app.desk.saving.places import meant
from pulsewright_app.desk.saving.sheet_page import SheetPage
from pulsewright_app.desk.saving.views_page import ViewsPage, add_view
from pulsewright_app.wording import count

if TYPE_CHECKING:
    from pulsewright_analysis.table_columns import Table
    from pulsewright_app.desk.form_page import FormPage
    from pulsewright_app.desk.panels.record_text import RecordText
    from pulsewright_app.desk.window import DeskWindow


class Saving(QObject):
    """Everything by which numbers and pictures leave the desk."""

    def __init__(self, window: DeskWindow) -> None:
        super().__init__(window)
        self._window = window
        self.files = Files(
            window.document, window.viewing, window.results, window.reviewing, window.background, parent=self
        )
        self._pages: dict[str, FormPage] = {}
        self._told_once = ""
        """What is being written, as was said when the desk was to be closed."""
        self.files.saved.connect(self._saved)
        self.files.failed.connect(self._failed)
        self.files.progress.connect(self._progress)
        self.files.begun.connect(window.update_actions)

    def _page(self, key: str) -> FormPage:
        """Return a page, made when it is first wanted."""
        window = self._window
        if key not in self._pages:
            made: FormPage
            if key == SHEET:
                made = SheetPage(window.document, window.results, self.files, window)
            elif key == PICTURE:
                made = PicturePage(
                    window.document, window.viewing, window.results, self.files, lambda: window.middle.view, window
                )
            else:
                filtering = window.middle.rail_row.filter_row.filtering
                made = ViewsPage(window.document, window.viewing, filtering, window)
            # what is changed on a page is taken back there too
            made.addActions([window.actions_by_name[name] for name in ("undo", "redo")])
            self._pages[key] = made
        return self._pages[key]

    def show_sheet_page(self) -> None:
        """Show the page from which the evidence sheet is saved."""
        self._page(SHEET).come_up()

    def show_picture_page(self) -> None:
        """Show the page from which the view is saved as a picture."""
        self._page(PICTURE).come_up()

    def show_views_page(self) -> ViewsPage:
        """Show the page of the views that were added to the sheet."""
        page = self._page("views")
        assert isinstance(page, ViewsPage)
        page.come_up()
        return page

    def add_view(self) -> None:
        """Add the view that is looked at to the sheet, and let its caption be written."""
        refused = add_view(self._window.document, self._window.viewing)
        if refused:
            self._window.viewing.tell(refused)
        else:
            self.show_views_page().show_added()

    def copy_picture(self) -> None:
        """Copy the view as it is on the screen, caption and all, to the clipboard."""
        view = self._window.middle.view
        QGuiApplication.clipboard().setImage(screen_image(view, view.devicePixelRatioF()))
        self._window.middle.told.setText("The picture is in the clipboard.")

    def save_numbers(self) -> None:
        """Ask for a folder, and write every finding and every marker pair into it."""
        start = str(self.files.places.folder)
        folder = QFileDialog.getExistingDirectory(self._window, "Save the numbers into a folder", start)
        if folder:
            self.files.write_numbers(Path(folder))

    def copy_records(self, rows: RecordText) -> None:
        """Copy very many records to the clipboard as soon as they are made a text of."""
        window, told = self._window, count(len(rows.records), "record")

        def done(text: str) -> None:
            QGuiApplication.clipboard().setText(text)
            window.middle.told.setText(f"{told} in the clipboard.")

        window.middle.told.setText(f"Copying {told} …")
        window.background.start(
            "Copying the records", lambda job: text_of(rows, job.cancelled), done, window.viewing.tell
        )

    def save_records(self, records: list[int]) -> None:
        """Ask for a file, and write what is known of some records into it as CSV."""
        table = self._window.measured.now()
        if table is None:
            return
        table = table.saying(self._window.document.additions)  # before it is asked: another session may come meanwhile
        path = self._csv_path("Save the records", "records", self._window)
        if path is not None:
            self.files.write_records(path, table, records)

    def save_series(self, page: QWidget, table: Callable[[], Table]) -> None:
        """Ask for a file, and write a marker pair over all records into it as CSV."""
        path = self._csv_path("Save the pair over all records", "pair", page)
        if path is not None:
            self.files.write_series(path, table)

    def _csv_path(self, title: str, ending: str, parent: QWidget) -> Path | None:
        """Ask for the name of a CSV file; None where nobody gives one that can be written."""
        if self._window.document.session is None:
            return None
        start = self.files.places.offered(f"{ending}.csv")
        name, _ = QFileDialog.getSaveFileName(parent, title, start, "CSV (*.csv)")
        path = meant(name, ".csv", (".csv",)) if name else None
        if isinstance(path, str):
            self._window.viewing.tell(path)
            return None
        return path

    def stop(self) -> None:
        """Leave off writing tables; where none is being written, stop the measuring."""
        if not self.files.cancel_tables():
            self._window.results.ask_to_cancel()

    def let_go(self) -> bool:
        """Return whether the desk may close: while a file is being written, it says so once and stays."""
        under_way = self.files.under_way
        if not under_way or under_way == self._told_once:
            return True
        self._told_once = under_way
        self._window.viewing.tell(f"{under_way} goes on: close the desk once more to leave without it.")
        return False

    def _progress(self, key: str, share: float, _: str) -> None:
        if key in TABLES:
            self._window.middle.told.setText(f"{key}: {100 * share:.0f} %, Ctrl+. stops it")

    def _saved(self, key: str, path: object, sentence: str) -> None:
        self._told_once = ""
        if key in TABLES:
            self._window.middle.told.setText(f"{sentence} in {path}")
            self._window.update_actions()

    def _failed(self, key: str, sentence: str) -> None:
        """Tell in the bar what no page is there to tell."""
        self._told_once = ""
        if key in TABLES:
            self._window.middle.told.setText("")
            self._window.update_actions()
        page = self._pages.get(key)
        if page is None or not page.isVisible():
            self._window.viewing.tell(sentence)
