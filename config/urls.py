"""Root addresses: each room's pages under its own."""

from django.urls import include, path

urlpatterns = [
    path("", include("treatments.overview.web.urls")),
    path("", include("media.base.web.urls")),
    path("photographs/", include("media.photographs.web.urls")),
    path("", include("survey.register.web.urls")),
    path("survey/", include("survey.condition.web.urls")),
    path("capture/", include("survey.capture.web.urls")),
    path("ranking/", include("survey.risk.web.urls")),
    path("settings/", include("survey.risk.web.settings_urls")),
    path("settings/climate/", include("survey.risk.web.climate_urls")),
    path("treatments/", include("treatments.hours.web.urls")),
    path("staff/", include("treatments.planning.web.urls")),
    path("forecast/what-if/", include("treatments.whatif.web.urls")),
    path("forecast/", include("treatments.forecast.web.urls")),
]
