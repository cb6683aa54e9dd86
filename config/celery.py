"""The Celery application: it delivers job numbers; the job table is the truth (see ``media.base.jobs``)."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings")

app = Celery("fettle")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks(["media.base"], related_name="tasks")
