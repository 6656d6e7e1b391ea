"""The life of a meadow project: which stage may follow which, and what each step asks for."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

from projects.choices import Stage

_S = Stage
#: the stage -> those that may follow it
FOLLOWS: Final[Mapping[str, tuple[Stage, ...]]] = MappingProxyType(
    {
        _S.IDEA: (_S.PLANNED, _S.LAPSED, _S.HANDED_OVER),
        _S.PLANNED: (_S.READY, _S.IDEA, _S.LAPSED, _S.HANDED_OVER),
        _S.READY: (_S.PREPARED, _S.SOWN, _S.PLANNED, _S.LAPSED, _S.HANDED_OVER),
        _S.PREPARED: (_S.SOWN, _S.PLANNED, _S.FAILED, _S.LAPSED, _S.HANDED_OVER),
        _S.SOWN: (_S.AFTERCARE, _S.RESOWN, _S.FAILED, _S.LAPSED, _S.HANDED_OVER),
        _S.AFTERCARE: (_S.RESOWN, _S.FAILED, _S.LAPSED, _S.HANDED_OVER),
        _S.RESOWN: (_S.AFTERCARE, _S.FAILED, _S.LAPSED, _S.HANDED_OVER),
        _S.FAILED: (_S.RESOWN, _S.PLANNED, _S.HANDED_OVER),
        _S.LAPSED: (_S.PLANNED, _S.RESOWN, _S.AFTERCARE, _S.HANDED_OVER),
        _S.HANDED_OVER: (),
    }
)
#: stages in which work on the ground is still to come or going on
LIVE: Final = frozenset({_S.IDEA, _S.PLANNED, _S.READY, _S.PREPARED, _S.SOWN, _S.AFTERCARE, _S.RESOWN})
#: stages of a project that has seed in the ground
GROWING: Final = frozenset({_S.SOWN, _S.AFTERCARE, _S.RESOWN})
#: stages before a spade is put in
BEFORE_WORK: Final = frozenset({_S.IDEA, _S.PLANNED, _S.READY})
NEEDS_CAUSE: Final = frozenset({_S.FAILED, _S.LAPSED})
#: a step here starts or goes on with work on the ground, which needs every permission
NEEDS_PERMISSIONS: Final = frozenset({_S.READY, _S.PREPARED, _S.SOWN, _S.RESOWN})
#: a project once sown may not go back to before it
ONLY_UNSOWN: Final = frozenset({_S.IDEA, _S.PLANNED, _S.READY, _S.PREPARED, _S.SOWN})


def may_follow(stage: str, following: str, *, sown: bool) -> bool:
    """Say whether a stage may follow another, for a project that has been sown or not."""
    if following in ONLY_UNSOWN and sown:
        return False
    if following in {_S.RESOWN, _S.AFTERCARE} and not sown:
        return False
    return following in FOLLOWS[stage]


def following(stage: str, *, sown: bool) -> list[Stage]:
    """Return the stages that may follow, in the usual order."""
    return [step for step in FOLLOWS[stage] if may_follow(stage, step, sown=sown)]
