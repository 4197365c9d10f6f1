"""manage.py import_checks FILE.csv: voltage checks from a tester's file."""

import hashlib
import shlex
from argparse import ArgumentParser, ArgumentTypeError
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from packs.errors import DomainError
from packs.models import Client, ImportFile, ImportSource
from packs.reads import imports as files
from packs.rules import import_text
from packs.rules.spreadsheets import Sheet
from packs.writes import clients, import_sources, imports
from packs.writes.actors import Actor
from packs.writes.imports import Verdict

UNREADABLE, REFUSED, STOPPED = 2, 1, 130  # exit codes; the last as shells have it for Ctrl-C


def pairs(read: Callable[[str], dict[str, Any]]) -> Callable[[str], dict[str, Any]]:
    """An argument of name=value pairs."""

    def taken(text: str) -> dict[str, Any]:
        try:
            return read(text)
        except ValueError as error:
            raise ArgumentTypeError(f"{error}; write name=value,name=value") from error

    return taken


@dataclass(frozen=True)
class Plan:
    """How the file is to be read: by a source that is kept, or by one to be."""

    code: str
    columns: Mapping[str, Any]
    settings: Mapping[str, Any]
    kept: ImportSource | None


class Command(BaseCommand):
    help = "Imports voltage checks from a file of delimited text; begun again it goes on."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("file", type=Path, metavar="FILE.csv")
        parser.add_argument("--source", metavar="CODE", help="the tester whose columns are known")
        parser.add_argument(
            "--columns",
            type=pairs(import_text.read_columns),
            metavar="NAME=HEADER,...",
            help="which header is which field; voltages_v=V# takes V1, V2 and so on",
        )
        parser.add_argument(
            "--given",
            type=pairs(import_text.read_settings),
            metavar="NAME=VALUE,...",
            help="what the file does not say, such as level=block,dates=day_month",
        )
        parser.add_argument(
            "--dry-run", action="store_true", help="say what would be, and store nothing"
        )
        parser.add_argument("--again", action="store_true", help="go over a finished file anew")
        parser.add_argument("--client", default="import", metavar="NAME", help="who hands it in")

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            content = options["file"].read_bytes()
        except OSError as error:
            raise CommandError(
                f"{options['file']}: {error.strerror}", returncode=UNREADABLE
            ) from error
        try:
            self._import(content, options)
        except DomainError as error:
            told = [f"{fault.pointer.lstrip('/')}: {fault.detail}" for fault in error.faults]
            raise CommandError("\n".join(told), returncode=UNREADABLE) from error

    def _import(self, content: bytes, options: dict[str, Any]) -> None:
        sheet = files.open_file(content, options["given"], columns=options["columns"])
        plan = self._plan(sheet, options)
        self._tell_plan(sheet, plan)
        if options["dry_run"]:
            refused = self._try_out(content, plan, options["client"])
        else:
            refused = self._store(content, plan, options)
        if refused:
            raise CommandError(f"{refused} refused.", returncode=REFUSED)

    def _plan(self, sheet: Sheet, options: dict[str, Any]) -> Plan:
        """By the source that is named, or known by its headers, or by what is said or guessed."""
        said, settings = options["columns"], options["given"] or {}
        kept = ImportSource.objects.filter(code=options["source"]).first()
        if options["source"] is None and said is None:
            kept = files.recognise(sheet)
        if kept is not None:
            columns = said or kept.columns
            return Plan(kept.code, columns, {**kept.settings, **settings}, kept)
        guess = files.guess(sheet)
        columns = said or guess.columns
        filled = {**guess.settings, **settings}
        if "condition" in columns or "current_a" not in columns:
            filled = {
                name: one for name, one in filled.items() if name in settings or name != "condition"
            }
        code = options["source"] or _code_for(columns, filled)
        return Plan(code, columns, filled, ImportSource.objects.filter(code=code).first())

    def _tell_plan(self, sheet: Sheet, plan: Plan) -> None:
        self.stderr.write(
            f"Read as {sheet.encoding}, {sheet.delimiter} between cells, "
            f"headers on line {sheet.header_line}."
        )
        columns = shlex.quote(import_text.as_text(plan.columns))
        given = shlex.quote(import_text.as_text(plan.settings))
        told = f"--source {shlex.quote(plan.code)} --columns {columns}"
        self.stderr.write(f"{told} --given {given}" if plan.settings else told)

    def _try_out(self, content: bytes, plan: Plan, name: str) -> int:
        reading = files.understand(content, columns=plan.columns, settings=plan.settings)
        known = Client.objects.filter(name=name).first()
        by = Actor(client=known or Client(pk=0, name=name), roles=frozenset())
        counts = {imports.STORED: 0, imports.REPEATED: 0, imports.REFUSED: 0}
        for verdicts in imports.try_out(reading, by=by, at=timezone.now()):
            self._tell(verdicts)
            for verdict in verdicts:
                counts[verdict.word] += 1
            self.stderr.write(f"{sum(counts.values())} tried")
        self.stdout.write(
            f"Nothing is stored. Would be: {counts[imports.STORED]} stored, "
            f"{counts[imports.REPEATED]} repeated, {counts[imports.REFUSED]} refused."
        )
        return counts[imports.REFUSED]

    def _store(self, content: bytes, plan: Plan, options: dict[str, Any]) -> int:
        at = timezone.now()
        by = Actor(client=clients.named_client(options["client"], at=at), roles=frozenset())
        files.understand(content, columns=plan.columns, settings=plan.settings)
        source = _remembered(plan, by)
        handed = imports.hand_in(
            by=by, at=at, source=source, name=options["file"].name, content=content
        )
        file = handed.row
        if options["again"]:
            imports.begin_again(file)
            file.refresh_from_db()
        elif file.finished_at is not None:
            self._tell_refused_of(file)
            self.stdout.write("This file was handed in before; --again goes over it anew.")
        self._carry_on(file)
        self.stdout.write(
            f"{file.stored} stored, {file.repeated} repeated, {file.refused} refused."
        )
        return file.refused

    def _carry_on(self, file: ImportFile) -> None:
        about = files.length(file)
        try:
            for verdicts in imports.carry_on(file, at=timezone.now):
                self._tell(verdicts)
                self.stderr.write(f"line {file.lines_done} of about {about}")
        except KeyboardInterrupt:
            told = f"Stopped after line {file.lines_done}; the same command goes on from there."
            raise CommandError(told, returncode=STOPPED) from None

    def _tell_refused_of(self, file: ImportFile) -> None:
        """What a finished file holds that is not stored, as it is judged now."""
        reading = imports.reading_of(file)
        for verdicts in imports.try_out(reading, by=imports.sender_of(file), at=timezone.now()):
            self._tell(verdicts)

    def _tell(self, verdicts: list[Verdict]) -> None:
        for verdict in verdicts:
            for refusal in verdict.refusals:
                said = f" '{refusal.said}'" if refusal.said else ""
                where = f"{refusal.header}{said}: " if refusal.header else ""
                self.stdout.write(f"line {verdict.number}: {where}{refusal.detail}")


def _code_for(columns: Mapping[str, Any], settings: Mapping[str, Any]) -> str:
    said = import_text.as_text(columns) + import_text.as_text(settings)
    return f"columns-{hashlib.sha256(said.encode()).hexdigest()[:8]}"


def _remembered(plan: Plan, by: Actor) -> ImportSource:
    """The source as planned, kept or changed where it is not so yet."""
    at = timezone.now()
    said = {"columns": dict(plan.columns), "settings": dict(plan.settings)}
    if plan.kept is None:
        return import_sources.keep_source(by=by, at=at, entry={"code": plan.code, **said}).row
    if (plan.kept.columns, plan.kept.settings) == (said["columns"], said["settings"]):
        return plan.kept
    return import_sources.change_source(
        plan.kept, by=by, at=at, version=plan.kept.version, changes=said
    )
