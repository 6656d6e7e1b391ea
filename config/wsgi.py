"""The WSGI door, for gunicorn and its like."""

import os

from django.core.wsgi import get_wsgi_application

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "config.settings.base")
application = get_wsgi_application()

# The application must be set up before its models can be imported.
from projects.worker import start_beside_the_server  # noqa: E402

start_beside_the_server()
