"""The plan as a drawing: where each sitting, wait, absence and date lies. Lengths in the drawing's own units."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta

WIDTH, NAMES = 1_120.0, 120.0
ROW, BAR, LANE, LANES, TOP = 108.0, 74.0, 8.0, 3, 44.0
LETTER, UPRIGHT = 7.6, 14.0  # width of a label's letter, about; least width of a bar whose label stands upright


@dataclass(frozen=True)
class Sitting:
    """One sitting in local time, without a zone. ``person`` is a row of the board."""

    key: int
    person: int
    starts: datetime
    ends: datetime
    label: str
    words: str
    wait_until: datetime | None = None
    pinned: bool = False
    clashes: bool = False


@dataclass(frozen=True)
class Shape:
    """A rectangle, with what it says; ``label`` is what fits into it."""

    x: float
    y: float
    width: float
    height: float
    words: str = ""
    label: str = ""
    key: int = 0
    pinned: bool = False
    clashes: bool = False
    upright: bool = False

    @property
    def middle(self) -> float:
        return self.x + self.width / 2

    @property
    def turn(self) -> str:
        """The point about which an upright label is turned."""
        return f"{self.middle:g} {self.y + self.height / 2:g}"

    @property
    def base(self) -> float:
        return self.y + self.height / 2 + 5


@dataclass(frozen=True)
class Line:
    """An upright line with its name."""

    x: float
    name: str
    end: bool = False


@dataclass
class Board:
    """Everything that one week's drawing holds."""

    height: float
    rows: list[tuple[float, str, str]] = field(default_factory=list)
    days: list[Shape] = field(default_factory=list)
    away: list[Shape] = field(default_factory=list)
    bars: list[Shape] = field(default_factory=list)
    waits: list[Shape] = field(default_factory=list)
    dates: list[Line] = field(default_factory=list)
    width: float = WIDTH
    names: float = NAMES
    top: float = TOP
    row: float = ROW
    first: float = 9.0
    last: float = 17.0


@dataclass(frozen=True)
class Scale:
    """Days of a week beside each other, each from the first to the last working hour."""

    days: tuple[date, ...]
    first: float
    last: float

    @property
    def day_width(self) -> float:
        return (WIDTH - NAMES) / len(self.days)

    def x(self, moment: datetime) -> float:
        """Where a moment lies; before and after working hours at the day's edge, days that are not shown between."""
        before = sum(day < moment.date() for day in self.days)
        if moment.date() not in self.days:
            return NAMES + before * self.day_width
        hour = moment.hour + moment.minute / 60
        share = (min(max(hour, self.first), self.last) - self.first) / (self.last - self.first)
        return NAMES + (before + share) * self.day_width


def draw_week(
    monday: date,
    people: Sequence[str],
    sittings: Sequence[Sitting],
    *,
    away: Sequence[tuple[int, date, str]] = (),
    dates: Sequence[tuple[str, date]] = (),
) -> Board:
    """One week: a row for each person, a bar for each sitting, hatching for waits, shade for days away.

    Parameters
    ----------
    sittings : of the week, and earlier ones whose wait reaches into it
    away : person, day, why
    dates : name and day; what is due on a day is due by the end of it

    Raises
    ------
    ValueError
        A ``monday`` that is none, or a person who is not among ``people``.
    """
    if monday.weekday():
        raise ValueError("monday must be a Monday")
    if any(not 0 <= sitting.person < len(people) for sitting in sittings):
        raise ValueError("sittings name a person who is not among people")
    scale = _scale(monday, [one for one in sittings if _in_week(one, monday)])
    board = Board(TOP + ROW * len(people) + 8, first=scale.first, last=scale.last)
    board.rows = [(TOP + ROW * row, *_two_lines(name)) for row, name in enumerate(people)]
    for n, day in enumerate(scale.days):
        board.days.append(
            Shape(NAMES + n * scale.day_width, TOP, scale.day_width, ROW * len(people), f"{day:%a %-d %b}")
        )
    for person, day, why in away:
        if day in scale.days:
            x = NAMES + scale.days.index(day) * scale.day_width
            board.away.append(Shape(x, TOP + person * ROW, scale.day_width, ROW, why, why))
    _bars(board, scale, monday, sittings)
    for name, day in sorted(dates, key=lambda one: one[1]):
        if day - timedelta(days=day.weekday()) == monday:
            x = scale.x(datetime.combine(day + timedelta(days=1), time()))
            board.dates.append(Line(min(x, WIDTH - 1), name, end=x > WIDTH / 2))
    return board


def _two_lines(name: str) -> tuple[str, str]:
    """A name over two lines, cut at its last space."""
    first, _, rest = name.rpartition(" ")
    return (first, rest) if first else (rest, "")


def _in_week(sitting: Sitting, monday: date) -> bool:
    return monday <= sitting.starts.date() < monday + timedelta(days=7)


def _scale(monday: date, sittings: Sequence[Sitting]) -> Scale:
    """Weekdays, with the weekend where somebody works on it; from 9 to the end of the last sitting, at least to 13."""
    last_day = max((one.starts.weekday() for one in sittings), default=4)
    days = tuple(monday + timedelta(days=n) for n in range(max(5, last_day + 1)))
    first = min((one.starts.hour for one in sittings), default=9)
    last = max((one.ends.hour + (one.ends.minute > 0) for one in sittings), default=17)
    return Scale(days, float(min(first, 9)), float(max(last, 13)))


def _bars(board: Board, scale: Scale, monday: date, sittings: Sequence[Sitting]) -> None:
    """Bars, and beneath them waits in the first lane that is free."""
    free: dict[int, list[float]] = {}
    edge = NAMES + scale.day_width * len(scale.days)
    for one in sorted(sittings, key=lambda one: (one.starts, one.key)):
        y = TOP + one.person * ROW + 6
        end = scale.x(one.ends)
        if _in_week(one, monday):
            x = scale.x(one.starts)
            width = max(end - x - 2, 3.0)
            length = len(one.label) * LETTER
            upright = length > width
            label = one.label if not upright or (width >= UPRIGHT and length < BAR + LETTER) else ""
            board.bars.append(Shape(x + 1, y, width, BAR, one.words, label, one.key, one.pinned, one.clashes, upright))
        if one.wait_until is None:
            continue
        start = max(end, NAMES) if one.ends.date() >= monday else NAMES
        stop = min(scale.x(one.wait_until), edge)
        if stop - start < 2:
            continue
        lanes = free.setdefault(one.person, [0.0] * LANES)
        lane = next((n for n, until in enumerate(lanes) if until <= start), LANES - 1)
        lanes[lane] = stop
        words = f"{one.label} sets until {one.wait_until:%A %-d %B, %H:%M}"
        board.waits.append(Shape(start, y + BAR + 2 + lane * LANE, stop - start, LANE - 2, words))
