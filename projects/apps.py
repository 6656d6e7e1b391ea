from django.apps import AppConfig


class ProjectsConfig(AppConfig):
    """The doors: the API, the pages, the commands."""

    name = "projects"
