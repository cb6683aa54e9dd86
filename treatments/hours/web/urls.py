from django.urls import path

from treatments.hours.web import learned, time, views

app_name = "hours"
urlpatterns = [
    path("", views.treatments, name="treatments"),
    path("treatments.csv", views.export, name="export"),
    path("accept/", views.accept, name="accept"),
    path("accept/take-back/", views.take_back_accepted, name="take_back_accepted"),
    path("learned/", learned.learned, name="learned"),
    path("learned/factor/", learned.factor, name="factor"),
    path("time/", time.week, name="time"),
    path("time/time.csv", time.export, name="time_export"),
    path("time/stop/", time.stop, name="clock_stop"),
    path("time/discard/", time.discard, name="clock_discard"),
    path("time/<int:pk>/", time.correct, name="time_correct"),
    path("time/<int:pk>/strike/", time.take_out, name="time_take_out"),
    path("time/<int:pk>/put-back/", time.put_back, name="time_put_back"),
    path("<uuid:pk>/", views.object_, name="object"),
    path("<uuid:pk>/time/", time.of_object, name="time_of_object"),
    path("<uuid:pk>/time/start/", time.start, name="clock_start"),
    path("<uuid:pk>/time/add/", time.add, name="time_add"),
    path("<uuid:pk>/time/finish/", time.finish, name="finish"),
    path("<uuid:pk>/time/reopen/", time.reopen, name="reopen"),
    path("<uuid:pk>/choose/", views.choose, name="choose"),
    path("<uuid:pk>/take-back/", views.take_back, name="take_back"),
]
