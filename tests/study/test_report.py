"""What is handed out must stand alone, print, and say what the tables say."""

import csv
import re
from html.parser import HTMLParser

import pytest

from pipeline.errors import MatlineError
from pipeline.outputs.study import Selection, Study, report_html, select, write_report
from pipeline.outputs.study.printing import browser
from pipeline.timeline import Moment, State, Timeline
from tests.study.conftest import BY_HAND, put


@pytest.fixture
def study(library):
    for event, date in (("Harbour Open", "2026-03-01"), ("Autumn <Cup> $1", "2026-09-05")):
        put(library, BY_HAND, names={"A": "Kim", "B": "Noor"}, title=f"at {event}", event=event,
            date=date)  # fmt: skip
    return Study.of(select(library, Selection(athlete="Kim")))


class Page(HTMLParser):
    def __init__(self, text):
        super().__init__()
        self.links, self.scripts, self.labels = [], 0, []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.scripts += tag == "script"
        self.labels += [given["aria-label"]] if given.get("role") == "img" else []
        self.links += [v for k, v in attrs if k in ("src", "href") and not v.startswith("#")]


def test_the_page_needs_no_other_file_and_no_network(study):
    page = Page(report_html(study))
    assert not page.links
    assert page.scripts == 0
    assert "@import" not in report_html(study)


def test_every_picture_says_in_words_what_it_shows(study):
    text = report_html(study)
    assert text.count("<svg") == len(Page(text).labels) == text.count("<figure")
    assert all(Page(text).labels)


def test_a_name_is_text_and_never_markup_or_formula(study):
    text = report_html(study)
    assert "<Cup>" not in text
    assert "Autumn &lt;Cup&gt; $1" in text


def test_the_report_says_what_was_left_out_and_that_numbers_are_small(study):
    text = report_html(study)
    assert "0:20 of positions and 2 moments" in text
    assert "Small numbers" in text


def test_cautions_are_in_it(study):
    text = report_html(study)
    assert "qualified instructor" in text
    assert "consent" in text


def test_the_same_numbers_give_the_same_page(study):
    assert report_html(study) == report_html(study)


def test_tidy_tables_say_what_the_page_says(study, tmp_path):
    study.write_csv(tmp_path)
    with (tmp_path / "rates.csv").open(newline="") as file:
        rows = {(r["kind"], r["by"]): r for r in csv.DictReader(file)}
    sweep = rows["sweep", "own"]
    assert (sweep["attempts"], sweep["held"], float(sweep["rate"])) == ("4", "2", 0.5)
    cells = r"<td>sweep</td><td>own</td>" + r'<td class="number">(\S+)</td>' * 3
    assert re.search(cells, report_html(study)).groups() == ("4", "2", "50%")


def test_a_note_is_no_formula_in_a_spreadsheet(library, tmp_path):
    evil = Moment(60, 60, 61, "sweep", "A", state=State.CORRECTED, note="=1+1")
    put(library, Timeline(BY_HAND.segments, (evil,)))
    Study.of(select(library)).write_csv(tmp_path)
    assert "'=1+1" in (tmp_path / "attempts.csv").read_text()


@pytest.mark.browser
@pytest.mark.skipif(browser() is None, reason="needs Chromium, Chrome or Edge")
def test_it_prints_to_a_pdf_of_pages(study, tmp_path):
    pdf = write_report(study, tmp_path / "out" / "report.pdf").read_bytes()
    assert pdf.startswith(b"%PDF")
    assert 3 <= len(re.findall(rb"/Type\s*/Page\b", pdf)) <= 12
    assert [p.name for p in (tmp_path / "out").iterdir()] == ["report.pdf"]


def test_without_a_browser_printing_says_what_to_do_and_leaves_nothing(
    study, tmp_path, monkeypatch
):
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr("pipeline.outputs.study.printing.BROWSERS", ("chromium",))
    with pytest.raises(MatlineError, match=r"\.html file instead"):
        write_report(study, tmp_path / "out" / "report.pdf")
    assert not (tmp_path / "out").exists()


def test_a_browser_that_prints_nothing_is_an_error_and_no_file(study, tmp_path, monkeypatch):
    broken = tmp_path / "chromium"
    broken.write_text("#!/bin/sh\necho no display >&2\nexit 3\n")
    broken.chmod(0o755)
    monkeypatch.setattr("pipeline.outputs.study.printing.BROWSERS", (str(broken),))
    with pytest.raises(MatlineError, match="no display"):
        write_report(study, tmp_path / "out" / "report.pdf")
    assert not list((tmp_path / "out").iterdir())


def test_first_and_last_minute_are_told_only_of_bouts_long_enough_to_have_both(library):
    put(library, BY_HAND, title="long", names={"A": "Kim", "B": "Noor"})
    text = report_html(Study.of(select(library)))
    assert "First and last minute" in text
    put(library, BY_HAND, title="short", names={"A": "Sol", "B": "Iris"}, end_s=100.0)
    text = report_html(Study.of(select(library, Selection(athlete="Sol"))))
    assert "First and last minute" not in text


def test_what_followed_names_each_athlete_once(library):
    put(library, BY_HAND, names={"A": "Kim", "B": "Noor"})
    text = report_html(Study.of(select(library)))
    assert "same athlete: back taken attempt" in text
