"""The footage over HTTP: byte ranges as browsers need them (RFC 9110, section 14)."""

from __future__ import annotations

import pytest


@pytest.fixture
def video(served):
    """Ask for the footage with some headers."""
    with served.client() as client:
        yield lambda **headers: client.get(
            f"/api/bouts/{served.bout.id}/video",
            headers={name.replace("_", "-"): value for name, value in headers.items()},
        )


@pytest.fixture
def content(served) -> bytes:
    return served.bout.footage.read_bytes()


def test_the_whole_file_says_that_ranges_are_understood(video, content):
    answer = video()
    assert (answer.status_code, answer.content) == (200, content)
    assert answer.headers["accept-ranges"] == "bytes"
    assert answer.headers["content-type"] == "video/mp4"


@pytest.mark.parametrize(
    ("asked", "first", "last"),
    [("bytes=0-99", 0, 99), ("bytes=100-", 100, None), ("bytes=-50", -50, None)],
)
def test_a_range_brings_exactly_those_bytes(video, content, asked, first, last):
    answer = video(Range=asked)
    start = first if first >= 0 else len(content) + first
    end = len(content) - 1 if last is None else last
    assert answer.status_code == 206
    assert answer.content == content[start : end + 1]
    assert answer.headers["content-range"] == f"bytes {start}-{end}/{len(content)}"
    assert int(answer.headers["content-length"]) == end + 1 - start


def test_a_range_past_the_end_is_416_and_says_the_size(video, content):
    answer = video(Range=f"bytes={len(content)}-")
    assert answer.status_code == 416
    assert answer.headers["content-range"] == f"bytes */{len(content)}"


@pytest.mark.parametrize("asked", ["seconds=1-2", "bytes", "bytes=", "bytes=a-b", "x" * 400])
def test_a_range_that_cannot_be_understood_is_ignored(video, content, asked):
    assert video(Range=asked).status_code == 200


def test_a_changed_file_is_sent_whole_to_who_held_a_part_of_the_old_one(video, content):
    etag = video().headers["etag"]
    assert video(Range="bytes=0-9", If_Range=etag).status_code == 206
    stale = video(Range="bytes=0-9", If_Range='"an older one"')
    assert (stale.status_code, len(stale.content)) == (200, len(content))


def test_the_copy_for_browsers_is_sent_where_there_is_one(served, video, content, tmp_path):
    proxy = tmp_path / "copy.mp4"
    proxy.write_bytes(content + b"copy")
    served.library.update_bout(served.bout.id, proxy=proxy)
    assert video().content.endswith(b"copy")
    proxy.unlink()
    assert video().content == content


def test_missing_footage_is_a_sentence(served, video, tmp_path):
    served.library.update_bout(served.bout.id, footage=tmp_path / "gone.mp4")
    answer = video()
    assert answer.status_code == 404
    assert "gone.mp4" in answer.json()["detail"]
