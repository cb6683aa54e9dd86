from django.urls import URLPattern

app_name = "photographs"
urlpatterns: list[URLPattern] = []
