from django.urls import path

from survey.capture.web import api, desk, labels, shell

app_name = "capture"
urlpatterns = [
    path("", shell.home, name="home"),
    path("worker.js", shell.worker, name="worker"),
    path("app.webmanifest", shell.manifest, name="manifest"),
    path("reconcile/", desk.reconcile, name="reconcile"),
    path("reconcile/<uuid:pk>/", desk.decide, name="decide"),
    path("waiting/<int:pk>/", desk.decide_operation, name="decide_operation"),
    path("load/", desk.load, name="load"),
    path("labels/", labels.labels, name="labels"),
    path("labels/labels.pdf", labels.sheets, name="label_sheets"),
    path("status/", api.status, name="status"),
    path("choices/", api.choices, name="choices"),
    path("pack/", api.pack, name="pack"),
    path("operations/", api.operations, name="operations"),
    path("photographs/<str:sha256>/", api.photograph, name="photograph"),
    path("openapi.json", api.openapi, name="openapi"),
]
