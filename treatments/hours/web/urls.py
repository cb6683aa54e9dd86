from django.urls import path

from treatments.hours.web import views

app_name = "hours"
urlpatterns = [
    path("", views.treatments, name="treatments"),
    path("treatments.csv", views.export, name="export"),
    path("accept/", views.accept, name="accept"),
    path("accept/take-back/", views.take_back_accepted, name="take_back_accepted"),
    path("<uuid:pk>/", views.object_, name="object"),
    path("<uuid:pk>/choose/", views.choose, name="choose"),
    path("<uuid:pk>/take-back/", views.take_back, name="take_back"),
]
