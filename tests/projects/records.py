"""A county with agreed returns: an open paddock, a churchyard by its square, and a private garden."""

from datetime import datetime
from zoneinfo import ZoneInfo

from modelling.reading import read_as
from projects.contracts.returns import ReturnNew
from projects.services import returns
from tests.projects.county import saltmere

#: two summers after the paddock of the county was sown
AUTUMN = datetime(2028, 9, 1, 10, 0, tzinfo=ZoneInfo("Europe/London"))


def walk(*extra, label="Jory’s own", **values):
    """A return of one walk with two quadrats: sure names, one that nobody settled, amounts, measures."""
    data = {
        "year": 2028,
        "grade": "knows_most",
        "layout": "random",
        "person_hours": 3.0,
        "heads": 2,
        "narrative": "Jory Lanthorn walked it.",
        "visits": [
            {
                "on": "2028-06-20",
                "whole_site": [{"name": "cowslip"}],
                "quadrats": [
                    {
                        "label": label,
                        "area_m2": 1.0,
                        "bare_ground_percent": 5,
                        "litter_percent": 12.5,
                        "forb_cover_percent": 40,
                        "sward_height_cm": 31,
                        "rattle_plants": 4,
                        "records": [
                            {"name": "Common knapweed", "scale": "percent", "value": "12.5"},
                            {"name": "red clover", "scale": "domin", "value": "+"},
                            {"name": "cranesbill?"},
                            {"name": "=cmd(1)\"x\""},
                            *extra,
                        ],
                    },
                    {"label": "2", "area_m2": 0.25, "part": "control", "records": [
                        {"name": "dock"}, {"name": "Common knapweed", "scale": "percent", "value": "0"},
                    ]},
                ],
            }
        ],
    }  # fmt: skip
    return data | values


def send(county, data, project="Paddock to hay", who="member"):
    """Send a return and return its row."""
    row, _ = returns.return_send(
        actor=county.as_(getattr(county, who)),
        project_id=county.projects[project].public_id,
        asked=read_as(ReturnNew, data),
        now=AUTUMN,
    )
    return row


def agree(county, row):
    """Accept every question of a return and agree to it."""
    coordinator = county.as_(county.coordinator)
    for question in row.current.questions.filter(accepted_at__isnull=True):
        returns.question_accept(actor=coordinator, public_id=question.public_id, now=AUTUMN)
    return returns.return_agree(
        actor=coordinator, return_id=row.public_id, comment="", if_version=None, now=AUTUMN
    )  # fmt: skip


def recorded(*extra):
    """The county with three agreed returns, by the names of their projects."""
    county = saltmere()
    rows = {}
    for name in ("Paddock to hay", "Under the yews", "Behind the house"):
        rows[name] = agree(county, send(county, walk(*extra), name))
    return county, rows
