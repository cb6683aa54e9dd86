"""Time at the bench as forms."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import Any

from django import forms
from django.utils import timezone

from media.base.models import User
from treatments.hours.db.models import LoggedTime
from treatments.hours.db.services import Said


class DayInput(forms.DateInput):
    input_type = "date"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%Y-%m-%d", **kwargs)


class ClockTimeInput(forms.TimeInput):
    input_type = "time"

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(format="%H:%M", **kwargs)


class TimeForm(forms.Form):
    """Time worked on one step: from and to, or the hours of a day."""

    worker = forms.ChoiceField(label="Who", required=False)
    step = forms.ChoiceField(label="Step")
    on = forms.DateField(label="Day", widget=DayInput)
    began = forms.TimeField(label="From", required=False, widget=ClockTimeInput)
    ended = forms.TimeField(label="To", required=False, widget=ClockTimeInput)
    hours = forms.FloatField(
        label="Or hours in all", required=False, min_value=0.01, max_value=24,
        help_text="Where the times are not known; 1.5 is an hour and a half.",
        widget=forms.NumberInput(attrs={"step": "any", "inputmode": "decimal"}),
    )  # fmt: skip
    note = forms.CharField(label="Note", required=False, max_length=500)
    step_done = forms.BooleanField(label="This finished the step", required=False)

    def __init__(
        self, *args: Any, steps: Iterable[tuple[str, str]], people: Iterable[User] = (), **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.fields["step"].choices = list(steps)  # type: ignore[attr-defined]  # a choice field has them
        who = [(str(user.pk), user.shown) for user in people]
        if who:
            self.fields["worker"].choices = who  # type: ignore[attr-defined]  # a choice field has them
            self.fields["worker"].required = True
        else:
            del self.fields["worker"]

    @staticmethod
    def of(row: LoggedTime) -> dict[str, Any]:
        """What a form begins with to correct logged time."""
        start = timezone.localtime(row.started_at) if row.started_at else None
        end = timezone.localtime(row.ended_at) if row.ended_at else None
        return {
            "step": row.step, "on": row.on, "note": row.note, "step_done": row.step_done,
            "began": start.time() if start else None, "ended": end.time() if end else None,
            "hours": None if start else round(row.hours, 2),
        }  # fmt: skip

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        began, ended, hours = cleaned.get("began"), cleaned.get("ended"), cleaned.get("hours")
        if self.errors:
            return cleaned
        if (began is None) != (ended is None):
            self.add_error("ended" if ended is None else "began", "Give both times, or the hours alone.")
        elif began is None and hours is None:
            self.add_error("hours", "Say from when to when, or how many hours in all.")
        elif began is not None and hours is not None:
            self.add_error("hours", "Give either the times or the hours, not both.")
        elif began is not None and ended is not None and ended <= began:
            self.add_error("ended", "It must end after it began. Work past midnight is two entries.")
        return cleaned

    def said(self) -> Said:
        """What the service takes; only of a valid form."""
        kept = self.cleaned_data
        more = {"note": kept["note"], "step_done": kept["step_done"]}
        if kept["began"] is None:
            return Said(kept["step"], kept["on"], kept["hours"], **more)
        start, end = (timezone.make_aware(datetime.combine(kept["on"], kept[name])) for name in ("began", "ended"))
        return Said.sitting(kept["step"], start, end, **more)

    @property
    def complaint(self) -> str:
        """What is wrong, as one line."""
        return " ".join(f"{self.fields[name].label}: {errors[0]}" for name, errors in self.errors.items())


class StopForm(forms.Form):
    """How a clock's work ended; ``ended_at`` only where it was forgotten."""

    ended_at = forms.DateTimeField(
        label="The work really ended", required=False,
        widget=forms.DateTimeInput(format="%Y-%m-%dT%H:%M", attrs={"type": "datetime-local"}),
    )  # fmt: skip
    note = forms.CharField(label="Note", required=False, max_length=500)
    step_done = forms.BooleanField(label="This finished the step", required=False)


class FinishForm(forms.Form):
    """That a treatment is finished, and what taking down showed."""

    SURPRISES = [("", "Nothing was taken down"), ("no", "Nothing unexpected"), ("yes", "Something that added work")]
    surprise = forms.ChoiceField(
        choices=SURPRISES, required=False, label="Taking down showed", widget=forms.RadioSelect
    )
    note = forms.CharField(label="What was it", required=False, max_length=500)

    @property
    def found(self) -> bool | None:
        return {"yes": True, "no": False}.get(self.cleaned_data["surprise"])


class FactorForm(forms.Form):
    """The factor on estimates, with its reason."""

    factor = forms.FloatField(label="Multiply estimates by", widget=forms.NumberInput(attrs={"step": "0.05"}))
    reason = forms.CharField(label="Why", max_length=500)
