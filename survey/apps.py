from importlib import import_module

from django.apps import AppConfig


class SurveyConfig(AppConfig):
    name = "survey"
    verbose_name = "Survey"

    def ready(self) -> None:
        for room in ("register", "risk"):
            import_module(f"survey.{room}.db.jobs")
