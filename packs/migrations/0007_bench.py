"""The bench: steps of a job, tests, parts, stock, and what a type says of the work on it.

SQLite copies a table to add a column that Django says may not be null, which loses triggers and
breaks those of others; told in its own words it adds the column in place.
"""

import django.db.models.deletion
from django.db import migrations, models

ADDED = (
    ("module", "status_reason", "text"),
    ("module", "generation", "varchar(40)"),
    ("module", "shelf", "varchar(40)"),
    ("packtype", "bench", "json"),
    ("packtypeversion", "bench", "json"),
)


def add(apps, schema_editor):
    """The columns, empty; on PostgreSQL each write says them from here on."""
    postgresql = schema_editor.connection.vendor == "postgresql"
    for model, column, kind in ADDED:
        empty = "'{}'" if kind == "json" else "''"
        checked = "" if postgresql or kind != "json" else f" CHECK (JSON_VALID({column}))"
        stored = {"json": "jsonb" if postgresql else "text"}.get(kind, kind)
        schema_editor.execute(
            f"ALTER TABLE packs_{model} ADD COLUMN {column} {stored}"
            f" DEFAULT {empty} NOT NULL{checked}",
            params=None,
        )
        if postgresql:
            schema_editor.execute(f"ALTER TABLE packs_{model} ALTER COLUMN {column} DROP DEFAULT")


def remove(apps, schema_editor):
    for model, column, _ in ADDED:
        schema_editor.execute(f"ALTER TABLE packs_{model} DROP COLUMN {column}")


