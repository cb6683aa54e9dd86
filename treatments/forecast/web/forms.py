"""What the forecast assumes to come between, as a form."""

from __future__ import annotations

from django import forms

from treatments.forecast.db.models import Mishap

PER_CENT = ("surprise", "surprise_extra")


class MishapForm(forms.Form):
    """Illness and surprises; shares are typed as per cent."""

    sick_days = forms.FloatField(label="Working days ill, each person in a year", min_value=0, max_value=150)
    spell_days = forms.FloatField(label="Days that an illness lasts on average", min_value=1, max_value=90)
    surprise = forms.FloatField(label="Chance of a surprise before any record, %", min_value=0.1, max_value=99.9)
    surprise_weight = forms.FloatField(label="How many recorded objects that is worth", min_value=1, max_value=1000)
    surprise_extra = forms.FloatField(label="What a surprise adds to the steps after it, %", min_value=0, max_value=500)
    reason = forms.CharField(label="Why", max_length=500)

    @classmethod
    def of(cls, row: Mishap) -> MishapForm:
        names = ("sick_days", "spell_days", "surprise", "surprise_weight", "surprise_extra")
        return cls(
            initial={name: round(getattr(row, name) * (100 if name in PER_CENT else 1), 2) for name in names}
        )  # fmt: skip

    def values(self) -> dict[str, float]:
        """What the service takes."""
        kept = {name: value for name, value in self.cleaned_data.items() if name != "reason"}
        return {name: value / 100 if name in PER_CENT else value for name, value in kept.items()}
