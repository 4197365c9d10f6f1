"""Addresses of the pages that show facts alone."""

from django.urls import path

from packs.pages import (
    calls,
    check_in,
    claims,
    cores,
    customer,
    estimates,
    importing,
    module,
    photos,
    search,
    visit,
    word,
)
from packs.pages.papers import sheets, texts

urlpatterns = [
    path("", search.search, name="home"),
    path("search/", search.search, name="search"),
    path("search/suggest/", search.suggest, name="suggest"),
    path("check-in/", check_in.check_in, name="check-in"),
    path("cores/", cores.cores_list, name="cores"),
    path("cores/new/", cores.core_new, name="core-new"),
    path("cores/<str:key>/", cores.core, name="core"),
    path("cores/<str:key>/decide/", cores.core_judge, name="core-judge"),
    path("calls/new/", calls.call_new, name="call-new"),
    path("photos/new/", photos.photo_new, name="photo-new"),
    path("import/", importing.begin, name="import"),
    path("import/<str:key>/", importing.file, name="import-file"),
    path("import/<str:key>/columns/", importing.columns, name="import-columns"),
    path("import/<str:key>/store/", importing.store, name="import-store"),
    path("import/<str:key>/again/", importing.again, name="import-again"),
    path("import/<str:key>/refused.csv", importing.refused, name="import-refused"),
    path("visits/<str:key>/", visit.visit, name="visit"),
    path("visits/<str:key>/estimate/", estimates.estimate_new, name="estimate-new"),
    path("visits/<str:key>/word/", word.visit_word, name="visit-word"),
    path("visits/<str:key>/claim/", claims.claim, name="claim"),
    path("visits/<str:key>/papers/", sheets.visit_papers, name="visit-papers"),
    path("estimates/<str:key>/word/", estimates.estimate_word, name="estimate-word"),
    path("papers/texts/", texts.texts, name="paper-texts"),
    path("papers/texts/<str:name>/", texts.text, name="paper-text"),
    path("papers/texts/<str:name>/preview/", texts.text_preview, name="paper-preview"),
    path("papers/<str:kind>/<str:key>/", sheets.paper, name="paper"),
    path("papers/<str:kind>/<str:key>/pdf", sheets.paper_pdf, name="paper-pdf"),
    path("modules/<str:tag>/", module.module, name="module"),
    path("customers/<str:key>/", customer.customer, name="customer"),
]
