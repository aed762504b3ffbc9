"""The judge names two skeletons: what the trade calls each shape, however it lies in the room."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from pipeline.cli.definitions import PAGES, brought_up_to_date
from pipeline.errors import MatlineError
from pipeline.positions.judging import POSE_JOINTS, RULES, judge_poses
from pipeline.positions.judging.measures import measure
from pipeline.timeline.vocabulary import BY_KEY, POSITION_KEYS
from tests.positions.poses import POSES, supine

ROOT = Path(__file__).resolve().parents[2]
SOLVED = np.load(Path(__file__).with_name("solved_pairs.npz"))
"""Twelve pairs of each settled position, solved for our own bodies from written templates."""
BY_HAND = np.stack(list(POSES.values()))
ALL = np.concatenate([BY_HAND, SOLVED["joints"].astype(float)])
_OTHER_SIDE = [
    POSE_JOINTS.index({"l": "r", "r": "l"}.get(side, side) + rest)
    for side, rest in ((name[:1], name[1:]) if name[1] == "_" else (name, "")
                       for name in POSE_JOINTS)
]  # fmt: skip


def _named(poses: np.ndarray) -> list[tuple[str | None, str | None]]:
    return [(verdict.position, verdict.top) for verdict in judge_poses(poses)]


@pytest.mark.parametrize("position", POSES)
def test_a_clear_example_gets_its_name_and_who_is_on_top(position):
    verdict = judge_poses(POSES[position][None])[0]
    assert verdict.position == position, verdict.reasons
    assert verdict.top == ("A" if BY_KEY[position].has_top else None)


def test_a_name_comes_with_reasons_that_name_the_athletes():
    verdict = judge_poses(POSES["mount"][None])[0]
    assert "A sits astride B's trunk" in verdict.reasons


def test_exchanging_the_athletes_exchanges_who_is_on_top_and_nothing_else():
    exchanged = _named(ALL[:, ::-1])
    assert exchanged == [(p, {"A": "B", "B": "A"}.get(top)) for p, top in _named(ALL)]


def test_a_mirror_image_keeps_its_name():
    near = np.tile(ALL, (200, 1, 1, 1))
    near += np.random.default_rng(0).normal(0, 0.04, near.shape)
    mirrored = (near * [-1, 1, 1])[:, :, _OTHER_SIDE]
    assert _named(mirrored) == _named(near)


def test_where_on_the_mat_and_which_way_round_does_not_matter():
    turn = np.radians(137)
    spun = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [0, 0, 1]])
    assert _named(ALL @ spun.T + [3.0, -7.0, 0.0]) == _named(ALL)


def test_solved_pairs_are_named_as_their_templates_are():
    verdicts = judge_poses(SOLVED["joints"])
    right = np.array([verdict.position for verdict in verdicts]) == SOLVED["position"]
    assert right.mean() >= 0.83
    for position in np.unique(SOLVED["position"]):
        assert right[SOLVED["position"] == position].mean() >= 0.6, position


def test_who_is_on_top_of_solved_pairs_is_who_their_templates_say():
    verdicts = judge_poses(SOLVED["joints"])
    same = [
        verdict.top == (top or None)
        for verdict, position, top in zip(verdicts, SOLVED["position"], SOLVED["top"], strict=True)
        if verdict.position == position and position not in ("takedown", "leg_entanglement")
    ]
    assert all(same)


def test_who_lies_on_the_other_is_not_taken_for_lifted():
    lean = np.radians(85)
    back = np.array([[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]])
    lying = POSES["back_control"] @ back.T
    lying[..., 2] += 0.06 - lying[..., 2].min()
    assert _named(lying[None]) == [("back_control", "A")]


def test_sitting_on_the_heels_inside_the_legs_is_on_top_of_a_closed_guard():
    top, under = POSES["closed_guard"].copy()
    top[:, 2] -= np.where(top[:, 2] > 0.2, 0.2, 0)
    assert _named(np.stack([top, under])[None]) == [("closed_guard", "A")]


def test_a_child_and_a_giant_are_judged_alike():
    assert _named(ALL * 0.75) == _named(ALL) == _named(ALL * 1.2)


def test_a_pose_that_no_rule_fits_gets_no_name():
    apart_lying = np.stack([supine(), supine() + np.array([0.5, 0, 0])])
    assert _named(apart_lying[None]) == [(None, None)]


def test_one_pose_among_thousands_is_judged_as_it_is_alone():
    many = np.tile(ALL, (40, 1, 1, 1))
    assert _named(many)[-len(ALL) :] == _named(ALL)


def test_joints_of_another_shape_are_told_so_in_one_sentence():
    with pytest.raises(MatlineError, match="give"):
        judge_poses(np.zeros((3, 2, 17, 3)))


def test_the_trapped_leg_is_between_the_legs_that_hold_it():
    m = measure(np.stack([POSES["half_guard"], POSES["mount"]]))
    assert m.legs_caught[0, 1] == 1
    assert m.legs_caught[1, 1] == 0


def test_every_position_but_the_unsettled_one_has_a_rule():
    assert {rule.position for rule in RULES} == set(POSITION_KEYS) - {"scramble"}


@pytest.mark.parametrize("name", PAGES)
def test_pages_define_positions_as_the_code_does(name):
    page = (ROOT / name).read_text("utf-8")
    assert page == brought_up_to_date(page, PAGES[name]()), "run `make reference`"
