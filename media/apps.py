from django.apps import AppConfig


class MediaConfig(AppConfig):
    name = "media"
    verbose_name = "Media"
