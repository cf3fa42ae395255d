"""Looks at the beginning of a file that somebody named, or says in one sentence why it is none that can be read."""

from __future__ import annotations

from pathlib import Path

from pulsewright.errors import PulsewrightError


def look_into(path: Path, fault: type[PulsewrightError], wanted: str, head_bytes: int) -> tuple[bytes, int]:
    """Return the first bytes of a file and its length.

    Parameters
    ----------
    path : Path
        As somebody wrote it.
    fault : type
        Of the error.
    wanted : str
        What should have been given, for the remedy: ``"a session file"``.
    head_bytes : int
        How many of its bytes.

    Raises
    ------
    PulsewrightError
        Of the type `fault`, if there is no such file, it holds no data, or it may not be read.
    """
    name = path.name
    try:
        path.stat()  # says of a NUL in the path what the questions below pass over
        if path.is_dir():
            raise fault(f"{name}: is a folder", f"give {wanted}")
        # opening a pipe or a device would wait, perhaps for ever
        if not path.is_file():
            raise fault(f"{name}: is not a file that holds data", f"give {wanted}")
        with path.open("rb") as stream:
            head = stream.read(head_bytes)
        length = path.stat().st_size
    except FileNotFoundError as error:
        raise fault(f"{name}: there is no such file", f"looked in {path.absolute().parent}") from error
    except OSError as error:
        raise fault(f"{name}: cannot be opened ({error.strerror})", "see whether you may read it") from error
    except ValueError as error:  # a NUL in the path
        raise fault(f"{name!r}: is not a file name", f"give {wanted}") from error
    if not head:
        raise fault(f"{name}: is empty", "copy the file again")
    return head, length
