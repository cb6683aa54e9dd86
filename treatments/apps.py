from importlib import import_module

from django.apps import AppConfig


class TreatmentsConfig(AppConfig):
    name = "treatments"
    verbose_name = "Treatments"

    def ready(self) -> None:
        for room in ("planning", "forecast", "whatif", "overview"):
            import_module(f"treatments.{room}.db.jobs")
