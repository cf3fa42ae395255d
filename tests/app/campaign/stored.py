"""Looks into the results of a campaign that goes on."""

import sqlite3


def stored(path):
    """Return how many sessions a campaign has stored so far, while it runs."""
    if not path.exists():
        return 0
    try:
        base = sqlite3.connect(f"file:{path}?mode=ro", uri=True)
        try:
            return base.execute("SELECT count(*) FROM sessions").fetchone()[0]
        finally:
            base.close()
    except sqlite3.Error:
        return 0
