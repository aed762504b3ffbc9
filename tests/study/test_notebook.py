"""The notebook page is run, line by line, as someone would who copies it."""

import re
from pathlib import Path

import matplotlib
import pytest

import pipeline
from pipeline.library import Library
from tests.study.conftest import BY_HAND, put

PAGE = Path(__file__).resolve().parents[2] / "docs" / "notebook.md"


def test_every_block_of_the_page_runs(tmp_path, monkeypatch, capsys):
    matplotlib.use("svg")
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sample_clips").symlink_to(PAGE.parents[1] / "sample_clips")
    put(Library(tmp_path / "library"), BY_HAND, names={"A": "Kim", "B": "Noor"}, event="Cup")
    blocks = re.findall(r"```python\n(.*?)```", PAGE.read_text(), re.S)
    names: dict[str, object] = {}
    for block in blocks:
        exec(compile(block, str(PAGE), "exec"), names)
    said = capsys.readouterr().out
    assert len(blocks) == 3
    assert int(re.match(r"(\d+)% of the time told right", said).group(1)) > 50
    assert "sweep" in said
    assert (tmp_path / "height.png").stat().st_size > 5000
    heights = names["reading"].features[["a_hip_height", "b_hip_height"]]
    assert heights.notna().mean().min() > 0.5


def test_everything_offered_at_the_top_is_there():
    for name in pipeline.__all__:
        assert getattr(pipeline, name).__name__ == name


def test_what_is_not_offered_is_an_attribute_error():
    with pytest.raises(AttributeError, match="nothing_of_that_name"):
        pipeline.nothing_of_that_name  # noqa: B018
