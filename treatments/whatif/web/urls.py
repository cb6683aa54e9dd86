from django.urls import path

from treatments.whatif.web import views

app_name = "whatif"
urlpatterns = [
    path("", views.scenarios, name="scenarios"),
    path("add/", views.add, name="add"),
    path("<uuid:pk>/remove/", views.remove, name="remove"),
    path("reckon/", views.compare, name="compare"),
    path("plan/<int:pk>/<int:turn>/", views.plan, name="plan"),
    path("least/", views.give_way, name="give_way"),
    path("least/<int:pk>/keep/", views.keep_least, name="keep_least"),
]
