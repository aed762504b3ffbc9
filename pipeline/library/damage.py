"""A library whose own file is no longer what was written."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from pipeline.errors import MatlineError


class Damaged(MatlineError):
    """The library's database can't be trusted; `pipeline.library.restore` puts a copy back."""


def damaged(path: Path, why: str) -> Damaged:
    """Return the sentence for a damaged database."""
    return Damaged(
        f"The library {path} is damaged ({why}); `matline check` puts its newest copy back."
    )


@contextmanager
def trusted(path: Path, what: str) -> Iterator[None]:
    """Turn the failure to read back what the library itself wrote into one sentence.

    Parameters
    ----------
    path : Path
        Of the database.
    what : str
        What is read, for the sentence.
    """
    try:
        yield
    except Damaged:
        raise
    except (MatlineError, TypeError, ValueError, KeyError, IndexError, RecursionError) as error:
        raise damaged(path, f"{what}: {' '.join(str(error).rstrip('.').split())}") from error
