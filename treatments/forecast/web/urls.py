from django.urls import path

from treatments.forecast.web import views

app_name = "forecast"
urlpatterns = [
    path("", views.forecast, name="forecast"),
    path("run/", views.run, name="run"),
    path("between/", views.between, name="between"),
    path("objects/", views.objects, name="objects"),
]
