"""Addresses of the ranking, its lists and files, and of scoring again."""

from django.urls import path

from survey.risk.web.views import asking, lists, looking_next, own_surveys, ranking, scoring

app_name = "risk"
urlpatterns = [
    path("", ranking.ranking, name="ranking"),
    path("objects/<uuid:pk>/", ranking.reasons, name="reasons"),
    path("objects/<uuid:pk>/what-if/", asking.asking, name="what_if"),
    path("export/", lists.export, name="export"),
    path("shelves/", lists.shelf_list, name="shelf_list"),
    path("do-not-lift/", lists.do_not_lift, name="do_not_lift"),
    path("do-not-lift/notices/", lists.shelf_notices, name="shelf_notices"),
    path("workshops/", lists.workshops, name="workshops"),
    path("nitrate/", lists.nitrate, name="nitrate"),
    path("nitrate/nitrate.csv", lists.nitrate_csv, name="nitrate_csv"),
    path("next/", looking_next.look_next, name="look_next"),
    path("next/next.csv", looking_next.look_next_csv, name="look_next_csv"),
    path("next/again/", looking_next.look_next_again, name="look_next_again"),
    path("own-surveys/", own_surveys.own_surveys, name="own_surveys"),
    path("own-surveys/fit/", own_surveys.fit_own, name="fit_own"),
    path("own-surveys/<uuid:pk>/propose/", own_surveys.propose_own, name="propose_own"),
    path("own-surveys/<uuid:pk>/leave/", own_surveys.leave_own, name="leave_own"),
    path("score/", scoring.run, name="run"),
    path("score/progress/<uuid:pk>/", scoring.progress, name="progress"),
    path("score/stop/", scoring.stop, name="stop"),
]
