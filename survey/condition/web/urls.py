from django.urls import path

from survey.condition.web.views import assessing, closing, marking, parts, walking

app_name = "condition"
THING = "object/<uuid:pk>/<str:kind>/<uuid:part>"
urlpatterns = [
    path("", walking.survey, name="survey"),
    path("rounds/start/", walking.start_round, name="start_round"),
    path("rounds/<uuid:pk>/choose/", walking.choose_round, name="choose_round"),
    path("rounds/<uuid:pk>/end/", walking.end_round, name="end_round"),
    path("shelf/<uuid:pk>/", walking.shelf, name="shelf"),
    path("shelf/<uuid:pk>/found/", walking.found_here, name="found_here"),
    path("object/<uuid:pk>/", assessing.assess, name="assess"),
    path("object/<uuid:pk>/answer/", assessing.answer, name="answer"),
    path("object/<uuid:pk>/unremarkable/", assessing.unremarkable, name="unremarkable"),
    path("object/<uuid:pk>/notes/", assessing.notes, name="notes"),
    path("object/<uuid:pk>/photographs/", assessing.photographs, name="photographs"),
    path("object/<uuid:pk>/undo/", assessing.undo, name="undo"),
    path("object/<uuid:pk>/next/", closing.next_object, name="next_object"),
    path("object/<uuid:pk>/discard/", closing.discard, name="discard"),
    path("object/<uuid:pk>/restoration/", parts.restoration, name="add_restoration"),
    path("object/<uuid:pk>/restoration/<uuid:part>/", parts.restoration, name="restoration"),
    path("object/<uuid:pk>/restoration/<uuid:part>/remove/", parts.remove_restoration, name="remove_restoration"),
    path("object/<uuid:pk>/<str:kind>/add/", parts.add, name="add_part"),
    path(f"{THING}/stage/", parts.stage, name="stage"),
    path(f"{THING}/sign/", parts.sign, name="sign"),
    path(f"{THING}/all-signs/", parts.all_signs, name="all_signs"),
    path(f"{THING}/details/", parts.details, name="details"),
    path(f"{THING}/evidence/", parts.evidence, name="evidence"),
    path(f"{THING}/remove/", parts.remove, name="remove_part"),
    path("photograph/<int:pk>/", marking.markup, name="markup"),
    path("photograph/<int:pk>/draw/", marking.draw, name="draw"),
    path("photograph/<int:pk>/annotations.jsonld", marking.as_annotations, name="annotations"),
    path("assessment/<uuid:pk>/", closing.assessment, name="assessment"),
    path("assessment/<uuid:pk>/correct/", closing.correct, name="correct"),
]
