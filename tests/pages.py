"""Who looks at the pages, and what no page may hold."""

import re

from django.test import Client

from packs.models import Account
from tests import world


def account(*roles: str, password: str | None = None) -> Account:
    """Somebody with these roles, named by them, who signs in with that password."""
    code = "-".join(roles) or "nobody"
    made = Account(username=code, person=world.person(code, roles=list(roles)))
    made.set_password(password)
    made.save()
    return made


def signed_in(*roles: str) -> Client:
    """The browser of somebody with these roles."""
    client = Client()
    client.force_login(account(*roles))
    return client


def text(client: Client, address: str, status: int = 200) -> str:
    """The page at that address, as its HTML."""
    response = client.get(address)
    assert response.status_code == status, response.content.decode()[:500]
    return response.content.decode()


def words(html: str) -> str:
    """What a reader reads: without tags, each space, broken or not, one space."""
    return " ".join(re.sub(r"<[^>]+>", " ", html).split())


def inline(html: str) -> list[str]:
    """Inline script, style and handlers, which the policy of the house refuses."""
    bad = (
        r"<style|\sstyle=|\son\w+=|<script(?![^>]*\ssrc=)|javascript:|(?:src|href)=\"(?:https?:)?//"
    )
    return re.findall(bad, html)
