"""What search compares, stored and indexed: keys with look-alikes as one.

SQLite copies a table to add a column that Django says may not be null, and forgets its triggers;
told in its own words it adds the column in place. On PostgreSQL a column that is searched by its
beginning compares by code point, as SQLite does, and has an index of trigrams for what stands
inside.
"""

from django.db import migrations, models

from packs.rules.vehicles import alike_key

BATCH = 2_000  # rows read and written together
ADDED = (
    ("pack", "serial_alike", 40, "serial"),
    ("module", "tag_alike", 120, "tag"),
    ("vehicle", "plate_alike", 60, "plate"),
)
COMPARED = (
    ("vehicle", "vin", 17),
    ("customer", "name_key", 600),
    ("customer", "phone_key", 40),
)
SEARCHED = (*((model, column) for model, column, _, _ in ADDED), *(pair[:2] for pair in COMPARED))


def add(apps, schema_editor):
    """The columns, empty: search finds nothing by them yet."""
    postgresql = schema_editor.connection.vendor == "postgresql"
    ordered = ' COLLATE "C"' if postgresql else ""
    for model, column, length, _ in ADDED:
        schema_editor.execute(
            f"ALTER TABLE packs_{model} ADD COLUMN {column} varchar({length}){ordered}"
            " DEFAULT '' NOT NULL"
        )
    if postgresql:
        for model, column, length in COMPARED:
            schema_editor.execute(
                f"ALTER TABLE packs_{model} ALTER COLUMN {column}"
                f" TYPE varchar({length}){ordered}"
            )


def fill(apps, schema_editor):
    """The keys of what is recorded already, in batches in order of their numbers."""
    for model, column, _, source in ADDED:
        rows = apps.get_model("packs", model).objects.using(schema_editor.connection.alias)
        after = 0
        while batch := list(
            rows.filter(pk__gt=after).order_by("pk").values_list("pk", source)[:BATCH]
        ):
            after = batch[-1][0]
            with schema_editor.connection.cursor() as cursor:
                cursor.executemany(
                    f"UPDATE packs_{model} SET {column} = %s WHERE id = %s",
                    [(alike_key(text), pk) for pk, text in batch],
                )


def tighten(apps, schema_editor):
    """From here on each write says the key: the database supplies none."""
    if schema_editor.connection.vendor != "postgresql":
        return  # SQLite can not drop a default without copying the table
    for model, column, _, _ in ADDED:
        schema_editor.execute(f"ALTER TABLE packs_{model} ALTER COLUMN {column} DROP DEFAULT")
    schema_editor.execute("CREATE EXTENSION IF NOT EXISTS pg_trgm")
    for model, column in SEARCHED:
        schema_editor.execute(
            f"CREATE INDEX {model}_{column}_inside ON packs_{model}"
            f" USING gin ({column} gin_trgm_ops)"
        )


def remove(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        for model, column in SEARCHED:
            schema_editor.execute(f"DROP INDEX {model}_{column}_inside")
    for model, column, _, _ in ADDED:
        schema_editor.execute(f"ALTER TABLE packs_{model} DROP COLUMN {column}")


class Migration(migrations.Migration):
    dependencies = [("packs", "0004_desk_kept")]
    operations = [
        migrations.SeparateDatabaseAndState(
            state_operations=[
                migrations.AddField(
                    model,
                    column,
                    models.CharField(blank=True, default="", max_length=length),
                )
                for model, column, length, _ in ADDED
            ],
            database_operations=[migrations.RunPython(add, remove)],
        ),
        migrations.RunPython(fill, migrations.RunPython.noop),
        migrations.AddIndex(
            "pack", models.Index(fields=["serial_alike", "id"], name="pack_found_by_serial")
        ),
        migrations.AddIndex(
            "module", models.Index(fields=["tag_alike", "id"], name="module_found_by_tag")
        ),
        migrations.AddIndex(
            "vehicle", models.Index(fields=["plate_alike", "id"], name="vehicle_found_by_plate")
        ),
        migrations.AddIndex(
            "pack", models.Index(fields=["-last_contact", "-id"], name="pack_last_seen")
        ),
        migrations.AddIndex(
            "visit",
            models.Index(
                fields=["-opened_at", "-id"],
                condition=models.Q(pack__isnull=True),
                name="visit_of_car_alone",
            ),
        ),
        migrations.RunPython(tighten, migrations.RunPython.noop),
    ]
