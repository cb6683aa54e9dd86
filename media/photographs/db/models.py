"""Photographs, named by the SHA-256 of their bytes; the original is never rewritten."""

from __future__ import annotations

from django.conf import settings
from django.db import models


class Photograph(models.Model):
    """One original as it came from the camera. Renditions are made from it and can be made again."""

    sha256 = models.CharField(primary_key=True, max_length=64)
    kind = models.CharField(max_length=8, help_text="By content: jpeg, png, webp, heic")
    width = models.PositiveIntegerField(help_text="Pixels, upright")
    height = models.PositiveIntegerField(help_text="Pixels, upright")
    size = models.PositiveIntegerField(help_text="Bytes of the original")
    taken_at = models.CharField(max_length=40, blank=True, help_text="As the camera says, unchecked")
    received_at = models.DateTimeField()
    received_from = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, null=True, related_name="photographs")

    def __str__(self) -> str:
        return self.sha256[:12]
