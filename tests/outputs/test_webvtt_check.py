"""Our check accepts the standard's own examples and refuses what players choke on.

Source: WebVTT: The Web Video Text Tracks Format, W3C; the valid files are written after the
examples of its introduction (captions, settings, comments, styles), the invalid ones each break one
sentence of its section "Syntax".
"""

import pytest

from pipeline.outputs import webvtt_problems

VALID = {
    "nothing but the signature": "WEBVTT",
    "a byte order mark, a title and a header line": "\ufeffWEBVTT - a title\nKind: captions\n",
    "captions": "WEBVTT\n\n00:11.000 --> 00:13.000\n<v Ada>We are here\n\n"
    "00:13.000 --> 00:16.000\n<v Ada>and there\n",
    "names, settings, two lines": "WEBVTT\n\nfirst\n00:00:01.000 --> 00:00:04.000 line:0 "
    "position:20% size:60% align:start\nOne\nTwo\n",
    "hours above 99": "WEBVTT\n\n100:00:00.000 --> 100:00:01.000\nlate\n",
    "comments, a style and a region": "WEBVTT\n\nNOTE\nof two\nlines\n\nSTYLE\n"
    "::cue { color: red }\n\nREGION\nid:one\n\nNOTE short\n\n00:01.000 --> 00:02.000\nx\n",
    "Windows line ends": "WEBVTT\r\n\r\n00:01.000 --> 00:02.000\r\nx\r\n",
    "overlapping cues": "WEBVTT\n\n00:01.000 --> 00:09.000\nx\n\n00:01.000 --> 00:02.000\ny\n",
    "escapes and marks": "WEBVTT\n\n00:01.000 --> 00:02.000\n&lt;b&gt; &amp; <i>x</i> "
    "<00:01.500>y\n",
}

INVALID = {
    "no signature": ("00:01.000 --> 00:02.000\nx\n", "Line 1"),
    "a signature that runs on": ("WEBVTTx\n", "Line 1"),
    "cue right under the signature": ("WEBVTT\n00:01.000 --> 00:02.000\nx\n", "Line 2"),
    "ends when it starts": ("WEBVTT\n\n00:02.000 --> 00:02.000\nx\n", "must end after it starts"),
    "one-digit hours": ("WEBVTT\n\n1:00:02.000 --> 1:00:03.000\nx\n", "no times"),
    "comma for milliseconds": ("WEBVTT\n\n00:02,000 --> 00:03,000\nx\n", "no times"),
    "sixty seconds": ("WEBVTT\n\n00:60.000 --> 01:03.000\nx\n", "no times"),
    "no space around the arrow": ("WEBVTT\n\n00:02.000-->00:03.000\nx\n", "no times"),
    "arrow in the text": ("WEBVTT\n\n00:02.000 --> 00:03.000\nx --> y\n", "arrow"),
    "out of order": (
        "WEBVTT\n\n00:05.000 --> 00:06.000\nx\n\n00:02.000 --> 00:03.000\ny\n", "ordered",
    ),
    "one name twice": (
        "WEBVTT\n\na\n00:01.000 --> 00:02.000\nx\n\na\n00:02.000 --> 00:03.000\ny\n", "twice",
    ),
    "bare ampersand": ("WEBVTT\n\n00:02.000 --> 00:03.000\nx & y\n", "&amp;"),
    "bare less-than": ("WEBVTT\n\n00:02.000 --> 00:03.000\nx < y\n", "&lt;"),
    "empty line in the text": ("WEBVTT\n\n00:02.000 --> 00:03.000\nx\n\ny\n", "times are missing"),
    "a null": ("WEBVTT\n\n00:02.000 --> 00:03.000\nx\0\n", "null"),
}  # fmt: skip


@pytest.mark.parametrize("text", VALID.values(), ids=VALID.keys())
def test_valid_files_pass(text):
    assert webvtt_problems(text) == []


@pytest.mark.parametrize(("text", "complaint"), INVALID.values(), ids=INVALID.keys())
def test_invalid_files_are_refused(text, complaint):
    assert any(complaint in problem for problem in webvtt_problems(text))
