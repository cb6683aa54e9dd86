"""The ranking as rows for a file, with what each column means."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any, NamedTuple

from media.base.errors import FettleError
from survey.register.db.models import ChecklistEntry
from survey.register.db.selectors import entry_map
from survey.register.exporting import neutralise
from survey.risk.db.models import Band, ObjectRisk, RiskRun
from survey.risk.db.selectors.details import ACTIONS, Magnitude, magnitude
from survey.risk.db.selectors.ranking import ORDERS, Wanted, found, tie
from survey.risk.stages import STAGES
from survey.risk.what_if import CHANGES

CHUNK = 1000


class Row(NamedTuple):
    """What a column is taken from."""

    run: RiskRun
    risk: ObjectRisk
    entry: ChecklistEntry | None
    magnitude: Magnitude


class Column(NamedTuple):
    heading: str
    meaning: str
    value: Callable[[Row], Any]


def _told(row: Row, *, changes: bool) -> str:
    return " ".join(each["text"] for each in row.risk.reasons if (each["code"] in CHANGES) == changes)


def _tied(row: Row, end: int) -> int | None:
    tied = tie(row.risk, "weighted")
    return tied[end] if tied else None


def _before(kind: str) -> Callable[[Row], float | None]:
    return lambda row: row.risk.before_milestones.get(kind)


def _chance(kind: str, words: str) -> Column:
    meaning = f"The same before {words}, by the middle belief; empty where it is not ahead"
    return Column(f"chance_before_{kind}", meaning, _before(kind))


COLUMNS: tuple[Column, ...] = (
    Column(
        "rank_with_significance",
        "1 is first. What must not be lifted stands before all else",
        lambda r: r.risk.rank_by_weighted,
    ),
    Column("rank_without_significance", "The same by expected loss alone", lambda r: r.risk.rank_by_loss),
    Column("number", "Accession number", lambda r: r.risk.object.number),
    Column("simple_name", "What it is", lambda r: r.risk.object.simple_name),
    Column("place", "Where it stands", lambda r: r.risk.object.place.full_name if r.risk.object.place else ""),
    Column("on_checklist", "yes or no, now", lambda r: "yes" if r.entry else "no"),
    Column("section", "Of the exhibition", lambda r: r.entry.section if r.entry else ""),
    Column("use", "How it is to be shown or used", lambda r: r.entry.get_use_display() if r.entry else ""),
    Column("need_by", "Date; empty: as case closing", lambda r: r.entry.need_by if r.entry else None),
    Column("importance", "To the display, 1 to 5", lambda r: r.entry.importance if r.entry else None),
    Column(
        "significance",
        "To the collection, 1 to 5; empty: not said, weighs as 3",
        lambda r: r.risk.object.significance,
    ),
    Column("band", f"One of {', '.join(Band.values)}", lambda r: r.risk.band),
    Column("band_in_words", "What the band asks for", lambda r: str(Band(r.risk.band).label)),
    Column(
        "chance_before_opening",
        "0 to 1, that at least one joint lets go before opening day, by the middle belief",
        lambda r: r.risk.before_opening,
    ),
    Column("chance_low", "In 5 % of the draws of what is not known it is lower", lambda r: r.risk.before_opening_low),
    Column("chance_high", "In 5 % of the draws it is higher", lambda r: r.risk.before_opening_high),
    Column(
        "chance_among_first",
        "0 to 1, to belong to the first that can be dealt with; empty in scorings that drew nothing",
        lambda r: r.risk.among_first,
    ),
    Column("tied_from", "First rank with significance that the draws cannot tell it from", lambda r: _tied(r, 0)),
    Column("tied_to", "Last such rank; both empty where it stands alone", lambda r: _tied(r, 1)),
    _chance("photography", "photography ends"),
    _chance("mount_making", "mounts are made"),
    _chance("case_closing", "cases close"),
    Column("chance_per_year", "Long-term, 0 to 1, left where it stands", lambda r: r.risk.yearly),
    Column("expected_loss", "Share of the object expected to be lost before opening", lambda r: r.risk.loss),
    Column(
        "weighted_loss",
        "The same times significance and importance; a number to order by",
        lambda r: r.risk.weighted_loss,
    ),
    Column("magnitude_low", "Sum of the scales A, B, C at their low ends", lambda r: round(r.magnitude.low, 3)),
    Column(
        "magnitude",
        "The same at their probable values; one point is ten times as much",
        lambda r: round(r.magnitude.probable, 3),
    ),
    Column("magnitude_high", "The same at their high ends", lambda r: round(r.magnitude.high, 3)),
    Column("magnitude_asks", ", ".join(ACTIONS), lambda r: r.magnitude.action),
    Column("worst_stage", "Of its joints when last seen, 0 to 4; empty: not seen", lambda r: r.risk.worst_stage),
    Column(
        "worst_stage_in_words",
        ", ".join(f"{n} {word}" for n, word in enumerate(STAGES)),
        lambda r: "" if r.risk.worst_stage is None else STAGES[r.risk.worst_stage],
    ),
    Column("joints", "Old joints on record", lambda r: r.risk.joints),
    Column("reasons", "Why it stands where it does", lambda r: _told(r, changes=False)),
    Column("what_would_change_it", "The chance under one altered fact", lambda r: _told(r, changes=True)),
    Column(
        "warnings",
        "What in the record looks wrong and was scored all the same",
        lambda r: " ".join(r.risk.warnings),
    ),
    Column("reckoned_from", "Day from which chances are reckoned", lambda r: r.run.as_of),
    Column("parameter_set", "Number of the set of assumptions", lambda r: r.run.parameters.number),
)
HEADINGS = tuple(column.heading for column in COLUMNS)


def export_rows(run: RiskRun, wanted: Wanted) -> Iterator[list[Any]]:
    """The ranking as it is shown, streamed; numbers stay numbers, no text can start to compute in a spreadsheet."""
    entries = entry_map(run.exhibition) if run.exhibition else {}
    rows = found(run, wanted).select_related("object__place").order_by(*ORDERS[wanted.order])
    for risk in rows.iterator(chunk_size=CHUNK):
        row = Row(run, risk, entries.get(risk.object_id), magnitude(risk.magnitude))
        yield [neutralise(column.value(row)) for column in COLUMNS]


def dictionary(run: RiskRun) -> list[tuple[str, str]]:
    """Each column with its meaning, then what made the scores."""
    if run.finished_at is None:
        raise FettleError("This run has not ended yet, so there is nothing to save of it.")
    about = [
        ("Scored", f"{run.finished_at:%-d %B %Y, %H:%M} UTC, reckoned from {run.as_of:%-d %B %Y}"),
        ("Looks ahead to", str(run.exhibition) if run.exhibition else "a year from then"),
        ("Parameter set", str(run.parameters)),
        ("Mind", "Joints are taken as failing independently: chances of objects with many joints are overstated."),
        ("Mind", "These numbers support a conservator's judgement and replace none."),
    ]
    told = [(column.heading, column.meaning) for column in COLUMNS] + about
    return [(neutralise(name), neutralise(text)) for name, text in told]
