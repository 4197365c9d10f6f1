"""Fits are never changed, outlooks only ended, neither deleted: held by the database."""

from django.db import migrations

ENDS = "told_until"

POSTGRESQL = [
    f"""CREATE FUNCTION register_outlook_ends_once() RETURNS trigger LANGUAGE plpgsql AS $$
       BEGIN
         IF OLD.{ENDS} IS NOT NULL OR NEW.{ENDS} IS NULL
            OR to_jsonb(NEW) - '{ENDS}' IS DISTINCT FROM to_jsonb(OLD) - '{ENDS}' THEN
           RAISE EXCEPTION 'record_is_kept: an outlook only ends, once'
             USING ERRCODE = 'integrity_constraint_violation';
         END IF;
         RETURN NEW;
       END $$""",
    """CREATE TRIGGER outlook_ends_once BEFORE UPDATE ON reports_outlook
       FOR EACH ROW EXECUTE FUNCTION register_outlook_ends_once()""",
    """CREATE TRIGGER outlook_kept BEFORE DELETE ON reports_outlook
       FOR EACH ROW EXECUTE FUNCTION register_refuse()""",
    """CREATE TRIGGER fit_kept BEFORE UPDATE OR DELETE ON reports_storedfit
       FOR EACH ROW EXECUTE FUNCTION register_refuse()""",
]


def sqlite(apps):
    fields = apps.get_model("reports", "outlook")._meta.concrete_fields
    fixed = ", ".join(field.column for field in fields if field.column != ENDS)
    for name, event, table, when in (
        ("outlook_unchanged", f"UPDATE OF {fixed}", "reports_outlook", "1"),
        (
            "outlook_ends_once",
            "UPDATE",
            "reports_outlook",
            f"OLD.{ENDS} IS NOT NULL OR NEW.{ENDS} IS NULL",
        ),
        ("outlook_kept", "DELETE", "reports_outlook", "1"),
        ("fit_unchanged", "UPDATE", "reports_storedfit", "1"),
        ("fit_kept", "DELETE", "reports_storedfit", "1"),
    ):
        yield f"""CREATE TRIGGER {name} BEFORE {event} ON {table} WHEN {when}
                  BEGIN SELECT RAISE(ABORT, '{name}'); END"""


def install(apps, schema_editor):
    on_postgresql = schema_editor.connection.vendor == "postgresql"
    for statement in POSTGRESQL if on_postgresql else list(sqlite(apps)):
        schema_editor.execute(statement, params=None)


class Migration(migrations.Migration):
    dependencies = [("reports", "0001_judgement"), ("packs", "0002_invariants")]
    operations = [migrations.RunPython(install, migrations.RunPython.noop)]
