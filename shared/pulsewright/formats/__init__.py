"""Recordings that are not session files: one module for each format, and what they share.

A format's module has

- ``NAME``, what a person calls the format, and ``SUFFIXES``, the endings that its files usually have;
- ``recognises(head, path)``, whether the first bytes of a file are this format's;
- ``read(path, ledger)``, which returns a `Reading`: a lazy `Session`, and a list of everything that was assumed.

`recognising.open_recording` picks the module, by content first and by suffix second.
"""
