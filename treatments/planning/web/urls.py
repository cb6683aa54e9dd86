from django.urls import path

from treatments.planning.web import byhand, plan, views, worth

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
    path("plan/", plan.plan, name="plan"),
    path("plan/make/", plan.make, name="plan_make"),
    path("plan/adapt/", plan.adapt, name="plan_adapt"),
    path("plan/<uuid:pk>/pin/<uuid:thing>/", plan.pin, name="plan_pin"),
    path("plan/<uuid:pk>/sitting/<int:key>/", byhand.sitting, name="sitting"),
    path("plan/<uuid:pk>/sitting/<int:key>/try/", byhand.try_out, name="sitting_try"),
    path("plan/<uuid:pk>/sitting/<int:key>/swap/", byhand.swap, name="sitting_swap"),
    path("plan/<uuid:pk>/undo/", byhand.undo, name="plan_undo"),
    path("plan/lock/", byhand.lock, name="week_lock"),
    path("plan/sheet/", plan.sheet, name="plan_sheet"),
    path("plan/worth/", worth.worth, name="worth"),
    path("plan/effects/", plan.effects, name="plan_effects"),
    path("plan/calendars/", plan.calendars, name="calendars"),
    path("plan/calendars/<uuid:pk>/", plan.calendar_change, name="calendar_change"),
    path("plan/calendar/<str:token>.ics", plan.feed, name="feed"),
]
