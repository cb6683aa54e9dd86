"""Addresses of climates and loggers' files, below the settings."""

from django.urls import path

from survey.risk.web.views import climate

app_name = "climate"
urlpatterns = [
    path("", climate.places, name="places"),
    path("places/<uuid:pk>/", climate.place, name="place"),
    path("places/<uuid:pk>/class/", climate.place_class, name="place_class"),
    path("files/", climate.files, name="files"),
    path("files/new/", climate.file_new, name="file_new"),
    path("files/<uuid:pk>/", climate.file, name="file"),
    path("files/<uuid:pk>/count/", climate.file_count, name="file_count"),
    path("files/<uuid:pk>/take-back/", climate.file_take_back, name="file_take_back"),
    path("files/<uuid:pk>/put-away/", climate.file_discard, name="file_discard"),
]
