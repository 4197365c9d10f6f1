"""What must always hold, held by the database: exclusion constraints and triggers on PostgreSQL,
triggers on SQLite. A refusal bears the name that the service turns into a sentence."""

from django.db import migrations

VOID = ("voided_at", "voided_revision", "void_reason", "void_client_id", "voided_by_id")
FACTS = (
    "voltagecheck", "inspection", "swap", "failure", "warranty", "claim", "troublecode",
    "installation",
)
LINES = ("historyentry", "packtypeversion", "finding", "swapchange", "edit")
KEPT = (
    "site", "person", "equipment", "packtype", "pack", "vehicle", "customer", "visit", "lot",
    "module", "client", "ownership",
)

POSITIONS = """CASE {row}.level
    WHEN 'block' THEN t.block_count
    WHEN 'module' THEN t.module_count
    ELSE t.module_count * t.cells_per_module END"""

POSTGRESQL = [
    "CREATE EXTENSION IF NOT EXISTS btree_gist",
    """ALTER TABLE packs_placement ADD CONSTRAINT placement_module_one_place
       EXCLUDE USING gist (module_id WITH =, tstzrange(fitted_at, removed_at) WITH &&)
       WHERE (module_id IS NOT NULL)""",
    """ALTER TABLE packs_placement ADD CONSTRAINT placement_position_one_module
       EXCLUDE USING gist (pack_id WITH =, position WITH =,
                           tstzrange(fitted_at, removed_at) WITH &&)""",
    """ALTER TABLE packs_installation ADD CONSTRAINT installation_pack_one_vehicle
       EXCLUDE USING gist (pack_id WITH =, tstzrange(installed_at, removed_at) WITH &&)
       WHERE (voided_at IS NULL)""",
    """ALTER TABLE packs_ownership ADD CONSTRAINT ownership_no_overlap
       EXCLUDE USING gist (vehicle_id WITH =, tstzrange(from_at, until_at) WITH &&)""",
    """CREATE FUNCTION register_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
       BEGIN
         RAISE EXCEPTION 'record_is_kept: nothing in % is deleted or changed', TG_TABLE_NAME
           USING ERRCODE = 'integrity_constraint_violation';
       END $$""",
    f"""CREATE FUNCTION register_void_once() RETURNS trigger LANGUAGE plpgsql AS $$
       DECLARE void text[] := ARRAY[{", ".join(f"'{name}'" for name in VOID)}];
       BEGIN
         IF OLD.voided_at IS NOT NULL OR NEW.voided_at IS NULL
            OR to_jsonb(NEW) - void IS DISTINCT FROM to_jsonb(OLD) - void THEN
           RAISE EXCEPTION 'record_is_kept: a record in % is only ever voided, once',
             TG_TABLE_NAME USING ERRCODE = 'integrity_constraint_violation';
         END IF;
         RETURN NEW;
       END $$""",
    """CREATE FUNCTION register_pack_forward() RETURNS trigger LANGUAGE plpgsql AS $$
       BEGIN
         IF NEW.revision < OLD.revision OR NEW.settled_at < OLD.settled_at
            OR NEW.serial <> OLD.serial OR NEW.pack_type_id <> OLD.pack_type_id THEN
           RAISE EXCEPTION 'pack_goes_forward: serial and type stay, the revision only rises'
             USING ERRCODE = 'integrity_constraint_violation';
         END IF;
         RETURN NEW;
       END $$""",
    """CREATE FUNCTION register_placement_position() RETURNS trigger LANGUAGE plpgsql AS $$
       BEGIN
         IF NEW.position > (SELECT t.module_count FROM packs_pack p
                            JOIN packs_packtype t ON t.id = p.pack_type_id
                            WHERE p.id = NEW.pack_id) THEN
           RAISE EXCEPTION 'placement_position_of_type: the type has no position %', NEW.position
             USING ERRCODE = 'integrity_constraint_violation';
         END IF;
         RETURN NEW;
       END $$""",
    f"""CREATE FUNCTION register_check_count() RETURNS trigger LANGUAGE plpgsql AS $$
       BEGIN
         IF EXISTS (SELECT 1 FROM fresh f
                    JOIN packs_pack p ON p.id = f.pack_id
                    JOIN packs_packtype t ON t.id = p.pack_type_id
                    WHERE cardinality(f.voltages) <> {POSITIONS.format(row="f")}) THEN
           RAISE EXCEPTION 'voltagecheck_count_of_type: another count than the type has'
             USING ERRCODE = 'integrity_constraint_violation';
         END IF;
         RETURN NULL;
       END $$""",
    """CREATE TRIGGER voltagecheck_count AFTER INSERT ON packs_voltagecheck
       REFERENCING NEW TABLE AS fresh FOR EACH STATEMENT
       EXECUTE FUNCTION register_check_count()""",
    """CREATE TRIGGER placement_position BEFORE INSERT OR UPDATE ON packs_placement
       FOR EACH ROW EXECUTE FUNCTION register_placement_position()""",
    """CREATE TRIGGER pack_forward BEFORE UPDATE ON packs_pack
       FOR EACH ROW EXECUTE FUNCTION register_pack_forward()""",
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
    """CREATE VIEW voltage_readings AS
       SELECT c.id AS check_id, p.serial AS pack, c.taken_at, c.level, c.condition, c.current_a,
              c.temperature_c, r.position, r.units / 10000.0 AS voltage_v
       FROM packs_voltagecheck c
       JOIN packs_pack p ON p.id = c.pack_id
       CROSS JOIN LATERAL unnest(c.voltages) WITH ORDINALITY AS r(units, position)
       WHERE c.voided_at IS NULL""",
]


