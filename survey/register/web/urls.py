"""Addresses of places, the register, its imports, exhibitions and checklists."""

from django.urls import path, re_path

from survey.register.web.views import checklists, exhibitions, imports, objects, places, placing

app_name = "register"
urlpatterns = [
    path("places/", places.places, name="places"),
    path("places/new/", places.place_new, name="place_new"),
    path("places/by-words/", placing.by_words, name="places_by_words"),
    path("places/by-words/<uuid:pk>/", placing.sorting, name="sorting"),
    path("places/by-words/<uuid:pk>/go-on/", placing.sorting_go_on, name="sorting_go_on"),
    path("places/by-words/<uuid:pk>/undo/", placing.sorting_undo, name="sorting_undo"),
    path("places/<uuid:pk>/", places.place, name="place"),
    path("places/<uuid:pk>/edit/", places.place_edit, name="place_edit"),
    path("places/<uuid:pk>/move/", places.place_move, name="place_move"),
    path("places/<uuid:pk>/shift/", places.place_shift, name="place_shift"),
    path("places/<uuid:pk>/remove/", places.place_delete, name="place_delete"),
    path("register/", objects.objects, name="objects"),
    re_path(r"^register/register\.(?P<kind>csv|xlsx)$", objects.export, name="export"),
    path("register/objects/new/", objects.object_new, name="object_new"),
    path("register/objects/<uuid:pk>/edit/", objects.object_edit, name="object_edit"),
    path("register/objects/<uuid:pk>/move/", objects.object_move, name="object_move"),
    path("register/objects/<uuid:pk>/move/undo/", objects.object_move_undo, name="object_move_undo"),
    path("register/objects/<uuid:pk>/withdraw/", objects.object_withdraw, name="object_withdraw"),
    path("register/objects/<uuid:pk>/take-back/", objects.object_take_back, name="object_take_back"),
    path("register/imports/", imports.imports, name="imports"),
    path("register/imports/new/", imports.import_new, name="import_new"),
    path("register/imports/<uuid:pk>/", imports.import_, name="import"),
    path("register/imports/<uuid:pk>/columns/", imports.import_match, name="import_match"),
    path("register/imports/<uuid:pk>/bring-in/", imports.import_bring_in, name="import_bring_in"),
    path("register/imports/<uuid:pk>/undo/", imports.import_undo, name="import_undo"),
    path("register/imports/<uuid:pk>/put-away/", imports.import_discard, name="import_discard"),
    path("exhibitions/", exhibitions.exhibitions, name="exhibitions"),
    path("exhibitions/new/", exhibitions.exhibition_new, name="exhibition_new"),
    path("exhibitions/<uuid:pk>/", exhibitions.exhibition, name="exhibition"),
    path("exhibitions/<uuid:pk>/edit/", exhibitions.exhibition_edit, name="exhibition_edit"),
    path("exhibitions/<uuid:pk>/close/", exhibitions.exhibition_close, name="exhibition_close"),
    path("exhibitions/<uuid:pk>/reopen/", exhibitions.exhibition_reopen, name="exhibition_reopen"),
    path("exhibitions/<uuid:pk>/add/", checklists.entry_add, name="entry_add"),
    path("exhibitions/<uuid:pk>/list/", checklists.list_import, name="list_import"),
    path("exhibitions/entries/<int:pk>/edit/", checklists.entry_edit, name="entry_edit"),
    path("exhibitions/entries/<int:pk>/remove/", checklists.entry_remove, name="entry_remove"),
    path("exhibitions/entries/<int:pk>/restore/", checklists.entry_restore, name="entry_restore"),
]
