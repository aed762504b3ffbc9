"""`matline report` and `matline clips` as typed."""

import sys

import pytest

from pipeline.cli import main
from tests.study.conftest import BY_HAND, put


@pytest.fixture
def matline(library, tmp_path, monkeypatch, capsys):
    """Run a command in a folder of its own on the test's library."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("MATLINE_LIBRARY", str(library.root))

    def run(*arguments):
        monkeypatch.setattr(sys, "argv", ["matline", *map(str, arguments)])
        try:
            main()
        except SystemExit as ended:
            return ended.code or 0, *capsys.readouterr()
        return 0, *capsys.readouterr()

    return run


def test_report_writes_a_page_and_tables_and_says_where(library, matline, tmp_path):
    put(library, BY_HAND, names={"A": "Kim", "B": "Noor"})
    code, out, _ = matline("report", "--athlete", "kim", "--to", "out/k.html", "--tables", "t")
    assert code == 0
    assert out.splitlines()[0] == "out/k.html"
    assert "Kim and Noor" in (tmp_path / "out/k.html").read_text()
    assert (tmp_path / "t/attempts.csv").exists()


def test_a_wrong_name_is_one_sentence_and_an_error(library, matline):
    put(library, BY_HAND, names={"A": "Kim", "B": "Noor"})
    code, out, said = matline("report", "--athlete", "Kym")
    assert (code, out) == (1, "")
    assert said.count("\n") == 1
    assert "Kim, Noor" in said


def test_clips_of_missing_footage_leave_nothing_behind(library, matline, tmp_path):
    put(library, BY_HAND)
    before = set(tmp_path.iterdir())
    code, _, said = matline("clips", "--kind", "sweep")
    assert code == 1
    assert "invented.mp4" in said
    assert set(tmp_path.iterdir()) == before
