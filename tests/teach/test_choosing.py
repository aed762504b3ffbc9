"""The clips shown must be those asked for."""

import pytest

from pipeline.errors import MatlineError
from pipeline.outputs.clips import Wanted, choose_clips
from pipeline.outputs.study import select


def shown(library, **wanted):
    return [c.what for c in choose_clips(select(library), Wanted(**wanted))]


def test_a_kind_means_held_and_its_attempt_means_not_held(library):
    assert shown(library, kinds=("mount_taken_attempt",)) == ["mount taken attempt, Kim"]
    with pytest.raises(MatlineError, match="Nothing"):
        shown(library, kinds=("mount_taken",))


def test_positions_are_whole_segments_with_who_is_on_top(library):
    assert shown(library, positions=("half_guard", "mount")) == [
        "half guard, Noor on top",
        "mount, Kim on top",
    ]
    assert shown(library, positions=("half_guard", "mount"), side="bottom") == [
        "half guard, Noor on top"
    ]


def test_a_note_finds_segments_and_moments(library):
    assert shown(library, note="UNDERHOOK") == ["side control, Kim on top, underhook first"]


def test_only_what_the_opponent_did(library):
    with pytest.raises(MatlineError, match="Nothing"):
        shown(library, by="opponent")


def test_lead_in_stops_at_the_start_of_the_footage(library):
    clip = choose_clips(select(library), Wanted(kinds=("rise",)))[0]
    assert clip.start_s == 0.0


def test_an_unknown_kind_is_answered_with_those_there_are():
    with pytest.raises(MatlineError, match="guard_pass"):
        Wanted(kinds=("swep",))


def test_an_unknown_position_is_answered_with_those_there_are():
    with pytest.raises(MatlineError, match="half_guard"):
        Wanted(positions=("halfguard",))
