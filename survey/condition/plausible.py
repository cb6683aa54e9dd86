"""What cannot be: materials before they were made, dates yet to come, parts larger than their object.

Forms refuse it with the reason; what stands in the record all the same (brought in from elsewhere, or written in a
store without a network) is scored as it is and marked with the same words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

# Earliest year of an adhesive on ceramics. Cellulose nitrate: material from the 1870s (Heritage Science 2016,
# s40494-016-0116-z). The others from memory; what is older than any record of a repair has none.
MADE_SINCE: Mapping[str, int] = {
    "cellulose_nitrate": 1875,
    "rubber_cement": 1920,
    "pvac": 1935,
    "epoxy": 1945,
    "cyanoacrylate": 1958,
    "polyester": 1945,
    "acrylic": 1955,
}
MENDS = 2  # stages by which one look may differ from the next without anybody asking: surveyors mistake one


def of_dates(earliest: int | None, latest: int | None, *, year: int) -> list[str]:
    """What is wrong with the years of a restoration, in the given year; one sentence each."""
    known = [each for each in (earliest, latest) if each is not None]
    if known and min(known) > year:
        return [f"The restoration is dated {min(known)}, in the future. Correct the date."]
    return []


def of_adhesive(adhesive: str, name: str, earliest: int | None, latest: int | None) -> list[str]:
    """What is wrong with an adhesive of that date; ``name`` as people call it."""
    known = [each for each in (earliest, latest) if each is not None]
    since = MADE_SINCE.get(adhesive)
    if since is None or not known or max(known) >= since:
        return []
    return [
        f"{name} was not in use before about {since}, and the restoration is dated {max(known)}. "
        "Correct the date or the adhesive."
    ]


def of_sizes(wall_mm: float | None, lever_mm: float | None, object_mm: Sequence[float | None]) -> list[str]:
    """What is wrong with the sizes of a joint beside those of its object (height, width, depth, diameter)."""
    known = [each for each in object_mm if each is not None and each > 0]
    if not known:
        return []
    wrong = []
    if wall_mm is not None and 2 * wall_mm > max(known):
        wrong.append(f"A wall {wall_mm:g} mm thick does not fit an object of {max(known):g} mm. Measure again.")
    if lever_mm is not None and lever_mm > sum(sorted(known)[-2:]):
        wrong.append(f"An overhang of {lever_mm:g} mm does not fit an object of {max(known):g} mm. Measure again.")
    return wrong


def of_looks(years: Sequence[int], stages: Sequence[int], made: int | None) -> list[str]:
    """What is wrong with looks at one joint, oldest first: before it was made, or mending by itself."""
    wrong = []
    if made is not None and years and years[0] < made:
        wrong.append(f"It was looked at in {years[0]}, but the restoration is dated {made}.")
    for place in range(1, len(stages)):
        if stages[place - 1] - stages[place] >= MENDS:
            wrong.append(
                f"It was seen in a much better state in {years[place]} than in {years[place - 1]}: joints do not mend "
                "by themselves. If it was joined anew, record that."
            )
    return wrong
