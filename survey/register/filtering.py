"""Which rows of a register an import takes: only the ceramics, say, by words in one column or another."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

from survey.register.table import Row


@dataclass(frozen=True)
class Condition:
    """A column that equals, or contains, one of some words. Case does not count.

    Examples
    --------
    >>> Condition("classification", "equals", ("Ceramics",))
    Condition(column='classification', how='equals', words=('Ceramics',))
    """

    column: str
    how: Literal["equals", "contains"]
    words: tuple[str, ...]

    def __post_init__(self) -> None:
        if self.how not in ("equals", "contains"):
            raise ValueError("how must be “equals” or “contains”")
        if not self.words or not all(word.strip() for word in self.words):
            raise ValueError("words must name at least one word, and none may be empty")


def keeper(conditions: Sequence[Condition], header: Sequence[str]) -> Callable[[Row], bool]:
    """A test that a row passes if it meets any of the conditions; every row passes if there are none.

    Raises ValueError if a condition names a column that the header does not have.
    """
    tests: list[tuple[int, bool, tuple[str, ...]]] = []
    for condition in conditions:
        if condition.column not in header:
            raise ValueError(f"conditions names a heading that the file does not have: {condition.column}")
        words = tuple(" ".join(word.split()).casefold() for word in condition.words)
        tests.append((list(header).index(condition.column), condition.how == "equals", words))

    def keeps(row: Row) -> bool:
        for position, equals, words in tests:
            text = " ".join(row.values[position].split()).casefold()
            if text in words if equals else any(word in text for word in words):
                return True
        return not tests

    return keeps
