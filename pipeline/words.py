"""Words as people type them, and the word they may have meant."""

from __future__ import annotations

import re
from collections.abc import Iterable
from difflib import get_close_matches


def plain_key(text: str) -> str:
    """Return the key of words as a page shows them.

    Examples
    --------
    >>> plain_key(" North–South ")
    'north_south'
    """
    return re.sub(r"[\s_\-‐-―]+", "_", text.strip().casefold())


def nearest(text: str, known: Iterable[str]) -> str:
    """Return ``" (did you mean …?)"`` with the nearest known word; empty if none is near.

    Examples
    --------
    >>> nearest("mout", ["mount", "turtle"])
    ' (did you mean mount?)'
    """
    bare = {key.replace("_", ""): key for key in known}
    text = plain_key(text).replace("_", "")
    begun = [key for key in bare if text and key.startswith(text)]
    found = get_close_matches(text, bare, 1) or begun
    return f" (did you mean {bare[found[0]]}?)" if found else ""
