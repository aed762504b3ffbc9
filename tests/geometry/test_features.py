"""Features against closed-form figures.

Proportions: Drillis & Contini as tabulated in Winter, Biomechanics and Motor Control of Human
Movement (from memory). Everything else here is plane trigonometry.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.errors import MatlineError
from pipeline.geometry import (
    FEATURE_NAMES,
    LIFTED_NAMES,
    LOOKS_NAMES,
    as_markdown,
    features,
    swap_columns,
    trunk_length,
)
from tests.geometry.stick import TRUNK, F, figure, pair

DOCS = Path(__file__).parents[2] / "docs"
LEFT_RIGHT = [0, 2, 1, 4, 3, 6, 5, 8, 7, 10, 9, 12, 11, 14, 13, 16, 15]


def first(a: np.ndarray, b: np.ndarray) -> pd.Series:
    return features(*pair(a, b)).iloc[0]


def random_pair(samples: int, unseen: float = 0.1, seed: int = 0) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    keypoints = (rng.random((samples, 2, 17, 3)) * [640, 360, 1]).astype(np.float32)
    keypoints[rng.random((samples, 2, 17)) < unseen] = np.nan
    return np.cumsum(rng.uniform(0.1, 0.3, samples)), keypoints


def test_a_standing_athletes_hips_are_thigh_and_shank_above_the_mat():
    row = first(figure(), figure(hip=(300, 0)))
    assert row["a_hip_height"] == pytest.approx((F["thigh"] + F["shank"]) / F["trunk"], abs=1e-4)
    assert row["a_shoulder_height"] == pytest.approx(row["a_hip_height"] + 1, abs=1e-4)
    assert row["pair_hip_to_hip"] == pytest.approx(300 / TRUNK, abs=1e-4)
    assert row["a_knee_angle_min"] == pytest.approx(180, abs=0.01)


@pytest.mark.parametrize("lean", [0.0, 30.0, 90.0, 135.0, 180.0, -45.0])
def test_the_trunk_angle_is_the_angle_to_the_vertical(lean):
    assert first(figure(trunk=lean), figure(hip=(500, 0)))["a_trunk_angle"] == pytest.approx(
        abs(lean), abs=0.01
    )


def test_a_squat_with_level_thighs_has_right_angled_knees_and_hips_a_shank_high():
    squat = figure(thighs=(90.0, 90.0), shanks=(180.0, 180.0))
    row = first(squat, figure(hip=(500, 0), thighs=(90.0, 90.0)))
    assert row["a_knee_angle_max"] == pytest.approx(90, abs=0.01)
    assert row["a_hip_angle_min"] == pytest.approx(90, abs=0.01)
    assert row["a_hip_height"] == pytest.approx(F["shank"] / F["trunk"], abs=1e-4)


def test_each_knee_and_each_elbow_is_measured():
    lunge = figure(thighs=(90.0, 200.0), shanks=(180.0, 200.0), forearms=(180.0, 60.0))
    row = first(lunge, figure(hip=(500, 0)))
    assert row["a_knee_angle_min"] == pytest.approx(90, abs=0.01)
    assert row["a_knee_angle_max"] == pytest.approx(180, abs=0.01)
    assert row["a_elbow_angle_min"] == pytest.approx(60, abs=0.01)


def test_heights_hold_at_any_zoom():
    near = first(figure(thighs=(120.0, 120.0)), figure(hip=(200, 50)))
    times, keypoints = pair(figure(thighs=(120.0, 120.0)), figure(hip=(200, 50)))
    keypoints[..., :2] *= 0.31
    far = features(times, keypoints).iloc[0]
    pixels = ["a_trunk_length", "b_trunk_length", "pair_trunk_length"]
    pd.testing.assert_series_equal(near.drop(pixels), far.drop(pixels), rtol=1e-4, atol=1e-4)


def test_a_trunk_that_points_at_the_camera_keeps_its_length():
    folded = figure()
    folded[[5, 6, 7, 8, 9, 10], 1] += 0.9 * TRUNK  # shoulders drawn onto the hips
    row = first(folded, figure(hip=(500, 0)))
    assert row["a_trunk_length"] == pytest.approx(TRUNK, rel=1e-4)
    assert row["a_trunk_shown"] == pytest.approx(0.1, abs=1e-3)


def test_body_scale_stays_within_a_tenth_for_limbs_in_any_direction():
    rng = np.random.default_rng(1)
    scales = []
    for _ in range(500):
        k = figure()[:, :2]
        for start, end in ((11, 13), (12, 14), (5, 7), (6, 8), (13, 15), (14, 16), (7, 9), (8, 10)):
            length = np.hypot(*(figure()[end, :2] - figure()[start, :2]))
            v = rng.normal(size=3)
            k[end] = k[start] + length * v[:2] / np.linalg.norm(v)
        scales.append(trunk_length(k) / TRUNK)
    assert np.median(scales) == pytest.approx(0.98, abs=0.03)  # √(1 − 0.2²)
    assert np.quantile(scales, 0.05) > 0.85


def test_the_front_and_the_back_of_a_body_are_told_apart():
    front = first(figure(breadth=1.0), figure(hip=(500, 0), breadth=-1.0))
    assert front["a_front"] == pytest.approx(F["shoulder_breadth"] / F["trunk"], rel=1e-3)
    assert front["b_front"] == pytest.approx(-F["shoulder_breadth"] / F["trunk"], rel=1e-3)


def test_parallel_and_opposed_trunks_are_told_apart():
    assert first(figure(), figure(hip=(300, 0)))["pair_trunk_relative_angle"] == pytest.approx(0)
    opposed = first(figure(trunk=90.0), figure(hip=(300, 0), trunk=-90.0))
    assert opposed["pair_trunk_relative_angle"] == pytest.approx(180)


def test_wrists_on_the_others_trunk_are_at_distance_zero():
    b = figure(hip=(200, 0))
    a = figure()
    a[9, :2] = b[[5, 11], :2].mean(axis=0)  # left wrist on B's trunk
    a[10, :2] = b[5, :2] + [0, -50]  # right wrist 50 px over B's shoulders
    row = first(a, b)
    assert row["a_wrists_to_trunk_near"] == pytest.approx(0, abs=1e-4)
    scale = row["pair_trunk_length"]
    assert row["a_wrists_to_trunk_far"] == pytest.approx(50 / scale, rel=1e-3)


def test_legs_around_a_trunk_enclose_it():
    top = figure(hip=(0, 0), trunk=0.0, thighs=(170.0, 190.0))
    bottom = figure(hip=(-150, 0))
    chest = top[[5, 11], :2].mean(axis=0)
    # A diamond of legs with the chest in the middle.
    for j, offset in (
        (11, (-120, 5)), (12, (-120, -5)), (13, (0, -150)), (14, (0, 150)), (15, (120, -5)),
        (16, (120, 5)),
    ):  # fmt: skip
        bottom[j, :2] = chest + offset
    row = first(top, bottom)
    assert row["b_legs_enclose"] >= 1
    assert row["a_legs_enclose"] == 0


def test_one_arm_across_the_others_arm_is_one_crossing():
    a, b = figure(), figure(hip=(500, 0))
    b[7, :2], b[9, :2] = a[7, :2] + [40, 20], a[7, :2] + [-40, 20]  # left forearm across A's
    row = first(a, b)
    assert row["pair_crossings"] == 2  # both of A's forearms lie on one line
    assert row["a_crossing"] == 2
    assert row["b_crossing"] == 1


def test_a_hip_rising_a_trunk_length_a_second_has_that_rate():
    times, keypoints = pair(figure(), figure(hip=(500, 0)), samples=11)
    keypoints[:, 0, :, 1] -= (TRUNK * times)[:, None]  # carried, B's feet stay on the mat
    rate = features(times, keypoints)["a_hip_height_rate"].to_numpy()
    np.testing.assert_allclose(rate, 1, rtol=1e-4)


def test_a_panning_camera_is_not_movement():
    times, keypoints = pair(figure(), figure(hip=(200, 0)), samples=11)
    keypoints[..., 0] += (500 * times)[:, None, None]
    table = features(times, keypoints)
    np.testing.assert_allclose(table["a_speed"], 0, atol=1e-3)


def test_exchanging_the_athletes_is_exactly_exchanging_their_columns():
    times, keypoints = random_pair(200)
    swapped = features(times, keypoints[:, ::-1])
    pd.testing.assert_frame_equal(
        swapped, swap_columns(features(times, keypoints)), check_exact=True
    )


def test_a_mirrored_picture_gives_the_same_features():
    times, keypoints = random_pair(200)
    mirrored = keypoints[:, :, LEFT_RIGHT].astype(np.float64)
    mirrored[..., 0] = 640 - mirrored[..., 0]
    pd.testing.assert_frame_equal(
        features(times, mirrored), features(times, keypoints), rtol=1e-6, atol=1e-6
    )


@given(st.integers(0, 2**17 - 1), st.integers(0, 2**17 - 1))
def test_unseen_keypoints_never_raise_and_never_count(seen_a, seen_b):
    times, keypoints = random_pair(3, unseen=0.0)
    for athlete, bits in enumerate((seen_a, seen_b)):
        unseen = [j for j in range(17) if not bits >> j & 1]
        keypoints[:, athlete, unseen] = np.nan
    table = features(times, keypoints)
    assert list(table.columns) == [*FEATURE_NAMES, *LIFTED_NAMES, *LOOKS_NAMES]
    hips_seen = (seen_a >> 11 & 1) and (seen_a >> 12 & 1)
    if not hips_seen:
        assert table["a_hip_height"].isna().all()
        assert table["a_trunk_angle"].isna().all()
        assert table["pair_hip_to_hip"].isna().all()


def test_nobody_seen_is_a_table_of_nan():
    table = features(np.arange(4.0), np.full((4, 2, 17, 3), np.nan))
    assert table.drop(columns=["a_seen", "b_seen"]).isna().all(axis=None)
    assert features(np.zeros(0), np.zeros((0, 2, 17, 3))).shape == (
        0,
        len(FEATURE_NAMES + LIFTED_NAMES + LOOKS_NAMES),
    )


def test_wrong_shapes_and_times_are_said_in_one_sentence():
    with pytest.raises(MatlineError, match="don't fit"):
        features(np.arange(3.0), np.zeros((2, 2, 17, 3)))
    with pytest.raises(MatlineError, match="increasing"):
        features(np.array([0.0, 0.2, 0.2]), np.zeros((3, 2, 17, 3)))


def test_the_documented_table_is_the_table():
    assert as_markdown() in (DOCS / "geometry.md").read_text(encoding="utf-8")
    assert len(set(FEATURE_NAMES)) == len(FEATURE_NAMES)
