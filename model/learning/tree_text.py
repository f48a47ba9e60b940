"""LightGBM's text of a set of trees: reduced to what prediction needs, and checked before loading.

LightGBM's loader does not check its input: a damaged text can crash the process, hang it or load
wrongly. So a text must have exactly the form that training here writes: printable ASCII on lines
that end in a newline and nothing else, the lines of the head and of every tree in order, each with
the right number of entries, every child a later split or an existing leaf, every split on an
existing column, every number finite. Nothing here may see other lines than the loader does.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from pullbook.schemas.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

_END = "end of trees\n"
_HEAD = {
    "version": "v4",
    "num_class": "1",
    "num_tree_per_iteration": "1",
    "label_index": "0",
}
_INFOS = re.compile(r"(?<=^feature_infos=).*$", re.MULTILINE)
_NO_INFO = "none"
_NAME = re.compile(r"\w+", re.ASCII)
#: No number is so small that its digits would be lost, of which the library would complain aloud.
_NUMBER = re.compile(r"-?(inf|nan|\d{1,25}(\.\d{1,25})?(e(\+?\d{1,3}|-\d{1,2}))?)", re.ASCII)
#: What a text may consist of.
_PRINTABLE = bytes((*range(32, 127), 10))
#: Most trees, most leaves of one, and the largest number of readings behind one.
_MOST_TREES, _MOST_LEAVES, _MOST_COUNT = 20_000, 100_000, 2**31 - 1
_OBJECTIVES = ("regression", "gamma")
_SPLIT_NUMBERS = ("split_gain", "internal_value", "internal_weight", "internal_count")
_LEAF_NUMBERS = ("leaf_weight", "leaf_count")
_COUNTS = ("internal_count", "leaf_count")
_TREE = (
    "num_leaves", "num_cat", "split_feature", "split_gain", "threshold", "decision_type",
    "left_child", "right_child", "leaf_value", "leaf_weight", "leaf_count", "internal_value",
    "internal_weight", "internal_count", "is_linear", "shrinkage",
)  # fmt: skip
#: Decision types of splits over a number: where blanks go (2), and what counts as one: nothing, a
#: zero (4) or what is no number (8). An odd type would be a split over a set of categories.
_DECISIONS = frozenset({0, 2, 4, 6, 8, 10})


class DamagedTreesError(InputError):
    """A text that is not a valid set of trees."""


def bare(text: str) -> str:
    """Return LightGBM's text without what prediction does not need.

    That is everything after the trees, and the ranges of the columns in the head.
    """
    trees = text[: text.index(_END)] + _END
    return _INFOS.sub(lambda found: " ".join([_NO_INFO] * len(found[0].split(" "))), trees, 1)


def check(text: str, columns: int) -> None:
    """Check that a text is a valid set of trees.

    Parameters
    ----------
    text
        A text as `bare` returns it.
    columns
        Number of columns the trees may use.

    Raises
    ------
    DamagedTreesError
        The text is not valid; the message says where.

    """
    try:
        head, *trees = _sections(text)
        _check_head(head.rstrip("\n").split("\n"), columns, [len(tree) for tree in trees])
        for number, tree in enumerate(trees):
            _check_tree(tree.split("\n"), number, columns)
    except DamagedTreesError:
        raise
    except (ValueError, KeyError, IndexError) as fault:
        msg = "the trees cannot be read"
        raise DamagedTreesError(msg) from fault


def _sections(text: str) -> Iterator[str]:
    """Yield the head, and every tree with the blank lines after it."""
    if not text.endswith("\n" + _END) or text.count(_END) != 1:
        msg = "the text of the trees has no proper end"
        raise DamagedTreesError(msg)
    if text.encode("ascii", "replace").translate(None, _PRINTABLE) or not text.isascii():
        msg = "the text of the trees holds a character that no set of trees has"
        raise DamagedTreesError(msg)
    body = text.removesuffix(_END)
    head, *trees = body.split("\nTree=")
    if len(trees) > _MOST_TREES:
        msg = f"there are {len(trees)} trees; the limit is {_MOST_TREES}"
        raise DamagedTreesError(msg)
    yield head
    for i, tree in enumerate(trees):
        yield f"Tree={tree}" + ("\n" if i < len(trees) - 1 else "")


def _entries(lines: list[str], names: tuple[str, ...]) -> dict[str, str]:
    """Return the values of lines that must have exactly these names, in this order."""
    pairs = [line.partition("=") for line in lines]
    if tuple(name for name, _, _ in pairs) != names:
        msg = f"its lines are not {', '.join(names)}"
        raise ValueError(msg)
    return {name: value for name, _, value in pairs}


def _check_head(lines: list[str], columns: int, lengths: list[int]) -> None:
    """Check the head against the number of columns, and the length of every tree in bytes."""
    names = (*_HEAD, "max_feature_idx", "objective", "feature_names", "feature_infos", "tree_sizes")
    if lines[0] != "tree":
        msg = "the text is not a set of trees"
        raise DamagedTreesError(msg)
    entries = _entries(lines[1:], names)
    names_given = entries["feature_names"].split(" ")
    infos = " ".join([_NO_INFO] * columns)
    named = len(set(names_given)) == len(names_given) == columns and all(
        map(_NAME.fullmatch, names_given)
    )
    if (
        entries["max_feature_idx"] != str(columns - 1)
        or not named
        or infos != entries["feature_infos"]
    ):
        msg = f"the trees do not use the {columns} columns of the bundle"
        raise DamagedTreesError(msg)
    fixed = all(entries[name] == value for name, value in _HEAD.items())
    if not fixed or entries["objective"] not in _OBJECTIVES:
        msg = "the trees are of a kind that pullbook does not train"
        raise DamagedTreesError(msg)
    if _whole(entries["tree_sizes"], len(lengths)) != lengths:
        msg = "the lengths of the trees differ from those in the head"
        raise DamagedTreesError(msg)


def _check_tree(lines: list[str], number: int, columns: int) -> None:
    while lines and lines[-1] == "":
        lines = lines[:-1]
    try:
        entries = _entries(lines, ("Tree", *_TREE))
        _check_entries(entries, number, columns)
    except (ValueError, KeyError) as fault:
        msg = f"tree {number} is damaged: {fault}"
        raise DamagedTreesError(msg) from fault


def _numbers(text: str, count: int) -> list[float]:
    entries = text.split(" ") if text else []
    if len(entries) != count or not all(map(_NUMBER.fullmatch, entries)):
        msg = f"a line does not hold {count} numbers"
        raise ValueError(msg)
    values = [float(entry) for entry in entries]
    for entry, value in zip(entries, values, strict=True):
        if math.isinf(value) and "inf" not in entry:  # the library would complain aloud
            msg = "a line holds a number that is too large"
            raise ValueError(msg)
    return values


def _whole(text: str, count: int | None) -> list[int]:
    """Return the whole numbers of a line that was checked before, or must have so many."""
    if count is not None:
        _numbers(text, count)
    return [int(entry) for entry in text.split(" ")] if text else []


def _check_entries(entries: dict[str, str], number: int, columns: int) -> None:
    if entries["Tree"] != str(number) or entries["num_cat"] != "0" or entries["is_linear"] != "0":
        msg = "it is a kind of tree that pullbook does not train"
        raise ValueError(msg)
    (leaves,) = _whole(entries["num_leaves"], 1)
    if not 1 <= leaves <= _MOST_LEAVES:
        msg = f"it has {leaves} leaves"
        raise ValueError(msg)
    values = _numbers(entries["leaf_value"], leaves)
    others = _numbers(entries["shrinkage"], 1)
    for name in _SPLIT_NUMBERS:
        others += _numbers(entries[name], leaves - 1)
    for name in _LEAF_NUMBERS:
        of_none = leaves == 1 and not entries[name]  # a tree without a split may omit them
        others += _numbers(entries[name], 0 if of_none else leaves)
    for name in _COUNTS:
        if any(not 0 <= count <= _MOST_COUNT for count in _whole(entries[name], None)):
            msg = "it holds a count that is out of range"
            raise ValueError(msg)
    thresholds = _numbers(entries["threshold"], leaves - 1)
    if not all(map(math.isfinite, values + others)) or any(map(math.isnan, thresholds)):
        msg = "it holds a number that is not finite"
        raise ValueError(msg)
    splits = _whole(entries["split_feature"], leaves - 1)
    decisions = _whole(entries["decision_type"], leaves - 1)
    known = all(0 <= split < columns for split in splits)
    if not known or not _DECISIONS.issuperset(decisions):
        msg = "it splits on a column that does not exist"
        raise ValueError(msg)
    children = [_whole(entries[side], leaves - 1) for side in ("left_child", "right_child")]
    if leaves > 1:
        _check_children(children, leaves)


def _check_children(children: list[list[int]], leaves: int) -> None:
    """Check that every split and leaf is reached once, and that a child comes after its parent."""
    reached = sorted(child for side in children for child in side)
    if reached != sorted([*range(1, leaves - 1), *range(-leaves, 0)]):
        msg = "a split or leaf is not reached exactly once"
        raise ValueError(msg)
    if any(0 <= child <= parent for side in children for parent, child in enumerate(side)):
        msg = "a child comes before its parent"
        raise ValueError(msg)
