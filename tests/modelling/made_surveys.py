"""Surveys made up for the tests, as a door would send them."""

from modelling.contracts.outcomes import SurveyQuestion

#: ten kinds of a middling meadow, by key
KINDS = (
    "lolium_perenne", "festuca_rubra", "agrostis_capillaris", "plantago_lanceolata", "trifolium_pratense",
    "ranunculus_acris", "leucanthemum_vulgare", "centaurea_nigra", "rhinanthus_minor", "lotus_corniculatus",
)  # fmt: skip


def record(taxon, scale="presence", value="", name=None):
    return {"taxon": taxon, "name": name or taxon, "scale": scale, "value": value}


def written(name, scale="presence", value=""):
    return {"taxon": None, "name": name, "scale": scale, "value": value}


def quadrat(*records, label="1", **noted):
    return {"label": label, "records": [r if isinstance(r, dict) else record(r) for r in records], **noted}


def survey(*quadrats, on="2028-06-20", grade="expert", layout="random", **more):
    return {"on": on, "grade": grade, "layout": layout, "quadrats": list(quadrats), **more}


def question(found, **more):
    return SurveyQuestion.model_validate({"survey": found, **more})


def held(*counts, **noted):
    """Quadrats with so many kinds each."""
    return [quadrat(*KINDS[:n], label=str(i), **noted) for i, n in enumerate(counts, 1)]
