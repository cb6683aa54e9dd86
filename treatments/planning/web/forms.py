"""Staff, leave, days off, benches, and what a plan is asked for with, as forms."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django import forms

from treatments.options.steps import SKILL_WORDS, SKILLS, LevelRates
from treatments.planning.db.models import StaffMember
from treatments.planning.db.services import DAYS, MOST_SECONDS, MOST_SEED, SECONDS
from treatments.planning.effects import UNKNOWN, Effect

LONGEST_DAY = 16.0


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m-%d", **kwargs)


class MemberForm(forms.Form):
    """A person's skills and usual week."""

    name = forms.CharField(max_length=120, label="Name")
    skills = forms.MultipleChoiceField(
        choices=[(code, SKILL_WORDS[code].capitalize()) for code in SKILLS],
        label="Skills",
        widget=forms.CheckboxSelectMultiple,
    )
    bench_share = forms.IntegerField(
        min_value=5, max_value=100, initial=65, label="Share of paid time at the bench, %",
        help_text="Meetings, loans and interruptions eat the rest: 20 to 25 of 36 paid hours is common practice.",
    )  # fmt: skip
    works_from = forms.DateField(required=False, widget=DayInput, label="Works from")
    works_to = forms.DateField(required=False, widget=DayInput, label="Works to")

    def __init__(self, *args: Any, member: StaffMember | None = None, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        week = member.week if member and len(member.week) == 7 else [[9, 0]] * 7
        for number, (day, (start, hours)) in enumerate(zip(DAYS, week, strict=True)):
            self.fields[f"start{number}"] = forms.FloatField(
                min_value=0, max_value=23.75, required=False, initial=start, label=f"{day}: from"
            )
            self.fields[f"hours{number}"] = forms.FloatField(
                min_value=0, max_value=LONGEST_DAY, required=False, initial=hours, label=f"{day}: hours"
            )

    @classmethod
    def of(cls, member: StaffMember) -> MemberForm:
        known = {
            "name": member.name, "skills": member.skills, "bench_share": round(member.bench_share * 100),
            "works_from": member.works_from, "works_to": member.works_to,
        }  # fmt: skip
        return cls(member=member, initial=known)

    @property
    def days(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        return [(day, self[f"start{n}"], self[f"hours{n}"]) for n, day in enumerate(DAYS)]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        first, last = cleaned.get("works_from"), cleaned.get("works_to")
        if first and last and last < first:
            self.add_error("works_to", "The last day must not be before the first.")
        for n, day in enumerate(DAYS):
            start, hours = cleaned.get(f"start{n}") or 0.0, cleaned.get(f"hours{n}") or 0.0
            if start + hours > 24:
                self.add_error(f"hours{n}", f"{day} would end after midnight.")
        return cleaned

    def values(self) -> dict[str, Any]:
        """What the service takes."""
        data = self.cleaned_data
        week = [[data.get(f"start{n}") or 0.0, data.get(f"hours{n}") or 0.0] for n in range(7)]
        kept = {name: data[name] for name in ("name", "skills", "works_from", "works_to")}
        return {**kept, "week": week, "bench_share": data["bench_share"] / 100}


class LeaveForm(forms.Form):
    first = forms.DateField(widget=DayInput, label="First day away")
    last = forms.DateField(widget=DayInput, label="Last day away")
    why = forms.CharField(max_length=120, required=False, label="Why")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        first, last = cleaned.get("first"), cleaned.get("last")
        if first and last and last < first:
            self.add_error("last", "The last day must not be before the first.")
        return cleaned


class HolidayForm(forms.Form):
    date = forms.DateField(widget=DayInput, label="Day")
    name = forms.CharField(max_length=120, required=False, label="Name")


class BenchForm(forms.Form):
    hood = forms.IntegerField(min_value=0, max_value=50, label="Fume hoods")
    bench = forms.IntegerField(min_value=0, max_value=50, label="Photography benches")


class PlanForm(forms.Form):
    """What a plan is made with."""

    mandatory_weeks = forms.FloatField(
        min_value=0, max_value=26, initial=2, label="Weeks in hand, objects that must be ready",
        help_text="A plan filled to the last hour is never wholly on time. In a measured example of 300 objects, two "
        "weeks in hand brought all that must be ready home in 998 of 1,000 tries, for 4 % of the benefit.",
    )  # fmt: skip
    other_weeks = forms.FloatField(min_value=0, max_value=26, initial=1, label="Weeks in hand, all others")
    seconds = forms.FloatField(
        min_value=1, max_value=MOST_SECONDS, initial=SECONDS, label="Seconds to search",
        help_text="A first plan is there at once. Longer searches find a little more.",
    )  # fmt: skip
    seed = forms.IntegerField(
        min_value=0, max_value=MOST_SEED, initial=0, label="Seed", help_text="The same seed gives the same plan."
    )


class EffectsForm(forms.Form):
    """For each level with work: per cent of the expected loss that it removes, and why."""

    def __init__(self, *args: Any, levels: Sequence[LevelRates], known: Mapping[str, Effect], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.levels = [level for level in levels if level.steps]
        for level in self.levels:
            effect = known.get(level.code, UNKNOWN)
            self.fields[f"share_{level.code}"] = forms.FloatField(
                min_value=0, max_value=100, initial=round(effect.share * 100, 2), label=f"{level.name}: loss removed, %"
            )
            self.fields[f"grounds_{level.code}"] = forms.CharField(
                max_length=600, initial=effect.grounds, label=f"{level.name}: grounds"
            )

    def values(self) -> dict[str, Effect]:
        data = self.cleaned_data
        return {
            level.code: Effect(data[f"share_{level.code}"] / 100, data[f"grounds_{level.code}"])
            for level in self.levels
        }
