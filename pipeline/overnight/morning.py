"""The summary of the last night, kept in the library so that the page can show it."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path

from pipeline.library import written_whole
from pipeline.overnight.spots import Spot
from pipeline.overnight.summary import FileOutcome, Summary


@dataclass(frozen=True)
class Morning:
    """A kept summary.

    Attributes
    ----------
    at : str
        When it was kept, UTC, ISO 8601; for people only.
    ended : bool
        False while the night goes on, and for ever if it was broken off.
    summary : Summary
    """

    at: str
    ended: bool
    summary: Summary


def keep_summary(root: Path, summary: Summary, ended: bool) -> None:
    """Keep a summary in a library; what the last one says of files that were left alone stays.

    A night that read nothing and found nothing wrong leaves the last list as it is.
    """
    last = last_summary(root)
    if last is not None:
        if all(file.became == "known" for file in summary.files):
            return
        summary = _with_last(summary, last.summary)
    files = [asdict(file) | {"path": str(file.path)} for file in summary.files]
    at = datetime.now(UTC).isoformat(timespec="seconds")
    with written_whole(_path(root)) as part:
        part.write_text(json.dumps({"at": at, "ended": ended, "files": files}), encoding="utf-8")


def _with_last(summary: Summary, last: Summary) -> Summary:
    """Return a summary in which files left as they were have the facts of the last one.

    If nothing was read, the last one's other files stay in it too.
    """
    before = {file.path: file for file in last.files if file.became == "read"}
    files = [before.get(f.path, f) if f.became == "known" else f for f in summary.files]
    if not summary.of("read"):
        tonight = {file.path for file in files}
        files += [file for path, file in before.items() if path not in tonight]
    return Summary(tuple(files))


def last_summary(root: Path) -> Morning | None:
    """Return the summary that was kept last; None if there is none, or it can't be read."""
    try:
        kept = json.loads(_path(root).read_text(encoding="utf-8"))
        files = tuple(_outcome(file) for file in kept["files"])
        return Morning(str(kept["at"]), bool(kept["ended"]), Summary(files))
    except (OSError, ValueError, KeyError, TypeError):  # the bouts themselves are all there
        return None


def _outcome(kept: dict) -> FileOutcome:
    kept = dict(kept)
    bouts = tuple(kept.pop("bouts"))
    spots = tuple(Spot(**spot) for spot in kept.pop("spots", ()))
    cautions = tuple(kept.pop("cautions", ()))
    return FileOutcome(Path(kept.pop("path")), bouts=bouts, spots=spots, cautions=cautions, **kept)


def _path(root: Path) -> Path:
    return root / "last_night.json"
