"""Addresses of what scoring assumes, below the settings."""

from django.urls import path

from survey.risk.web.views import parameters

app_name = "parameters"
urlpatterns = [
    path("scoring/", parameters.parameters, name="parameters"),
    path("scoring/tables/<slug:code>/", parameters.table, name="table"),
    path("scoring/drafts/<uuid:pk>/", parameters.draft, name="draft"),
    path("scoring/drafts/<uuid:pk>/again/", parameters.draft_again, name="draft_again"),
    path("scoring/drafts/<uuid:pk>/adopt/", parameters.adopt, name="adopt"),
    path("scoring/drafts/<uuid:pk>/throw-away/", parameters.throw_away, name="throw_away"),
    path("scoring/sets/", parameters.sets, name="sets"),
    path("scoring/sets/<int:number>/", parameters.set_, name="set"),
    path("scoring/sets/<int:number>/again/", parameters.set_again, name="set_again"),
]