class Migration(migrations.Migration):
    dependencies = [
        ("packs", "0005_search_keys"),
    ]

    operations = [
        migrations.SeparateDatabaseAndState(
            database_operations=[migrations.RunPython(add, remove)],
            state_operations=[
                migrations.AddField(
                    model_name="module",
                    name="generation",
                    field=models.CharField(blank=True, default="", max_length=40),
                ),
                migrations.AddField(
                    model_name="module",
                    name="shelf",
                    field=models.CharField(blank=True, default="", max_length=40),
                ),
                migrations.AddField(
                    model_name="module",
                    name="status_reason",
                    field=models.TextField(blank=True, default=""),
                ),
                migrations.AddField(
                    model_name="packtype",
                    name="bench",
                    field=models.JSONField(default=dict),
                ),
                migrations.AddField(
                    model_name="packtypeversion",
                    name="bench",
                    field=models.JSONField(default=dict),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Component",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("version", models.PositiveIntegerField(default=1)),
                ("tag", models.CharField(max_length=60, unique=True)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("main_contactor", "Main Contactor"),
                            ("precharge_contactor", "Precharge Contactor"),
                            ("precharge_resistor", "Precharge Resistor"),
                            ("current_sensor", "Current Sensor"),
                            ("service_switch", "Service Switch"),
                            ("fuse", "Fuse"),
                            ("temperature_sensor", "Temperature Sensor"),
                            ("bus_bar", "Bus Bar"),
                            ("sense_harness", "Sense Harness"),
                            ("cooling_fan", "Cooling Fan"),
                        ],
                        max_length=20,
                    ),
                ),
                ("part_number", models.CharField(blank=True, default="", max_length=60)),
                ("ratings", models.JSONField(default=dict)),
                (
                    "status",
                    models.CharField(
                        choices=[
                            ("fitted", "Fitted"),
                            ("stock", "Stock"),
                            ("reserved", "Reserved"),
                            ("quarantined", "Quarantined"),
                            ("scrapped", "Scrapped"),
                        ],
                        default="stock",
                        max_length=12,
                    ),
                ),
                ("status_reason", models.TextField(blank=True, default="")),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Disposal",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                ("happened_at", models.DateTimeField()),
                ("recycler", models.CharField(max_length=100)),
                ("reference", models.CharField(blank=True, default="", max_length=100)),
                ("weight_kg", models.FloatField()),
                ("note", models.TextField(blank=True, default="")),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="DisposalLine",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Incident",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                ("happened_at", models.DateTimeField()),
                (
                    "kind",
                    models.CharField(
                        choices=[("incident", "Incident"), ("near_miss", "Near Miss")], max_length=9
                    ),
                ),
                (
                    "harm",
                    models.CharField(
                        choices=[
                            ("none", "None"),
                            ("first_aid", "First Aid"),
                            ("medical", "Medical"),
                            ("damage", "Damage"),
                        ],
                        max_length=9,
                    ),
                ),
                ("what", models.TextField()),
                ("action", models.TextField(blank=True, default="")),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="IsolationCheck",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                ("happened_at", models.DateTimeField()),
                ("note", models.TextField(blank=True, default="")),
                (
                    "scope",
                    models.CharField(
                        choices=[
                            ("in_car", "In Car"),
                            ("harness_off", "Harness Off"),
                            ("pack_alone", "Pack Alone"),
                        ],
                        max_length=11,
                    ),
                ),
                (
                    "method",
                    models.CharField(
                        choices=[("two_voltages", "Two Voltages"), ("tester", "Tester")],
                        max_length=12,
                    ),
                ),
                ("wet", models.BooleanField(default=False)),
                ("pack_v", models.FloatField()),
                ("plus_case_v", models.FloatField(null=True)),
                ("minus_case_v", models.FloatField(null=True)),
                ("shunted_v", models.FloatField(null=True)),
                ("shunt_ohm", models.FloatField(null=True)),
                ("test_v", models.FloatField(null=True)),
                ("isolation_ohm", models.FloatField()),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="LockOut",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                ("happened_at", models.DateTimeField()),
                ("note", models.TextField(blank=True, default="")),
                ("done", models.JSONField(default=dict)),
                ("worn", models.JSONField(default=dict)),
                ("readings", models.JSONField(default=dict)),
                ("waited_min", models.FloatField()),
                ("source_before_v", models.FloatField()),
                ("source_after_v", models.FloatField()),
                ("touch_limit_v", models.FloatField()),
                ("highest_v", models.FloatField()),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Matching",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                ("happened_at", models.DateTimeField()),
                ("asked", models.JSONField(default=dict)),
                ("proposed", models.JSONField(default=dict)),
                ("overruled", models.JSONField(default=list)),
                ("note", models.TextField(blank=True, default="")),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="ModuleTest",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("capacity", "Capacity"),
                            ("resistance", "Resistance"),
                            ("stand", "Stand"),
                            ("load", "Load"),
                        ],
                        max_length=10,
                    ),
                ),
                ("started_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField()),
                ("temperature_c", models.FloatField(null=True)),
                ("method", models.CharField(blank=True, default="", max_length=100)),
                ("channel", models.CharField(blank=True, default="", max_length=40)),
                ("cycle", models.PositiveSmallIntegerField(null=True)),
                ("rest_before_min", models.FloatField(null=True)),
                ("charge_before_ah", models.FloatField(null=True)),
                ("measured", models.JSONField(default=dict)),
                ("computed", models.JSONField(default=dict)),
                ("capacity_ah", models.FloatField(null=True)),
                ("resistance_mohm", models.FloatField(null=True)),
                ("stand_mv_per_day", models.FloatField(null=True)),
                ("note", models.TextField(blank=True, default="")),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="PartTest",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                ("happened_at", models.DateTimeField()),
                ("slot", models.CharField(blank=True, default="", max_length=60)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("main_contactor", "Main Contactor"),
                            ("precharge_contactor", "Precharge Contactor"),
                            ("precharge_resistor", "Precharge Resistor"),
                            ("current_sensor", "Current Sensor"),
                            ("service_switch", "Service Switch"),
                            ("fuse", "Fuse"),
                            ("temperature_sensor", "Temperature Sensor"),
                            ("bus_bar", "Bus Bar"),
                            ("sense_harness", "Sense Harness"),
                            ("cooling_fan", "Cooling Fan"),
                        ],
                        max_length=20,
                    ),
                ),
                ("measured", models.JSONField(default=dict)),
                ("note", models.TextField(blank=True, default="")),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="PlannedTest",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("capacity", "Capacity"),
                            ("resistance", "Resistance"),
                            ("stand", "Stand"),
                            ("load", "Load"),
                        ],
                        max_length=10,
                    ),
                ),
                ("channel", models.CharField(blank=True, default="", max_length=40)),
                ("planned_at", models.DateTimeField()),
                ("due_at", models.DateTimeField()),
                ("note", models.TextField(blank=True, default="")),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="PriceItem",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("version", models.PositiveIntegerField(default=1)),
                ("code", models.CharField(max_length=40, unique=True)),
                ("what", models.CharField(max_length=200)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("module", "Module"),
                            ("component", "Component"),
                            ("rebuild", "Rebuild"),
                            ("replacement", "Replacement"),
                            ("hour", "Hour"),
                        ],
                        max_length=11,
                    ),
                ),
                ("component_kind", models.CharField(blank=True, default="", max_length=20)),
                ("price", models.DecimalField(decimal_places=2, max_digits=10)),
                ("hours", models.DecimalField(decimal_places=2, default=0, max_digits=6)),
            ],
        ),
        migrations.CreateModel(
            name="Reassembly",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                ("happened_at", models.DateTimeField()),
                ("note", models.TextField(blank=True, default="")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("fitted", "Fitted"),
                            ("polarity", "Polarity"),
                            ("equalised", "Equalised"),
                            ("half", "Half"),
                        ],
                        max_length=9,
                    ),
                ),
                (
                    "part",
                    models.CharField(
                        blank=True,
                        choices=[
                            ("cover", "Cover"),
                            ("duct", "Duct"),
                            ("junction_board", "Junction Board"),
                            ("service_switch", "Service Switch"),
                            ("bus_bar", "Bus Bar"),
                            ("sense_harness", "Sense Harness"),
                            ("sensor", "Sensor"),
                            ("clamp", "Clamp"),
                            ("module", "Module"),
                            ("other", "Other"),
                        ],
                        default="",
                        max_length=16,
                    ),
                ),
                ("places", models.JSONField(default=list)),
                ("slot", models.CharField(blank=True, default="", max_length=60)),
                ("fasteners", models.JSONField(default=list)),
                ("seen", models.JSONField(default=list)),
                ("readings", models.JSONField(default=list)),
                ("warnings", models.JSONField(default=list)),
                ("half", models.PositiveSmallIntegerField(null=True)),
                ("half_v", models.FloatField(null=True)),
                ("current_a", models.FloatField(null=True)),
                ("photos", models.JSONField(default=list)),
                ("starts_build", models.BooleanField()),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="ReEnergising",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                ("happened_at", models.DateTimeField()),
                ("note", models.TextField(blank=True, default="")),
                ("done", models.JSONField(default=dict)),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Release",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                ("happened_at", models.DateTimeField()),
                ("note", models.TextField(blank=True, default="")),
                ("codes_clear", models.BooleanField()),
                ("road_test", models.JSONField(default=dict)),
                ("odometer_km", models.PositiveIntegerField(null=True)),
                ("recheck_on", models.DateField()),
                ("recheck_km", models.PositiveIntegerField(null=True)),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="ShippingDecision",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                ("happened_at", models.DateTimeField()),
                (
                    "condition",
                    models.CharField(
                        choices=[
                            ("sound", "Sound"),
                            ("damaged_or_defective", "Damaged Or Defective"),
                            ("for_disposal", "For Disposal"),
                        ],
                        max_length=20,
                    ),
                ),
                ("un_number", models.CharField(max_length=7)),
                ("qualification", models.CharField(max_length=100)),
                ("reasons", models.TextField()),
                ("packing", models.TextField(blank=True, default="")),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="Teardown",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                ("happened_at", models.DateTimeField()),
                ("note", models.TextField(blank=True, default="")),
                (
                    "part",
                    models.CharField(
                        choices=[
                            ("cover", "Cover"),
                            ("duct", "Duct"),
                            ("junction_board", "Junction Board"),
                            ("service_switch", "Service Switch"),
                            ("bus_bar", "Bus Bar"),
                            ("sense_harness", "Sense Harness"),
                            ("sensor", "Sensor"),
                            ("clamp", "Clamp"),
                            ("module", "Module"),
                            ("other", "Other"),
                        ],
                        max_length=16,
                    ),
                ),
                ("places", models.JSONField(default=list)),
                ("slot", models.CharField(blank=True, default="", max_length=60)),
                ("fasteners", models.JSONField(default=list)),
                ("seen", models.JSONField(default=list)),
                ("photos", models.JSONField(default=list)),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.CreateModel(
            name="WorkTime",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                ("recorded_at", models.DateTimeField()),
                ("digest", models.BinaryField(max_length=32)),
                ("revision", models.PositiveBigIntegerField(null=True)),
                ("external_id", models.CharField(max_length=200, null=True)),
                ("voided_at", models.DateTimeField(null=True)),
                ("voided_revision", models.PositiveBigIntegerField(null=True)),
                ("void_reason", models.TextField(blank=True, default="")),
                (
                    "stage",
                    models.CharField(
                        choices=[
                            ("arrival", "Arrival"),
                            ("inspection", "Inspection"),
                            ("lock_out", "Lock Out"),
                            ("teardown", "Teardown"),
                            ("tests", "Tests"),
                            ("swaps", "Swaps"),
                            ("reassembly", "Reassembly"),
                            ("road_test", "Road Test"),
                            ("other", "Other"),
                        ],
                        max_length=10,
                    ),
                ),
                ("started_at", models.DateTimeField()),
                ("ended_at", models.DateTimeField(null=True)),
                ("note", models.TextField(blank=True, default="")),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.AddField(
            model_name="equipment",
            name="bad_since",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="equipment",
            name="issued_on",
            field=models.DateField(null=True),
        ),
        migrations.AddField(
            model_name="module",
            name="reserved_for",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.visit",
            ),
        ),
        migrations.AddIndex(
            model_name="module",
            index=models.Index(fields=["status", "id"], name="module_by_status"),
        ),
        migrations.AddField(
            model_name="component",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="component",
            name="donor_pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="component",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="disposal",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="disposal",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="disposal",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="disposal",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="disposal",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.disposal",
            ),
        ),
        migrations.AddField(
            model_name="disposal",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="disposal",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="disposalline",
            name="component",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.component",
            ),
        ),
        migrations.AddField(
            model_name="disposalline",
            name="disposal",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="lines",
                to="packs.disposal",
            ),
        ),
        migrations.AddField(
            model_name="disposalline",
            name="module",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.module",
            ),
        ),
        migrations.AddField(
            model_name="incident",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="incident",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="incident",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="incident",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="incident",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.incident",
            ),
        ),
        migrations.AddField(
            model_name="incident",
            name="visit",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.visit",
            ),
        ),
        migrations.AddField(
            model_name="incident",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="incident",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="isolationcheck",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="isolationcheck",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="isolationcheck",
            name="equipment",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.equipment",
            ),
        ),
        migrations.AddField(
            model_name="isolationcheck",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="isolationcheck",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="isolationcheck",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.isolationcheck",
            ),
        ),
        migrations.AddField(
            model_name="isolationcheck",
            name="visit",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.visit"
            ),
        ),
        migrations.AddField(
            model_name="isolationcheck",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="isolationcheck",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="gloves",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.equipment"
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="meter",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.equipment"
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="second_person",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.lockout",
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="switch_kept_by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.person"
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="visit",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.visit"
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="lockout",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="matching",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="matching",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="matching",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="matching",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="matching",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.matching",
            ),
        ),
        migrations.AddField(
            model_name="matching",
            name="visit",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.visit",
            ),
        ),
        migrations.AddField(
            model_name="matching",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="matching",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.CreateModel(
            name="TestSeries",
            fields=[
                (
                    "test",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="series",
                        serialize=False,
                        to="packs.moduletest",
                    ),
                ),
                ("points", models.PositiveIntegerField()),
                ("packed", models.BinaryField()),
            ],
        ),
        migrations.AddField(
            model_name="moduletest",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="moduletest",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="moduletest",
            name="equipment",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.equipment",
            ),
        ),
        migrations.AddField(
            model_name="moduletest",
            name="module",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="tests", to="packs.module"
            ),
        ),
        migrations.AddField(
            model_name="moduletest",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="moduletest",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="moduletest",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.moduletest",
            ),
        ),
        migrations.AddField(
            model_name="moduletest",
            name="visit",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.visit",
            ),
        ),
        migrations.AddField(
            model_name="moduletest",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="moduletest",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="parttest",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="parttest",
            name="component",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="tests",
                to="packs.component",
            ),
        ),
        migrations.AddField(
            model_name="parttest",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="parttest",
            name="equipment",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.equipment",
            ),
        ),
        migrations.AddField(
            model_name="parttest",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="parttest",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="parttest",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.parttest",
            ),
        ),
        migrations.AddField(
            model_name="parttest",
            name="visit",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.visit",
            ),
        ),
        migrations.AddField(
            model_name="parttest",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="parttest",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="plannedtest",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="plannedtest",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="plannedtest",
            name="equipment",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.equipment",
            ),
        ),
        migrations.AddField(
            model_name="plannedtest",
            name="module",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="planned_tests",
                to="packs.module",
            ),
        ),
        migrations.AddField(
            model_name="plannedtest",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="plannedtest",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="plannedtest",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.plannedtest",
            ),
        ),
        migrations.AddField(
            model_name="plannedtest",
            name="visit",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.visit",
            ),
        ),
        migrations.AddField(
            model_name="plannedtest",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="plannedtest",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="priceitem",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="priceitem",
            name="pack_type",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.packtype",
            ),
        ),
        migrations.AddField(
            model_name="priceitem",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="priceitem",
            name="site",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.site",
            ),
        ),
        migrations.AddField(
            model_name="reassembly",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="reassembly",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="reassembly",
            name="lock_out",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="reassemblies",
                to="packs.lockout",
            ),
        ),
        migrations.AddField(
            model_name="reassembly",
            name="meter",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.equipment",
            ),
        ),
        migrations.AddField(
            model_name="reassembly",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="reassembly",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="reassembly",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.reassembly",
            ),
        ),
        migrations.AddField(
            model_name="reassembly",
            name="visit",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.visit"
            ),
        ),
        migrations.AddField(
            model_name="reassembly",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="reassembly",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="reenergising",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="reenergising",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="reenergising",
            name="lock_out",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="ends", to="packs.lockout"
            ),
        ),
        migrations.AddField(
            model_name="reenergising",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="reenergising",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="reenergising",
            name="second_person",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="reenergising",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.reenergising",
            ),
        ),
        migrations.AddField(
            model_name="reenergising",
            name="visit",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.visit"
            ),
        ),
        migrations.AddField(
            model_name="reenergising",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="reenergising",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="isolation_check",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.isolationcheck",
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="load_check",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.voltagecheck",
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="re_energising",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.reenergising",
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="rest_check",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.voltagecheck",
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.release",
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="visit",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.visit"
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="release",
            name="warranty",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.warranty",
            ),
        ),
        migrations.AddField(
            model_name="shippingdecision",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="shippingdecision",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="shippingdecision",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="shippingdecision",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="shippingdecision",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.shippingdecision",
            ),
        ),
        migrations.AddField(
            model_name="shippingdecision",
            name="visit",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.visit",
            ),
        ),
        migrations.AddField(
            model_name="shippingdecision",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="shippingdecision",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="teardown",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="teardown",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="teardown",
            name="lock_out",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT,
                related_name="teardowns",
                to="packs.lockout",
            ),
        ),
        migrations.AddField(
            model_name="teardown",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="teardown",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="teardown",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.teardown",
            ),
        ),
        migrations.AddField(
            model_name="teardown",
            name="visit",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.visit"
            ),
        ),
        migrations.AddField(
            model_name="teardown",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="teardown",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="worktime",
            name="client",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.client"
            ),
        ),
        migrations.AddField(
            model_name="worktime",
            name="done_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="worktime",
            name="pack",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.pack",
            ),
        ),
        migrations.AddField(
            model_name="worktime",
            name="recorded_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddField(
            model_name="worktime",
            name="supersedes",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="superseded_by",
                to="packs.worktime",
            ),
        ),
        migrations.AddField(
            model_name="worktime",
            name="visit",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="packs.visit"
            ),
        ),
        migrations.AddField(
            model_name="worktime",
            name="void_client",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.client",
            ),
        ),
        migrations.AddField(
            model_name="worktime",
            name="voided_by",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="+",
                to="packs.person",
            ),
        ),
        migrations.AddConstraint(
            model_name="disposal",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="disposal_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="disposal",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="disposal_void_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="disposal",
            constraint=models.CheckConstraint(
                condition=models.Q(("weight_kg__gt", 0)), name="disposal_has_a_weight"
            ),
        ),
        migrations.AddConstraint(
            model_name="disposalline",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("component__isnull", True), ("module__isnull", False)),
                    models.Q(("component__isnull", False), ("module__isnull", True)),
                    _connector="OR",
                ),
                name="disposalline_is_one_thing",
            ),
        ),
        migrations.AddConstraint(
            model_name="incident",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="incident_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="incident",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="incident_void_says_why",
            ),
        ),
        migrations.AddIndex(
            model_name="isolationcheck",
            index=models.Index(fields=["visit", "happened_at"], name="isolation_by_visit"),
        ),
        migrations.AddConstraint(
            model_name="isolationcheck",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="isolationcheck_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="isolationcheck",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="isolationcheck_void_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="isolationcheck",
            constraint=models.CheckConstraint(
                condition=models.Q(("isolation_ohm__gte", 0), ("pack_v__gt", 0)),
                name="isolationcheck_is_physical",
            ),
        ),
        migrations.AddIndex(
            model_name="lockout",
            index=models.Index(fields=["visit", "happened_at"], name="lockout_by_visit"),
        ),
        migrations.AddConstraint(
            model_name="lockout",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="lockout_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="lockout",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="lockout_void_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="lockout",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("highest_v__gt", 0), ("touch_limit_v__gt", 0), ("touch_limit_v__lte", 60)
                ),
                name="lockout_limits_are_safe",
            ),
        ),
        migrations.AddIndex(
            model_name="matching",
            index=models.Index(fields=["pack", "happened_at"], name="matching_by_pack"),
        ),
        migrations.AddConstraint(
            model_name="matching",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="matching_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="matching",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="matching_void_says_why",
            ),
        ),
        migrations.AddIndex(
            model_name="moduletest",
            index=models.Index(fields=["module", "kind", "ended_at"], name="moduletest_by_module"),
        ),
        migrations.AddConstraint(
            model_name="moduletest",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="moduletest_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="moduletest",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="moduletest_void_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="moduletest",
            constraint=models.CheckConstraint(
                condition=models.Q(("ended_at__gte", models.F("started_at"))),
                name="moduletest_ends_after_it_begins",
            ),
        ),
        migrations.AddIndex(
            model_name="parttest",
            index=models.Index(fields=["visit", "happened_at"], name="parttest_by_visit"),
        ),
        migrations.AddConstraint(
            model_name="parttest",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="parttest_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="parttest",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="parttest_void_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="parttest",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("component__isnull", False),
                    models.Q(("pack__isnull", False), models.Q(("slot", ""), _negated=True)),
                    _connector="OR",
                ),
                name="parttest_is_of_something",
            ),
        ),
        migrations.AddIndex(
            model_name="plannedtest",
            index=models.Index(fields=["module", "kind"], name="plannedtest_by_module"),
        ),
        migrations.AddConstraint(
            model_name="plannedtest",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="plannedtest_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="plannedtest",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="plannedtest_void_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="plannedtest",
            constraint=models.CheckConstraint(
                condition=models.Q(("due_at__gte", models.F("planned_at"))),
                name="plannedtest_is_due_after",
            ),
        ),
        migrations.AddConstraint(
            model_name="priceitem",
            constraint=models.CheckConstraint(
                condition=models.Q(("hours__gte", 0), ("price__gte", 0)),
                name="priceitem_is_not_negative",
            ),
        ),
        migrations.AddIndex(
            model_name="reassembly",
            index=models.Index(fields=["visit", "happened_at"], name="reassembly_by_visit"),
        ),
        migrations.AddIndex(
            model_name="reassembly",
            index=models.Index(
                condition=models.Q(("starts_build", True)),
                fields=["pack", "happened_at"],
                name="reassembly_starting_build",
            ),
        ),
        migrations.AddConstraint(
            model_name="reassembly",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="reassembly_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="reassembly",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="reassembly_void_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="reassembly",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", "half"), ("half__in", (1, 2)), ("half_v__isnull", False)),
                    models.Q(
                        models.Q(("kind", "half"), _negated=True),
                        ("half__isnull", True),
                        ("half_v__isnull", True),
                    ),
                    _connector="OR",
                ),
                name="reassembly_half_is_measured",
            ),
        ),
        migrations.AddConstraint(
            model_name="reassembly",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("kind", "fitted"), _negated=True),
                    models.Q(("part", ""), _negated=True),
                    _connector="OR",
                ),
                name="reassembly_names_its_part",
            ),
        ),
        migrations.AddIndex(
            model_name="reenergising",
            index=models.Index(fields=["visit", "happened_at"], name="reenergising_by_visit"),
        ),
        migrations.AddConstraint(
            model_name="reenergising",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="reenergising_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="reenergising",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="reenergising_void_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="reenergising",
            constraint=models.UniqueConstraint(
                condition=models.Q(("voided_at__isnull", True)),
                fields=("lock_out",),
                name="reenergising_ends_once",
            ),
        ),
        migrations.AddConstraint(
            model_name="release",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="release_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="release",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="release_void_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="release",
            constraint=models.CheckConstraint(
                condition=models.Q(("codes_clear", True)), name="release_codes_are_clear"
            ),
        ),
        migrations.AddConstraint(
            model_name="release",
            constraint=models.UniqueConstraint(
                condition=models.Q(("voided_at__isnull", True)),
                fields=("visit",),
                name="release_once_a_visit",
            ),
        ),
        migrations.AddConstraint(
            model_name="shippingdecision",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="shippingdecision_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="shippingdecision",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="shippingdecision_void_says_why",
            ),
        ),
        migrations.AddIndex(
            model_name="teardown",
            index=models.Index(fields=["visit", "happened_at"], name="teardown_by_visit"),
        ),
        migrations.AddConstraint(
            model_name="teardown",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="teardown_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="teardown",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="teardown_void_says_why",
            ),
        ),
        migrations.AddIndex(
            model_name="worktime",
            index=models.Index(fields=["visit", "started_at"], name="worktime_by_visit"),
        ),
        migrations.AddConstraint(
            model_name="worktime",
            constraint=models.UniqueConstraint(
                fields=("client", "external_id"), name="worktime_once_per_client"
            ),
        ),
        migrations.AddConstraint(
            model_name="worktime",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("voided_at__isnull", True),
                    models.Q(("void_reason", ""), _negated=True),
                    _connector="OR",
                ),
                name="worktime_void_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="worktime",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("ended_at__isnull", True),
                    ("ended_at__gte", models.F("started_at")),
                    _connector="OR",
                ),
                name="worktime_ends_after_it_begins",
            ),
        ),
    ]
