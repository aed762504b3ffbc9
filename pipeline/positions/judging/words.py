"""The rules as a page reads them: one source for code, docs and reasons."""

from __future__ import annotations

from pipeline.positions.judging.rules import RULES, Rule
from pipeline.timeline.vocabulary import BY_KEY, POSITIONS


def definitions() -> str:
    """Return the rules as Markdown, in the order in which they are asked."""
    return "\n".join(_rule(number, rule) for number, rule in enumerate(RULES, 1))


def meanings() -> str:
    """Return the vocabulary as a Markdown table: what each position is, in a sentence."""
    rows = ["| key | meaning | somebody on top |", "|---|---|---|"]
    for position in (*POSITIONS, BY_KEY["unknown"]):
        top = " yes " if position.has_top else " "
        rows.append(f"| `{position.key}` | {position.meaning} |{top}|")
    return "\n".join(rows) + "\n"


def _rule(number: int, rule: Rule) -> str:
    shape = f", {rule.shape}" if rule.shape else ""
    lines = [f"{number}. **{BY_KEY[rule.position].name}{shape}**"]
    lines += [f"   - {_plain(clause.words)}" for clause in rule.clauses]
    return "\n".join(lines) + "\n"


def _plain(words: str) -> str:
    return words.format(top="the top athlete", under="the bottom athlete")
