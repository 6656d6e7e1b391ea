"""Degrees beside the squares and the places they are of, worked out once when a place is told."""

from typing import Any

from django.db import migrations, models
from django.db.backends.base.schema import BaseDatabaseSchemaEditor

from projects import geography


def fill(apps: Any, _: BaseDatabaseSchemaEditor | None) -> None:
    """Work out the degrees of every place and of every square that is shown."""
    sites, places = apps.get_model("projects", "Site"), apps.get_model("projects", "SitePlace")
    for site in sites.objects.filter(shown_side_m__isnull=False).iterator():
        square = geography.Square(site.shown_easting_m, site.shown_northing_m, site.shown_side_m)
        sites.objects.filter(pk=site.pk).update(shown_degrees=geography.in_degrees(square, square.centre))
    for place in places.objects.iterator():
        point = geography.Point(place.easting_m, place.northing_m)
        shape: geography.Outline | geography.Square | geography.Point = point
        if place.outline:
            shape = geography.Outline.from_pairs(place.outline)
        elif place.side_m > 1:
            shape = geography.square_of(point, place.side_m)
        places.objects.filter(pk=place.pk).update(degrees=geography.in_degrees(shape, point))


class Migration(migrations.Migration):
    dependencies = [("projects", "0004_grant_rounds")]

    operations = [
        migrations.RemoveConstraint(model_name="site", name="site_shown_unless_private"),
        migrations.AddField(
            model_name="site", name="shown_degrees", field=models.JSONField(blank=True, null=True)
        ),
        migrations.AddField(
            model_name="siteplace", name="degrees", field=models.JSONField(default=dict), preserve_default=False
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
        migrations.AddConstraint(
            model_name="site",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("publicity", "private"),
                        ("shown_degrees__isnull", True),
                        ("shown_easting_m__isnull", True),
                        ("shown_northing_m__isnull", True),
                        ("shown_side_m__isnull", True),
                    ),
                    models.Q(
                        models.Q(("publicity", "private"), _negated=True),
                        ("shown_degrees__isnull", False),
                        ("shown_easting_m__isnull", False),
                        ("shown_northing_m__isnull", False),
                        ("shown_side_m__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="site_shown_unless_private",
            ),
        ),
    ]
