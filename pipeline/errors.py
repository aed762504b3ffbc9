"""Errors that a user can act on."""

from pipeline.text import printable


class MatlineError(Exception):
    """One sentence that says what was wrong, where, and what to do.

    Every error a user can cause is one of these; the command line prints the
    sentence and exits with a code other than 0, the page shows it.
    """

    def __init__(self, sentence: str) -> None:
        super().__init__(printable(sentence))
