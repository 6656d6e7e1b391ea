"""Sheets that people send: read into plain rows, understood as a survey, and made for them to fill in."""
