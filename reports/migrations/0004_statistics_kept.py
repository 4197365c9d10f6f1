"""What a fit needs of each pack is kept between fits; outlooks are ended more quickly."""

import django.db.models.deletion
from django.db import migrations, models

# Whole rows are compared: to turn each into JSON first took ten times as long.
ENDS_ONCE = """CREATE OR REPLACE FUNCTION register_outlook_ends_once() RETURNS trigger
    LANGUAGE plpgsql AS $$
    BEGIN
      IF OLD.told_until IS NULL AND NEW.told_until IS NOT NULL THEN
        OLD.told_until := NEW.told_until;
        IF OLD IS NOT DISTINCT FROM NEW THEN
          RETURN NEW;
        END IF;
      END IF;
      RAISE EXCEPTION 'record_is_kept: an outlook only ends, once'
        USING ERRCODE = 'integrity_constraint_violation';
    END $$"""
# Sums hardly shrink, and the attempt is slow.
UNPACKED = "ALTER TABLE reports_packstatistics ALTER COLUMN figures SET STORAGE EXTERNAL"


def quicken(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        for statement in (ENDS_ONCE, UNPACKED):
            schema_editor.execute(statement, params=None)


class Migration(migrations.Migration):

    dependencies = [
        ('packs', '0005_search_keys'),
        ('reports', '0003_fleet_work'),
    ]

    operations = [
        migrations.CreateModel(
            name='PackStatistics',
            fields=[
                ('pack', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, primary_key=True, related_name='+', serialize=False, to='packs.pack')),
                ('revision', models.PositiveBigIntegerField()),
                ('ratings', models.CharField(max_length=120)),
                ('group', models.CharField(blank=True, max_length=80)),
                ('last_day', models.FloatField()),
                ('builds', models.PositiveIntegerField()),
                ('landmarks', models.PositiveIntegerField()),
                ('followed', models.PositiveIntegerField()),
                ('figures', models.BinaryField()),
            ],
        ),
        migrations.RunPython(quicken, migrations.RunPython.noop),
    ]
