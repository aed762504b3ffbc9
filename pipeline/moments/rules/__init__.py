"""Rule sets are data: one TOML file each, read into a `RuleSet`."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from pipeline.errors import MatlineError
from pipeline.timeline import MOMENT_KINDS

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
        except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
            raise MatlineError(f"Rule set {path.name}: not readable TOML ({error}).") from None
        return cls._from_data(data, path.name)

    @classmethod
    def _from_data(cls, data: dict[str, Any], where: str) -> RuleSet:
        awards = data.pop("award", [])
        try:
            rules = cls(awards=tuple(Award(**a) for a in awards), **data)
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


def usual_or(name: str | None) -> RuleSet:
    """Return the rule set of a shipped name, or the usual one where there is none of that name."""
    return RuleSet.load(name if name in rule_sets() else USUAL)


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
