"""Renders every page of every sample's evidence sheet, and writes the HTML beside them: look at them as a signer would.

Run: ``python tests/app/make_sheet_pictures.py FOLDER [SAMPLE ...] [--readme]``

With ``--readme`` the first page of the sample with faults is also written to app/pictures/sheet.png.
"""

from __future__ import annotations

import os
import sys
import tempfile
from pathlib import Path

os.environ["XDG_DATA_HOME"] = tempfile.mkdtemp()  # nobody's review is on the sheets

from pulsewright_app.evidence.building import sheet_of
from pulsewright_app.evidence.pdf import pages_of
from pulsewright_app.evidence.writing import as_html
from pulsewright_app.inputs import open_with_settings
from pulsewright_app.samples import sample

SAMPLES = ("tank_faults", "tank_walk", "tank_slip", "tank_sine")
README_PICTURE = Path(__file__).parents[2] / "app" / "pictures" / "sheet.png"


def sheet_pictures(folder: Path, name: str, for_readme: bool) -> None:
    """Render one sample's sheet."""
    given = open_with_settings(sample(f"{name}.h5"))
    with given.session as session:
        sheet = sheet_of(given.assess(), session, given.review)
    (folder / f"{name}.html").write_bytes(as_html(sheet))
    for number, page in enumerate(pages_of(sheet), start=1):
        path = folder / f"{name}-{number:02d}.png"
        path.write_bytes(page)
        print(path)
    if for_readme and name == SAMPLES[0]:
        from make_pictures import save_small

        save_small(pages_of(sheet, 110.0)[0], README_PICTURE)


def main() -> None:
    words = [word for word in sys.argv[1:] if word != "--readme"]
    folder = Path(words[0])
    folder.mkdir(parents=True, exist_ok=True)
    for name in words[1:] or SAMPLES:
        sheet_pictures(folder, name, "--readme" in sys.argv)


if __name__ == "__main__":
    main()
