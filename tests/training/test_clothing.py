"""Looks vary as much as people on mats do."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from models.training.scenes.clothing import (
    LookSlot,
    bystander_look,
    gi_look,
    nogi_look,
    random_looks,
)


def test_pairs_wear_matching_and_contrasting_gis_and_no_gi() -> None:
    rng = np.random.default_rng(0)
    kinds: Counter[tuple[bool, bool]] = Counter()
    same = 0
    for _ in range(400):
        a, b = random_looks(rng, (False, True), 8)
        kinds[a.gi, b.gi] += 1
        same += a.gi and b.gi and a.description["top"] == b.description["top"]
    assert 0.35 < kinds[True, True] / 400 < 0.65
    assert kinds[False, False] > 100
    assert 0.4 < same / kinds[True, True] < 0.8


def test_women_never_fight_bare_chested() -> None:
    rng = np.random.default_rng(1)
    looks = [nogi_look(rng, True, 4) for _ in range(200)]
    assert all(look.slots[LookSlot.TOP_CUT, 0] > 0 for look in looks)
    assert any(nogi_look(rng, False, 4).slots[LookSlot.TOP_CUT, 0] <= 0 for _ in range(100))


def test_skin_and_hair_cover_the_range() -> None:
    rng = np.random.default_rng(2)
    looks = [gi_look(rng, bool(i % 3 == 0)) for i in range(300)]
    brightness = [look.slots[LookSlot.COMPLEXION, :3].mean() for look in looks]
    assert min(brightness) < 0.08
    assert max(brightness) > 0.4
    assert {"bald", "short", "medium", "bun", "tail"} <= {
        look.description["hair"] for look in looks
    }


def test_referees_keep_their_shirt_on() -> None:
    rng = np.random.default_rng(3)
    for _ in range(50):
        look = bystander_look(rng, False, 4, referee=True)
        assert not look.gi
        assert look.slots[LookSlot.TOP_CUT, 0] > 0


@pytest.mark.parametrize("gi", [True, False])
def test_skin_under_cloth_does_not_show_through(gi: bool, studio, standing_pair) -> None:
    from dataclasses import replace

    from models.training.scenes.camera import Camera
    from models.training.scenes.raster import Lens

    rng = np.random.default_rng(5)
    S, looks = LookSlot, []
    for _ in range(2):
        look = gi_look(rng, False, "white") if gi else nogi_look(rng, True, 1)
        slots = look.slots.copy()
        slots[S.COMPLEXION, :3] = 0.0, 0.9, 0.0  # nothing else in the picture is green
        slots[[S.TOP, S.TOP2, S.TOP3, S.BOTTOM, S.BOTTOM2, S.BOTTOM3, S.LEG], :3] = 0.5, 0.02, 0.02
        slots[[S.TOP, S.BOTTOM, S.LEG], 3] = 0
        slots[[S.BELT, S.BELT2, S.HAIR, S.KNEE, S.FOOT, S.HEADGEAR], :3] = 0.4, 0.02, 0.02
        slots[S.BEARD] = 0
        looks.append(replace(look, slots=slots))
    scene = studio.scene(rng, standing_pair(3.0), None, (looks[0], looks[1]))
    scene = replace(scene, actors=scene.actors[:2])
    trunk = scene.keypoints[0, [5, 6, 11, 12]].mean(0)  # hands are bare: look above them
    shots = [
        (
            Camera(
                trunk + np.array([np.cos(a) * 2, np.sin(a) * 2, 0.3]), trunk, 0.0, 8.0, (96, 96)
            ),
            Lens(),
        )
        for a in np.linspace(0, 2 * np.pi, 6, endpoint=False)
    ]
    for picture in studio.photograph(scene, shots):
        rgb = picture.rgb[1::2, 1::2].astype(int)
        mine = picture.mask == 1
        green = (rgb[..., 1] > rgb[..., 0] + 30) & mine
        assert green.sum() <= 0.01 * mine.sum()
