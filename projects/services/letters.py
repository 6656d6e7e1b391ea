"""Letters by e-mail: plain text, written whole before they are sent, and never a reason for an act to fail."""

from __future__ import annotations

import logging
import threading
from typing import Any, Final

from django.conf import settings
from django.core.mail import EmailMessage
from django.template.loader import render_to_string

logger = logging.getLogger(__name__)

_PRINTED: Final = "django.core.mail.backends.console.EmailBackend"


def has_mail() -> bool:
    """Whether letters leave this server; without a mail server they are printed where it runs."""
    return settings.EMAIL_BACKEND != _PRINTED


def letter(template: str, to: str, **told: Any) -> EmailMessage:
    """A letter from its template, whose first line is the subject."""
    subject, _, body = render_to_string(f"mail/{template}.txt", told).strip().partition("\n")
    return EmailMessage(subject=" ".join(subject.split()), body=f"{body.strip()}\n", to=[to])


def send(message: EmailMessage) -> bool:
    """Send a letter; say whether it went out."""
    try:
        message.send()
    except (OSError, ValueError) as error:
        # Neither whom it was to nor what it said belongs into a log.
        logger.warning("A letter could not be sent: %s.", type(error).__name__)
        return False
    return has_mail()


def send_aside(message: EmailMessage) -> threading.Thread:
    """Send a letter while the page is answered, so that the time it takes tells nobody that there was one to send."""
    thread = threading.Thread(target=send, args=[message], name="letter")
    thread.start()
    return thread
