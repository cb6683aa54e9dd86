"""What people drew on photographs, version by version; the photograph itself is never touched."""

from __future__ import annotations

import uuid

from django.conf import settings
from django.db import models
from django.db.models import Q


class Markup(models.Model):
    """All that one person drew on one photograph at one time. Only ever added to: a change is a new version."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    sha256 = models.CharField(max_length=64, help_text="Of the photograph, whose bytes may still be on their way")
    author = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="markups")
    at = models.DateTimeField()
    drawing = models.JSONField(help_text="Size, scale and marks, as media.markup.geometry writes them")
    after = models.JSONField(default=list, help_text="Ids of the versions that its author changed")
    overtaken = models.BooleanField(default=False, help_text="A later version takes its place")

    class Meta:
        indexes = [
            models.Index(fields=["sha256", "at"], name="markup_of_photograph"),
            models.Index(fields=["sha256"], name="markup_standing", condition=Q(overtaken=False)),
        ]

    def __str__(self) -> str:
        return f"Markup of {self.sha256[:12]} at {self.at:%Y-%m-%d}"
