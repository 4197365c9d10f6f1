"""Work on the fleet in shards, in place of a claim on the fit alone."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('reports', '0002_kept'),
    ]

    operations = [
        migrations.CreateModel(
            name='FleetShard',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveIntegerField()),
                ('first_pack', models.PositiveBigIntegerField()),
                ('last_pack', models.PositiveBigIntegerField()),
                ('claimed_until', models.DateTimeField(null=True)),
                ('tries', models.PositiveSmallIntegerField(default=0)),
                ('done_at', models.DateTimeField(null=True)),
                ('statistics', models.BinaryField(null=True)),
            ],
        ),
        migrations.CreateModel(
            name='FleetWork',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('fit', 'Fit'), ('outlooks', 'Outlooks')], max_length=8)),
                ('asked_at', models.DateTimeField()),
                ('as_of', models.DateTimeField(null=True)),
                ('checks_seen', models.PositiveBigIntegerField()),
                ('shards', models.PositiveIntegerField()),
                ('done', models.PositiveIntegerField(default=0)),
                ('packs', models.PositiveIntegerField(default=0)),
                ('builds', models.PositiveIntegerField(null=True)),
                ('called_at', models.DateTimeField(null=True)),
                ('claimed_until', models.DateTimeField(null=True)),
                ('tries', models.PositiveSmallIntegerField(default=0)),
                ('finished_at', models.DateTimeField(null=True)),
                ('error', models.CharField(blank=True, default='', max_length=200)),
                ('fit', models.ForeignKey(null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='reports.storedfit')),
            ],
        ),
        migrations.DeleteModel(
            name='Duty',
        ),
        migrations.AddField(
            model_name='fleetshard',
            name='work',
            field=models.ForeignKey(on_delete=django.db.models.deletion.CASCADE, related_name='parts', to='reports.fleetwork'),
        ),
        migrations.AddIndex(
            model_name='fleetwork',
            index=models.Index(fields=['asked_at'], name='fleetwork_by_time'),
        ),
        migrations.AddConstraint(
            model_name='fleetwork',
            constraint=models.UniqueConstraint(condition=models.Q(('as_of__isnull', True), ('finished_at__isnull', True)), fields=('kind',), name='fleetwork_one_for_the_present'),
        ),
        migrations.AddConstraint(
            model_name='fleetwork',
            constraint=models.UniqueConstraint(condition=models.Q(('finished_at__isnull', True)), fields=('kind', 'as_of'), name='fleetwork_one_as_of'),
        ),
        migrations.AddConstraint(
            model_name='fleetwork',
            constraint=models.CheckConstraint(condition=models.Q(('done__lte', models.F('shards'))), name='fleetwork_done_of_its_shards'),
        ),
        migrations.AddConstraint(
            model_name='fleetshard',
            constraint=models.UniqueConstraint(fields=('work', 'number'), name='fleetshard_number'),
        ),
        migrations.AddConstraint(
            model_name='fleetshard',
            constraint=models.CheckConstraint(condition=models.Q(('first_pack__lte', models.F('last_pack'))), name='fleetshard_holds_packs'),
        ),
    ]
