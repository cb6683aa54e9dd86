from django.contrib.auth.views import LogoutView
from django.urls import path

from media.base.access import open_to_all
from media.base.web import views

app_name = "base"
urlpatterns = [
    path("sign-in/", views.sign_in, name="sign_in"),
    path("sign-out/", open_to_all("ends a session, for whoever has one")(LogoutView.as_view()), name="sign_out"),
    path("alive/", views.alive, name="alive"),
    path("jobs/<uuid:pk>/", views.job, name="job"),
    path("jobs/<uuid:pk>/cancel/", views.cancel_job, name="cancel_job"),
]
