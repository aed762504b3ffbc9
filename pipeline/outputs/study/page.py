"""What the report's template is filled with: sections of pictures and tables, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd
from markupsafe import Markup


@dataclass(frozen=True)
class Picture:
    """An SVG with the sentence that stands for it."""

    svg: Markup
    alt: str
    title: str = ""
    said: bool = True
    """Whether the sentence is also shown below; once is enough for pictures of one kind."""

    @classmethod
    def of(cls, svg: str, alt: str, title: str = "", said: bool = True) -> Picture:
        """Return a picture of SVG text that this project drew."""
        return cls(Markup(svg), alt, title, said)


@dataclass(frozen=True)
class ShownColumn:
    """A column's heading, and whether it holds numbers."""

    name: str
    number: bool = False


@dataclass(frozen=True)
class ShownTable:
    """A table as it is shown: every cell is text."""

    caption: str
    columns: list[ShownColumn]
    rows: list[list[str]]

    @classmethod
    def of(
        cls,
        table: pd.DataFrame,
        caption: str,
        columns: Mapping[str, tuple[str, Callable[[Any], str], bool]],
    ) -> ShownTable:
        """Show some columns of a table.

        Parameters
        ----------
        table : DataFrame
        caption : str
        columns : mapping
            Column → heading, how to write a value, whether it is a number.
        """
        heads = [ShownColumn(name, number) for name, _, number in columns.values()]
        writers = [(column, write) for column, (_, write, _) in columns.items()]
        rows = [
            [write(row[column]) for column, write in writers] for row in table.to_dict("records")
        ]
        return cls(caption, heads, rows)


@dataclass(frozen=True)
class Section:
    """A heading with what stands under it."""

    title: str
    texts: list[str] = field(default_factory=list)
    pictures: list[Picture] = field(default_factory=list)
    tables: list[ShownTable] = field(default_factory=list)
