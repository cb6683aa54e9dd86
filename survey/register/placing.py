"""What the register says of places, as a tree: texts split into parts, and what kind of place each part is."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

SEPARATORS = (" / ", "/", " > ", " · ", ", ", ";", " - ")
"""What may stand between the parts of a text; of two as common as each other, the earlier."""
KINDS = ("site", "building", "room", "bay", "shelf", "tray")
"""Kinds of places, each able to stand in any before it."""
DEEPEST = len(KINDS) - 1
LONGEST_NAME, LONGEST_FULL_NAME, BETWEEN = 120, 400, " · "
_RANK = {kind: rank for rank, kind in enumerate(KINDS)}

# Common practice; where a word fits two kinds, the more usual first.
_WORDS: Mapping[tuple[str, ...], str] = {
    ("building", "room"): "building house wing annexe annex block tower pavilion depot",
    ("room", "building"): "gallery galleries room rooms store stores storeroom hall halls vault studio laboratory "
    "balcony basement attic cellar floor corridor office saal raum salle sala",
    ("bay",): "bay bays cabinet cabinets case cases rack racks cupboard showcase vitrine stack aisle press unit",
    ("shelf",): "shelf shelves board fach étagère",
    ("tray",): "tray trays box boxes drawer drawers carton crate tiroir schublade",
}
_HINTS = {word: tuple(_RANK[kind] for kind in kinds) for kinds, words in _WORDS.items() for word in words.split()}
_NOWHERE = re.compile(
    r"(not on|off) (view|display)|((location|place) )?(unknown|not (known|recorded|located))|unlocated|missing|lost"
    r"|(out )?on loan|deaccessioned|none|n/?a|tb[cd]|see file|[?.-]*"
)


@dataclass(frozen=True)
class Choices:
    """How the texts are read.

    ``site`` holds all; ``separator`` is one of ``SEPARATORS`` or empty; ``finest`` is the kind of the smallest part, or
    empty to guess it; ``left`` are the texts that say no place.
    """

    site: str
    separator: str = ""
    largest_first: bool = True
    finest: str = ""
    left: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        if not self.site.strip() or len(self.site) > LONGEST_NAME:
            raise ValueError(f"site must be a name of at most {LONGEST_NAME} characters")
        if self.separator and self.separator not in SEPARATORS:
            raise ValueError("separator is none of those known")
        if self.finest and self.finest not in KINDS[1:]:
            raise ValueError("finest is no kind of place inside a site")


@dataclass(frozen=True)
class Path:
    """What one text becomes: (name, kind) from below the site down, or why it becomes nothing."""

    text: str
    steps: tuple[tuple[str, str], ...] = ()
    problem: str = ""


def fold(name: str) -> str:
    """One spelling of a name, for finding the same place again."""
    return " ".join(name.split()).casefold()


def says_no_place(text: str) -> bool:
    """Whether a text says that a place is not known or not given, as "Not on View" does."""
    return _NOWHERE.fullmatch(fold(text).rstrip(".")) is not None


def guess_separator(texts: Collection[str]) -> str:
    """The separator found in most texts; none if fewer than one in ten holds any."""
    counts = {sign: sum(sign in text for text in texts) for sign in SEPARATORS}
    best = max(SEPARATORS, key=lambda sign: counts[sign])
    return best if counts[best] and counts[best] * 10 >= len(texts) else ""


def parts_of(text: str, separator: str) -> list[str]:
    """The parts of a text as they stand, without blanks; what is empty is left out."""
    found = text.split(separator) if separator else [text]
    return [part for part in (" ".join(each.split()) for each in found) if part]


def guess_largest_first(texts: Iterable[str], separator: str) -> bool:
    """Whether texts begin with the largest place: by words first, else the larger level has fewer names."""
    votes, firsts, lasts = 0, set(), set()
    for text in texts:
        parts = parts_of(text, separator)
        if len(parts) < 2:
            continue
        ranks = [hints[0] for part in parts if (hints := hints_of(part))]
        votes += (ranks[0] < ranks[-1]) - (ranks[0] > ranks[-1]) if ranks else 0
        firsts.add(fold(parts[0]))
        lasts.add(fold(parts[-1]))
    return votes > 0 if votes else len(firsts) <= len(lasts)


def hints_of(name: str) -> tuple[int, ...]:
    """Ranks in ``KINDS`` that a name's own words speak for, the likeliest first; the last known word decides."""
    known = [_HINTS[word] for word in re.findall(r"[^\W\d_]+", name.casefold()) if word in _HINTS]
    return known[-1] if known else ()


