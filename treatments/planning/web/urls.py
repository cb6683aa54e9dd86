from django.urls import path

from treatments.planning.web import views

app_name = "planning"
urlpatterns = [
    path("", views.staff, name="staff"),
    path("new/", views.member_new, name="member_new"),
    path("benches/", views.benches, name="benches"),
    path("days-off/", views.holiday_add, name="holiday_add"),
    path("days-off/<int:pk>/remove/", views.holiday_remove, name="holiday_remove"),
    path("<uuid:pk>/", views.member_edit, name="member"),
    path("<uuid:pk>/remove/", views.member_remove, name="member_remove"),
    path("<uuid:pk>/leave/", views.leave_add, name="leave_add"),
    path("<uuid:pk>/leave/<int:leave>/remove/", views.leave_remove, name="leave_remove"),
]
