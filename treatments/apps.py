from importlib import import_module

from django.apps import AppConfig


class TreatmentsConfig(AppConfig):
    name = "treatments"
    verbose_name = "Treatments"

    def ready(self) -> None:
        import_module("treatments.forecast.db.jobs")