def paths_of(
    texts: Sequence[str], choices: Choices, existing: Mapping[tuple[str, ...], tuple[str, str]] | None = None
) -> list[Path]:
    """The path of each text below the site, in the order of ``texts``; the same name in the same place is one place.

    Kinds are chosen for the whole tree at once: always descending, as near as may be to what the words say, and where
    they say nothing room, bay, shelf, tray by depth. Of several spellings the first stays.

    Parameters
    ----------
    texts : sequence of str, the commonest first
    choices : Choices
    existing : mapping of folded names below the site to (name, kind)
        Places that are there already keep their name and kind.
    """
    root = _Node("", 0)
    lines: list[tuple[str, list[_Node]]] = []
    for text in texts:
        names = [] if text in choices.left else _names(text, choices)
        lines.append((text, list(_grown(root, names, existing or {}))))
    root.weigh(_RANK.get(choices.finest, 0))
    root.settle(0)
    return [_path(text, nodes, choices) for text, nodes in lines]


def _names(text: str, choices: Choices) -> list[str]:
    """Names from the largest place down; more parts than kinds are kept together in the last."""
    names = parts_of(text, choices.separator)
    names = names if choices.largest_first else names[::-1]
    over = names[DEEPEST - 1 :]
    return names if len(names) <= DEEPEST else [*names[: DEEPEST - 1], choices.separator.join(over)]


def _grown(root: _Node, names: Sequence[str], existing: Mapping[tuple[str, ...], tuple[str, str]]) -> Iterator[_Node]:
    node, key = root, ()  # type: tuple[_Node, tuple[str, ...]]
    for name in names:
        key = (*key, fold(name))
        if key[-1] not in node.inside:
            said, kind = existing.get(key, (name, ""))
            node.inside[key[-1]] = _Node(said, node.depth + 1, _RANK.get(kind, 0))
        node = node.inside[key[-1]]
        yield node


_NEVER, _NEVER_AT_ALL = 1e3, 1e9


@dataclass
class _Node:
    """A place among the words; ``fixed`` is its rank if it is there already, ``rank`` what is chosen (0: none fits)."""

    name: str
    depth: int
    fixed: int = 0
    inside: dict[str, _Node] = field(default_factory=dict)
    costs: list[float] = field(default_factory=list)
    rank: int = 0

    def weigh(self, finest: int) -> None:
        """What each rank would cost here with the best choice for all below."""
        for child in self.inside.values():
            child.weigh(finest)
        self.costs = [
            self._own(rank, finest)
            + sum(min(child.costs[rank + 1 :], default=_NEVER) for child in self.inside.values())
            for rank in range(DEEPEST + 1)
        ]

    def _own(self, rank: int, finest: int) -> float:
        if self.depth == 0 or rank == 0:
            return 0.0 if self.depth == rank == 0 else _NEVER_AT_ALL
        if self.fixed:
            return 0.0 if rank == self.fixed else _NEVER_AT_ALL
        if finest and not self.inside:
            return 10.0 * abs(rank - finest)
        if hints := hints_of(self.name):
            return 0.3 * hints.index(rank) if rank in hints else 3.0 + abs(rank - hints[0])
        return 0.5 * abs(rank - min(self.depth + 1, DEEPEST))

    def settle(self, rank: int) -> None:
        """Choose for all below, given what was chosen here."""
        self.rank = rank
        for child in self.inside.values():
            best = min(range(rank + 1, DEEPEST + 1), key=child.costs.__getitem__, default=0)
            fits = best and (not child.fixed or best == child.fixed)
            child.settle(best if fits else DEEPEST)
            child.rank = best if fits else 0


def _path(text: str, nodes: Sequence[_Node], choices: Choices) -> Path:
    names = [node.name for node in nodes]
    if any(len(name) > LONGEST_NAME for name in names):
        return Path(text, problem=f"a name of more than {LONGEST_NAME} characters")
    if len(BETWEEN.join([choices.site, *names])) > LONGEST_FULL_NAME:
        return Path(text, problem=f"with all above it longer than {LONGEST_FULL_NAME} characters")
    for node in nodes:
        if not node.rank:
            already = f" (a {KINDS[node.fixed]} already)" if node.fixed else ""
            return Path(text, problem=f"“{node.name}”{already} does not fit into what is there above it")
    return Path(text, tuple((node.name, KINDS[node.rank]) for node in nodes))


def natural(name: str) -> tuple[tuple[int, int, str], ...]:
    """A key that sorts "Shelf 2" before "Shelf 10"."""
    found = re.findall(r"[0-9]+|[^0-9]+", fold(name))
    return tuple((0, int(part), "") if part.isdigit() else (1, 0, part) for part in found)
