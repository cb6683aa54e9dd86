from django.contrib.auth.views import LogoutView
from django.urls import path

from media.base.access import open_to_all
from media.base.web import people, views

app_name = "base"
urlpatterns = [
    path("sign-in/", views.sign_in, name="sign_in"),
    path("sign-out/", open_to_all("ends a session, for whoever has one")(LogoutView.as_view()), name="sign_out"),
    path("people/", people.people, name="people"),
    path("people/new/", people.person_new, name="person_new"),
    path("people/<int:pk>/", people.person_edit, name="person"),
    path("people/<int:pk>/password/", people.person_password, name="person_password"),
    path("password/", people.own_password, name="own_password"),
    path("alive/", views.alive, name="alive"),
    path("jobs/<uuid:pk>/", views.job, name="job"),
    path("jobs/<uuid:pk>/cancel/", views.cancel_job, name="cancel_job"),
]
