"""All positions as contacts: one text file a position key, several templates in each."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from pathlib import Path

from pipeline.errors import MatlineError

from ..contacts import Template, parse

_FOLDER = Path(__file__).parent


@functools.lru_cache(maxsize=1)
def templates() -> dict[str, Template]:
    """Return every template by name, in the order of the files.

    Raises
    ------
    MatlineError
        If a text can't be read or a name is used twice.
    """
    found: dict[str, Template] = {}
    for path in sorted(_FOLDER.glob("*.txt")):
        for template in parse(path.read_text(encoding="utf-8"), path.name):
            if template.name in found:
                raise MatlineError(f"{path.name}: the name '{template.name}' is used twice.")
            found[template.name] = template
    return found


def lasting(positions: Mapping[str, str] | None = None) -> dict[str, str]:
    """Keep the templates that a bout may hold: all but those for pictures only.

    Parameters
    ----------
    positions : mapping of str to str, optional
        Position of each template to choose from; all by default.
    """
    known = templates()
    positions = positions or {name: t.position for name, t in known.items()}
    return {
        name: where
        for name, where in positions.items()
        if name not in known or not known[name].still
    }


def template(name: str) -> Template:
    """Return one template.

    Raises
    ------
    MatlineError
        If there is none of that name.
    """
    try:
        return templates()[name]
    except KeyError:
        known = ", ".join(templates())
        raise MatlineError(f"There is no template '{name}'; there are {known}.") from None
