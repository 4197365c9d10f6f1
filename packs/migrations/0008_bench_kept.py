"""The bench's records are kept like all others, by the same triggers."""

from importlib import import_module

from django.db import migrations

invariants = import_module("packs.migrations.0002_invariants")

FACTS = (
    "lockout", "reenergising", "teardown", "reassembly", "isolationcheck", "release", "worktime",
    "incident", "moduletest", "plannedtest", "parttest", "matching", "disposal",
    "shippingdecision",
)  # fmt: skip
LINES = ("testseries", "disposalline")
KEPT = ("component", "priceitem")

POSTGRESQL = [
    *(
        f"""CREATE TRIGGER {name}_void_once BEFORE UPDATE ON packs_{name}
            FOR EACH ROW EXECUTE FUNCTION register_void_once()"""
        for name in FACTS
    ),
    *(
        f"""CREATE TRIGGER {name}_unchanged BEFORE UPDATE ON packs_{name}
            FOR EACH ROW EXECUTE FUNCTION register_refuse()"""
        for name in LINES
    ),
    *(
        f"""CREATE TRIGGER {name}_kept BEFORE DELETE ON packs_{name}
            FOR EACH ROW EXECUTE FUNCTION register_refuse()"""
        for name in (*FACTS, *LINES, *KEPT)
    ),
]


def sqlite(apps):
    for name in FACTS:
        fields = apps.get_model("packs", name)._meta.concrete_fields
        fixed = ", ".join(f.column for f in fields if f.column not in invariants.VOID)
        yield invariants.refusal(f"{name}_unchanged", f"UPDATE OF {fixed}", f"packs_{name}")
        yield invariants.refusal(
            f"{name}_void_once",
            "UPDATE",
            f"packs_{name}",
            "OLD.voided_at IS NOT NULL OR NEW.voided_at IS NULL",
        )
    for name in LINES:
        yield invariants.refusal(f"{name}_unchanged", "UPDATE", f"packs_{name}")
    for name in (*FACTS, *LINES, *KEPT):
        yield invariants.refusal(f"{name}_kept", "DELETE", f"packs_{name}")


def install(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        statements = POSTGRESQL
    else:
        statements = list(sqlite(apps))
    for statement in statements:
        schema_editor.execute(statement, params=None)


class Migration(migrations.Migration):
    dependencies = [("packs", "0007_bench")]
    operations = [migrations.RunPython(install, migrations.RunPython.noop)]
