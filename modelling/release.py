"""The release and the model version; the recipe of every answer names both."""

from __future__ import annotations

from typing import Final

RELEASE: Final = "0.1.0"
#: rises when numbers may move for the same inputs; the changes are listed in the README
MODEL_VERSION: Final = "1"
#: rises when the results of a survey may move for the same survey and tables
RESULTS_VERSION: Final = "2"
