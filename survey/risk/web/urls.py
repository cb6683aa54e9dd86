from django.urls import URLPattern

app_name = "risk"
urlpatterns: list[URLPattern] = []
