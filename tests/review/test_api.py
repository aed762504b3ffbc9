"""What the page asks of the server, without a browser."""

from __future__ import annotations

import threading

import av
import numpy as np
import pytest

from pipeline.library import Library
from pipeline.review.desk import Desk
from pipeline.timeline import Correction


@pytest.fixture
def ask(served):
    """A client below the bout's address."""
    with served.client() as client:
        client.base_url = f"{served.address}/api/bouts/{served.bout.id}/"
        yield client


def correct(ask, revision: int, action: str, **arguments):
    body = {"action": action, "arguments": arguments, "expected_revision": revision}
    return ask.post("corrections", json=body)


def test_an_answer_to_a_correction_holds_what_changed_and_nothing_else(ask, served):
    before = ask.get("timeline").json()
    answer = correct(ask, 0, "split", segment="s0002", time_s=6.0).json()
    assert answer["revision"] == 1
    assert [s["start_s"] for s in answer["segments"]] == [4.6, 6.0]
    assert (answer["moments"], answer["gone"]) == ([], [])
    patched = {s["id"]: s for s in before["segments"]} | {s["id"]: s for s in answer["segments"]}
    now = {s["id"]: s for s in ask.get("timeline").json()["segments"]}
    assert patched == now


def test_a_correction_made_on_an_old_revision_is_409_and_changes_nothing(ask, served):
    assert correct(ask, 0, "accept", segment="s0000").status_code == 200
    late = correct(ask, 0, "accept", segment="s0001")
    assert late.status_code == 409
    assert "load it again" in late.json()["detail"]
    assert served.library.revision(served.bout.id) == 1


def test_of_many_windows_that_write_at_once_exactly_one_wins_each_revision(served):
    statuses = []

    def window() -> None:
        with served.client() as client:
            path = f"/api/bouts/{served.bout.id}/corrections"
            arguments = {"segment": "s0000", "text": "mine"}
            body = {"action": "note", "arguments": arguments, "expected_revision": 0}
            statuses.append(client.post(path, json=body).status_code)

    threads = [threading.Thread(target=window) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(statuses) == [200] + [409] * 7
    assert served.library.revision(served.bout.id) == 1


@pytest.mark.parametrize(
    ("action", "arguments"),
    [
        ("vanish", {}),
        ("accept", {"segment": "no such"}),
        ("relabel", {"segment": "s0000", "position": "floating"}),
        ("move_border", {"segment": "s0000", "edge": "end", "time_s": -1}),
        ("split", {"segment": "s0000", "time_s": "soon"}),
        ("set_bounds", {"start_s": 5, "end_s": 1}),
    ],
)
def test_a_correction_that_makes_no_sense_is_one_sentence(ask, served, action, arguments):
    answer = correct(ask, 0, action, **arguments)
    assert answer.status_code == 422
    assert answer.json()["detail"].endswith(".")
    assert served.library.revision(served.bout.id) == 0


def test_an_unknown_bout_is_404_everywhere(served):
    with served.client() as client:
        for path in ("", "/timeline", "/trace", "/work", "/score", "/video", "/samples"):
            assert client.get(f"/api/bouts/nobody{path}").status_code == 404


def test_a_bout_that_was_not_read_yet_says_so(served):
    bout = served.library.add_bout(served.bout.footage, 20.0)
    with served.client() as client:
        for path in ("timeline", "trace", "work", "samples", "export.csv", "export.vtt", "points"):
            answer = client.get(f"/api/bouts/{bout.id}/{path}")
            assert answer.status_code == 422
            assert "read" in answer.json()["detail"]


def test_keypoints_and_heights_follow_a_swap_and_its_undoing(ask, served):
    def both():
        raw = ask.get("keypoints", params={"start_s": 8, "end_s": 9}).content
        count = int(np.frombuffer(raw, "<f8", 1)[0])
        points = np.frombuffer(raw, "<f4", offset=8 + 8 * count).reshape(count, 2, 17, 3)
        trace = ask.get("trace", params={"start_s": 8, "end_s": 9}).json()
        return points, (trace["A"], trace["B"])

    points, (a, b) = both()
    assert len(points) == 5
    correct(ask, 0, "swap_athletes", from_s=5.0)
    turned, heights = both()
    np.testing.assert_array_equal(turned, points[:, ::-1])
    assert heights == (b, a)
    ask.post("undo", json={"expected_revision": 1})
    np.testing.assert_array_equal(both()[0], points)


def test_heights_are_exchanged_once_however_late_the_page_is_opened(ask, served):
    before = Desk(served.library).trace(served.bout, 0, 20, 100)
    correct(ask, 0, "swap_athletes", from_s=5.0)
    opened_anew = Desk(Library(served.library.root)).trace(served.bout, 0, 20, 100)
    later = [time_s >= 5.0 for time_s in before["time_s"]]
    for letter, other in ("AB", "BA"):
        expected = [before[other if late else letter][i] for i, late in enumerate(later)]
        assert opened_anew[letter] == expected


def test_picture_times_are_those_of_the_file(ask, served):
    raw = ask.get("frames", params={"start_s": 3.1, "end_s": 5.0}).content
    with av.open(str(served.bout.footage)) as container:
        stream = container.streams.video[0]
        times = [float(f.pts * stream.time_base) for f in container.decode(stream)]
    expected = [t for t in times if 3.1 <= t < 5.0]
    np.testing.assert_allclose(np.frombuffer(raw, "<f8"), expected)


def test_details_are_kept_and_nonsense_is_refused(ask, served):
    details = f"{served.address}/api/bouts/{served.bout.id}"
    answer = ask.patch(
        details, json={"names": {"A": "Ana", "B": ""}, "we": "B", "date": "2026-05-02"}
    )
    assert answer.json()["names"] == {"A": "Ana", "B": ""}
    bout = served.library.bout(served.bout.id)
    assert (bout.we, bout.date) == ("B", "2026-05-02")
    assert ask.patch(details, json={"we": "nobody"}).json()["we"] is None
    for bad in ({"we": "C"}, {"date": "yesterday"}, {"footage": "/etc/passwd"}, {"title": 1}):
        assert ask.patch(details, json=bad).status_code == 422


def test_the_scoreboard_is_kept(ask):
    lines = [{"time_s": 4.2, "athlete": "A", "points": 2, "what": "takedown"}]
    assert ask.put("score", json={"lines": lines}).status_code == 200
    assert ask.get("score").json() == {"lines": lines}


def test_effort_adds_up_whether_it_came_with_a_correction_or_alone(ask):
    effort = {"seconds": 1.5, "keys": 3, "clicks": 1}
    body = {"action": "accept", "arguments": {"segment": "s0000"}, "expected_revision": 0}
    ask.post("corrections", json=body | {"effort": effort})
    ask.post("effort", json=effort)
    assert ask.get("work").json()["effort"] == {"seconds": 3.0, "keys": 6, "clicks": 2}


def test_what_is_exported_reads_back_as_the_timeline(ask, served):
    from pipeline.outputs import segments_from_csv, timeline_from_webvtt

    served.library.append(served.bout.id, Correction("set_top", {"segment": "s0002", "top": "B"}))
    timeline = served.library.timeline(served.bout.id)
    assert tuple(segments_from_csv(ask.get("export.csv").text)) == timeline.segments
    subtitles = timeline_from_webvtt(ask.get("export.vtt").text)
    assert [s.top for s in subtitles.segments] == [s.top for s in timeline.segments]
