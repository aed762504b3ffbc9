"""docs/reference.md is made from the code; a page that lies is worse than none."""

from pathlib import Path

from pipeline.cli import reference

PAGE = Path(__file__).resolve().parents[2] / "docs" / "reference.md"


def test_the_page_says_what_the_code_does():
    assert PAGE.read_text("utf-8") == reference.reference(), "run `make reference`"


def test_every_setting_says_why_it_is_as_it_is():
    text = reference.reference()
    rows = text[text.index("## Settings") :].splitlines()
    bare = [row for row in rows if row.startswith("| `") and row.endswith("|  |")]
    assert bare == []
