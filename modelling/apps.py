from django.apps import AppConfig


class ModellingConfig(AppConfig):
    """The model and its reference tables; knows nothing of projects."""

    name = "modelling"
