"""Several cameras of one fight: linked by the user, never in contradiction, counted once."""

from pathlib import Path

import pytest

from pipeline.errors import MatlineError
from pipeline.library import Library


@pytest.fixture
def library(tmp_path) -> Library:
    library = Library(tmp_path / "library")
    for name in ("near", "far", "phone", "other"):
        library.add_bout(Path(f"{name}.mp4"), 100.0)
    return library


def ids(library: Library) -> list[str]:
    return [bout.id for bout in library.bouts()]


def test_a_third_camera_linked_to_one_is_linked_to_all(library):
    near, far, phone, _ = ids(library)
    library.link(near, far, 2.5)
    library.link(far, phone, -10.0)
    assert library.cameras(near) == {far: 2.5, phone: pytest.approx(-7.5)}
    assert library.cameras(phone) == {near: pytest.approx(7.5), far: pytest.approx(10.0)}


def test_two_pairs_that_turn_out_to_be_one_fight_come_together(library):
    near, far, phone, other = ids(library)
    library.link(near, far, 1.0)
    library.link(phone, other, 5.0)
    library.link(far, other, 0.0)
    assert library.cameras(near) == {
        far: 1.0,
        phone: pytest.approx(-4.0),
        other: pytest.approx(1.0),
    }


def test_a_better_offset_replaces_the_first(library):
    near, far, phone, _ = ids(library)
    library.link(near, far, 2.0)
    library.link(near, phone, 4.0)
    library.link(near, far, 3.0)
    assert library.cameras(near) == {far: 3.0, phone: 4.0}


def test_unlinking_takes_one_camera_out_and_removing_its_bout_does_too(library):
    near, far, phone, _ = ids(library)
    library.link(near, far, 2.0)
    library.link(near, phone, 4.0)
    library.unlink(far)
    assert library.cameras(far) == {}
    assert library.cameras(near) == {phone: 4.0}
    library.remove_bout(phone)
    assert library.cameras(near) == {}


def test_what_makes_no_sense_is_refused_and_changes_nothing(library):
    near, far, *_ = ids(library)
    for arguments in ((near, near, 1.0), (near, "nobody", 1.0), (near, far, float("nan"))):
        with pytest.raises(MatlineError):
            library.link(*arguments)
    assert library.cameras(near) == {}
