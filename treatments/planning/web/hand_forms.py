"""Where a sitting is to go, as forms."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, time
from typing import Any

from django import forms

from treatments.options.steps import SKILL_WORDS
from treatments.planning.byhand import Placed
from treatments.planning.db.selectors import Arranged
from treatments.planning.db.services import place_word
from treatments.planning.web.forms import DayInput

QUARTERS_OF_DAY = [time(hour, minute) for hour in range(24) for minute in (0, 15, 30, 45)]


class MoveForm(forms.Form):
    """A person, a day and a quarter-hour."""

    staff = forms.ChoiceField(label="Who")
    day = forms.DateField(label="Day", widget=DayInput)
    time = forms.TypedChoiceField(
        label="From", coerce=time.fromisoformat, choices=[(f"{at:%H:%M}", f"{at:%H:%M}") for at in QUARTERS_OF_DAY]
    )
    alone = forms.BooleanField(
        required=False, label="Move only this sitting",
        help_text="Else later sittings of the object that would begin too early go along, to the next free time.",
    )  # fmt: skip
    was = forms.CharField(required=False, max_length=60, widget=forms.HiddenInput)
    sure = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, there: Arranged, one: Placed, **kwargs: Any) -> None:
        starts = there.moment(one.start)
        known = {"staff": one.person, "day": starts.date(), "time": f"{starts:%H:%M}", "was": place_word(one)}
        super().__init__(*args, **{"initial": known} | kwargs)
        people: Any = self.fields["staff"]
        people.choices = [(pk, _name(there, one, pk)) for pk in there.names]

    def values(self) -> dict[str, Any]:
        """What the service takes."""
        data = self.cleaned_data
        return {
            "staff": data["staff"], "starts": datetime.combine(data["day"], data["time"]), "was": data["was"],
            "carry": not data["alone"], "sure": data["sure"],
        }  # fmt: skip


def _name(there: Arranged, one: Placed, pk: str) -> str:
    can = not one.skill or one.skill in there.room.team[pk].skills
    return there.names[pk] if can else f"{there.names[pk]} (cannot {SKILL_WORDS.get(one.skill, one.skill)})"


class SwapForm(forms.Form):
    """The sitting with which one changes places."""

    other = forms.TypedChoiceField(label="With", coerce=int)
    was = forms.CharField(required=False, max_length=60, widget=forms.HiddenInput)
    sure = forms.BooleanField(required=False, widget=forms.HiddenInput)

    def __init__(self, *args: Any, choices: Sequence[tuple[int, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        other: Any = self.fields["other"]
        other.choices = choices
