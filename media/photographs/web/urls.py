from django.urls import path

from media.photographs.web import views

app_name = "photographs"
urlpatterns = [path("<str:sha256>/<str:kind>/", views.image, name="image")]
