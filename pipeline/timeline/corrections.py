"""A correction: an action of `pipeline.timeline.actions` with its arguments, for the journal.

It is checked when it is made, survives JSON, and carries the ids of what it creates, so that
replaying it always gives the same timeline.
"""

from __future__ import annotations

import inspect
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from types import UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from pipeline.timeline.actions import ACTIONS, CorrectionError
from pipeline.timeline.model import Timeline, new_id

_CREATED = ("id", "rest_id")


@dataclass(frozen=True)
class Correction:
    """One change to a timeline.

    Attributes
    ----------
    action : str
        A key of `ACTIONS`.
    arguments : dict
        The action's arguments by name; ids of what is created are filled in when missing.

    Raises
    ------
    CorrectionError
        If the action is unknown, or an argument is missing, unknown or of the wrong kind.

    Examples
    --------
    >>> Correction("accept", {"segment": "a1"}).to_json()
    '{"action": "accept", "arguments": {"segment": "a1"}}'
    """

    action: str
    arguments: dict[str, Any]

    def __post_init__(self) -> None:
        if self.action not in ACTIONS:
            raise CorrectionError(
                f"Unknown correction “{self.action}”; use one of {', '.join(ACTIONS)}."
            )
        hints = _hints(self.action)
        filled = {name: new_id() for name in _CREATED if name in hints} | dict(self.arguments)
        for name, value in filled.items():
            if name not in hints:
                raise CorrectionError(
                    f"Correction {self.action}: unknown argument “{name}”; "
                    f"it takes {', '.join(hints)}."
                )
            if not _fits(value, hints[name]):
                raise CorrectionError(f"Correction {self.action}: {name} can't be {value!r}.")
        missing = [name for name in _required(self.action) if name not in filled]
        if missing:
            raise CorrectionError(f"Correction {self.action}: {', '.join(missing)} is missing.")
        object.__setattr__(self, "arguments", filled)

    def to_dict(self) -> dict[str, Any]:
        """Return the form that JSON and the journal keep."""
        return {"action": self.action, "arguments": dict(self.arguments)}

    def to_json(self) -> str:
        """Return one line of JSON."""
        return json.dumps(self.to_dict(), ensure_ascii=False, allow_nan=False)

    @classmethod
    def from_dict(cls, data: object) -> Correction:
        """Check and read what `to_dict` gave."""
        if not isinstance(data, Mapping) or not isinstance(data.get("action"), str):
            raise CorrectionError("A correction needs an action, as text, and its arguments.")
        arguments = data.get("arguments", {})
        if not isinstance(arguments, Mapping):
            raise CorrectionError(f"Correction {data['action']}: arguments must be named values.")
        return cls(data["action"], dict(arguments))

    @classmethod
    def from_json(cls, text: str) -> Correction:
        """Check and read what `to_json` gave."""
        try:
            return cls.from_dict(json.loads(text))
        except json.JSONDecodeError as error:
            raise CorrectionError(f"A correction must be JSON; {error}.") from error


def apply(timeline: Timeline, correction: Correction) -> Timeline:
    """Return the timeline with one correction made; the given one stays as it is.

    Raises
    ------
    CorrectionError
        If the correction names a segment or moment that isn't there, or can't be made.
    MatlineError
        If the outcome would not be a timeline.
    """
    return ACTIONS[correction.action](timeline, **correction.arguments)


@cache
def _hints(action: str) -> dict[str, Any]:
    hints = get_type_hints(ACTIONS[action])
    return {name: hint for name, hint in hints.items() if name not in ("timeline", "return")}


@cache
def _required(action: str) -> tuple[str, ...]:
    parameters = inspect.signature(ACTIONS[action]).parameters
    empty = inspect.Parameter.empty
    return tuple(n for n, p in parameters.items() if n != "timeline" and p.default is empty)


def _fits(value: object, hint: Any) -> bool:
    if get_origin(hint) in (Union, UnionType):
        return any(_fits(value, one) for one in get_args(hint))
    if get_origin(hint) is Literal:
        return value in get_args(hint)
    if hint is float:
        number = isinstance(value, int | float) and not isinstance(value, bool)
        return number and math.isfinite(value)  # type: ignore[arg-type]
    return isinstance(value, hint)
