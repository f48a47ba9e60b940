"""Texts between the tables of a sheet: what they say of the numbers, or of another build."""

from __future__ import annotations

import json
import re
from typing import TYPE_CHECKING

from pullbook.pipeline.vocabulary.column_heading import CORRECTED, OBSERVED, basis_of
from pullbook.pipeline.vocabulary.words import plain_word
from pullbook.schemas.findings import Decision, Finding

if TYPE_CHECKING:
    from collections.abc import Sequence

_LISTED = """
run pull test sweep lauf messung ensayo pasada page seite pagina continued cont end of the no nr
dyno
data readings reading results result table time date rpm torque power first second third repeat
repeated again up down am pm report prueba hoja tabelle ende fin next and units lbft hp kw nm ps
observed corrected printed by operator tested
"""
_TRIVIAL = frozenset(_LISTED.split())
_WORD = re.compile(r"[^\W\d_]{2,}")
#: Letters and digits in one word, as in E85; no time of day, and no number of a run.
_MIXED = re.compile(
    r"\b(?!\d+(?:am|pm|st|nd|rd|th|h)\b)(?!(?:run|p|no)\d+\b)(?:[a-z]+\d|\d+[a-z])\w*",
    re.IGNORECASE,
)


def basis(text: str) -> str | None:
    """Return the correction that a title names: STD CORRECTED DATA, Run 1 (SAE)."""
    found = {one for word in re.split(r"[\s()\[\],;:/]+", text)
             if word and (one := basis_of(plain_word(word))) is not None}  # fmt: skip
    standards = found - {OBSERVED, CORRECTED}
    if len(standards) == 1 and OBSERVED not in found:
        return standards.pop()
    return found.pop() if len(found) == 1 else None


def tells_apart(text: str) -> bool:
    """Return whether a text says more than which run or page it is above.

    >>> tells_apart("Run 2"), tells_apart("page 2 of 3"), tells_apart("With spacer")
    (False, False, True)
    """
    words = {plain_word(word) for word in _WORD.findall(text)}
    return (bool(words - _TRIVIAL) or _MIXED.search(text) is not None) and basis(text) is None


def ask(titles: Sequence[str], row: int | None, sheet_id: str) -> Finding:
    """Return the question whether runs under such titles are of one build."""
    said = next((title for title in titles if tells_apart(title)), titles[0])
    message = (
        f"Something tells the runs of this sheet apart ({said[:60]!r}): they may be of different"
        " builds. Put each build on a sheet of its own, or say in your settings file that they are"
        " runs of one build."
    )
    name = json.dumps(sheet_id, ensure_ascii=False)
    decision = Decision(
        "are runs with different remarks runs of one build?",
        ("runs: of one build", f"sheets: {{{name}: {{runs: of one build}}}}"),
    )
    return Finding("other-builds", message, "notes", row, said, decision)
