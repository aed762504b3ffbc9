"""The position models of a library: every one that was learnt is kept, one of them is in use."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from pipeline.errors import MatlineError
from pipeline.learning.judging import Figures
from pipeline.library import Library, written_whole
from pipeline.library.atomic import make_folder
from pipeline.positions import PositionModel

SHIPPED = 0
"""Number of the model that comes with Matline."""


@dataclass(frozen=True)
class Version:
    """A model that was learnt here.

    Attributes
    ----------
    number : int
        From 1.
    made_at : str
        UTC, ISO 8601.
    previous : int
        Number of the version that was in use before.
    bouts : list of str
        Ids of the bouts it was learnt from.
    before, after : Figures
        Of the version in use then and of this one, on the bouts kept apart.
    """

    number: int
    made_at: str
    previous: int
    bouts: list[str]
    before: Figures
    after: Figures


@dataclass(frozen=True)
class _Shelf:
    current: int
    apart: list[str]
    versions: list[Version]


class Versions:
    """The models of one library, in its folder ``models``.

    Parameters
    ----------
    library : Library
    """

    def __init__(self, library: Library) -> None:
        self._folder = library.root / "models"
        self._list = self._folder / "versions.json"

    @property
    def current(self) -> int:
        """Number of the version in use; `SHIPPED` for the one that comes with Matline."""
        return self._load().current

    @property
    def apart(self) -> list[str]:
        """Ids of the bouts that are never learnt from; empty before the first learning."""
        return self._load().apart

    def all(self) -> list[Version]:
        """Return every version learnt here, in order."""
        return self._load().versions

    def path(self, number: int | None = None) -> Path | None:
        """Return the file of a version, by default the one in use; None for the shipped one."""
        number = self.current if number is None else number
        return None if number == SHIPPED else self._folder / f"positions-{number:03d}.skops"

    def model(self) -> PositionModel:
        """Return the model in use."""
        return PositionModel.load(self.path())

    def keep_apart(self, bouts: list[str]) -> None:
        """Say which bouts are never learnt from."""
        self._save(apart=bouts)

    def promote(
        self, model: PositionModel, bouts: list[str], before: Figures, after: Figures
    ) -> Version:
        """Keep a model as the next version and put it in use."""
        shelf = self._load()
        number = 1 + max((v.number for v in shelf.versions), default=SHIPPED)
        version = Version(
            number,
            datetime.now(UTC).isoformat(timespec="seconds"),
            shelf.current,
            bouts,
            before,
            after,
        )
        path = self.path(number)
        assert path is not None
        make_folder(path.parent)
        model.save(path)
        self._save(current=number, versions=[*shelf.versions, version])
        return version

    def back(self) -> int:
        """Put the version in use that was before the current one; return its number.

        Nothing is deleted.

        Raises
        ------
        MatlineError
            If the shipped model is in use already.
        """
        shelf = self._load()
        if shelf.current == SHIPPED:
            raise MatlineError(
                "The model that comes with Matline is in use; there is none before it."
            )
        previous = next(v.previous for v in shelf.versions if v.number == shelf.current)
        self._save(current=previous)
        return previous

    def _load(self) -> _Shelf:
        if not self._list.exists():
            return _Shelf(SHIPPED, [], [])
        try:
            data: Any = json.loads(self._list.read_text(encoding="utf-8"))
            versions = [_version(row) for row in data["versions"]]
            shelf = _Shelf(int(data["current"]), list(data["apart"]), versions)
            if shelf.current not in (SHIPPED, *(v.number for v in versions)):
                raise ValueError(f"version {shelf.current} is not in it")
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise MatlineError(
                f"{self._list} can't be read ({error}); remove it to go on with the model that "
                "comes with Matline."
            ) from error
        return shelf

    def _save(self, **changes: Any) -> None:
        shelf = asdict(self._load()) | {
            name: [asdict(v) for v in value] if name == "versions" else value
            for name, value in changes.items()
        }
        with written_whole(self._list) as part:
            part.write_text(json.dumps(shelf, indent=1) + "\n", encoding="utf-8")


def _version(row: Mapping[str, Any]) -> Version:
    figures = {name: Figures(**row[name]) for name in ("before", "after")}
    return Version(**{**row, **figures})
