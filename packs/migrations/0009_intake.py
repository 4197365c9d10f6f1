"""What each check costs the database: indexes that no query uses go, those of columns that are
mostly empty hold what is not.

SQLite would copy the table, and forget its triggers, to be told that a column has no index; only
the indexes are dropped. On PostgreSQL the one that keeps two corrections of one record apart
leaves out what corrects nothing.
"""

import django.db.models.deletion
from django.db import migrations, models

UNUSED = {
    "client": "bb3fa62d",
    "done_by": "d7ba0fe7",
    "equipment": "ac35d30d",
    "pack": "23570316",
    "recorded_by": "cf886563",
    "visit": "5f05a2a6",
    "void_client": "1b7e0adf",
    "voided_by": "0cb47a47",
}
TABLE = "packs_voltagecheck"
ONE_CORRECTION = f"{TABLE}_supersedes_id_key"
TO = {
    "client": "client", "void_client": "client", "pack": "pack", "equipment": "equipment",
    "visit": "visit", "recorded_by": "person", "done_by": "person", "voided_by": "person",
}


def drop(apps, schema_editor):
    for column, ending in UNUSED.items():
        schema_editor.execute(f"DROP INDEX {TABLE}_{column}_id_{ending}")
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(f"ALTER TABLE {TABLE} DROP CONSTRAINT {ONE_CORRECTION}")
        schema_editor.execute(
            f"CREATE UNIQUE INDEX {ONE_CORRECTION} ON {TABLE} (supersedes_id)"
            " WHERE supersedes_id IS NOT NULL"
        )


def restore(apps, schema_editor):
    for column, ending in UNUSED.items():
        schema_editor.execute(f"CREATE INDEX {TABLE}_{column}_id_{ending} ON {TABLE} ({column}_id)")
    if schema_editor.connection.vendor == "postgresql":
        schema_editor.execute(f"DROP INDEX {ONE_CORRECTION}")
        schema_editor.execute(
            f"ALTER TABLE {TABLE} ADD CONSTRAINT {ONE_CORRECTION} UNIQUE (supersedes_id)"
        )


class Migration(migrations.Migration):
    dependencies = [("packs", "0008_bench_kept")]
    operations = [
        migrations.SeparateDatabaseAndState(
            database_operations=[migrations.RunPython(drop, restore)],
            state_operations=[
                migrations.AlterField(
                    "voltagecheck",
                    name,
                    models.ForeignKey(
                        db_index=False,
                        null=name != "client",
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=f"packs.{model}",
                    ),
                )
                for name, model in TO.items()
            ],
        ),
        *(
            migrations.AddIndex(
                "voltagecheck",
                models.Index(
                    fields=[name],
                    condition=models.Q((f"{name}__isnull", False)),
                    name=f"voltagecheck_by_{name}",
                ),
            )
            for name in ("equipment", "visit")
        ),
    ]
