"""The pages of the service, from its own table of addresses, and where to see each of them."""

from collections.abc import Iterator, Mapping

from django.urls import URLPattern, URLResolver, get_resolver

API = "api/"

# Fields in braces are the keys that shop.stand() gives; several addresses show several states.
EXAMPLES: Mapping[str, tuple[str, ...]] = {
    "home": ("/",),
    "search": ("/search/?q=tp-01", "/search/?q=nothing-like-it"),
    "module": ("/modules/M-77/",),
    "module-test-new": (
        "/modules/M-77/test/",
        "/modules/M-77/test/?kind=resistance",
        "/modules/M-77/test/?kind=stand",
        "/modules/M-77/test/?kind=load",
    ),
    "tests": ("/tests/", "/tests/?tag=none-like-it"),
    "module-state": ("/modules/S-005/state/", "/modules/M-77/state/"),
    "stock": ("/stock/", "/stock/?lot=L-1&tests=fresh&cells=x", "/stock/?generation=none"),
    "lot": ("/lots/L-1/",),
    "lot-quarantine": ("/lots/L-1/quarantine/",),
    "donor": ("/donors/{old}/",),
    "donor-quarantine": ("/donors/{old}/quarantine/",),
    "disposal-new": ("/disposals/new/",),
    "labels": ("/labels/", "/labels/?modules=none-like-it"),
    "job-tests": ("/visits/{visit}/job/tests/",),
    "customer": ("/customers/{customer}/",),
    "pack": ("/packs/{pack}/", "/packs/{young}/"),
    "vehicle": ("/vehicles/{vin}/",),
    "sheet": ("/packs/{pack}/sheet/",),
    "visit": ("/visits/{visit}/",),
    "today": ("/today/",),
    "fleet": ("/packs/", "/packs/?text=no-such-pack&at_least=x"),
    "watch": ("/watch/",),
    "cores": ("/cores/",),
    "core-new": ("/cores/new/",),
    "core": ("/cores/{core}/",),
    "core-judge": ("/cores/{core}/decide/",),
    "call-new": ("/calls/new/?pack={pack}",),
    "photo-new": ("/photos/new/?pack={pack}",),
    "check-in": (
        "/check-in/",
        "/check-in/?q=tst",
        "/check-in/?vehicle={vin}",
        "/check-in/?new=W-99+Q",
    ),
    "import": ("/import/",),
    "import-columns": ("/import/{tried}/columns/",),
    "import-file": ("/import/{tried}/", "/import/{stored}/"),
    "job": ("/visits/{visit}/job/",),
    "job-checks": ("/visits/{visit}/job/checks/?condition=load",),
    "job-after": ("/visits/{visit}/job/after/",),
    "job-codes": ("/visits/{visit}/job/codes/",),
    "job-inspection": ("/visits/{visit}/job/inspection/",),
    "job-swap": ("/visits/{visit}/job/swap/",),
    "job-lock-out": ("/visits/{visit}/job/lock-out/", "/visits/{locked}/job/lock-out/"),
    "job-re-energise": ("/visits/{visit}/job/re-energise/", "/visits/{locked}/job/re-energise/"),
    "job-teardown": ("/visits/{visit}/job/teardown/", "/visits/{locked}/job/teardown/"),
    "job-reassembly": (
        "/visits/{visit}/job/reassembly/",
        "/visits/{locked}/job/reassembly/",
        "/visits/{locked}/job/reassembly/?kind=polarity",
        "/visits/{locked}/job/reassembly/?kind=equalised",
    ),
    "job-hours": ("/visits/{locked}/job/hours/",),
    "incident-new": ("/incidents/new/?visit={visit}",),
    "job-release": ("/visits/{visit}/job/release/",),
    "job-isolation": (
        "/visits/{visit}/job/isolation/",
        "/visits/{visit}/job/isolation/?method=tester",
    ),
    "job-parts": ("/visits/{visit}/job/parts/",),
    "job-part-test": ("/visits/{visit}/job/parts/test/?slot=fuse:1",),
    "job-part-swap": ("/visits/{visit}/job/parts/swap/?slot=fuse:1",),
    "equipment": ("/equipment/",),
    "equipment-one": ("/equipment/DMM-1/",),
    "equipment-bad": ("/equipment/DMM-1/bad/",),
    "pack-shipping": ("/packs/{pack}/shipping/",),
    "shipping-decide": ("/packs/{pack}/shipping/decide/",),
    "job-matching": ("/visits/{visit}/job/matching/",),
    "job-decision": (
        "/visits/{visit}/job/decision/?positions=7,99&component=fuse",
        "/visits/{visit}/job/decision/",
    ),
    "prices": ("/prices/",),
    "price-new": ("/prices/new/",),
    "price": ("/prices/hour/",),
    "visit-word": ("/visits/{visit}/word/",),
    "claim": ("/visits/{visit}/claim/",),
    "visit-papers": ("/visits/{visit}/papers/",),
    "estimate-new": ("/visits/{visit}/estimate/",),
    "estimate-word": ("/estimates/{estimate}/word/",),
    "paper-texts": ("/papers/texts/",),
    "paper-text": ("/papers/texts/intake/",),
    "paper-preview": ("/papers/texts/intake/preview/",),
    "paper": (
        "/papers/intake/{visit}/",
        "/papers/estimate/{estimate}/",
        "/papers/test_certificate/{visit}/",
        "/papers/warranty_certificate/{warranty}/",
        "/papers/core_receipt/{core}/",
    ),
}
OPEN = ("/sign-in/", "/no/such/page/")  # seen by who is not signed in
NO_PAGES: Mapping[str, str] = {
    "sign-in": "looked at without a session",
    "sign-out": "answers POST alone",
    "metrics": "figures for programs, which carry a token",
    "job-state": "a part of a page: how the job stands",
    "suggest": "a part of a page: the list under the search box",
    "fleet-export": "a CSV file",
    "stock-export": "a CSV file",
    "import-refused": "a CSV file",
    "import-store": "answers POST alone",
    "import-again": "answers POST alone",
    "paper-pdf": "a PDF file",
    "test-plan": "the form of the queue; looked at there",
    "test-start": "answers POST alone",
    "module-off-test": "answers POST alone",
}


def names(resolver: URLResolver | None = None, prefix: str = "") -> Iterator[str]:
    """The names of all pages; what has no name stands for itself."""
    for pattern in (resolver or get_resolver()).url_patterns:
        address = prefix + str(pattern.pattern)
        if address.startswith(API) or address.startswith("health/"):
            continue
        if isinstance(pattern, URLResolver):
            yield from names(pattern, address)
        elif isinstance(pattern, URLPattern):
            yield pattern.name or address
