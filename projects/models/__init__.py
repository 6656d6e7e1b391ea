"""Rows and their constraints, one noun a file."""

from projects.models.jobs import Job

__all__ = ["Job"]
