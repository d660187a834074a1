"""Enter the roles as groups; re-runnable."""

from django.db import migrations

ROLES = (
    "technician",
    "reviewer",
    "authorised signatory",
    "equipment keeper",
    "quality manager",
    "auditor",
    "customer",
)


def enter_roles(apps, schema_editor):
    """Create each group that is not there yet."""
    groups = apps.get_model("auth", "Group")
    for name in ROLES:
        groups.objects.get_or_create(name=name)


class Migration(migrations.Migration):
    dependencies = [
        ("gradation", "0001_first_tables"),
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [migrations.RunPython(enter_roles, migrations.RunPython.noop)]
