"""The four ways to see a session: Single, Stacked, Afterglow and Map."""
