"""The desk: the window in which a session is looked at, walked through and marked."""
