"""Adding a photograph of a pack, from a file or a tablet's camera."""

from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone

from packs.pages.doors import actor, form
from packs.pages.forms import EntryForm, stored
from packs.reads import names, photos
from packs.rules.pictures import LARGEST_BYTES
from packs.writes import photos as writes


class Picture(forms.FileField):
    """The bytes of a photograph; what is in them is looked into where it is stored."""

    def __init__(self, **kwargs: Any) -> None:
        widget = forms.FileInput(attrs={"accept": "image/jpeg,image/png,image/webp"})
        super().__init__(widget=widget, **kwargs)

    def clean(self, data: Any, initial: Any = None) -> Any:
        sent = super().clean(data, initial)
        if sent.size is not None and sent.size > LARGEST_BYTES:
            megabytes = LARGEST_BYTES // 1024**2
            raise forms.ValidationError(f"Larger than {megabytes} MB; send a smaller picture.")
        return sent.read()


class PhotoForm(EntryForm):
    """A photograph and what it shows."""

    pack = forms.CharField(label="Serial of the pack", max_length=40)
    image = Picture(label="Photograph", help_text="JPEG, PNG or WebP, at most 5 MB.")
    note = forms.CharField(
        label="What it shows",
        max_length=200,
        required=False,
        help_text="Such as: residue at the bus bar of module 7. No names.",
    )


@form("photos")
def photo_new(request: HttpRequest) -> HttpResponseBase:
    """Store a photograph; the pack may come with the link."""
    serial = request.GET.get("pack", "")
    filled = PhotoForm(request.POST or None, request.FILES or None, initial={"pack": serial})
    if request.method == "POST" and filled.is_valid() and _taken(request, filled):
        messages.success(request, "The photograph is stored.")
        return redirect("pack", serial=filled.cleaned_data["pack"])
    pack = names.packs().filter(serial__upper=serial.upper()).first()
    context = {"form": filled, "pack": pack, "photos": photos.of_pack(pack) if pack else []}
    return render(request, "packs/photos/new.html", context)


def _taken(request: HttpRequest, filled: PhotoForm) -> bool:
    entry = {**filled.entry(), "external_id": filled.external_id}
    if request.GET.get("visit"):
        entry["visit"] = request.GET["visit"]
    write = partial(writes.record_photo, by=actor(request), at=timezone.now(), entry=entry)
    return stored(filled, write) is not None
