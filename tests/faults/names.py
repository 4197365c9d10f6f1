"""What the packs of the faults' shop are called, inside the service and outside."""

TYPE = "NM-8"
MODULES = 8


def serial(number: int) -> str:
    return f"TP-{number:04d}"
