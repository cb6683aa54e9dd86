from django.urls import URLPattern

app_name = "options"
urlpatterns: list[URLPattern] = []
