from django.urls import path

from survey.capture.web import api

app_name = "capture"
urlpatterns = [
    path("status/", api.status, name="status"),
    path("choices/", api.choices, name="choices"),
    path("pack/", api.pack, name="pack"),
    path("operations/", api.operations, name="operations"),
    path("photographs/<str:sha256>/", api.photograph, name="photograph"),
    path("openapi.json", api.openapi, name="openapi"),
]
