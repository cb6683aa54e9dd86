from django.urls import path

from treatments.overview.web import views

app_name = "overview"
urlpatterns = [
    path("", views.today, name="today"),
    path("objects/<uuid:pk>/", views.object_, name="object"),
    path("week/", views.week, name="week"),
    path("settings/", views.settings, name="settings"),
]
