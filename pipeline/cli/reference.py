"""docs/reference.md, made from the code: ``python -m pipeline.cli.reference > docs/reference.md``.

Commands come from their options, settings from `pipeline.settings` with the sentences under them,
words from `pipeline.timeline.vocabulary`, rules from their files.
"""

from __future__ import annotations

import ast
import inspect
import sys
from collections.abc import Iterator, Sequence
from dataclasses import fields
from typing import Any

import typer

from pipeline import settings
from pipeline.cli import app
from pipeline.moments import RuleSet, rule_sets
from pipeline.timeline import ATTEMPT_SUFFIX, MOMENT_KINDS, POSITIONS

Row = tuple[str, ...]
HEAD = """# Reference

Made from the code by `make reference`; a test sees to it that it stays so. What the words mean at
length stands on the pages of each subject.
"""


def reference() -> str:
    """Return the page as Markdown."""
    parts = [HEAD, *_commands(), *_words(), *_rules(), *_settings()]
    return "\n".join(parts)


def _commands() -> Iterator[str]:
    yield "## Commands\n"
    yield "`--library FOLDER` (or the variable `MATLINE_LIBRARY`) says which library is meant.\n"
    # Typer's own types differ from version to version; what is read of them does not.
    group: Any = typer.main.get_command(app)
    for name, command in group.commands.items():
        yield f"### `matline {name}`\n"
        yield f"{_line(command.help)}\n"
        rows = [_parameter(p) for p in command.params if p.name != "library"]
        if rows:
            yield _table(("", "what", "usually"), rows)


def _parameter(parameter: Any) -> tuple[str, str, str]:
    shown = parameter.show_default if isinstance(parameter.show_default, str) else None
    if parameter.param_type_name == "argument":
        name = parameter.metavar or parameter.name.upper()
    else:
        name = " / ".join([*parameter.opts, *parameter.secondary_opts])
        name = f"{name} {parameter.metavar}" if parameter.metavar else name
    usual = shown or _plain(parameter.default)
    return f"`{name}`", _line(parameter.help), usual


def _plain(value: object) -> str:
    if value is None or value == "" or isinstance(value, bool):
        return ""
    return f"`{value}`"


def _words() -> Iterator[str]:
    yield "## Positions\n"
    rows = [(f"`{p.key}`", p.name, p.meaning) for p in POSITIONS]
    yield _table(("key", "name", "meaning"), rows)
    yield f"## Kinds of moments\n\nEach also with `{ATTEMPT_SUFFIX}`: reached, not held.\n"
    yield ", ".join(f"`{kind}`" for kind in MOMENT_KINDS) + "\n"


def _rules() -> Iterator[str]:
    yield "## Rule sets\n"
    rows = []
    for key in rule_sets():
        rules = RuleSet.load(key)
        points: dict[str, list[int]] = {}
        for award in rules.awards:
            points.setdefault(award.kind, []).append(award.points)
        told = "; ".join(
            f"{kind.replace('_', ' ')} {'/'.join(map(str, sorted(set(given))))}"
            for kind, given in points.items()
        )
        rows.append((f"`{key}`", f"{rules.name}, {rules.edition}", told))
    yield _table(("name", "rules", "proposed points"), rows)


def _settings() -> Iterator[str]:
    yield "## Settings\n"
    yield "Each room has a frozen dataclass in `pipeline.settings`; times are seconds.\n"
    sentences = _sentences()
    for room in fields(settings.Settings):
        made = getattr(settings.Settings(), room.name)
        kind = type(made)
        yield f"### `{kind.__name__}`\n\n{_line(kind.__doc__)}\n"
        rows = [
            (
                f"`{f.name}`",
                f"`{getattr(made, f.name)!r}`",
                sentences[kind.__name__].get(f.name, ""),
            )
            for f in fields(made)
        ]
        yield _table(("name", "value", "what, and why"), rows)


def _sentences() -> dict[str, dict[str, str]]:
    """Return the text under each setting, which Python itself doesn't keep."""
    found: dict[str, dict[str, str]] = {}
    for node in ast.parse(inspect.getsource(settings)).body:
        if not isinstance(node, ast.ClassDef):
            continue
        texts = found.setdefault(node.name, {})
        for before, after in zip(node.body, node.body[1:], strict=False):
            if isinstance(before, ast.AnnAssign) and isinstance(before.target, ast.Name):
                texts[before.target.id] = _line(_text_of(after))
    return found


def _text_of(node: ast.stmt) -> str:
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return str(node.value.value)
    return ""


def _line(text: str | None) -> str:
    return " ".join((text or "").split())


def _table(head: Row, rows: Sequence[Row]) -> str:
    rule = ("---",) * len(head)
    lines = [[cell.replace("|", r"\|") for cell in row] for row in (head, rule, *rows)]
    return "\n".join(f"| {' | '.join(line)} |" for line in lines) + "\n"


if __name__ == "__main__":
    sys.stdout.write(reference())
