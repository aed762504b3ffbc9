"""An edited file → the corrections that make the timeline say what the file says."""

from __future__ import annotations

from typing import Any

from pipeline.timeline import Correction, Moment, Segment, State, Timeline


def corrections_between(before: Timeline, after: Timeline, current: Timeline) -> list[Correction]:
    """Return what was edited, as corrections to make in order.

    Parameters
    ----------
    before : Timeline
        What the file said unedited: `current` as the file's format can hold it.
    after : Timeline
        What the file says.
    current : Timeline
        What the corrections are made on; times that were not edited keep its full precision.

    Returns
    -------
    list of Correction
        Empty if nothing was edited. A state can be raised from proposed to accepted, not lowered;
        confidence, strength and evidence are measurements and stay.
    """
    return _segment_edits(before, after, current) + _moment_edits(before, after)


def _segment_edits(before: Timeline, after: Timeline, current: Timeline) -> list[Correction]:
    old = {s.id: s for s in before.segments}
    exact = {rough: fine for s, c in _pairs(before, current) for rough, fine in _times(s, c)}
    kept = {s.id for s in after.segments}
    removed = [id for id in old if id not in kept]
    removals, additions, changes = list(removed), [], []
    for new in after.segments:
        was = old.get(new.id)
        if was is not None and (was.start_s, was.end_s) == (new.start_s, new.end_s):
            changes += _label_edits(was, new)
            continue
        if was is not None:
            removals.append(new.id)
        additions.append(_added(new, exact))
    return [Correction("remove_segment", {"segment": id}) for id in removals] + additions + changes


def _pairs(before: Timeline, current: Timeline) -> list[tuple[Segment, Segment]]:
    by_id = {s.id: s for s in current.segments}
    return [(s, by_id[s.id]) for s in before.segments]


def _times(rough: Segment, fine: Segment) -> list[tuple[float, float]]:
    return [(rough.start_s, fine.start_s), (rough.end_s, fine.end_s)]


def _added(new: Segment, exact: dict[float, float]) -> Correction:
    return Correction(
        "add_segment",
        {
            "start_s": exact.get(new.start_s, new.start_s),
            "end_s": exact.get(new.end_s, new.end_s),
            "position": new.position,
            "top": new.top,
            "note": new.note,
            "id": new.id,
        },
    )


def _label_edits(was: Segment, new: Segment) -> list[Correction]:
    found = []
    if new.position != was.position:
        arguments = {"segment": new.id, "position": new.position, "top": new.top}
        found.append(Correction("relabel", arguments))
    elif new.top != was.top:
        found.append(Correction("set_top", {"segment": new.id, "top": new.top}))
    elif was.state is State.PROPOSED and new.state is not State.PROPOSED:
        found.append(Correction("accept", {"segment": new.id}))
    if new.note != was.note:
        found.append(Correction("note", {"segment": new.id, "text": new.note}))
    return found


def _moment_edits(before: Timeline, after: Timeline) -> list[Correction]:
    old = {m.id: m for m in before.moments}
    kept = {m.id for m in after.moments}
    found = [Correction("remove_moment", {"moment": id}) for id in old if id not in kept]
    for new in after.moments:
        was = old.get(new.id)
        found += [_added_moment(new)] if was is None else _moment_changes(was, new)
    return found


def _added_moment(new: Moment) -> Correction:
    names = ("kind", "start_s", "peak_s", "end_s", "athlete", "note", "id")
    return Correction("add_moment", {name: getattr(new, name) for name in names})


def _moment_changes(was: Moment, new: Moment) -> list[Correction]:
    names = ("kind", "start_s", "peak_s", "end_s", "athlete", "note")
    changes: dict[str, Any] = {
        name: getattr(new, name) for name in names if getattr(new, name) != getattr(was, name)
    }
    found = []
    if changes:
        found.append(Correction("edit_moment", {"moment": new.id} | changes))
    if (
        was.state is State.PROPOSED
        and new.state is not State.PROPOSED
        and not set(changes) - {"note"}
    ):
        found.append(Correction("accept_moment", {"moment": new.id}))
    return found