def no_overlap(name, table, same, start, end, only="1"):
    """Triggers that refuse a row whose interval overlaps another's; null is without end."""
    match = " AND ".join(f"o.{column} = NEW.{column}" for column in same)
    condition = f"""({only.format(row="NEW")}) AND EXISTS (
        SELECT 1 FROM {table} o
        WHERE {match} AND o.id IS NOT NEW.id AND ({only.format(row="o")})
          AND (o.{end} IS NULL OR NEW.{start} IS NULL OR o.{end} > NEW.{start})
          AND (NEW.{end} IS NULL OR o.{start} IS NULL OR NEW.{end} > o.{start}))"""
    return [
        f"""CREATE TRIGGER {name}_{event.lower()} BEFORE {event} ON {table} WHEN {condition}
            BEGIN SELECT RAISE(ABORT, '{name}'); END"""
        for event in ("INSERT", "UPDATE")
    ]


def refusal(name, event, table, when="1"):
    """A trigger that refuses the event on the table."""
    return f"""CREATE TRIGGER {name} BEFORE {event} ON {table} WHEN {when}
               BEGIN SELECT RAISE(ABORT, '{name}'); END"""


def sqlite(apps):
    """Every statement for SQLite, which compares rows by the columns that an UPDATE names."""
    for name in FACTS:
        fields = apps.get_model("packs", name)._meta.concrete_fields
        fixed = ", ".join(f.column for f in fields if f.column not in VOID)
        yield refusal(f"{name}_unchanged", f"UPDATE OF {fixed}", f"packs_{name}")
        yield refusal(
            f"{name}_void_once",
            "UPDATE",
            f"packs_{name}",
            "OLD.voided_at IS NOT NULL OR NEW.voided_at IS NULL",
        )
    for name in LINES:
        yield refusal(f"{name}_unchanged", "UPDATE", f"packs_{name}")
    for name in (*FACTS, *LINES, *KEPT):
        yield refusal(f"{name}_kept", "DELETE", f"packs_{name}")
    yield refusal(
        "pack_goes_forward",
        "UPDATE",
        "packs_pack",
        """NEW.revision < OLD.revision OR NEW.settled_at < OLD.settled_at
           OR NEW.serial <> OLD.serial OR NEW.pack_type_id <> OLD.pack_type_id""",
    )
    type_of = """SELECT {what} FROM packs_pack p
                 JOIN packs_packtype t ON t.id = p.pack_type_id WHERE p.id = NEW.pack_id"""
    yield refusal(
        "voltagecheck_count_of_type",
        "INSERT",
        "packs_voltagecheck",
        f"length(NEW.voltages) <> 4 * ({type_of.format(what=POSITIONS.format(row='NEW'))})",
    )
    for event in ("INSERT", "UPDATE"):
        yield refusal(
            f"placement_position_of_type_{event.lower()}",
            event,
            "packs_placement",
            f"NEW.position > ({type_of.format(what='t.module_count')})",
        )

    table, start, end = "packs_placement", "fitted_at", "removed_at"
    yield from no_overlap(
        "placement_module_one_place", table, ["module_id"], start, end,
        "{row}.module_id IS NOT NULL",
    )
    yield from no_overlap(
        "placement_position_one_module", table, ["pack_id", "position"], start, end
    )
    yield from no_overlap(
        "installation_pack_one_vehicle", "packs_installation", ["pack_id"],
        "installed_at", "removed_at", "{row}.voided_at IS NULL",
    )
    yield from no_overlap(
        "ownership_no_overlap", "packs_ownership", ["vehicle_id"], "from_at", "until_at"
    )


def install(apps, schema_editor):
    if schema_editor.connection.vendor == "postgresql":
        statements = POSTGRESQL
    else:
        statements = list(sqlite(apps))
    for statement in statements:
        schema_editor.execute(statement, params=None)


class Migration(migrations.Migration):
    dependencies = [("packs", "0001_facts")]
    operations = [migrations.RunPython(install, migrations.RunPython.noop)]
