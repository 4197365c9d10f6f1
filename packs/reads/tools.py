"""What is to be said of a meter or tool that a result names."""

from collections.abc import Iterator
from datetime import date

from packs.models import Equipment


def warnings(tool: Equipment | None, day: date) -> Iterator[str]:
    """Why a result that was made with it on that day is to be looked at again."""
    if tool is None:
        return
    if tool.due_on is not None and tool.due_on < day:
        yield f"{tool.code} was due for its own test on {tool.due_on.isoformat()}."
    if tool.bad_since is not None and tool.bad_since <= day:
        yield f"{tool.code} is known to be bad since {tool.bad_since.isoformat()}; measure again."
