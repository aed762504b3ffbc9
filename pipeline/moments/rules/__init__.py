"""Rule sets are data: one TOML file each, read into a `RuleSet`."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from importlib import resources
from pathlib import Path
from typing import Any

from pipeline.errors import MatlineError
from pipeline.timeline import MOMENT_KINDS
from pipeline.words import nearest, plain_key

USUAL = "international_federation"
"""The rule set of a bout that names none."""
WHEN = ("any", "in_guard", "past_guard")


@dataclass(frozen=True)
class Award:
    """What a moment is worth.

    Attributes
    ----------
    kind : str
        A moment's kind.
    points : int
    when : {"any", "in_guard", "past_guard"}
        Where it has to end, after the control time.
    """

    kind: str
    points: int
    when: str = "any"


@dataclass(frozen=True)
class RuleSet:
    """Which moments are worth how many points.

    Attributes
    ----------
    name, edition, source : str
        Shown wherever its points are.
    awards : tuple of Award
    control_s : float
        Seconds a position is held to count.
    progression_counts : bool
        Whether positions passed through count once the last of them is held.
    pass_straight_adds : bool
        Whether passing straight to mount or knee on belly counts that position too.
    once_again_after_s : float or None
        A position left for so long counts again; None: once in one control.
    opening_without_points : float
        0–1, the part of the bout at its start without positive points.
    """

    name: str
    edition: str
    source: str
    awards: tuple[Award, ...]
    control_s: float = 3.0
    progression_counts: bool = False
    pass_straight_adds: bool = True
    once_again_after_s: float | None = None
    opening_without_points: float = 0.0

    @classmethod
    def load(cls, name: str | Path) -> RuleSet:
        """Read a rule set by the name of one that comes with the package, or from a file.

        Raises
        ------
        MatlineError
            If there is no such rule set or the file doesn't fit.
        """
        path = Path(name)
        if path.suffix != ".toml":
            path = _shipped().get(str(name), path)
        if not path.is_file():
            known = ", ".join(rule_sets())
            raise MatlineError(
                f"Rule set “{name}”: no such file or name; use a .toml file or one of {known}."
            )
        try:
            data = tomllib.loads(path.read_text(encoding="utf-8"))
        except (tomllib.TOMLDecodeError, UnicodeDecodeError, OSError) as error:
            raise MatlineError(f"Rule set {path.name}: not readable TOML ({error}).") from None
        return cls._from_data(data, path.name)

    def _check_kinds(self) -> None:
        """Raise a TypeError where a value is of a kind that no rule set has."""
        numbers = (self.control_s, self.opening_without_points, self.once_again_after_s or 0.0)
        texts = (self.name, self.edition, self.source)
        if not all(isinstance(n, int | float) for n in numbers):
            raise TypeError("a number of seconds isn't one")
        if not all(isinstance(t, str) for t in texts):
            raise TypeError("name, edition and source are text")
        if not all(isinstance(a.points, int) for a in self.awards):
            raise TypeError("points are whole numbers")

    @classmethod
    def _from_data(cls, data: dict[str, Any], where: str) -> RuleSet:
        awards = data.pop("award", [])
        try:
            rules = cls(awards=tuple(Award(**a) for a in awards), **data)
            rules._check_kinds()
        except TypeError as error:
            raise MatlineError(
                f"Rule set {where}: {error}; compare it with a shipped one."
            ) from None
        for award in rules.awards:
            if award.kind not in MOMENT_KINDS:
                known = ", ".join(MOMENT_KINDS)
                raise MatlineError(
                    f"Rule set {where}: unknown kind “{award.kind}”; use one of {known}."
                )
            if award.when not in WHEN:
                raise MatlineError(
                    f"Rule set {where}: {award.kind} when “{award.when}”; use one of "
                    f"{', '.join(WHEN)}."
                )
        return rules


def known_rules(name: str) -> str:
    """Return what a bout keeps of the rule set that a person named.

    Parameters
    ----------
    name : str
        A shipped rule set, however it is written (``"International Federation"``), or a TOML file.

    Returns
    -------
    str
        The shipped name, or the file's whole path; empty for an empty name.

    Raises
    ------
    MatlineError
        If there is no such rule set, says which is nearest; or if the file doesn't fit.
    """
    if not name.strip():
        return ""
    key = plain_key(name)
    if key in rule_sets():
        return key
    if Path(name).suffix == ".toml":
        RuleSet.load(Path(name))
        return str(Path(name).absolute())
    raise MatlineError(
        f"There is no rule set “{name}”{nearest(key, rule_sets())}; "
        f"use {', '.join(rule_sets())} or a .toml file of your own."
    )


def usual_or(name: str | None) -> RuleSet:
    """Return the rule set of a name that `known_rules` gave, or the usual one for none.

    Raises
    ------
    MatlineError
        If the user's own file is gone or no longer fits.
    """
    if not name:
        return RuleSet.load(USUAL)
    if name in rule_sets() or Path(name).suffix == ".toml":
        return RuleSet.load(name)
    usual = RuleSet.load(USUAL)  # a name from a time when any was taken: say so wherever it shows
    return replace(usual, name=f"{usual.name} (there are no rules “{name}”)")


def rule_sets() -> tuple[str, ...]:
    """Return the names of the rule sets that come with the package."""
    return tuple(sorted(_shipped()))


def _shipped() -> dict[str, Path]:
    folder = resources.files(__name__)
    return {
        Path(entry.name).stem: Path(str(entry))
        for entry in folder.iterdir()
        if entry.name.endswith(".toml")
    }
